"""F603: a situation of a rule in which placement rules name different things."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding

PAGE = Page(
    "F603", "a situation in which placement is not decided", "error",
    avoid="Two placement rules that fire in one situation and name different places, kinds or sizes.",
    prefer="Say with `unless` in one of them when the other goes first.",
    why="Where they differ nothing is decided, and the officer hears no place.")


def find(bench: Bench) -> Iterable[Finding]:
    return (one for one in bench.examples if one.code == PAGE.code)


CHECK = Check(PAGE, find)
