"""F744: an overlay's line for a danger that leaves out the place or the value that the base's line says."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding
from fieldaid.guidance.words import placeholders

PAGE = Page(
    "F744", "a danger's line without its place or value", "warning",
    avoid="`changes.yaml` with `say` for a danger, a stop or a protected rule that drops {where} or {value}.",
    prefer="Keep every placeholder of the base's line; the words around it are the department's.",
    why="A crew that hears of a bad deck and not where does not know which way is off.")
KINDS = ("trigger", "stop")


def find(bench: Bench) -> Iterable[Finding]:
    if bench.overlay is None:
        return
    base = Bench(bench.folder).pack
    for folder in bench.examined.folders[1:]:
        for node in folder.lists["changes"]:
            if not isinstance(node.value, dict) or not {"rule", "say"} <= set(node.value):
                continue
            name, said = str(node.value["rule"].node.value), node.value["say"].node
            if name not in base or not isinstance(said.value, str):
                continue
            rule = base.rule(name)
            lost = sorted(placeholders(rule.say) - placeholders(said.value))
            if lost and (rule.protected or rule.conclude.kind in KINDS):
                left_out = " and ".join(f"{{{one}}}" for one in lost)
                yield said.finding(PAGE.code, f"the line of {name} leaves out {left_out}",
                                   f'the pack says "{rule.say}"; keep what stands in {{ }}')


CHECK = Check(PAGE, find, whole=False)
