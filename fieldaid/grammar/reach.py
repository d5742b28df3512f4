"""What the slots and templates can mean: every value of a slot, every (fact, value) of a template."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from fieldaid.grammar.numbers import number_source
from fieldaid.grammar.outputs import Output, fill, slot_names, tellings
from fieldaid.grammar.template import Tree, slots


class Reach:
    """The values that the lists of a grammar can give. Remembers what it found."""

    def __init__(self, lists: dict[str, list[tuple[Tree, int]]], outputs: list[Output]) -> None:
        self.lists, self.outputs = lists, outputs
        self._known: dict[str, list[Any]] = {}
        self._seen: set[tuple] = set()

    def values(self, source: str) -> list[Any]:
        """The values a slot can have; of numbers only the two ends."""
        if source in self._known:
            return self._known[source]
        if rows := number_source(source):
            return [rows[0][1], rows[-1][1]]
        found: list[Any] = []
        for tree, output in self.lists.get(source, ()):
            spec = self.outputs[output].value
            names = [inner for inner in slots(tree) if inner.name in slot_names(spec)]
            for row in itertools.product(*(self.values(inner.source) for inner in names)):
                value = fill(spec, {inner.name: one for inner, one in zip(names, row, strict=True)})
                if value not in found:
                    found.append(value)
        self._known[source] = found
        return found

    def tellings(self, tree: Tree, output: Output) -> Iterator[tuple[str, Any]]:
        """Every (fact, value) that a template can give and no template before it gave.

        Raises
        ------
        FactError, ValueError : one of them is not in the vocabulary
        """
        there = {slot.name: slot for slot in slots(tree)}
        for name, value in output.tells:
            used = [one for one in there if one in slot_names([name, value])]
            kind = (name, str(value), tuple((there[one].source, there[one].many) for one in used))
            if kind in self._seen:
                continue
            self._seen.add(kind)
            alone = replace(output, tells=((name, value),))
            for row in itertools.product(*(self.values(there[one].source) for one in used)):
                yield from tellings(alone, dict(zip(used, row, strict=True)))
