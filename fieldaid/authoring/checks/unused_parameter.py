"""F712: a parameter that neither a rule nor the program reads."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding

PAGE = Page(
    "F712", "a parameter that nobody reads", "warning",
    avoid="A threshold in parameters.yaml that no rule names with $ and no calculation reads.",
    prefer="Name it in the rule it was meant for, or take it out.",
    why="A department would set it and believe that something changed.")
# Read by `fieldaid.workings.computed`.
READ_BY_THE_PROGRAM = ("air_low_fraction", "air_low_minutes", "notice_minutes")


def find(bench: Bench) -> Iterable[Finding]:
    used = {bound.parameter for rule in bench.rules for one in rule.conditions for bound in one.bounds}
    for name, node in bench.entries("parameters"):
        if name in bench.pack.parameters and name not in used and name not in READ_BY_THE_PROGRAM:
            yield node.finding(PAGE.code, f"nobody reads the parameter {name}",
                               f"write ${name} where the number was meant, or take it out")


CHECK = Check(PAGE, find)
