"""F705: derived names that wait for each other."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench, place
from fieldaid.errors import Finding
from fieldaid.guidance.pack import Rule

PAGE = Page(
    "F705", "rules that lean on each other in a circle", "warning",
    avoid="A derive rule that tests a name which, by way of other rules, is concluded from its own.",
    prefer="Test told facts where the circle closes.",
    why="In a circle each rule waits for the others. It only ever starts from outside, so one of its links says "
        "nothing, and a reader cannot tell which.")


def find(bench: Bench) -> Iterable[Finding]:
    rules = [rule for rule in bench.rules if rule.live and rule.stratum == "derive"]
    leans = {rule.id: [other for other in rules if _feeds(other, rule)] for rule in rules}
    seen: set[frozenset[str]] = set()
    for rule in rules:
        circle = _circle(rule, leans)
        if circle and frozenset(one.id for one in circle) not in seen:
            seen.add(frozenset(one.id for one in circle))
            chain = " <- ".join(f"{one.id} ({place(one.file, one.line)})" for one in [*circle, circle[0]])
            yield bench.finding(PAGE.code, rule, "when", f"it leans on itself: {chain}",
                                "test told facts in one of these rules")


def _feeds(giver: Rule, taker: Rule) -> bool:
    """Whether a conclusion of `giver` can make a condition of `taker` hold."""
    return any(one.scope == "derived" and one.key == name and (not one.values or value in one.values or "{" in value)
               for name, value in giver.conclude.derived for one in taker.when.conditions())


def _circle(start: Rule, leans: dict[str, list[Rule]]) -> list[Rule]:
    """The shortest way from a rule over those it leans on back to itself."""
    ways = [[start]]
    met: set[str] = set()
    while ways:
        way = ways.pop(0)
        for one in leans[way[-1].id]:
            if one is start:
                return way
            if one.id not in met:
                met.add(one.id)
                ways.append([*way, one])
    return []


CHECK = Check(PAGE, find, spreads=True)
