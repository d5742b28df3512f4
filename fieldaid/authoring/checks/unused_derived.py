"""F711: a derived name, or one of its values, that no rule concludes or that no rule tests."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding
from fieldaid.guidance.conditions import Condition

PAGE = Page(
    "F711", "a derived name that nobody uses", "warning",
    avoid="A name in derived.yaml that no rule concludes, or that rules conclude and none tests; the same for a value.",
    prefer="Take it out, or write the rule that was meant to use it.",
    why="What is worked out and never used is often a rule that was forgotten, or a word spelt in two ways.")


def find(bench: Bench) -> Iterable[Finding]:
    live = [rule for rule in bench.rules if rule.live]
    concluded = {(name, value) for rule in live for name, value in rule.conclude.derived}
    tests: dict[str, list[Condition]] = {}
    for rule in live:
        for one in rule.conditions:
            if one.scope == "derived":
                tests.setdefault(one.key, []).append(one)
    for name, node in bench.entries("derived"):
        declared = bench.pack.derived.get(name)
        if declared is None:
            continue
        values = {value for one, value in concluded if one == name}
        if not values:
            yield node.finding(PAGE.code, f"no rule concludes {name}", "take it out, or conclude it in a derive rule")
        elif name not in tests:
            yield node.finding(PAGE.code, f"rules conclude {name}, and no rule tests it",
                               "take it and its rules out, or use it in a later stratum")
        elif not any(value.startswith("{") for value in values):
            for value in declared.values:
                if value not in values:
                    yield node.finding(PAGE.code, f"no rule concludes {name}: {value}", "take the value out")
                elif not any(_looks_at(one, value) for one in tests[name]):
                    yield node.finding(PAGE.code, f"rules conclude {name}: {value}, and no rule tests for it",
                                       "take the value and its rules out, or test for it")


def _looks_at(one: Condition, value: str) -> bool:
    return not one.values or value in one.values or one.test == "not"


CHECK = Check(PAGE, find)
