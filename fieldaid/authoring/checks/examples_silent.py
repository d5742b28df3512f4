"""F602: a situation in which a rule must be silent and fires."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding

PAGE = Page(
    "F602", "a rule that is not silent where it says", "error",
    avoid="A situation under `silent` in which every condition holds.",
    prefer="Narrow the rule with another condition or `unless`, or mend the situation.",
    why="A rule that fires where its author says it must not has gone wider than it was meant.")


def find(bench: Bench) -> Iterable[Finding]:
    return (one for one in bench.examples if one.code == PAGE.code)


CHECK = Check(PAGE, find)
