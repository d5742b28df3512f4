"""What placement is asked and what it answers. Plan coordinates in metres, as in `roof_model`."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from shapely.geometry import LineString, Point, Polygon

from fieldaid.workings.roof_model import RoofModel

Spot = tuple[float, float]
ObstacleKind = Literal["array", "skylight", "scuttle", "chimney", "roof vent", "wires", "load", "bad deck"]
OpeningKind = Literal["rectangle", "louvred panels", "triangle", "trapezoid", "inspection", "existing opening"]
Mode = Literal["full", "inspection"]
Lie = Literal["windward", "leeward", "along", "calm"]


@dataclass(frozen=True)
class Obstacle:
    """Something that is in the way; a skylight, scuttle or roof vent may also be what is opened."""

    kind: ObstacleKind
    plan: Polygon
    name: str = ""


@dataclass(frozen=True)
class WayOff:
    """One way off the roof.

    ends : where it meets the roof's edge; two different points when only its side is told, and it may stand anywhere
        between them
    """

    name: str
    ends: tuple[Spot, Spot]
    kind: Literal["ground", "aerial", "roof"] = "ground"
    usable: bool = True

    @property
    def told(self) -> bool:
        """Whether its place along the edge is told."""
        return self.ends[0] == self.ends[1]


@dataclass(frozen=True)
class Question:
    """Everything that placement looks at. Nothing here has a default that stands for something not told.

    wind : unit vector in plan towards where the wind comes from; (0, 0) is calm
    fire : where the fire is, as a part of the plan; fire_sides : the letters it was told with
    refused : side -> why no opening can be placed there, for obstacles whose outline is not told
    within : the part of the roof that belongs to the fire's section and compartment; None when there is only one
    knee_wall_m : height of the knee wall when there is one, and `void` the side of it that burns
    framing, deck, ceiling, crew : as told; None is not told and takes away what depends on it
    """

    roof: RoofModel
    wind: Spot
    fire: Polygon
    fire_sides: str
    ways: tuple[WayOff, ...]
    obstacles: tuple[Obstacle, ...] = ()
    refused: tuple[tuple[str, str], ...] = ()
    within: Polygon | None = None
    knee_wall_m: float | None = None
    void: Literal["", "peak", "knee wall"] = ""
    framing: str | None = None
    deck: str | None = None
    ceiling: str | None = None
    crew: int | None = None
    mode: Mode = "full"


@dataclass(frozen=True)
class Cut:
    """One kerf. `length_m` is true; `rides_over` counts the members that the saw is lifted over, by kind; `stand` is
    where the person with the saw is."""

    number: int
    name: str
    plan: LineString
    length_m: float
    rides_over: tuple[tuple[str, int], ...]
    stand: Spot


@dataclass(frozen=True)
class Stance:
    """Where one person ends, before anything is opened."""

    who: str
    at: Spot


@dataclass(frozen=True)
class Opening:
    """A place for an opening, with how it could be cut.

    size_ft : nominal (smaller, larger) for a rectangle or louvred panels; None for other shapes
    along_m, up_m : true extent along the eave and up the slope
    way_off, way : the one behind the crew and its line in plan; second_way : the other
    condition : what must hold for the answer to stand, "" when nothing
    drop_path : the part of the plan below the opening, beyond the eave too, where nobody is
    ceiling : what is known of pushing the ceiling
    score : the sum of the soft preferences that it pays for; `paid` says which
    """

    kind: OpeningKind
    face: str
    side: str
    plan: Polygon
    size_ft: tuple[float, float] | None
    along_m: float
    up_m: float
    area_m2: float
    over_fire: bool
    lie: Lie
    cuts: tuple[Cut, ...]
    stances: tuple[Stance, ...]
    way_off: str
    way: LineString
    second_way: str
    condition: str
    drop_path: Polygon
    ceiling: str
    score: float
    paid: tuple[tuple[str, float, str], ...] = ()
    notes: tuple[str, ...] = field(default=())

    @property
    def centre(self) -> Point:
        """The middle of the opening in plan."""
        return self.plan.centroid


@dataclass(frozen=True)
class Rejection:
    """Why a face has no place for an opening. `code` is one word group for programs, `why` a sentence for people."""

    face: str
    side: str
    code: str
    why: str
    source: str


@dataclass(frozen=True)
class Answer:
    """The best place, the second, and why each other face has none.

    not_computed : why nothing was worked out at all; then best is None and says nothing against any face
    """

    best: Opening | None
    second: Opening | None
    rejections: tuple[Rejection, ...]
    not_computed: str = ""
    notes: tuple[str, ...] = ()
