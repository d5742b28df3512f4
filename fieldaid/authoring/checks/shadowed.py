"""F702: a rule that fires but never counts, because other rules always go before it."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench, named
from fieldaid.errors import Finding
from fieldaid.guidance.pack import ACCESS, GATE, Rule

PAGE = Page(
    "F702", "a rule that never changes anything", "warning",
    avoid="A rule whose conclusion is always overtaken by a stricter one, or that says again what another rule always "
          "concludes.",
    prefer="Take it out, or give it the situation in which it alone should count.",
    why="A shadowed rule is read and kept up as if it mattered. The check is exact and names the rules that always go "
        "first. A rule that is only needed for what it asks (`need`) is not reported.")


def find(bench: Bench) -> Iterable[Finding]:
    logic = bench.logic
    alike: dict[tuple, list[Rule]] = {}
    for rule in bench.rules:
        if rule.live:
            alike.setdefault(_seen(rule), []).append(rule)
    for rule in bench.rules:
        if not rule.live or not logic.possible([logic.fires(rule)]):
            continue
        if rule.conclude.kind in ("access", "gate") and not rule.conclude.need and _never_decides(bench, rule):
            order = ACCESS if rule.conclude.kind == "access" else GATE
            stricter = [one for one in bench.rules if one.live and one.conclude.kind == rule.conclude.kind
                        and order.index(one.conclude.name) < order.index(rule.conclude.name)]
            cover = logic.smallest_cover([logic.fires(rule)], stricter)
            whom = f": {named(cover)} always win{'s' if len(cover) == 1 else ''}" if cover else ""
            yield bench.finding(PAGE.code, rule, "conclude", f"its {rule.conclude.name} never counts{whom}",
                                "take it out, or narrow the other rule with unless")
        same = [one for one in alike[_seen(rule)] if one is not rule]
        if same and not logic.possible([logic.fires(rule)], [logic.fires(one) for one in same]):
            cover = logic.smallest_cover([logic.fires(rule)], same, most=4) or same
            yield bench.finding(PAGE.code, rule, "when",
                                f"whenever it fires, {named(cover)} conclude{'s' if len(cover) == 1 else ''} the same",
                                "take one of them out")


def _never_decides(bench: Bench, rule: Rule) -> bool:
    # After a no-go the gate is no opening whatever its rules say: that is no shadow.
    return not bench.logic.possible([bench.logic.decides(rule)])


def _seen(rule: Rule) -> tuple:
    """What a person sees of a rule that fired: with the same, nobody could tell which of two did."""
    return rule.stratum, rule.conclude, rule.say if rule.stratum != "derive" else ""


CHECK = Check(PAGE, find, spreads=True)
