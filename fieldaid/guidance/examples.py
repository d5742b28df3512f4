"""Runs each rule's own situations: where it says it fires it must fire, where it says it is silent it must be."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from fieldaid.errors import Finding
from fieldaid.facts.situation import Situation
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import Example, Pack, Rule
from fieldaid.guidance.reference import Reference


class Channel(Protocol):
    """What runs a situation: `Reference` or `Engine`."""

    def run(self, situation: Situation, computed: Mapping[str, Any]) -> Outcome: ...


def situation_of(example: Example, pack: Pack) -> tuple[Situation, dict[str, Any]]:
    """A rule's situation and the computed facts of it; those the example gives outright win."""
    from fieldaid.workings import compute

    situation = Situation.of(example.facts, example.basis)
    computed = {name: one.value for name, one in compute(situation, pack.parameter_values()).items()}
    return situation, {**computed, **example.computed}


@dataclass(frozen=True)
class RanExample:
    """A rule's situation, whether the rule must fire in it, and what came out."""

    rule: Rule
    example: Example
    must_fire: bool
    outcome: Outcome


def run_examples(pack: Pack, channel: Channel | None = None) -> list[RanExample]:
    """Every situation of a live rule, in the order of the pack."""
    channel = channel if channel is not None else Reference(pack)
    return [RanExample(rule, example, must_fire, channel.run(*situation_of(example, pack)))
            for rule in pack.live_rules for must_fire, examples in ((True, rule.fires), (False, rule.silent))
            for example in examples]


def check_examples(pack: Pack, channel: Channel | None = None) -> list[Finding]:
    """What `wrong_examples` finds in every situation of a live rule."""
    return wrong_examples(pack, run_examples(pack, channel))


def wrong_examples(pack: Pack, ran: Iterable[RanExample]) -> list[Finding]:
    """Every situation that does not do what it says.

    F601 the rule does not fire   F602 the rule is not silent   F603 placement rules contradict each other there
    """
    findings: list[Finding] = []
    for one in ran:
        rule, example = one.rule, one.example
        if any(firing.rule == rule.id for firing in one.outcome.firings) != one.must_fire:
            code, what = ("F601", "does not fire") if one.must_fire else ("F602", "is not silent")
            findings.append(Finding(rule.file, example.line, example.column, code, f"rule {rule.id} {what} here",
                                    _hint(rule, example, pack) if one.must_fire else
                                    "change unless or the situation"))
        if contradiction := _contradiction(one.outcome, pack):
            findings.append(Finding(rule.file, example.line, example.column, "F603",
                                    f"placement is not decided here: {contradiction}",
                                    "let each say with unless when the other goes first"))
    return findings


def _contradiction(outcome: Outcome, pack: Pack) -> str:
    """The placement rules that name different places, kinds or sizes."""
    rules = [pack.rule(one) for one in outcome.opening_rules]
    for what, decided, told in (("places", outcome.place, [one.conclude.place for one in rules]),
                                ("kinds", outcome.kind, [one.conclude.opening for one in rules]),
                                ("sizes", outcome.size_ft, [one.conclude.size_ft for one in rules])):
        named = [rule.id for rule, one in zip(rules, told, strict=True) if one is not None]
        if decided is None and named:
            return f"{', '.join(named)} name different {what}"
    return ""


def _hint(rule: Rule, example: Example, pack: Pack) -> str:
    """The conditions that did not hold."""
    situation, computed = situation_of(example, pack)
    held = Reference(pack).explain(rule.id, situation, computed)
    failed = [f"{one.condition.key} was {_was(one.value)}" for one in held if one.within == "when" and not one.held]
    failed += [f"unless {one.condition.key} was {_was(one.value)}" for one in held
               if one.within == "unless" and one.held]
    return "; ".join(failed) or "no alternative of any held"


def _was(value: Any) -> str:
    if isinstance(value, (list, tuple, set, frozenset)):
        return ", ".join(map(str, value)) or "none"
    return "not told" if value is None else repr(value)
