"""F743: an overlay that puts other words into a protected rule."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding

PAGE = Page(
    "F743", "a safety rule in other words", "style",
    avoid="`changes.yaml` with `say` for a protected rule, unless the department's own word for the danger is another.",
    prefer="Leave the words of a safety rule, or keep the name of the danger as the first word.",
    why="Crews train on these words, and the lines were checked against each other for how they sound.")


def find(bench: Bench) -> Iterable[Finding]:
    for folder in bench.examined.folders[1:]:
        for node in folder.lists["changes"]:
            if not isinstance(node.value, dict) or not {"rule", "say"} <= set(node.value):
                continue
            name = str(node.value["rule"].node.value)
            if name in bench.pack and bench.pack.rule(name).protected:
                yield node.value["say"].node.finding(PAGE.code, f"{name} is protected, and is said in other words here",
                                                     "keep the name of the danger as the first word")


CHECK = Check(PAGE, find, whole=False)
