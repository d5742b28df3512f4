"""Checks that need the whole pack: sources, loosening, protection, invariants, repeated ids.

Findings
--------
F302 an id used twice              F305 no such source        F309 a weak source carries a loosening conclusion
F311 no such invariant or rule     F312 a protected rule that takes no part
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from fieldaid.errors import Finding
from fieldaid.guidance.fields import nearest
from fieldaid.guidance.pack import COMMON_PRACTICE, FROM_MEMORY, Invariant, Rule, Source

ADD_SOURCE = "add it to sources.yaml, or name a row that is there"
WEAK_KINDS = ("card", "forum", "video")
LOOSENING = ("no bar reported", "no hold reported")
# Where an invariant may be enforced when it is no rule.
PLACES = ("dialogue", "loader", "placement")


def check_rules(rules: Iterable[Rule], sources: Mapping[str, Source],
                invariants: Iterable[Invariant]) -> list[Finding]:
    """Everything wrong with rules that are each readable."""
    rules, numbers = list(rules), {one.number for one in invariants}
    findings: list[Finding] = []
    first: dict[str, Rule] = {}
    for rule in rules:
        def report(code: str, message: str, hint: str, rule: Rule = rule) -> None:
            findings.append(Finding(rule.file, rule.line, rule.column, code, f"rule {rule.id}: {message}", hint))

        if rule.id in first:
            other = first[rule.id]
            report("F302", "this id is taken", f"{other.file}:{other.line} has it; ids are never used again")
        first.setdefault(rule.id, rule)
        for source in unknown_sources(rule.source, sources):
            report("F305", f"no source is called {source}", nearest(source, sources, ADD_SOURCE))
        if rule.conclude.name in LOOSENING and _is_weak(rule.source, sources):
            report("F309", f"its sources cannot carry {rule.conclude.name}: each is a card, a forum, a video, from "
                   "memory, without a source, or of certainty C", "name one published source of certainty A or B")
        if rule.protected and not rule.live:
            report("F312", f"a protected rule cannot be {rule.status}", "make it stable, or take protected away")
        for number in rule.invariants:
            if number not in numbers:
                report("F311", f"there is no invariant {number}", "see invariants.yaml")
    return findings


def unknown_sources(named: Iterable[str], sources: Mapping[str, Source]) -> list[str]:
    return [one for one in named if one not in sources and one not in (COMMON_PRACTICE, FROM_MEMORY)]


def _is_weak(named: Iterable[str], sources: Mapping[str, Source]) -> bool:
    """Whether no source named is a publication that can carry a loosening conclusion."""
    found = [sources[one] for one in named if one in sources]
    return not any(one.kind not in WEAK_KINDS and one.certainty != "C" for one in found)
