"""Runs both channels on a situation, compares them, merges what differs, and words the lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from fieldaid.errors import EngineError
from fieldaid.facts.situation import Situation
from fieldaid.guidance import engine as engine_
from fieldaid.guidance.merge import merge
from fieldaid.guidance.next_question import NextQuestion
from fieldaid.guidance.outcome import Firing, Line, Outcome
from fieldaid.guidance.pack import NO_GO, Pack, Rule
from fieldaid.guidance.reference import Reference
from fieldaid.guidance.words import fill, sentence

# How long the first evaluation waits for the child; it starts while the rest of the program does.
FIRST_WAIT_S = 5.0
NOT_INSTALLED = ("No second opinion: durable-rules is not installed. One channel decides alone, so a slip in how it "
                 f"evaluates the rules would go unseen. To get it: {engine_.HOW_TO_GET_IT}")
# Gates that leave an opening to place.
PLACING = ("hold", "no hold reported")
DIFFER = "Second opinion differs: the stricter counts."


@dataclass(frozen=True)
class Conclusions:
    """What guidance says of one situation.

    slope : side the opening goes on, or a compass point while side A's facing is not told; None after a no-go or
        when not decided
    triggers, stops, cautions, advice : whole sentences; access_says and gate_says are the fragments that follow
        "Stay off:" and "Hold cut:", of the rules that decided, in pack order
    derived : the derived values by name; the first declared where several stand
    computed : the computed facts with value, source and limits, by name
    channels_agree : None when only one channel ran
    notices : what a person should hear once about the channels themselves
    """

    access: str
    access_reason: str | None
    access_rules: tuple[str, ...]
    gate: str
    gate_rules: tuple[str, ...]
    slope: str | None
    place: str | None
    kind: str | None
    size_ft: tuple[float, float] | None
    opening_rules: tuple[str, ...]
    triggers: tuple[Line, ...]
    stops: tuple[Line, ...]
    cautions: tuple[Line, ...]
    advice: tuple[Line, ...]
    access_says: tuple[Line, ...]
    gate_says: tuple[Line, ...]
    missing: tuple[str, ...]
    derived: Mapping[str, str]
    computed: Mapping[str, Any]
    channels_agree: bool | None
    notices: tuple[str, ...]
    outcome: Outcome
    situation: Situation = field(default_factory=Situation)


class Guide:
    """Evaluates situations with one pack. `evaluate` never raises because of the child process.

    Parameters
    ----------
    engine : whether to run the first channel too; without it the reference evaluator decides alone
    timeout_s : the longest the first channel may take for one evaluation [s]
    """

    def __init__(self, pack: Pack, engine: bool = True, timeout_s: float = 1.0) -> None:
        self.pack, self.timeout_s = pack, timeout_s
        self.reference = Reference(pack)
        self._questions = NextQuestion(self.reference, self._plain_computed)
        self.engine: engine_.Engine | None = None
        self._waited = False
        self._pending: list[str] = []
        self._said: set[str] = set()
        if engine and engine_.is_installed():
            self.engine = engine_.Engine(pack)
        elif engine:
            self._notice("not installed", NOT_INSTALLED)

    def evaluate(self, situation: Situation, placed: Any = None) -> Conclusions:
        """The conclusions from one situation: a function of it alone, except that each notice is given once.

        `placed` is the placement solver's answer where more is known of the plan than facts can say.
        """
        from fieldaid.workings import compute
        from fieldaid.workings.placement_facts import refined

        computed = compute(situation, self.pack.parameter_values())
        values = {name: one.value for name, one in computed.items()}
        outcome = self.reference.run(situation, values)
        if outcome.gate in PLACING:
            # The solver runs only where there is something to place; what it finds can only bring more to hold for.
            computed = refined(situation, computed, placed)
            if computed.get("place.worked") is not None:
                values = {name: one.value for name, one in computed.items()}
                outcome = self.reference.run(situation, values)
        # One after the other: on a busy machine a child that runs beside its parent waits longer for a processor
        # than the reference takes.
        first = self._ask_engine(situation, values)
        agree: bool | None = None
        if first is not None:
            agree = first == outcome
            if not agree:
                self._notice("differ", DIFFER)
                outcome = merge(outcome, first, self.pack)
        notices, self._pending = tuple(self._pending), []
        return conclude(self.pack, situation, computed, outcome, agree, notices)

    def most_decisive_first(self, found: Conclusions) -> Conclusions:
        """`found` with what is missing in the order in which it is best asked for."""
        if len(found.missing) < 2:
            return found
        return replace(found, missing=self._questions.order(found.situation, found.missing))

    def close(self) -> None:
        """Ends the child process."""
        if self.engine is not None:
            self.engine.close()

    def __enter__(self) -> Guide:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def _plain_computed(self, situation: Situation) -> dict[str, Any]:
        from fieldaid.workings import compute

        return {name: one.value for name, one in compute(situation, self.pack.parameter_values()).items()}

    def _ask_engine(self, situation: Situation, values: Mapping[str, Any]) -> Outcome | None:
        if self.engine is None:
            return None
        if not self._waited:
            self._waited = True
            self.engine.wait_ready(FIRST_WAIT_S)
        try:
            return self.engine.run(situation, values, self.timeout_s)
        except EngineError as error:
            self._lost(error)
            return None

    def _lost(self, error: EngineError) -> None:
        self._notice("lost", f"Second opinion lost: {error.why or error.what}. One channel decides meanwhile.")
        if self.engine is not None and self.engine.given_up:
            broken = any(word in error.why for word in engine_.LOAD_ERRORS)
            why = engine_.HOW_TO_REBUILD if broken else "it could not be started again"
            self._notice("given up", f"No second opinion from now on: {why}.")

    def _notice(self, what: str, text: str) -> None:
        if what not in self._said:
            self._said.add(what)
            self._pending.append(text)


def conclude(pack: Pack, situation: Situation, computed: Mapping[str, Any], outcome: Outcome, agree: bool | None,
             notices: tuple[str, ...]) -> Conclusions:
    """The conclusions that an outcome amounts to, with its lines in words."""
    lines: dict[str, list[Line]] = {kind: [] for kind in ("trigger", "stop", "caution", "advice", "access", "gate")}
    deciding = {"access": outcome.access_rules, "gate": outcome.gate_rules}
    for firing in outcome.firings:
        rule = pack.rule(firing.rule)
        kind = rule.conclude.kind
        if kind in lines and rule.say and rule.id in deciding.get(kind, (rule.id,)):
            lines[kind].append(_line(kind, rule, firing))
    for kind in deciding:  # what was reported leads; what was only not told can be asked for
        lines[kind].sort(key=lambda line: line.need is not None)
    return Conclusions(
        access=outcome.access, access_reason=outcome.access_reason, access_rules=outcome.access_rules,
        gate=outcome.gate, gate_rules=outcome.gate_rules, slope=_slope(outcome, computed), place=outcome.place,
        kind=outcome.kind, size_ft=outcome.size_ft, opening_rules=outcome.opening_rules,
        triggers=tuple(lines["trigger"]), stops=tuple(lines["stop"]), cautions=tuple(lines["caution"]),
        advice=tuple(lines["advice"]), access_says=tuple(lines["access"]), gate_says=tuple(lines["gate"]),
        missing=outcome.missing, derived=_derived(pack, outcome), computed=_computed(outcome, computed),
        channels_agree=agree,
        notices=notices, outcome=outcome, situation=situation)


def _line(kind: Any, rule: Rule, firing: Firing) -> Line:
    text = fill(rule.say, firing.where, firing.value)
    return Line(kind, text if kind in ("access", "gate") else sentence(text), (firing.rule,), firing.key,
                rule.said, frozenset(condition.key for condition in rule.when.conditions()),
                rule.conclude.need)


def _slope(outcome: Outcome, computed: Mapping[str, Any]) -> str | None:
    """The computed face; with no side to name, the compass point away from the wind."""
    if outcome.gate in ("no opening", "other means"):
        return None
    found = computed.get("place.face") or computed.get("place.leeward")
    return found.value if found is not None else None


def _computed(outcome: Outcome, computed: Mapping[str, Any]) -> Mapping[str, Any]:
    """The computed facts; after a no-go without any about a place [invariant 1]."""
    return computed if outcome.access not in NO_GO else without_place(computed)


def without_place(computed: Mapping[str, Any]) -> Mapping[str, Any]:
    """The computed facts that say nothing of where an opening goes."""
    return {name: one for name, one in computed.items() if not name.startswith("place.")}


def _derived(pack: Pack, outcome: Outcome) -> dict[str, str]:
    standing = set(outcome.derived)
    return {one.id: value for one in pack.derived.values()
            if (value := next((value for value in one.values if (one.id, value) in standing), None)) is not None}
