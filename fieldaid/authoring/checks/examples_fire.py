"""F601: a situation in which a rule must fire and does not."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding

PAGE = Page(
    "F601", "a rule that does not fire where it says", "error",
    avoid="A situation under `fires` in which a condition does not hold, or `unless` does.",
    prefer="Mend the rule or the situation; the hint names the conditions that did not hold.",
    why="The situation is the rule's own proof. If it does not fire there, nobody knows where it does.")


def find(bench: Bench) -> Iterable[Finding]:
    return (one for one in bench.examples if one.code == PAGE.code)


CHECK = Check(PAGE, find)
