"""Length and angle of a ground ladder to an eave.

NFPA 1932 5.1.8 and OSHA 29 CFR 1926.1053(b)(5): the foot stands a quarter of the working length out, which is 75.5
degrees. 29 CFR 1926.1053(b)(1), a construction rule used as a guide: the rails reach 3 ft above the landing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fieldaid.workings.limits import OutsideLimits, within

BEST_ANGLE = math.degrees(math.acos(0.25))
FOOT = 0.3048
ABOVE = 3 * FOOT
# A study card has 70 degrees; the load limits of NFPA 1932 hold near 75.5, so both ends are close to it. Our choice.
FLATTEST, STEEPEST = 70.0, 80.0
SOURCES = ("NFPA 1932 5.1.8 (quarter length, 75.5 degrees)", "29 CFR 1926.1053(b)(1) (3 ft above the landing)")
LIMITS = ("straight ladder on level, firm ground against the eave line; an extension ladder works at less than its "
          "marked length (overlap of the sections); slope, wires, windows and soft ground are not in it")


@dataclass(frozen=True)
class Reach:
    """How a ladder stands at an eave; lengths in m, angle in degrees.

    needed : working length for the tips to stand `ABOVE` above the eave at this angle
    foot : from the wall out to the foot
    tips_above : tips above the eave (None without a ladder's length; negative: it does not reach)
    long_enough : the tips stand at least `ABOVE` above the eave (None without a length)
    """

    angle: float
    needed: float
    foot: float
    tips_above: float | None
    long_enough: bool | None


def needed_length(eave: float, angle: float = BEST_ANGLE) -> float:
    """Working length [m] from the ground to `ABOVE` over an eave at height `eave` [m].

    Raises
    ------
    OutsideLimits : no eave between 3 and 100 ft, or no ladder angle

    >>> round(needed_length(10 * 0.3048) / 0.3048, 1)
    13.4
    """
    within("eave height", eave / FOOT, 3, 100, "ft", "lower is a step, higher is an aerial's work")
    within("angle", angle, FLATTEST, STEEPEST, "deg", "load limits hold near 75.5 degrees")
    return (eave + ABOVE) / math.sin(math.radians(angle))


def reach(eave: float, *, length: float | None = None, angle: float | None = None, foot: float | None = None) -> Reach:
    """How a ladder of working `length` [m] stands at an eave at height `eave` [m].

    Its angle is `angle` [deg], or follows from the `foot` [m from the wall, to the eave line], or is 75.5.

    Raises
    ------
    OutsideLimits : see needed_length; or angle and foot are both given

    >>> found = reach(18 * 0.3048, length=24 * 0.3048)
    >>> round(found.tips_above / 0.3048, 1), found.long_enough
    (5.2, True)
    """
    if angle is not None and foot is not None:
        raise OutsideLimits("angle and foot both given", where="ladder", why="one follows from the other",
                            next_step="give one of them")
    if foot is not None:
        if foot <= 0:
            raise OutsideLimits("the foot stands at the wall", where="foot", next_step="give a distance above 0")
        angle = math.degrees(math.atan2(eave, foot))
    angle = BEST_ANGLE if angle is None else angle
    needed = needed_length(eave, angle)
    # The ladder leans on the eave line, so the foot's distance depends on the eave and not on what stands above it.
    out = eave / math.tan(math.radians(angle))
    if length is None:
        return Reach(angle, needed, out, None, None)
    within("ladder", length / FOOT, 6, 60, "ft", "that is the range of ground ladders")
    above = length * math.sin(math.radians(angle)) - eave
    return Reach(angle, needed, out, above, above >= ABOVE - 1e-9)
