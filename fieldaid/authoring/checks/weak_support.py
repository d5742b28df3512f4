"""F731: a derived name that frees something rests on sources that may not carry a loosening."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding
from fieldaid.guidance.checks import WEAK_KINDS
from fieldaid.guidance.conditions import All, Condition
from fieldaid.guidance.pack import Rule

PAGE = Page(
    "F731", "a weak source that frees something by a detour", "error",
    avoid="A derive rule that rests on a flash card, a forum, a video, memory or common practice alone, and whose name "
          "then helps to conclude that access or gate is free, or keeps a bar or hold silent.",
    prefer="One published source of certainty A or B behind it.",
    why="A loosening needs more than a tightening. Without this check the weak source would hide one rule further up.")
FREEING = ("no bar reported", "no hold reported", "ladder tip only", "aerial only")
_BARRING = ("hazards", "access", "gate")


def find(bench: Bench) -> Iterable[Finding]:
    live = [rule for rule in bench.rules if rule.live]
    freeing = _freeing_names(live)
    for rule in live:
        names = [name for name, value in rule.conclude.derived if (name, value) in freeing or (name, "") in freeing]
        if names and not _carries(bench, rule):
            yield bench.finding(PAGE.code, rule, "source",
                                f"{', '.join(names)} frees something ({freeing_because(live, names[0])}), and none of "
                                "its sources can carry that", "name one published source of certainty A or B")


def _freeing_names(rules: list[Rule]) -> set[tuple[str, str]]:
    """(name, value) of what helps to free something; value "" for any value."""
    found: set[tuple[str, str]] = set()
    for rule in rules:
        if rule.conclude.name in FREEING:
            found |= _tested(rule.when, "positive")
        if rule.stratum in _BARRING and rule.conclude.name not in FREEING and rule.unless is not None:
            found |= _tested(rule.unless, "positive")
        if rule.stratum in _BARRING and rule.conclude.name not in FREEING:
            found |= _tested(rule.when, "unknown")
    while True:
        more = {pair for rule in rules if any((name, value) in found or (name, "") in found
                                              for name, value in rule.conclude.derived)
                for pair in _tested(rule.when, "positive")}
        if more <= found:
            return found
        found |= more


def _tested(one: All, how: str) -> set[tuple[str, str]]:
    return {(part.key, str(value)) for part in one.conditions() if _fits(part, how)
            for value in (part.values or ("",))}


def _fits(one: Condition, how: str) -> bool:
    return one.scope == "derived" and (one.test == "unknown") == (how == "unknown")


def freeing_because(rules: list[Rule], name: str) -> str:
    """The first rule that the name helps to free something by."""
    for rule in rules:
        if rule.conclude.name in FREEING and any(one.key == name for one in rule.when.conditions()):
            return f"{rule.id} concludes {rule.conclude.name} with it"
        if rule.unless is not None and any(one.key == name for one in rule.unless.conditions()):
            return f"it silences {rule.id}"
        if any(one.key == name and one.test == "unknown" for one in rule.when.conditions()):
            return f"without it {rule.id} would hold"
    return "by way of another derived name"


def _carries(bench: Bench, rule: Rule) -> bool:
    found = [bench.pack.sources[one] for one in rule.source if one in bench.pack.sources]
    return any(one.kind not in WEAK_KINDS and one.certainty != "C" for one in found)


CHECK = Check(PAGE, find)
