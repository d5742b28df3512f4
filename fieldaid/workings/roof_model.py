"""What a computed roof is: faces, lines and members in plan, with true sizes. `fieldaid.workings.roof` builds it.

Plan coordinates are metres. Seen from above, side A is the bottom of the plan and B, C, D follow clockwise: x grows
from B (left) to D (right), y from A (bottom) to C (top). The building's walls begin at (0, 0); overhangs reach beyond,
into negative numbers too. Heights are metres above the plate line, the top of the wall where the rafters bear: an
overhanging eave is a little below zero. Lengths called "true" are measured on the slope, all others in plan.

A model says how a roof of these measures goes together by rule. It has not seen the roof: where the first rafter
stands, what was altered, and what fire has left of it are not in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from shapely.geometry import LineString, Point, Polygon

FOOT = 0.3048
INCH = 0.0254

FaceKind = Literal["slope", "hip end", "steep", "flat"]
LineKind = Literal["ridge", "hip", "valley", "eave", "rake", "curb", "break", "high edge"]
MemberKind = Literal["common", "jack", "valley jack", "cripple jack", "hip", "valley", "ridge", "joist", "truss"]
Framing = Literal["rafters", "trusses"]


@dataclass(frozen=True)
class Face:
    """One plane of the roof.

    name : the side it looks at, "A" … "D"; where a side has several, with a number ("A1", "A2"): from the eave upwards,
           then from left to right in the plan, for B and D from the bottom; "top" for a face that is level
    side : the letter alone; "" for a level face
    kind : "slope"; "hip end" (drains over the end of a ridge); "steep" (lower face of a gambrel or mansard); "flat"
    plan : the face seen from above, overhang included [m]
    pitch : rise over run, without unit: 6 in 12 is 0.5
    down : unit vector in plan of the way water runs; (0, 0) when level
    plane : (a, b, c) of z = a x + b y + c [m]
    """

    name: str
    side: str
    kind: FaceKind
    plan: Polygon
    pitch: float
    down: tuple[float, float]
    plane: tuple[float, float, float]

    @property
    def factor(self) -> float:
        """True length over plan length along the slope; also true area over plan area."""
        return math.hypot(1.0, self.pitch)

    @property
    def angle_deg(self) -> float:
        """Slope angle above level [deg]."""
        return math.degrees(math.atan(self.pitch))

    @property
    def area_m2(self) -> float:
        """True area on the slope [m2]."""
        return self.plan.area * self.factor

    @property
    def along(self) -> tuple[float, float]:
        """Unit vector in plan along the eave, to the right for someone who looks up the slope; (1, 0) when level."""
        return (-self.down[1], self.down[0]) if self.pitch else (1.0, 0.0)

    def height(self, x: float, y: float) -> float:
        """Height of the plane at a point of the plan [m above the plate line]."""
        a, b, c = self.plane
        return a * x + b * y + c

    def on_slope(self, x: float, y: float) -> tuple[float, float]:
        """(distance along the eave to the right, true distance up the slope) of a point of the plan [m].

        Both are measured from the plan's origin, so only differences on one face mean anything.
        """
        (ax, ay), (dx, dy) = self.along, self.down if self.pitch else (0.0, -1.0)
        return x * ax + y * ay, -(x * dx + y * dy) * self.factor

    def in_plan(self, along: float, up: float) -> tuple[float, float]:
        """The point of the plan whose `on_slope` is (along, up) [m]."""
        (ax, ay), (dx, dy) = self.along, self.down if self.pitch else (0.0, -1.0)
        run = up / self.factor
        return along * ax - run * dx, along * ay - run * dy


@dataclass(frozen=True)
class RoofLine:
    """One line where faces meet or end.

    kind : ridge, hip, valley; eave (low edge), high edge (top of a shed), rake (sloping edge over a gable), curb
           (change of pitch of a gambrel or mansard), break (top of a face that ends against a gablet)
    plan : two points [m]
    z : heights of the two points [m above the plate line]
    faces : names of the one or two faces it bounds
    """

    kind: LineKind
    plan: LineString
    z: tuple[float, float]
    faces: tuple[str, ...]

    @property
    def length_m(self) -> float:
        """True length [m]."""
        return math.hypot(self.plan.length, self.z[1] - self.z[0])


@dataclass(frozen=True)
class Member:
    """One stick of the frame, as a line in plan from its low end to its high end.

    kind : common (plate to ridge), jack (plate to hip), valley jack (valley to ridge), cripple jack (valley to hip),
           hip, valley, ridge, joist (of a flat roof), truss (the part of a truss under one face)
    length_m : true length on the line, before any shortening for thickness, tail included [m]
    tail_m : the part of it that overhangs the wall [m, true]
    face : the face it lies under; "" for ridge, hip and valley members, which lie between faces
    carries_load : whether a saw must not cut it; every member of a roof does
    """

    kind: MemberKind
    plan: LineString
    length_m: float
    face: str
    tail_m: float = 0.0
    carries_load: bool = True


@dataclass(frozen=True)
class GableEnd:
    """A wall that rises under the roof: the end of a gable, or the gablet of a dutch gable.

    side : the side it looks at
    plan : its foot [m], on the plate line, or on the roof for a gablet
    height_m : from its foot to its highest point [m]
    area_m2 : of the wall, one side [m2]
    """

    side: str
    plan: LineString
    height_m: float
    area_m2: float


@dataclass(frozen=True)
class RoofModel:
    """A computed roof.

    form : as told (`roof.form`)
    footprint : the walls in plan [m]
    outline : the roof's edge in plan, overhang included [m]
    faces, lines, members, gable_ends : see the classes; members is empty where the layout does not follow from a rule
    ridge_height_m : highest point above the plate line [m]
    ridge_runs : "B-D", "A-C" or "" where there is no one ridge
    framing, spacing_m : what `members` was laid out for; overhang_m : at the eaves, level [m]
    plate_height_m : plate line above the ground [m], None when not given
    notes : what was assumed, and what the model does not say
    """

    form: str
    footprint: Polygon
    outline: Polygon
    faces: tuple[Face, ...]
    lines: tuple[RoofLine, ...]
    members: tuple[Member, ...]
    gable_ends: tuple[GableEnd, ...]
    ridge_height_m: float
    ridge_runs: str
    framing: Framing
    spacing_m: float
    overhang_m: float
    plate_height_m: float | None = None
    notes: tuple[str, ...] = field(default=())

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """(least x, least y, greatest x, greatest y) of the outline [m]."""
        return self.outline.bounds

    @property
    def area_m2(self) -> float:
        """True area of all faces [m2]."""
        return sum(face.area_m2 for face in self.faces)

    def face(self, name: str) -> Face:
        """The face called `name`.

        Raises
        ------
        KeyError : the roof has no such face
        """
        for one in self.faces:
            if one.name == name:
                return one
        raise KeyError(name)

    def height(self, x: float, y: float) -> float | None:
        """Height of the roof at a point of the plan [m above the plate line]; None outside the outline."""
        heights = [face.height(x, y) for face in self.faces if face.plan.buffer(1e-6).contains(Point(x, y))]
        return min(heights, default=None)

    def on_side(self, side: str) -> tuple[Face, ...]:
        """The faces that look at `side`, in the order of their names."""
        return tuple(face for face in self.faces if face.side == side)

    def lines_of(self, *kinds: str) -> tuple[RoofLine, ...]:
        """The lines of these kinds."""
        return tuple(line for line in self.lines if line.kind in kinds)

    def members_under(self, face: str) -> tuple[Member, ...]:
        """The members under a face, ridge, hip and valley members at its edges not among them."""
        return tuple(member for member in self.members if member.face == face)
