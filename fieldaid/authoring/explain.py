"""Why a situation comes out as it does, and what stands between it and another answer.

A tree leads from access and gate through the rules that decided to the facts that were told (`explain_tree`); beside it
stands what the freeing rule still waits for, and the nearest change of facts that would flip access or gate
(`explain_nearest`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldaid.authoring.explain_nearest import Change, nearest
from fieldaid.authoring.explain_tree import Bench, Branch, Trees
from fieldaid.facts.situation import Situation
from fieldaid.guidance.guide import Conclusions, conclude
from fieldaid.guidance.pack import Pack
from fieldaid.guidance.why import why, why_not
from fieldaid.guidance.words import fill, sentence


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
    warnings: tuple[str, ...] = ()

    def to_data(self) -> dict[str, Any]:
        """The explanation as JSON data."""
        return {"access": self.access, "access_reason": self.access_reason, "gate": self.gate, "why": self.why,
                "why_not": dict(self.why_not), "tree": [one.to_data() for one in self.tree],
                "stands_in_the_way": [one.to_data() for one in self.stands_in_the_way],
                "nearest": [one.to_data() for one in self.nearest],
                "fired": [{"rule": rule, "where": where, "says": says} for rule, where, says in self.fired]}


def explain(pack: Pack, situation: Situation, computed: Mapping[str, Any] | None = None) -> Explained:
    """Explains one situation with the reference channel; `computed` holds computed facts given outright."""
    bench = Bench(pack, computed or {})
    values, outcome = bench.run(situation)
    conclusions = conclude(pack, situation, bench.workings(situation), outcome, None, ())
    trees = Trees(bench, situation, values, outcome)
    return Explained(
        access=outcome.access, access_reason=outcome.access_reason, gate=outcome.gate, why=why(conclusions, pack),
        why_not={wanted: why_not(conclusions, pack, wanted) for wanted in ("no bar reported", "no hold reported")},
        tree=(trees.access(), trees.gate()), stands_in_the_way=tuple(trees.in_the_way()),
        nearest=tuple(nearest(bench, situation, outcome)), fired=tuple(_fired(conclusions, pack)),
        warnings=tuple(_warnings(conclusions, pack)))


def _warnings(conclusions: Conclusions, pack: Pack) -> Iterator[str]:
    """What is said beside access and gate, each line with its rule and when it is heard."""
    for rule_id, _, says in _fired(conclusions, pack):
        rule = pack.rule(rule_id)
        if rule.conclude.kind in ("trigger", "stop", "caution", "advice"):
            yield f"{rule.conclude.kind}: {says} [{rule_id}]" + (f" ({rule.said})" if rule.said != "at once" else "")


def _fired(conclusions: Conclusions, pack: Pack) -> Iterator[tuple[str, str, str]]:
    for one in conclusions.outcome.firings:
        rule = pack.rule(one.rule)
        yield rule.id, one.where, sentence(fill(rule.say or rule.title, one.where, one.value))
