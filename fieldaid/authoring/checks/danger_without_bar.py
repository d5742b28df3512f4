"""F704: a leave-class danger under which the roof stays open."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.authoring.check_situations import smallest
from fieldaid.errors import Finding
from fieldaid.guidance.pack import ACCESS, Rule

PAGE = Page(
    "F704", "a leave-class danger that bars nothing", "error",
    avoid="A `trigger` under which access can still come out as aerial only, ladder tip only or no bar reported.",
    prefer="An access rule on `trigger: known` that concludes leave now on the roof and stay off elsewhere.",
    why="\"Leave now\" and \"no bar reported\" in one breath contradict each other. The check is exact and shows the "
        "smallest situation it found.")
_OPEN = ("aerial only", "ladder tip only", "no bar reported")


def find(bench: Bench) -> Iterable[Finding]:
    for rule in bench.rules:
        if not rule.live or rule.conclude.kind != "trigger":
            continue
        for word in _OPEN:
            atoms = [bench.logic.fires(rule), f"access({ACCESS.index(word)})"]
            if not bench.logic.possible(atoms):
                continue

            def both(outcome, rule: Rule = rule, word: str = word) -> bool:
                return outcome.access == word and any(firing.rule == rule.id for firing in outcome.firings)

            shown = smallest(bench, both, atoms, [rule, *(one for one in bench.rules if one.conclude.name == word)])
            where = f"in the situation {shown}" if shown else "unless the workings keep them apart: none was found"
            found = bench.finding(PAGE.code, rule, "conclude", f"access stays {word} while its trigger stands {where}",
                                  "bar access while any trigger is known")
            yield found if shown else replace(found, severity="warning")
            break


CHECK = Check(PAGE, find, spreads=True)
