"""Measures of an opening: its area, its share of a face, the members that cross it, and the slope's effect."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fieldaid.workings.limits import within

FOOT = 0.3048
SOURCES = ("plane geometry",)
LIMITS = ("how many members cross hangs on where the first one stands, so it is a range; a hole that is cut is not a "
          "hole that is open: deck, insulation and ceiling may still close it")


@dataclass(frozen=True)
class Opening:
    """A rectangle on a slope: true area and its plan area [m2], kerf length [m], members inside it (fewest, most)."""

    area: float
    plan_area: float
    kerf: float
    crossed: tuple[int, int]


def rectangle(along: float, up: float, *, pitch: float = 0.0, spacing: float = 16 * 0.0254) -> Opening:
    """An opening `along` the eave and `up` the slope [m, true], over members `spacing` [m] on centre.

    Raises
    ------
    OutsideLimits : a side below 3 in or above 50 ft, or a spacing outside 6 to 96 in

    >>> found = rectangle(4 * 0.3048, 4 * 0.3048)
    >>> round(found.area / 0.3048**2, 3), found.crossed
    (16.0, (2, 3))
    """
    for name, value in (("along", along), ("up", up)):
        within(name, value / FOOT, 0.25, 50, "ft", "openings are between a hand's width and a trench")
    within("spacing", spacing / FOOT * 12, 6, 96, "in", "that is the range of rafters, joists and trusses")
    # Members stand at every place mod spacing; a member exactly at the edge is not crossed.
    whole = along / spacing
    most = math.ceil(whole - 1e-9)
    fewest = max(most - 1, 0)
    return Opening(along * up, along * up / math.hypot(1.0, pitch), 2 * (along + up), (fewest, most))
