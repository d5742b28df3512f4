"""F703: two placement rules that name different places, kinds or sizes in one situation."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import replace

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench, place
from fieldaid.authoring.check_situations import smallest
from fieldaid.errors import Finding
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import Rule

PAGE = Page(
    "F703", "two rules that contradict each other", "error",
    avoid="Two placement rules that may fire at once and name different places, kinds or sizes.",
    prefer="Say with `unless` in one of them when the other goes first.",
    why="Where two rules differ nothing is decided, and the officer hears no place at all. The check goes through all "
        "values and shows the smallest situation it found.")


def find(bench: Bench) -> Iterable[Finding]:
    rules = [rule for rule in bench.rules if rule.live and rule.stratum == "placement"]
    for one, other in itertools.combinations(rules, 2):
        what = _differ(one, other)
        if not what or not bench.logic.possible([bench.logic.fires(one), bench.logic.fires(other)]):
            continue

        def both(outcome: Outcome, one: Rule = one, other: Rule = other) -> bool:
            return {one.id, other.id} <= {firing.rule for firing in outcome.firings}

        shown = smallest(bench, both, [bench.logic.fires(one), bench.logic.fires(other)], [one, other])
        where = f"in the situation {shown}" if shown else "unless the workings keep them apart: none was found"
        found = bench.finding(PAGE.code, other, "conclude",
                              f"it names another {what} than {one.id} ({place(one.file, one.line)}) {where}",
                              "say with unless in one of them when the other goes first")
        yield found if shown else replace(found, severity="warning")


def _differ(one: Rule, other: Rule) -> str:
    for what, a, b in (("place", one.conclude.place, other.conclude.place),
                       ("kind", one.conclude.opening, other.conclude.opening),
                       ("size", one.conclude.size_ft, other.conclude.size_ft)):
        if a is not None and b is not None and a != b:
            return what
    return ""


CHECK = Check(PAGE, find, spreads=True)
