"""The sign and range of wind pressure on the slopes of a gable roof, from the coefficients of two building codes.

A coefficient times the wind's dynamic pressure is the pressure outside against the still air; below zero the wind
sucks. The codes give an envelope for an isolated box in design wind. Both are read here, and the answer spans both:
where they allow either sign, either sign is the answer. Trees, neighbours, dormers and the hole itself change it, also
its sign.

Sources
-------
ASCE 7 figure 27.4-1 (7-10) = 27.3-1 (7-16): roof coefficients by slope and h/L, wind normal or parallel to the ridge.
EN 1991-1-4 table 7.4a and 7.4b: cpe,10 of duopitch roofs, zones F to J at 0 degrees, H and I at 90 degrees.
Hips are not computed: EN table 7.5 could not be read, and that ASCE uses the same values there is from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

from fieldaid.workings.limits import within
from fieldaid.workings.wind import Lie

Sign = Literal["suction", "pressure", "either sign"]
Row = tuple[float, ...]

AIR_DENSITY = 1.225  # kg/m3 at 15 C and sea level, ISO 2533
STEEPEST = 75.0
SIGNS = get_args(Sign)
# Roofs that are two plain slopes over a box, as in the codes' tables.
FORMS = ("gable", "a-frame")
SOURCES = ("ASCE 7-10 figure 27.4-1 (7-16: 27.3-1)", "EN 1991-1-4:2005 tables 7.4a, 7.4b")
LIMITS = ("envelope of two design codes for an isolated gable-roofed box; trees, neighbours, dormers and gusts can "
          "turn the sign; near edges and ridge suction is stronger; a hole changes the flow around it")

# ASCE 7, wind normal to the ridge, windward slope: coefficients at each angle, by h/L; then the leeward slope.
_ANGLES: Row = (10, 15, 20, 25, 30, 35, 45)
_ASCE_LOW: dict[float, Row] = {0.25: (-0.7, -0.5, -0.3, -0.2, -0.2, 0, 0), 0.5: (-0.9, -0.7, -0.4, -0.3, -0.2, -0.2, 0),
                               1.0: (-1.3, -1.0, -0.7, -0.5, -0.3, -0.2, 0)}
_ASCE_HIGH: dict[float, Row] = {0.25: (-0.18, 0, 0.2, 0.3, 0.3, 0.4, 0.4), 0.5: (-0.18, -0.18, 0, 0.2, 0.2, 0.3, 0.4),
                                1.0: (-0.18, -0.18, -0.18, 0, 0.2, 0.2, 0.3)}
_LEE_ANGLES: Row = (10, 15, 20)
_ASCE_LEE: dict[float, Row] = {0.25: (-0.3, -0.5, -0.6), 0.5: (-0.5, -0.5, -0.6), 1.0: (-0.7, -0.6, -0.6)}
# ASCE 7, parallel to the ridge and below 10 degrees, h/L up to 0.5: from the windward edge inward -0.9, -0.5, -0.3, and
# -0.18 as each one's second value. Of taller buildings only the 10 degree row above was read, which is stronger.
_ASCE_PARALLEL = (-0.9, -0.18)
# EN 1991-1-4: lowest and highest of the zones at 15, 30 and 45 degrees.
_EN_ANGLES: Row = (15, 30, 45)
_EN_WINDWARD: tuple[Row, Row] = ((-0.9, -0.5, 0.0), (0.2, 0.7, 0.7))
_EN_LEEWARD: tuple[Row, Row] = ((-1.0, -0.5, -0.3), (-0.4, -0.4, -0.2))
_EN_PARALLEL: tuple[Row, Row] = ((-0.6, -0.8, -0.9), (-0.5, -0.5, -0.5))


@dataclass(frozen=True)
class Range:
    """Pressure coefficients from `low` to `high`, without unit."""

    low: float
    high: float

    @property
    def sign(self) -> Sign:
        """What the wind does over the whole range."""
        if self.high <= 0:
            return "suction"
        return "pressure" if self.low >= 0 else "either sign"

    def joined(self, other: Range) -> Range:
        """The range that spans both."""
        return Range(min(self.low, other.low), max(self.high, other.high))

    def pressure_pa(self, speed: float) -> tuple[float, float]:
        """The range as pressure in a wind of `speed` [m/s] -> [Pa]."""
        return self.low * dynamic_pressure(speed), self.high * dynamic_pressure(speed)


def dynamic_pressure(speed: float, density: float = AIR_DENSITY) -> float:
    """q = rho V^2 / 2 of wind at `speed` [m/s] and `density` [kg/m3] -> [Pa]. Holds far below the speed of sound.

    EN 1991-1-4 4.5. Worked: 26 m/s at 1.25 kg/m3.

    >>> round(dynamic_pressure(26, 1.25), 1)
    422.5
    """
    return density * speed**2 / 2


def interpolate(x: float, xs: Row, ys: Row) -> float:
    """Straight line between the points (xs, ys); the end values outside them."""
    if x <= xs[0]:
        return ys[0]
    for left, right, low, high in zip(xs, xs[1:], ys, ys[1:], strict=False):
        if x <= right:
            return low + (high - low) * (x - left) / (right - left)
    return ys[-1]


def _by_height(h_over_l: float, angle: float, angles: Row, table: dict[float, Row]) -> float:
    heights = tuple(table)
    return interpolate(h_over_l, heights, tuple(interpolate(angle, angles, row) for row in table.values()))


def asce(lie: Lie, angle: float, h_over_l: float) -> Range:
    """ASCE 7 coefficients of a slope at `angle` [deg, 0 to 75]; h/L is mean roof height over depth along the wind.

    Raises
    ------
    OutsideLimits : the slope is steeper than 75 degrees

    >>> asce("windward", 30, 0.5)
    Range(low=-0.2, high=0.2)
    """
    within("slope", angle, 0, STEEPEST, "deg", "beyond it a roof is a wall to the codes")
    if lie == "along" or angle < 10:
        return Range(min(_ASCE_PARALLEL[0], _by_height(h_over_l, 10, _ANGLES, _ASCE_LOW)), _ASCE_PARALLEL[1])
    if lie == "leeward":
        value = _by_height(h_over_l, angle, _LEE_ANGLES, _ASCE_LEE)
        return Range(value, value)
    if angle > 45:
        # From 60 degrees the table has 0.01 times the angle; between 45 and 60 it leaves a straight line.
        ends = [_by_height(h_over_l, 45, _ANGLES, table) for table in (_ASCE_LOW, _ASCE_HIGH)]
        low, high = (interpolate(angle, (45, 60, STEEPEST), (end, 0.6, 0.75)) for end in ends)
        return Range(low, high)
    return Range(_by_height(h_over_l, angle, _ANGLES, _ASCE_LOW), _by_height(h_over_l, angle, _ANGLES, _ASCE_HIGH))


def eurocode(lie: Lie, angle: float) -> Range | None:
    """EN 1991-1-4 cpe,10 over the zones of a slope; None outside the 15 to 45 degrees whose values were read.

    >>> eurocode("windward", 30)
    Range(low=-0.5, high=0.7)
    """
    if not _EN_ANGLES[0] <= angle <= _EN_ANGLES[-1]:
        return None
    lows, highs = {"windward": _EN_WINDWARD, "leeward": _EN_LEEWARD, "along": _EN_PARALLEL}[lie]
    return Range(interpolate(angle, _EN_ANGLES, lows), interpolate(angle, _EN_ANGLES, highs))


def on_slope(pitch: float, lie: Lie, h_over_l: float | None = None) -> Range:
    """Coefficients of a gable's slope over both codes.

    Parameters
    ----------
    pitch : rise over run
    lie : how the slope lies to the wind; "along" is wind parallel to the ridge
    h_over_l : mean roof height over depth along the wind; without it everything from a quarter to one is spanned

    Raises
    ------
    OutsideLimits : steeper than 75 degrees, or h/L below 0.1 or above 3

    >>> on_slope(6 / 12, "leeward").sign, on_slope(6 / 12, "windward").sign
    ('suction', 'either sign')
    """
    angle = math.degrees(math.atan(pitch))
    if h_over_l is not None:
        within("height over depth", h_over_l, 0.1, 3, "", "the codes' tables end at 0.25 and 1")
    heights = (0.25, 0.5, 1.0) if h_over_l is None else (h_over_l,)
    found = asce(lie, angle, heights[0])
    for height in heights[1:]:
        found = found.joined(asce(lie, angle, height))
    european = eurocode(lie, angle)
    return found.joined(european) if european else found
