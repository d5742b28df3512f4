"""F742: a rule that frees something and is not settled."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding
from fieldaid.guidance.checks import LOOSENING

PAGE = Page(
    "F742", "a draft or trial rule that loosens", "warning",
    avoid="`status: trial` or `draft` on a rule that concludes no bar reported or no hold reported.",
    prefer="Try out bars, holds and cautions; let a rule that frees something be reviewed and made stable first.",
    why="A trial rule takes part in every answer. A bar too many costs a minute; a freedom too many can cost a life.")


def find(bench: Bench) -> Iterable[Finding]:
    for rule in bench.rules:
        if rule.status in ("draft", "trial") and rule.conclude.name in LOOSENING:
            takes_part = "takes part and " if rule.live else ""
            yield bench.finding(PAGE.code, rule, "status",
                                f"a {rule.status} rule {takes_part}concludes {rule.conclude.name}",
                                "have it reviewed and make it stable, or retire it with a reason")


CHECK = Check(PAGE, find, whole=False)
