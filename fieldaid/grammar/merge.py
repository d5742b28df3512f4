"""The readings of one line put together: each fact once."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fieldaid.facts import fact, same_value
from fieldaid.grammar.asking import Asking
from fieldaid.grammar.model import Ask, Reading


def merge(readings: list[Reading], asking: Asking) -> tuple[list[Reading], list[Ask]]:
    """Each fact of a line once. Places and ladders add up; of a fact that only gets worse the worst counts; two
    other values of one fact are a question and no fact. A guess never stands beside a fact."""
    by_name: dict[str, list[Reading]] = {}
    for one in readings:
        by_name.setdefault(one.name, []).append(one)
    found: list[Reading] = []
    asks: list[Ask] = []
    for name, same in by_name.items():
        sure = [one for one in same if one.basis != "guess"] or same
        value = _together(name, [one.value for one in sure])
        if value is None:
            asks.append(asking.between(name, [one.value for one in sure]))
            continue
        chosen = next((one for one in sure if one.value == value), sure[0])
        found.append(replace(chosen, value=value))
    return found, asks


def _together(name: str, values: list[Any]) -> Any:
    one = fact(name)
    if one.kind == "ladders":
        return _ladders([ladder for value in values for ladder in value])
    if all(value == values[0] for value in values):
        return values[0]
    if one.kind == "places":
        if "none" in values:
            return None
        return sorted({place for value in values for place in value}, key=one.values.index)
    if one.only_worse:
        return max(values, key=one.worse.index)
    if one.kind == "years" and all(same_value(one, values[0], value) for value in values):
        return next((value for value in values if isinstance(value, int)), values[0])
    return None


def _ladders(ladders: list[dict]) -> list[dict]:
    """"Two ladders, one at alpha": the ladder with a place is one of those without."""
    placed = [one for one in ladders if one["place"] != "unsaid"]
    unplaced = [one for one in ladders if one["place"] == "unsaid"]
    return placed + unplaced[len(placed):]
