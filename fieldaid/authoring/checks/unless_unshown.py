"""F761: an `unless` that none of the rule's silent situations shows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding
from fieldaid.guidance.examples import situation_of
from fieldaid.guidance.reference import Reference

PAGE = Page(
    "F761", "an exception that no situation shows", "style",
    avoid="A rule with `unless` whose silent situations would be silent without it.",
    prefer="Add a situation under `silent` in which all of `when` holds and `unless` keeps the rule quiet.",
    why="Without it the exception could be taken out, or spelt wrong, and no situation would notice.")


def find(bench: Bench) -> Iterable[Finding]:
    for rule in bench.rules:
        if not rule.live or rule.unless is None:
            continue
        without = replace(bench.pack, rules=tuple(
            replace(one, unless=None) if one is rule else one for one in bench.pack.rules))
        reference = Reference(without)
        if not any(any(firing.rule == rule.id for firing in reference.run(*situation_of(one, without)).firings)
                   for one in rule.silent):
            yield bench.finding(PAGE.code, rule, "unless", "no silent situation shows its unless",
                                "add one in which everything under when holds")


CHECK = Check(PAGE, find)
