"""Charring, panels and the strength left in a rafter. For teaching only: nothing here enters advice.

All times are of standard furnace exposure. A fireground exposure starts at an unknown time, protected or not, and what
falls first is often a nail plate or a joint. No equation turns a look at a roof into minutes left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fieldaid.workings.limits import within

MM = 1e-3
INCH = 0.0254
# EN 1995-1-2 table 3.1, notional charring of softwood of 290 kg/m3 or more [mm/min], as a public implementation has it.
NOTIONAL_SOFTWOOD = 0.8
# Panels: rate at 450 kg/m3 and 20 mm [mm/min]. EN 1995-1-2 table 3.1; the figures are from memory.
PANELS = {"plywood": 1.0, "osb": 0.9, "board": 0.9}
PANEL_DENSITY = {"plywood": 500.0, "osb": 600.0, "board": 450.0}


@dataclass(frozen=True)
class Section:
    """What is left of a member charred from the two sides and below: breadth, depth [m], bending capacity [N m]."""

    breadth: float
    depth: float
    capacity: float


def char_nds(seconds: float) -> float:
    """Char depth [m] of NDS 16.2 / TR10: 1.5 t^0.813 in, t in hours; without the zero-strength layer.

    >>> round(char_nds(3600) / INCH, 2), round(char_nds(600) / INCH, 2)
    (1.5, 0.35)
    """
    return 1.5 * (seconds / 3600) ** 0.813 * INCH


def effective_char_nds(seconds: float) -> float:
    """Char depth with the heated wood below it that carries nothing: 1.2 times `char_nds` (NDS eq. 16.2-2) -> [m]."""
    return 1.2 * char_nds(seconds)


def effective_char_eurocode(seconds: float, rate: float = NOTIONAL_SOFTWOOD) -> float:
    """EN 1995-1-2 4.2: rate t + min(t / 20 min, 1) 7 mm -> [m]; `rate` in mm/min.

    >>> round(effective_char_eurocode(1800) / MM)
    31
    """
    minutes = seconds / 60
    return (rate * minutes + min(minutes / 20, 1.0) * 7.0) * MM


def panel_burn_through(thickness: float, kind: str) -> float:
    """Standard-exposure time for char to pass a panel of `thickness` [m] -> [s]: h / (b sqrt(450/rho) sqrt(20/h)).

    Raises
    ------
    OutsideLimits : thinner than 6 mm or thicker than 40 mm
    """
    thick = within("panel thickness", thickness / MM, 6, 40, "mm", "roof decks and the formula lie in this range")
    rate = PANELS[kind] * math.sqrt(450 / PANEL_DENSITY[kind]) * (math.sqrt(20 / thick) if thick < 20 else 1.0)
    return thick / rate * 60


def char_time_per_mm(density: float, moisture: float, factor: float) -> float:
    """FPL model's m [min/mm^1.23]: -0.147 + 0.000564 rho + 1.21 u + 0.532 fc (FPL-GTR-190, eq. 18-4).

    `density` [kg/m3], `moisture` as a share, `factor` of the species. Scatter of the published fit up to 16 %.

    >>> round(char_time_per_mm(509, 0.085, 0.60), 2)
    0.56
    """
    return -0.147 + 0.000564 * density + 1.21 * moisture + 0.532 * factor


def charred(breadth: float, depth: float, char: float, strength: float) -> Section:
    """A section `breadth` by `depth` [m] with `char` [m] off both sides and the bottom; `strength` in bending [Pa]."""
    left, high = max(breadth - 2 * char, 0.0), max(depth - char, 0.0)
    if left == 0:
        high = 0.0
    return Section(left, high, strength * left * high**2 / 6)


def bending_demand(span: float, line_load: float, point_load: float = 0.0) -> float:
    """Moment in a simple span [N m]: w L^2 / 8 + P L / 4; `span` [m], `line_load` [N/m], `point_load` mid-span [N].

    >>> bending_demand(4, 100, 200)
    400.0
    """
    return line_load * span**2 / 8 + point_load * span / 4


def time_to_ultimate(
    breadth: float, depth: float, strength: float, demand: float, *, eurocode: bool = False, longest: float = 3600.0
) -> float:
    """Seconds of standard exposure on three sides until the section left cannot carry `demand` [N m].

    `strength` is the average ultimate in bending [Pa]; load-sharing through the deck is left out. At most `longest`.
    """
    step, seconds = 6.0, 0.0
    while seconds < longest:
        char = effective_char_eurocode(seconds) if eurocode else effective_char_nds(seconds) if seconds else 0.0
        if charred(breadth, depth, char, strength).capacity < demand:
            return seconds
        seconds += step
    return longest
