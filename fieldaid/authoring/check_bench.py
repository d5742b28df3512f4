"""What checks look at: a pack as far as it could be read, and where each field of each rule stands."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from fieldaid.errors import Finding
from fieldaid.facts.situation import Situation
from fieldaid.guidance.examples import RanExample, run_examples, wrong_examples
from fieldaid.guidance.loader import Examined, examine
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import Pack, Rule
from fieldaid.guidance.reference import Reference
from fieldaid.guidance.yaml_nodes import Node


class Bench:
    """One pack on the bench, with its overlay laid over it when there is one."""

    def __init__(self, folder: Path, overlay: Path | None = None) -> None:
        from fieldaid.workings.computed import COMPUTED

        self.folder, self.overlay = folder, overlay
        self.examined: Examined = examine(folder, [overlay] if overlay else [], COMPUTED)
        self._nodes = {(node.file, node.line): node for one in self.examined.folders for node in one.rules}

    @property
    def pack(self) -> Pack:
        return self.examined.pack

    @property
    def rules(self) -> tuple[Rule, ...]:
        """Every rule that was read and is not retired."""
        return tuple(rule for rule in self.pack.rules if rule.status != "retired")

    @functools.cached_property
    def logic(self):
        """Exact reasoning about the pack (`check_logic.Logic`)."""
        from fieldaid.authoring.check_logic import Logic

        logic = Logic(self.pack)
        for one in self.ran:
            # Computed facts given outright may stand together as no working would give them.
            if not one.example.computed:
                logic.take_for_possible(one.outcome)
        return logic

    @functools.cached_property
    def ran(self) -> list[RanExample]:
        """The rules' own situations through the reference channel, each situation run once."""
        return run_examples(self.pack, _Remembering(self.pack))

    @functools.cached_property
    def examples(self) -> list[Finding]:
        """What the rules' own situations do other than they say."""
        return wrong_examples(self.pack, self.ran)

    def node(self, rule: Rule, field: str = "") -> Node | None:
        """The node of a rule's field; the rule's own when it lacks the field."""
        node = self._nodes.get((rule.file, rule.line))
        if node is not None and isinstance(node.value, dict) and field in node.value:
            return node.value[field].node
        return node

    def finding(self, code: str, rule: Rule, field: str, message: str, hint: str = "") -> Finding:
        """A finding at a rule's field."""
        node = self.node(rule, field)
        file, line, column = (node.file, node.line, node.column) if node else (rule.file, rule.line, rule.column)
        return Finding(file, line, column, code, f"rule {rule.id}: {message}", hint)

    def entries(self, name: str) -> Iterator[tuple[str, Node]]:
        """(id, node of the id) of each entry of sources, parameters or derived, of the base and the overlay."""
        for folder in self.examined.folders:
            for node in folder.lists[name]:
                if isinstance(node.value, dict) and "id" in node.value:
                    one = node.value["id"].node
                    yield str(one.value), one


class _Remembering:
    """The reference channel, each situation run once: many rules carry the same one."""

    def __init__(self, pack: Pack) -> None:
        self._reference = Reference(pack)
        self._known: dict[str, Outcome] = {}

    def run(self, situation: Situation, computed: Mapping[str, Any]) -> Outcome:
        key = repr((sorted(situation.values.items()), sorted(situation.basis.items()), sorted(computed.items())))
        if key not in self._known:
            self._known[key] = self._reference.run(situation, computed)
        return self._known[key]


def place(file: str, line: int) -> str:
    """How a finding points at another place."""
    return f"{Path(file).name}:{line}"


def named(rules: list[Rule] | tuple[Rule, ...]) -> str:
    """Rules with their places: `DECK-010 (30_leaving.yaml:3) and …`."""
    return " and ".join(f"{rule.id} ({place(rule.file, rule.line)})" for rule in rules)
