"""The tree of an outcome: from access and gate through the rules that decided to the facts that were told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fieldaid.facts.situation import Situation
from fieldaid.guidance.conditions import Condition
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import NO_GO, Pack, Rule
from fieldaid.guidance.reference import Held, Reference
from fieldaid.guidance.words import spoken_value

NOT_TOLD = "not told"
SETS = ("trigger", "stop", "caution")


class Bench:
    """The reference channel with the workings, and computed facts that are given outright."""

    def __init__(self, pack: Pack, given: Mapping[str, Any]) -> None:
        from fieldaid.workings import compute

        self.pack, self.given, self._compute = pack, given, compute
        self.reference, self.parameters = Reference(pack), pack.parameter_values()

    def workings(self, situation: Situation) -> Mapping[str, Any]:
        """Every computed fact by name, those given outright instead of the workings' own."""
        from fieldaid.workings.computed import Computed

        given = {name: Computed(value, "given outright", "") for name, value in self.given.items()}
        return {**self._compute(situation, self.parameters), **given}

    def run(self, situation: Situation) -> tuple[dict[str, Any], Outcome]:
        """The computed values by name, and what the pack concludes."""
        values = {name: one.value for name, one in self.workings(situation).items()}
        return values, self.reference.run(situation, values)


@dataclass(frozen=True)
class Branch:
    """One line of the tree, with what it follows from. `holds` is None where it says no condition."""

    text: str
    holds: bool | None = None
    rule: str = ""
    under: tuple[Branch, ...] = ()

    def to_data(self) -> dict[str, Any]:
        """The branch, with all under it, as JSON data."""
        data: dict[str, Any] = {"text": self.text}
        if self.holds is not None:
            data["holds"] = self.holds
        if self.rule:
            data["rule"] = self.rule
        return {**data, "under": [one.to_data() for one in self.under]} if self.under else data


class Trees:
    """Grows the branches of one outcome."""

    def __init__(self, bench: Bench, situation: Situation, computed: Mapping[str, Any], outcome: Outcome) -> None:
        self.bench, self.pack = bench, bench.pack
        self.situation, self.computed, self.outcome = situation, computed, outcome
        self.standing = {firing.rule for firing in outcome.firings}
        self.grown: set[str] = set()

    def access(self) -> Branch:
        """Access, with the rules that decided it."""
        reason = f" ({self.outcome.access_reason})" if self.outcome.access_reason else ""
        return Branch(f"access: {self.outcome.access}{reason}", under=tuple(
            self.rule(one) for one in self.outcome.access_rules)
            or (Branch("no rule concluded anything about access: stay off, not told"),))

    def gate(self) -> Branch:
        """The gate, with the rules that decided it."""
        if self.outcome.access in NO_GO:
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
        """A condition with what it saw now, and the rules that fired behind that."""
        condition = one.condition
        prefix = "unless " if one.within == "unless" else ""
        text = f"{prefix}{_called(condition)} {_wanted(condition)}, now {_now(one)}"
        return Branch(text, holds=one.held, under=tuple(
            self.rule(rule.id, within) for rule in self.pack.live_rules
            if rule.id in self.standing and rule.id not in within and concludes(rule, condition, one.value)))


def _speaks_against(one: Held) -> bool:
    if one.within == "unless":
        return one.held
    return not one.held and not (one.within == "any" and one.met)


def concludes(rule: Rule, condition: Condition, value: Any) -> bool:
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
