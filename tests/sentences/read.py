"""Reads the files of test sentences."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import yaml

from fieldaid.facts import check_value, fact

FOLDER = Path(__file__).resolve().parent


class Expected(NamedTuple):
    """A sentence and what it says: facts (with `basis` "guess" for guesses), or a command."""

    line: str
    facts: dict[str, Any]
    guesses: dict[str, Any]


def _data(node: yaml.Node) -> Any:
    """Plain data; a mapping whose keys are not plain text becomes a list of pairs."""
    if isinstance(node, yaml.MappingNode):
        pairs = [(_data(key), _data(value)) for key, value in node.value]
        return dict(pairs) if all(isinstance(key, (str, int, float)) for key, _ in pairs) else pairs
    if isinstance(node, yaml.SequenceNode):
        return [_data(item) for item in node.value]
    return yaml.SafeLoader("").construct_object(node) if isinstance(node, yaml.ScalarNode) else None


def load(name: str) -> Any:
    return _data(yaml.compose((FOLDER / name).read_text(encoding="utf-8"), Loader=yaml.SafeLoader))


def own() -> Iterator[Expected]:
    """The sentences of own.yaml that say facts, values checked against the vocabulary."""
    told = load("own.yaml")
    for name, values in told["single"].items():
        for value, lines in values.items() if isinstance(values, dict) else values:
            for line in lines:
                yield Expected(line, {name: check_value(name, _typed(name, value))}, {})
    for line, facts in told["several"]:
        yield Expected(line, checked(facts), {})
    for line, facts in told["guesses"]:
        yield Expected(line, {}, checked(facts))


def checked(facts: dict[str, Any]) -> dict[str, Any]:
    """The facts of a row with their values in the vocabulary's one written form."""
    return {name: check_value(name, _typed(name, value)) for name, value in facts.items()}


def _typed(name: str, value: Any) -> Any:
    return str(value) if fact(name).kind == "choice" else value
