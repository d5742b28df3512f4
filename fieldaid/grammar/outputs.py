"""What the end of a template means, and how the values of its slots enter the meaning."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from fieldaid.facts import check_value, fact, split_section

Kind = Literal["value", "facts", "command", "modifier", "ask", "answer", "filler"]
_SLOT = re.compile(r"\{(\w+)\}")
_MISSING = object()


@dataclass(frozen=True)
class Output:
    """The meaning of one template or list value.

    Attributes
    ----------
    kind : what sort of thing was said
    value : a value with slots in braces (kind "value")
    tells : (fact name, value) pairs, both with slots in braces (kind "facts")
    extra : the other keys: command, command_fact, about, basis, who, section, guess, asks, answer …
    file, line, column : where it is written
    text : the template as written
    """

    kind: Kind
    value: Any = None
    tells: tuple[tuple[str, Any], ...] = ()
    extra: Mapping[str, Any] = field(default_factory=dict)
    file: str = ""
    line: int = 0
    column: int = 0
    text: str = ""

    def same_meaning(self, other: Output) -> bool:
        return (self.kind, self.value, self.tells, dict(self.extra)) == (
            other.kind, other.value, other.tells, dict(other.extra))


def fill(spec: Any, env: Mapping[str, Any]) -> Any:
    """`spec` with its slots replaced; `_MISSING` inside a mapping drops the key, elsewhere the whole."""
    if isinstance(spec, str):
        whole = _SLOT.fullmatch(spec)
        if whole:
            return env.get(whole[1], _MISSING)
        names = _SLOT.findall(spec)
        if not names:
            return spec
        if any(name not in env for name in names):
            return _MISSING
        choices = [env[name] if isinstance(env[name], list) else [env[name]] for name in names]
        rows = [_SLOT.sub(lambda match, row=row: str(row[match[1]]), spec)
                for row in (dict(zip(names, values, strict=True)) for values in itertools.product(*choices))]
        return rows if len(rows) > 1 else rows[0]
    if isinstance(spec, dict):
        filled = {key: fill(value, env) for key, value in spec.items()}
        return {key: value for key, value in filled.items() if value is not _MISSING}
    if isinstance(spec, list):
        return [fill(value, env) for value in spec]
    return spec


def tellings(output: Output, env: Mapping[str, Any]) -> list[tuple[str, Any]]:
    """(fact, checked value) of a template of kind "facts" whose slots have these values.

    Raises
    ------
    FactError : a fact or value is not in the vocabulary
    """
    found = []
    for name_spec, value_spec in output.tells:
        names, value = fill(name_spec, env), fill(value_spec, env)
        if names is _MISSING or value is _MISSING:
            continue
        for name in names if isinstance(names, list) else [names]:
            found.append((name, check_value(name, as_kind(name, value))))
    return found


def as_kind(name: str, value: Any) -> Any:
    """A value as the kind of fact wants it: text to number, one place to a list of places, a ladder to a list."""
    kind = fact(name).kind
    if kind == "number" and isinstance(value, str):
        return float(value)
    if kind == "years" and isinstance(value, str) and value.isdigit():
        return int(value)
    if kind == "places" and value != "none":
        return value if isinstance(value, list) else [value]
    if kind == "air" and isinstance(value, str):
        key, _, told = value.partition(" ")
        return {key: told if key == "low" else float(told)}
    if kind == "ladders" and (isinstance(value, str) or isinstance(value, list) and isinstance(value[0], str)):
        return [{"place": place} for place in ([value] if isinstance(value, str) else value)]
    if kind == "ladders":
        return [one for ladder in (value if isinstance(value, list) else [value]) for one in _each_place(ladder)]
    if kind == "air" and isinstance(value, dict):
        return {key: float(told) if key != "low" and isinstance(told, str) else told for key, told in value.items()}
    return value


def _each_place(ladder: dict) -> Iterable[dict]:
    places = ladder.get("place", "unsaid")
    for place in places if isinstance(places, list) else [places]:
        yield {**ladder, "place": place}


def base_of(name: str) -> str:
    return split_section(name)[0]


def slot_names(spec: Any) -> set[str]:
    """The slots that a value or name uses."""
    if isinstance(spec, str):
        return set(_SLOT.findall(spec))
    if isinstance(spec, dict):
        return {name for value in spec.values() for name in slot_names(value)}
    if isinstance(spec, (list, tuple)):
        return {name for value in spec for name in slot_names(value)}
    return set()


class Values:
    """The value of a slot reading, from the outputs."""

    def __init__(self, outputs: list[Output], plain: list[Any]) -> None:
        self.outputs, self.plain = outputs, plain

    def env(self, slots: tuple) -> dict[str, Any]:
        """{slot name: value}; a slot read more than once becomes a list."""
        found: dict[str, Any] = {}
        for name, output, inner, _, _ in slots:
            value = self.value(output, inner)
            if name in found:
                value = [*(found[name] if isinstance(found[name], list) else [found[name]]), value]
            found[name] = value
        return found

    def value(self, output: int, inner: tuple) -> Any:
        """The value that a sub-network's output stands for; negative outputs are plain values of numbers."""
        if output < 0:
            return self.plain[-output - 1]
        return fill(self.outputs[output].value, self.env(inner))
