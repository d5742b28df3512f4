"""F722: a parameter held against a fact of another unit."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding
from fieldaid.facts.vocabulary import FACTS

PAGE = Page(
    "F722", "a parameter of another unit than the fact", "error",
    avoid="A fact in mph held against a parameter whose unit is ft.",
    prefer="A parameter in the unit of the fact: the vocabulary names it.",
    why="The comparison would run and be wrong without a sign of it.")


def find(bench: Bench) -> Iterable[Finding]:
    for rule in bench.rules:
        for one in rule.conditions:
            fact = FACTS.get(one.key) or bench.pack.computed.get(one.key)
            for bound in one.bounds:
                parameter = bench.pack.parameters.get(bound.parameter)
                if fact is not None and parameter is not None and parameter.unit != fact.unit:
                    yield Finding(rule.file, one.line, one.column, PAGE.code,
                                  f"rule {rule.id}: {one.key} is in {fact.unit or 'no unit'}, ${parameter.id} in "
                                  f"{parameter.unit}", "use a parameter of the fact's unit")


CHECK = Check(PAGE, find)
