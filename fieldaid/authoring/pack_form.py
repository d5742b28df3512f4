"""Conditions, values and situations as a pack writes them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldaid.guidance.conditions import All, AnyOf, Condition


def show(one: Condition | AnyOf | All) -> str:
    """A condition in the pack's own words: `roof.form: [gable, hip]`."""
    if isinstance(one, All):
        return ", ".join(show(part) for part in one.parts)
    if isinstance(one, AnyOf):
        return "any of " + " | ".join(show(alternative) for alternative in one.alternatives)
    values = ", ".join(f"{value:g}" if isinstance(value, float) else str(value) for value in one.values)
    listed = f"[{values}]" if len(one.values) > 1 else values
    match one.test:
        case "is":
            text = listed
        case "not":
            text = f"{{not: {listed}}}"
        case "has":
            text = f"{{has: {listed}}}"
        case "range":
            text = "{" + ", ".join(
                f"{bound.kind}: {'$' + bound.parameter if bound.parameter else format(bound.number, 'g')}"
                for bound in one.bounds) + "}"
        case _:
            text = one.test
    if one.basis:
        text = f"{{is: {text}, basis: [{', '.join(one.basis)}]}}"
    return f"{one.key}: {text}"


def written(facts: Mapping[str, Any], basis: Mapping[str, str]) -> str:
    """`{deck.C: solid, basis: {deck.C: struck}}`."""
    parts = [f"{name}: {flow(value)}" for name, value in facts.items()]
    how = [f"{name}: {one}" for name, one in basis.items() if one != "told"]
    return "{" + ", ".join([*parts, *(["basis: {" + ", ".join(how) + "}"] if how else [])]) + "}"


def flow(value: Any) -> str:
    """A value as YAML on one line, quoted where it must be."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {flow(one)}" for key, one in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(flow, value)) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str) and (not value or value[0] in "\"'[]{}>|*&!%@`#-?:," or ": " in value or " #" in value
                                   or any(char in value for char in "{}[],")):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return f"{value:g}" if isinstance(value, float) else str(value)
