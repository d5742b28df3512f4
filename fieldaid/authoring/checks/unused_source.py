"""F713: a source that no rule and no parameter rests on."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding

PAGE = Page(
    "F713", "a source that nothing rests on", "style",
    avoid="A row of sources.yaml that no rule and no parameter names.",
    prefer="Name it where it was meant, or take it out.",
    why="A long list of unused rows hides which ones the rules really rest on.")


def find(bench: Bench) -> Iterable[Finding]:
    used = {name for rule in bench.pack.rules for name in rule.source}
    used |= {name for one in bench.pack.parameters.values() for name in one.source}
    for name, node in bench.entries("sources"):
        if name in bench.pack.sources and name not in used:
            yield node.finding(PAGE.code, f"nothing rests on the source {name}", "name it in a rule, or take it out")


CHECK = Check(PAGE, find)
