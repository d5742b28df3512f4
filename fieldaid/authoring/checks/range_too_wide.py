"""F723: a parameter that a department may set beyond what the fact can be."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding
from fieldaid.facts.vocabulary import FACTS

PAGE = Page(
    "F723", "a parameter's range that goes beyond the fact", "error",
    avoid="A parameter from 5 to 300 mph, held against a wind that is told from 0 to 120.",
    prefer="low and high within the range of every fact that it is held against.",
    why="Set beyond the fact's range the rule could never fire, or would always, and the pack would load no more.")


def find(bench: Bench) -> Iterable[Finding]:
    said: set[tuple[str, str]] = set()
    at = dict(bench.entries("parameters"))
    for rule in bench.rules:
        for one in rule.conditions:
            fact = FACTS.get(one.key) or bench.pack.computed.get(one.key)
            for bound in one.bounds:
                parameter = bench.pack.parameters.get(bound.parameter)
                if fact is None or parameter is None or fact.low is None or fact.high is None:
                    continue
                outside = parameter.low < fact.low or parameter.high > fact.high
                if outside and (parameter.id, one.key) not in said and parameter.id in at:
                    said.add((parameter.id, one.key))
                    yield at[parameter.id].finding(
                        PAGE.code, f"{parameter.id} may be set from {parameter.low:g} to {parameter.high:g}, while "
                        f"{one.key} runs from {fact.low:g} to {fact.high:g} {fact.unit}",
                        "narrow low and high")


CHECK = Check(PAGE, find)
