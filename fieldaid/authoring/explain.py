"""Why a situation comes out as it does, and what stands between it and another answer.

A tree leads from access and gate through the rules that decided to the facts that were told; beside it stands what the
freeing rule still waits for, and the nearest change of facts that would flip access or gate.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldaid.authoring.situations import values_of
from fieldaid.facts.picture import CANNOT_TELL
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.conditions import Condition
from fieldaid.guidance.guide import Conclusions, conclude
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import ACCESS, GATE, Pack, Rule
from fieldaid.guidance.reference import Held, Reference
from fieldaid.guidance.why import why, why_not
from fieldaid.guidance.words import fill, sentence, spoken_value

NOT_TOLD = "not told"
# Facts that are changed two at a time; the search over pairs grows with their square.
MOST_PAIRED = 14
MOST_STEPS = 14
SETS = ("trigger", "stop", "caution")


@dataclass(frozen=True)
class Branch:
    """One line of the tree, with what it follows from. `holds` is None where it says no condition."""

    text: str
    holds: bool | None = None
    rule: str = ""
    under: tuple[Branch, ...] = ()

    def to_data(self) -> dict[str, Any]:
        data: dict[str, Any] = {"text": self.text}
        if self.holds is not None:
            data["holds"] = self.holds
        if self.rule:
            data["rule"] = self.rule
        return {**data, "under": [one.to_data() for one in self.under]} if self.under else data


@dataclass(frozen=True)
class Change:
    """Facts to tell anew (or to take out: "not told"), what they turn, and whether fewer were proved not to do."""

    turns: str
    facts: tuple[tuple[str, Any], ...]
    access: str
    gate: str
    fewest: bool

    def to_data(self) -> dict[str, Any]:
        return {"turns": self.turns, "facts": dict(self.facts), "access": self.access, "gate": self.gate,
                "fewest": self.fewest}


@dataclass(frozen=True)
class Explained:
    """A situation explained: the sentences, the trees, the nearest changes, and every rule that fired."""

    access: str
    access_reason: str | None
    gate: str
    why: str
    why_not: Mapping[str, str]
    tree: tuple[Branch, ...]
    stands_in_the_way: tuple[Branch, ...]
    nearest: tuple[Change, ...]
    fired: tuple[tuple[str, str, str], ...] = field(default=())

    def to_data(self) -> dict[str, Any]:
        return {"access": self.access, "access_reason": self.access_reason, "gate": self.gate, "why": self.why,
                "why_not": dict(self.why_not), "tree": [one.to_data() for one in self.tree],
                "stands_in_the_way": [one.to_data() for one in self.stands_in_the_way],
                "nearest": [one.to_data() for one in self.nearest],
                "fired": [{"rule": rule, "where": where, "says": says} for rule, where, says in self.fired]}


def explain(pack: Pack, situation: Situation, computed: Mapping[str, Any] | None = None) -> Explained:
    """Explains one situation with the reference channel; `computed` holds computed facts given outright."""
    bench = _Bench(pack, computed or {})
    values, outcome = bench.run(situation)
    conclusions = conclude(pack, situation, bench.workings(situation), outcome, None, ())
    trees = _Trees(bench, situation, values, outcome)
    return Explained(
        access=outcome.access, access_reason=outcome.access_reason, gate=outcome.gate, why=why(conclusions, pack),
        why_not={wanted: why_not(conclusions, pack, wanted) for wanted in ("no bar reported", "no hold reported")},
        tree=(trees.access(), trees.gate()), stands_in_the_way=tuple(trees.in_the_way()),
        nearest=tuple(_nearest(bench, situation, outcome)), fired=tuple(_fired(conclusions, pack)))


class _Bench:
    """The reference channel with the workings, and computed facts that are given outright."""

    def __init__(self, pack: Pack, given: Mapping[str, Any]) -> None:
        from fieldaid.workings import compute

        self.pack, self.given, self._compute = pack, given, compute
        self.reference, self.parameters = Reference(pack), pack.parameter_values()

    def workings(self, situation: Situation) -> Mapping[str, Any]:
        from fieldaid.workings.computed import Computed

        given = {name: Computed(value, "given outright", "") for name, value in self.given.items()}
        return {**self._compute(situation, self.parameters), **given}

    def run(self, situation: Situation) -> tuple[dict[str, Any], Outcome]:
        values = {name: one.value for name, one in self.workings(situation).items()}
        return values, self.reference.run(situation, values)


def _fired(conclusions: Conclusions, pack: Pack) -> Iterator[tuple[str, str, str]]:
    for one in conclusions.outcome.firings:
        rule = pack.rule(one.rule)
        yield rule.id, one.where, sentence(fill(rule.say or rule.title, one.where, one.value))


class _Trees:
    """Grows the branches of one outcome."""

    def __init__(self, bench: _Bench, situation: Situation, computed: Mapping[str, Any], outcome: Outcome) -> None:
        self.bench, self.pack = bench, bench.pack
        self.situation, self.computed, self.outcome = situation, computed, outcome
        self.standing = {firing.rule for firing in outcome.firings}
        self.grown: set[str] = set()

    def access(self) -> Branch:
        reason = f" ({self.outcome.access_reason})" if self.outcome.access_reason else ""
        return Branch(f"access: {self.outcome.access}{reason}", under=tuple(
            self.rule(one) for one in self.outcome.access_rules)
            or (Branch("no rule concluded anything about access: stay off, not told"),))

    def gate(self) -> Branch:
        if self.outcome.access in ("leave now", "come down", "stay off"):
            return Branch(f"gate: {self.outcome.gate}, because access is {self.outcome.access}")
        return Branch(f"gate: {self.outcome.gate}", under=tuple(self.rule(one) for one in self.outcome.gate_rules)
                      or (Branch("no rule concluded anything about the gate: hold"),))

    def in_the_way(self) -> Iterator[Branch]:
        """The freeing rules that did not fire, with the conditions that did not hold."""
        for rule in self.pack.live_rules:
            wanted = rule.conclude.name in ("no bar reported", "no hold reported")
            if not wanted or rule.id in self.standing or rule.conclude.name in (
                    self.outcome.access, self.outcome.gate):
                continue
            held = self.bench.reference.explain(rule.id, self.situation, self.computed)
            waits = [self.condition(one, frozenset({rule.id})) for one in held if _speaks_against(one)]
            if waits:
                yield Branch(f"{rule.conclude.name} waits for", rule=rule.id, under=tuple(waits))

    def rule(self, rule_id: str, within: frozenset[str] = frozenset()) -> Branch:
        """A rule that fired and what it follows from; the second time only its name."""
        rule = self.pack.rule(rule_id)
        if rule_id in self.grown:
            return Branch(f"{rule_id} {rule.title} (above)", rule=rule_id)
        self.grown.add(rule_id)
        held = self.bench.reference.explain(rule_id, self.situation, self.computed)
        under = tuple(self.condition(one, within | {rule_id}) for one in held
                      if one.within == "unless" or one.held)
        return Branch(f"{rule_id} {rule.title}: {_concluded(rule)}", rule=rule_id, under=under)

    def condition(self, one: Held, within: frozenset[str]) -> Branch:
        condition = one.condition
        prefix = "unless " if one.within == "unless" else ""
        text = f"{prefix}{_called(condition)} {_wanted(condition)}, now {_now(one)}"
        return Branch(text, holds=one.held, under=tuple(
            self.rule(rule.id, within) for rule in self.pack.live_rules
            if rule.id in self.standing and rule.id not in within and _concludes(rule, condition, one.value)))


def _speaks_against(one: Held) -> bool:
    if one.within == "unless":
        return one.held
    return not one.held and not (one.within == "any" and one.met)


def _concludes(rule: Rule, condition: Condition, value: Any) -> bool:
    """Whether a rule that fired is behind what a condition looked at."""
    if condition.key in SETS:
        return rule.conclude.kind == condition.key and isinstance(value, list) and rule.conclude.name in value
    if condition.key in ("access", "gate"):
        return rule.conclude.kind == condition.key and rule.conclude.name == value
    return any(name == condition.key for name, _ in rule.conclude.derived)


def _concluded(rule: Rule) -> str:
    one = rule.conclude
    if one.derived:
        return ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in one.derived)
    return f"{one.kind} {one.name}" if one.name else one.kind


def _called(condition: Condition) -> str:
    return condition.key.replace("_", " ") if condition.scope == "derived" else condition.key


def _wanted(condition: Condition) -> str:
    if condition.test == "range":
        return " and ".join(f"{bound.kind.replace('_', ' ')} {bound.number:g}" for bound in condition.bounds)
    words = " or ".join(spoken_value(value) for value in condition.values)
    basis = f" (by {' or '.join(condition.basis)})" if condition.basis else ""
    told = "told" if condition.scope in ("told", "computed") else "concluded"
    return {"is": f"is {words}", "not": f"is {told} and not {words}", "has": f"has {words}",
            "some": "is somewhere", "known": f"is {told}", "unknown": f"is not {told}"}[condition.test] + basis


def _now(one: Held) -> str:
    if one.value is None and one.condition.scope not in ("told", "computed"):
        return "not concluded"
    return _shown(one.value)


def _shown(value: Any) -> str:
    if value is None:
        return NOT_TOLD
    if isinstance(value, dict):
        return ", ".join(f"{place}: {_shown(one)}" for place, one in value.items())
    return ", ".join(map(str, value)) if isinstance(value, list) else spoken_value(value)


# The nearest change


def _nearest(bench: _Bench, situation: Situation, outcome: Outcome) -> Iterator[Change]:
    """The fewest facts that loosen access, tighten access, and turn the gate."""
    aims = [("access, looser", lambda out: ACCESS.index(out.access) > ACCESS.index(outcome.access))]
    aims.append(("access, stricter", lambda out: ACCESS.index(out.access) < ACCESS.index(outcome.access)))
    if outcome.access not in ("leave now", "come down", "stay off"):
        aims.append(("gate, looser", lambda out: GATE.index(out.gate) > GATE.index(outcome.gate)))
        aims.append(("gate, stricter", lambda out: GATE.index(out.gate) < GATE.index(outcome.gate)
                     and out.access == outcome.access))
    singles = [(pair, bench.run(_changed(situation, (pair,)))[1]) for pair in _moves(situation, _movable(bench.pack))]
    for turns, wanted in aims:
        found = next(((pair, out) for pair, out in singles if wanted(out)), None)
        if found is not None:
            yield Change(turns, (found[0],), found[1].access, found[1].gate, fewest=True)
        elif "looser" in turns:
            change = _two(bench, situation, turns, wanted) or _steps(bench, situation, turns, wanted)
            if change is not None:
                yield change


def _movable(pack: Pack) -> list[str]:
    """Facts that a rule looks at, and those that the workings of such rules read."""
    tested = {name for rule in pack.live_rules for condition in rule.conditions if condition.scope == "told"
              for name in condition.names}
    read = {name for name in FACTS if name.split(".")[0] in ("wind", "site", "crew", "roof", "window")}
    return [name for name in FACTS if name in tested | read and not name.startswith("smoke.")
            or name in ("smoke.ridge.volume", "smoke.any.volume", "smoke.deck.volume")]


def _moves(situation: Situation, names: Iterable[str]) -> Iterator[tuple[str, Any]]:
    for name in names:
        now = situation.values.get(name)
        if now is not None:
            yield name, NOT_TOLD
        for value in values_of(name):
            if value != now:
                yield name, value


def _changed(situation: Situation, pairs: Iterable[tuple[str, Any]]) -> Situation:
    values, basis, cannot = dict(situation.values), dict(situation.basis), set(situation.cannot_tell)
    for name, value in pairs:
        cannot.discard(name)
        values.pop(name, None)
        basis.pop(name, None)
        if value not in (NOT_TOLD, CANNOT_TELL):
            values[name], basis[name] = value, "told"
    return Situation(values, basis, frozenset(cannot), situation.section)


def _concerned(bench: _Bench, situation: Situation) -> list[str]:
    """Facts that the rules that bar and hold now hang on, through what they derive from."""
    values, outcome = bench.run(situation)
    trees = _Trees(bench, situation, values, outcome)
    facts: dict[str, None] = dict.fromkeys(outcome.missing)

    def gather(rule_id: str, seen: frozenset[str]) -> None:
        for one in bench.reference.explain(rule_id, situation, values):
            for name in one.condition.names:
                if name in FACTS and (name in situation.values or not one.condition.members):
                    facts.setdefault(name)
            for rule in bench.pack.live_rules:
                if rule.id in trees.standing and rule.id not in seen and _concludes(rule, one.condition, one.value):
                    gather(rule.id, seen | {rule.id})

    for rule_id in (*outcome.access_rules, *outcome.gate_rules):
        gather(rule_id, frozenset({rule_id}))
    return list(facts)


def _two(bench: _Bench, situation: Situation, turns: str, wanted: Any) -> Change | None:
    names = _concerned(bench, situation)[:MOST_PAIRED]
    moves = {name: list(_moves(situation, [name])) for name in names}
    for one, other in itertools.combinations(names, 2):
        for pairs in itertools.product(moves[one], moves[other]):
            out = bench.run(_changed(situation, pairs))[1]
            if wanted(out):
                return Change(turns, pairs, out.access, out.gate, fewest=True)
    return None


def _steps(bench: _Bench, situation: Situation, turns: str, wanted: Any) -> Change | None:
    """One change after another, each the one after which the fewest rules bar or hold."""
    facts: dict[str, Any] = {}
    for _ in range(MOST_STEPS):
        now = _changed(situation, facts.items())
        tried = [(pair, bench.run(_changed(now, (pair,)))[1]) for pair in _moves(now, _concerned(bench, now))
                 if pair[0] not in facts and pair[1] != NOT_TOLD]
        if not tried:
            return None
        (name, value), out = min(tried, key=lambda one: (not wanted(one[1]), *_bars(bench.pack, one[1])))
        facts[name] = value
        if wanted(out):
            return Change(turns, tuple(facts.items()), out.access, out.gate, fewest=False)
    return None


def _bars(pack: Pack, outcome: Outcome) -> tuple[int, int]:
    """How many triggers stand, and how many rules conclude something about access and gate that is not free."""
    rules = [pack.rule(one.rule) for one in outcome.firings]
    return len(outcome.triggers), sum(1 for rule in rules if rule.conclude.kind in ("access", "gate")
                                      and rule.conclude.name not in ("no bar reported", "no hold reported"))
