"""Errors of a calculation whose inputs do not fit: a shape that cannot be, or a value outside a formula's range."""

from __future__ import annotations

from fieldaid.errors import WrongUse


class ImpossibleShape(WrongUse):
    """Measures that do not make a roof. `where` names the dimension that is off."""


class OutsideLimits(WrongUse):
    """An input lies outside the range in which the calculation holds; it gives no number there."""


def within(name: str, value: float, low: float, high: float, unit: str, why: str) -> float:
    """`value` if it lies in [low, high] (all in `unit`).

    Raises
    ------
    OutsideLimits : it does not, or is not a number; says the range and why it ends there
    """
    if not low <= value <= high:
        after = f" {unit}" if unit else ""
        raise OutsideLimits(f"{value:g}{after} is outside its limits", where=name, why=why,
                            next_step=f"give {low:g} to {high:g}{after}")
    return value
