"""Wind and the sides of a house: which side it blows onto, and how each side lies to it.

Wind is named by where it comes from, in degrees clockwise from north; the angle to a wall is the wind's direction less
the wall's outward normal (meteorological convention, from memory). Side A is the address side, then B, C, D clockwise
seen from above, so each normal is 90 degrees clockwise of the one before.
"""

from __future__ import annotations

from typing import Literal

from fieldaid.facts.vocabulary import COMPASS, SIDES

Lie = Literal["windward", "leeward", "along"]

# NOAA/NWS Beaufort table (weather.gov/tbw/beaufort): force, mph from, mph to, the sign that people see.
BEAUFORT_MPH = (
    (0, 0, 0, "smoke rises straight up"),
    (1, 1, 3, "smoke drifts"),
    (2, 4, 7, "leaves rustle, wind felt on the face"),
    (3, 8, 12, "light flag extended, twigs move"),
    (4, 13, 18, "dust lifts, small branches move"),
    (5, 19, 24, "small trees sway"),
    (6, 25, 31, "large branches move"),
    (7, 32, 38, "whole trees move"),
    (8, 39, 46, "twigs break"),
    (9, 47, 54, "slight damage to buildings"),
    (10, 55, 63, "trees uprooted"),
    (11, 64, 73, "widespread damage"),
)


def side_normals(a_faces: str) -> dict[str, float]:
    """Outward normal of each side [degrees clockwise from north] when side A faces `a_faces`.

    >>> side_normals("south")
    {'A': 180.0, 'B': 270.0, 'C': 0.0, 'D': 90.0}
    """
    first = COMPASS.index(a_faces) * 45.0
    return {side: (first + 90.0 * step) % 360.0 for step, side in enumerate(SIDES)}


def lie_of_sides(wind_from: str, a_faces: str | None, mph: float | None = None) -> dict[str, Lie]:
    """How each side lies to the wind; empty when that cannot be known.

    `wind_from` is a compass point (needs `a_faces`) or a side letter. A calm (0 mph) leaves every side "along".
    A side is windward up to 45 degrees off the wind, leeward from 135 degrees, else along it.

    >>> lie_of_sides("west", "south")
    {'A': 'along', 'B': 'windward', 'C': 'along', 'D': 'leeward'}
    >>> lie_of_sides("southwest", "south")["A"]
    'windward'
    """
    if mph == 0:
        return dict.fromkeys(SIDES, "along")
    if wind_from in SIDES:
        normals = {side: 90.0 * step for step, side in enumerate(SIDES)}
        wind = normals[wind_from]
    elif a_faces is None:
        return {}
    else:
        normals = side_normals(a_faces)
        wind = COMPASS.index(wind_from) * 45.0
    found: dict[str, Lie] = {}
    for side, normal in normals.items():
        off = abs((wind - normal + 180.0) % 360.0 - 180.0)
        found[side] = "windward" if off <= 45.0 else "leeward" if off >= 135.0 else "along"
    return found


def opposite(compass: str) -> str:
    """The compass point across: west -> east."""
    return COMPASS[(COMPASS.index(compass) + 4) % 8]


def beaufort(mph: float) -> int:
    """Force on the Beaufort scale of a whole-mph wind; 12 above the table.

    >>> beaufort(10), beaufort(0)
    (3, 0)
    """
    return next((force for force, _, high, _ in BEAUFORT_MPH if mph <= high), 12)
