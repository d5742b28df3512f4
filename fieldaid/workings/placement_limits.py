"""The limits and preferences of placement, each with the row of the trade facts that it rests on.

Distances are true lengths on the slope [m] unless a line says otherwise. `common practice, no source` marks a figure
of the trade without a publication: it only ever takes places away.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldaid.workings.roof_model import FOOT, INCH

COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Limit:
    """A figure, what it is for, and its source."""

    value: float
    about: str
    source: str


@dataclass(frozen=True)
class Wish:
    """A soft preference: `weight` is what one unit of it costs, in feet of walking through smoke that nobody sees."""

    weight: float
    about: str
    source: str


# Hard limits.
RIDGE_CLEAR = Limit(1.0 * FOOT, "kerf to ridge, hip, valley, curb or high edge", f"C19, C25, N04; {COMMON_PRACTICE}")
EDGE_CLEAR = Limit(2.0 * FOOT, "kerf to eave, rake or wall", COMMON_PRACTICE)
MEMBER_CLEAR = Limit(3.0 * INCH, "a kerf that runs with a member to that member's line", f"N04; {COMMON_PRACTICE}")
CLEAR_OF = {
    "array": Limit(3.0 * FOOT, "kerf to solar panels and their wires", "P12, P01"),
    "skylight": Limit(1.0 * FOOT, "kerf to a skylight", f"P18; {COMMON_PRACTICE}"),
    "scuttle": Limit(1.0 * FOOT, "kerf to a scuttle", COMMON_PRACTICE),
    "chimney": Limit(1.5 * FOOT, "kerf to a chimney", COMMON_PRACTICE),
    "roof vent": Limit(1.0 * FOOT, "kerf to a roof vent", COMMON_PRACTICE),
    "wires": Limit(10.0 * FOOT, "kerf to wires in reach", COMMON_PRACTICE),
    "load": Limit(6.0 * FOOT, "kerf to machinery, tank or stacked material", f"N06; {COMMON_PRACTICE}"),
    "bad deck": Limit(6.0 * FOOT, "kerf to soft, sagging or burned deck", f"F16, G27; {COMMON_PRACTICE}"),
}
# How far people keep from the same things while they walk and stand.
WALK_CLEAR = {
    "array": 1.0 * FOOT,
    "skylight": 1.0 * FOOT,
    "scuttle": 1.0 * FOOT,
    "chimney": 0.0,
    "roof vent": 0.5 * FOOT,
    "wires": 10.0 * FOOT,
    "load": 1.0 * FOOT,
    "bad deck": 6.0 * FOOT,
}
OPENABLE = ("skylight", "scuttle", "roof vent")
STANCE_OUT = Limit(2.0 * FOOT, "stance to the nearest kerf", COMMON_PRACTICE)
PATH_CLEAR = Limit(1.5 * FOOT, "way off to the opening and its drop path", f"S34; {COMMON_PRACTICE}")
STAND_IN = Limit(1.5 * FOOT, "stance to the roof's edge", COMMON_PRACTICE)
LEAST_SHARE = Limit(0.25, "share of a side along which a ladder told by its side alone may stand", COMMON_PRACTICE)
PARTNER_BACK = Limit(4.0 * FOOT, "second member behind the first, on the way off", f"S07; {COMMON_PRACTICE}")
TIP_REACH = Limit(4.0 * FOOT, "inspection opening to the ladder tip", f"N05; {COMMON_PRACTICE}")
FEWEST_WAYS = Limit(2, "usable separate ways off", "S02, S28, S34, N07")
FEWEST_BAYS = Limit(2, "bays that a rectangle reaches into", COMMON_PRACTICE)

# What fits, largest first: nominal feet along the eave and up the slope.
SIZES_FT = ((8.0, 4.0), (4.0, 8.0), (6.0, 4.0), (4.0, 6.0), (4.0, 4.0))
SIZE_SOURCE = "G03, G04, G06"
TRIANGLE_LEG = Limit(2.5 * FOOT, "shortest side of a triangle", "G02")
TRIANGLE_LONGEST = Limit(9.0 * FOOT, "longest kerf of a triangle or trapezoid", COMMON_PRACTICE)
TRIANGLE_AREA = (
    Limit(6.0 * FOOT**2, "least area of a triangle or trapezoid", "G02"),
    Limit(34.0 * FOOT**2, "largest area of a triangle or trapezoid", "G06"),
)
PANEL_WIDTH = Limit(16.0 * INCH, "least width of a louvred panel, a bay on each side of its member", COMMON_PRACTICE)
INSPECTION_LEG = Limit(14.0 * INCH, "side of an inspection triangle", f"G12; {COMMON_PRACTICE}")
FULL_AREA_FT2 = 32.0

# Soft preferences; the figures weigh them against each other and are settings of ours, not published.
OFF_FIRE = Wish(30.0, "the opening is not over the fire at all", "G01")
FIRE_DISTANCE = Wish(2.0, "each foot from the fire", "G01")
FIRE_MIDDLE = Wish(0.3, "each foot from the middle of the part of the house the fire was told in", "G01")
OTHER_FACE = Wish(10.0, "the face does not drain to the fire's side", "G01")
LOW = Wish(1.0, "each foot that its middle is below the highest line of the face", "G01")
ALONG_WIND = Wish(6.0, "the wind runs along the face instead of away from it", "W11")
OFF_SIZE = Wish(0.5, "each foot of width more or less than the nominal one", "G03")
SMALL = Wish(0.6, "each square foot short of four by eight", "G06, X3")
CUTS = Wish(12.0, "a cut where an opening that is there would serve", "P17")
WALK = Wish(0.15, "each foot from the stance to the way off", "S34")
DOWNWIND = Wish(6.0, "the stance is downwind of the opening", "W11, G10")
FOOTING = Wish(0.2, "each foot from the stance to a strong line, on rafters only", "G17, X11")
FAR_LAST_CUT = Wish(3.0, "the last cut is not on the side of the way off", "G10")
WAY_NOT_TOLD = Wish(12.0, "the share of a side along which the ladder told there would be past the opening", "S34")
