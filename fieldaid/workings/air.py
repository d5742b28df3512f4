"""How long the lowest member's air may last: a range, never a time to stay.

NIOSH rates cylinders at 40 L/min. Work on a fireground takes more: 49.9 L/min going in and 38.9 coming out in a
measured tunnel search, and in a measured high-rise climb the fastest of 36 members used the first three quarters of a
30 minute cylinder in 8 minutes, which is 116 L/min (derived from the abstract of Williams-Bell et al.). The low-air
alarm of sets to the 2013 edition of NFPA 1981 sounds at 33 % of the rated pressure, of older ones at 25 % (42 CFR
84.83(f): 20 to 25).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fieldaid.workings.limits import within

LITRE_MIN = 1e-3 / 60
RATED = 40 * LITRE_MIN
FASTEST = 116 * LITRE_MIN
ALARM_2013, ALARM_OLD = 0.33, 0.25
SOURCES = ("NIOSH rating at 40 L/min",
           "high-rise climb of 36 members (Williams-Bell et al., abstract): up to 116 L/min",
           "NFPA 1981-2013: alarm at 33 %; 42 CFR 84.83(f): 20 to 25 % before")
LIMITS = ("a full cylinder at its rated pressure, no leak, no buddy breathing; people differ by more than the range of "
          "any one test; the alarm means that the reserve is being used")


@dataclass(frozen=True)
class Lasts:
    """Minutes of air from least to most, for the lowest member.

    fraction : of a full cylinder, the lowest told
    to_alarm : until the low-air alarm; (0, 0) when it is due
    to_empty : until nothing is left, the way out included
    """

    fraction: float
    to_alarm: tuple[float, float]
    to_empty: tuple[float, float]


def lasts(volume: float, fractions: Sequence[float], *, alarm: float = ALARM_2013) -> Lasts:
    """How long air lasts in cylinders that hold `volume` [m3 of free air] full, at `fractions` of it.

    Raises
    ------
    OutsideLimits : no member, a fraction outside 0 to 1, a volume that is no breathing cylinder's

    >>> found = lasts(1.24, [1.0, 0.9, 0.95])
    >>> found.fraction, [round(minutes, 1) for minutes in found.to_alarm]
    (0.9, [6.1, 17.7])
    """
    within("members", len(fractions), 1, 12, "members", "the lowest member's air counts")
    within("cylinder", volume * 1000, 500, 3000, "L", "breathing cylinders of the fire service hold 1200 to 2500 L")
    within("alarm", alarm, 0.15, 0.5, "of full", "alarms sound at 20 to 38 %")
    for one in fractions:
        within("air", one, 0.0, 1.0, "of full", "it is a share of a full cylinder")
    least = min(fractions)
    to_alarm = max(least - alarm, 0.0) * volume
    minutes = [tuple(free / rate / 60 for rate in (FASTEST, RATED)) for free in (to_alarm, least * volume)]
    return Lasts(least, minutes[0], minutes[1])


def fraction_from_pressure(pressure: float, full: float) -> float:
    """Share of a full cylinder left at a gauge `pressure` of one rated `full` [same unit]; straight line.

    Real air is some percent off a straight line at these pressures.

    Raises
    ------
    OutsideLimits : a pressure below zero or above the rated one by more than a tenth

    >>> fraction_from_pressure(2250, 4500)
    0.5
    """
    share = pressure / full if full > 0 else -1.0
    within("pressure", share, 0.0, 1.1, "of the rated pressure", "a cylinder is filled to its rated pressure")
    return min(share, 1.0)
