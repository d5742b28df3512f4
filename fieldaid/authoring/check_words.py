"""Conditions in the pack's own words."""

from __future__ import annotations

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
