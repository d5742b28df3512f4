"""Sentences that the grammar allows, with their facts, drawn at random: for tests and for making speech."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

from fieldaid.errors import FactError
from fieldaid.grammar.load import Loaded, values_of
from fieldaid.grammar.numbers import number_source
from fieldaid.grammar.outputs import Output, Values, fill, tellings
from fieldaid.grammar.template import Choice, Row, Slot, Tree, Word


def sentences(loaded: Loaded, seed: int, n: int) -> Iterator[tuple[str, dict[str, Any]]]:
    """`n` sentences of one to three phrases of kind "facts" joined by commas; facts named twice are drawn again."""
    rng = random.Random(seed)
    draw = Draw(loaded, rng)
    made = 0
    while made < n:
        words: list[str] = []
        meaning: dict[str, Any] = {}
        for _ in range(rng.choice((1, 1, 2, 3))):
            text, told = draw.phrase()
            if told and not set(told) & set(meaning):
                words.append(text)
                meaning.update(told)
        if words:
            made += 1
            yield ", ".join(words), meaning


class Draw:
    """Draws single phrases and their facts."""

    def __init__(self, loaded: Loaded, rng: random.Random) -> None:
        self.loaded, self.rng = loaded, rng
        self.values: Values = values_of(loaded)
        self.facts = [(tree, output) for tree, output in loaded.trees if loaded.outputs[output].kind == "facts"]

    def phrase(self) -> tuple[str, dict[str, Any]]:
        tree, output = self.rng.choice(self.facts)
        return self.of(tree, self.loaded.outputs[output])

    def of(self, tree: Tree, output: Output) -> tuple[str, dict[str, Any]]:
        """One way to say a template, and its facts."""
        env: dict[str, Any] = {}
        text = " ".join(self._say(tree, env).split())
        try:
            told = tellings(output, env)
            return text, dict(told) if len({name for name, _ in told}) == len(told) else {}
        except (FactError, ValueError):
            return text, {}

    def _say(self, tree: Tree, env: dict[str, Any]) -> str:
        if isinstance(tree, Word):
            return tree.text
        if isinstance(tree, Row):
            return " ".join(self._say(item, env) for item in tree.items)
        if isinstance(tree, Choice):
            if tree.optional and self.rng.random() < 0.5:
                return ""
            return self._say(self.rng.choice(tree.items), env)
        return self._slot(tree, env)

    def _slot(self, slot: Slot, env: dict[str, Any]) -> str:
        text, value = self._value(slot.source)
        if slot.name in env:
            value = [*(env[slot.name] if isinstance(env[slot.name], list) else [env[slot.name]]), value]
        if slot.many and self.rng.random() < 0.3:
            more, second = self._value(slot.source)
            if second != value:
                text, value = f"{text} and {more}", [value, second]
        env[slot.name] = value
        return text

    def _value(self, source: str) -> tuple[str, Any]:
        rows = number_source(source)
        if rows:
            return self.rng.choice(rows)
        tree, output = self.rng.choice(self.loaded.lists[source])
        inner: dict[str, Any] = {}
        text = self._say(tree, inner)
        return text, fill(self.loaded.outputs[output].value, inner)
