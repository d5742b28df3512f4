"""F721: a threshold written as a bare number instead of a named parameter."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding
from fieldaid.facts.vocabulary import FACTS

PAGE = Page(
    "F721", "a threshold without name, unit and source", "warning",
    avoid="`wind.mph: {at_least: 12}`: a bare number that a rule compares a measure with.",
    prefer="`wind.mph: {at_least: $wind_caution_mph}`, with unit, default, range and source in parameters.yaml.",
    why="A bare number has no unit, no source and no range, and a department cannot set it. Counts of whole things "
        "(members, ways, layers, stories) and zero may stand as they are.")
_COUNTS = ("members", "ways", "layers", "stories")


def find(bench: Bench) -> Iterable[Finding]:
    for rule in bench.rules:
        for one in rule.conditions:
            fact = FACTS.get(one.key) or bench.pack.computed.get(one.key)
            unit = fact.unit if fact else ""
            for bound in one.bounds:
                if not bound.parameter and bound.number and unit not in _COUNTS:
                    yield Finding(rule.file, one.line, one.column, PAGE.code,
                                  f"rule {rule.id}: {one.key} is held against the bare number "
                                  f"{bound.number:g} ({unit})",
                                  "name it in parameters.yaml with unit, range and source, and write $name here")


CHECK = Check(PAGE, find)
