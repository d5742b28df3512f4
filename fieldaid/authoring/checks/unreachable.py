"""F701: a rule that no situation can fire, with the fewest conditions that exclude each other."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench, named
from fieldaid.authoring.check_logic import Logic
from fieldaid.authoring.check_program import Part
from fieldaid.errors import Finding
from fieldaid.guidance.conditions import Condition
from fieldaid.guidance.pack import ACCESS, GATE, Rule

PAGE = Page(
    "F701", "a rule that can never fire", "error",
    avoid="Conditions that exclude each other, or a condition on a conclusion that another rule always takes away.",
    prefer="Take one of the two conditions out, or give each its own rule.",
    why="A rule that cannot fire looks like protection and is none. The check is exact: it goes through all values of "
        "all facts, and names the fewest conditions that cannot hold together.")


def find(bench: Bench) -> Iterable[Finding]:
    for rule in bench.rules:
        conflict = bench.logic.smallest_conflict(rule)
        if conflict is None:
            continue
        told = " and ".join(f"`{part.text}` (line {part.line})" for part in conflict)
        message = (f"it can never fire: {told} never hold{'s' if len(conflict) == 1 else ' together'}"
                   f"{_because(bench.logic, rule, conflict)}")
        yield Finding(rule.file, conflict[-1].line, conflict[-1].column, PAGE.code, f"rule {rule.id}: {message}",
                      "take one of them out, or make two rules of it" if len(conflict) > 1 else
                      "test for something that can be")


def _because(logic: Logic, rule: Rule, conflict: list[Part]) -> str:
    """Which earlier rule takes the conclusion away that one of the conditions waits for."""
    bodies = [part.body for part in conflict]
    for one in bodies:
        if isinstance(one, Condition) and one.key in ("access", "gate") and one.test == "is":
            order = ACCESS if one.key == "access" else GATE
            makers = [other for other in logic.rules if other.live and other.conclude.kind == one.key
                      and other.conclude.name in one.values]
            if not makers:
                return f": no rule concludes {' or '.join(map(str, one.values))}"
            weakest = max(order.index(str(value)) for value in one.values)
            winners = [other for other in logic.rules if other.live and other.conclude.kind == one.key
                       and order.index(other.conclude.name) < weakest and other.conclude.name not in one.values]
            held = [f"part({logic.number(rule)},{n})" for n, part in enumerate(logic.parts[rule.id])
                    if part in conflict and part.body is not one]
            cover = logic.smallest_cover(held, winners)
            if cover:
                return f": then {named(cover)} always win{'s' if len(cover) == 1 else ''}"
        if isinstance(one, Condition) and one.scope == "derived" and not any(
                name == one.key and (not one.values or value in one.values)
                for other in logic.rules if other.live for name, value in other.conclude.derived):
            return f": no rule concludes {one.key}"
    return ""


CHECK = Check(PAGE, find, spreads=True)
