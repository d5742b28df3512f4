"""F741: a retired rule that does not say why."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding

PAGE = Page(
    "F741", "a retired rule without a reason", "warning",
    avoid="`status: retired` and nothing more.",
    prefer="`retired_because:` with one sentence; in an overlay `retire:` with the reason.",
    why="The next reader would bring the rule back, or would not dare to.")


def find(bench: Bench) -> Iterable[Finding]:
    for rule in bench.pack.rules:
        if rule.status == "retired" and not rule.retired_because:
            yield bench.finding(PAGE.code, rule, "status", "it is retired without a reason",
                                "write retired_because with one sentence")


CHECK = Check(PAGE, find, whole=False)
