"""F761: an `unless` that none of the rule's silent situations shows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding
from fieldaid.guidance.examples import situation_of
from fieldaid.guidance.reference import Reference, compile_rule

PAGE = Page(
    "F761", "an exception that no situation shows", "style",
    avoid="A rule with `unless` whose silent situations would be silent without it.",
    prefer="Add a situation under `silent` in which all of `when` holds and `unless` keeps the rule quiet.",
    why="Without it the exception could be taken out, or spelt wrong, and no situation would notice.")


def find(bench: Bench) -> Iterable[Finding]:
    reference = Reference(bench.pack)
    for compiled in [one for stratum in reference.strata.values() for one in stratum if one.rule.unless is not None]:
        rule, stratum = compiled.rule, reference.strata[compiled.rule.stratum]
        at = stratum.index(compiled)
        stratum[at] = compile_rule(replace(rule, unless=None))
        shown = any(any(firing.rule == rule.id for firing in reference.run(*situation_of(one, bench.pack)).firings)
                    for one in rule.silent)
        stratum[at] = compiled
        if not shown:
            yield bench.finding(PAGE.code, rule, "unless", "no silent situation shows its unless",
                                "add one in which everything under when holds")


CHECK = Check(PAGE, find)
