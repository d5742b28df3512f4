"""Rafters, joists and trusses laid out under the faces of a roof.

The layout is the usual one by rule: on centre from a corner or from the end wall, a rafter at each end of a gable, a
common rafter at each end of a hip's ridge, jacks in from the corners (jacks: Navy NAVEDTRA 14044; the rest common
practice, no source). A real roof may start elsewhere. Lengths are on the line, before shortening for the thickness of
ridge and hip.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry import LineString, Polygon

from fieldaid.workings.roof_model import Face, Framing, LineKind, Member, MemberKind, RoofLine
from fieldaid.workings.roof_planes import NEAR, Point

# A member must be at least this long, and two stand at least this far apart, to be counted [m]: 1 in.
SHORTEST = 0.0254
# Members are measured this far beside their place [m], so that one in the edge of its face is inside or outside it.
BESIDE = NEAR / 10
Span = tuple[float, float]


@dataclass(frozen=True)
class _Frame:
    """A face seen along its members: every point as (across, up) in plan [m].

    On a level face the members span the shorter way of its bounds.
    """

    face: Face
    across: Point
    up: Point

    @classmethod
    def of(cls, face: Face) -> _Frame:
        if face.pitch:
            return cls(face, face.along, (-face.down[0], -face.down[1]))
        least_x, least_y, most_x, most_y = face.plan.bounds
        wide = most_x - least_x >= most_y - least_y
        return cls(face, *(((1.0, 0.0), (0.0, 1.0)) if wide else ((0.0, 1.0), (1.0, 0.0))))

    def see(self, points: Sequence[Point]) -> list[Point]:
        (ax, ay), (ux, uy) = self.across, self.up
        return [(x * ax + y * ay, x * ux + y * uy) for x, y in points]

    def plan(self, across: float, up: float) -> Point:
        (ax, ay), (ux, uy) = self.across, self.up
        return across * ax + up * ux, across * ay + up * uy


def members_of(
    faces: Sequence[Face], lines: Sequence[RoofLine], footprint: Polygon, spacing: float, framing: Framing,
) -> tuple[Member, ...]:
    """Every member under the faces, and for rafters the ridge, hip and valley members too. `spacing` in m."""
    found: list[Member] = []
    for face in faces:
        frame = _Frame.of(face)
        own = [(line.kind, frame.see(line.plan.coords)) for line in lines if face.name in line.faces]
        ring, walls = frame.see(face.plan.exterior.coords), frame.see(footprint.exterior.coords)
        middle = face.height(*face.plan.representative_point().coords[0])
        tops = [frame.see(line.plan.coords) for line in lines if face.name in line.faces
                and line.kind in ("ridge", "break", "curb") and line.z[0] > middle]
        for place in _places(_walled(frame, footprint), own, tops, spacing):
            found.extend(_at(frame, place, ring, walls, own, framing))
    if framing == "rafters":
        found.extend(_between_faces(lines, footprint))
    return tuple(found)


def _between_faces(lines: Sequence[RoofLine], footprint: Polygon) -> list[Member]:
    found: list[Member] = []
    for line in lines:
        if line.kind in ("ridge", "hip", "valley"):
            inside = line.plan.intersection(footprint).length
            tail = 0.0 if line.kind == "ridge" else (1 - inside / line.plan.length) * line.length_m
            plan = line.plan if line.z[0] <= line.z[1] else LineString(line.plan.coords[::-1])
            found.append(Member(line.kind, plan, line.length_m, "", tail if tail > NEAR else 0.0))
    return found


def _walled(frame: _Frame, footprint: Polygon) -> Span:
    """From where to where a face reaches across, inside the walls."""
    inside = frame.face.plan.intersection(footprint)
    shape = inside if isinstance(inside, Polygon) and not inside.is_empty else frame.face.plan
    places = [across for across, _ in frame.see(shape.exterior.coords)]
    return min(places), max(places)


def _places(
    span: Span, own: Sequence[tuple[LineKind, list[Point]]], tops: Sequence[list[Point]], spacing: float
) -> list[float]:
    """Where members stand, as distances across the face [m]; `tops` are its upper level edges."""
    first, last = span
    hips = [sorted(across for across, _ in ends) for kind, ends in own if kind == "hip"]
    left = any(low <= first + NEAR for low, _ in hips)
    right = any(high >= last - NEAR for _, high in hips)
    if left and right and not any(kind == "valley" for kind, _ in own):
        # Between the feet of two hips: jacks in from both corners, commons between the ends of the ridge.
        if tops:
            across = [place for end in tops for place, _ in end]
            top_first, top_last = min(across), max(across)
        else:
            top_first = top_last = max(high for low, high in hips if low <= first + NEAR)
        return _spread([*_steps(first, top_first, spacing), *_steps(top_first, top_last, spacing), top_first, top_last,
                        *(first + last - place for place in _steps(first, first + last - top_last, spacing))])
    if right and not left:
        return _spread([first + last - place for place in (*_steps(first, last, spacing), last)])
    return _spread([*_steps(first, last, spacing), last])


def _steps(first: float, last: float, spacing: float) -> list[float]:
    """first, first + spacing, … below last [m]."""
    return [first + spacing * step for step in range(max(math.ceil((last - first - NEAR) / spacing), 0))]


def _spread(places: Sequence[float]) -> list[float]:
    found: list[float] = []
    for place in sorted(places):
        if not found or place - found[-1] >= SHORTEST:
            found.append(place)
    return found


def _at(
    frame: _Frame, place: float, ring: Sequence[Point], walls: Sequence[Point],
    own: Sequence[tuple[LineKind, list[Point]]], framing: Framing,
) -> list[Member]:
    """The members on one line across a face: one, or two where the line leaves the face and comes back."""
    def longest(spans: Sequence[Span]) -> float:
        return max((high - low for low, high in spans), default=0.0)

    beside = [place + BESIDE, place - BESIDE]
    stretches = max((_crossed(ring, one) for one in beside), key=longest)
    inside = max((_crossed(walls, one) for one in beside), key=longest)
    factor = frame.face.factor
    found: list[Member] = []
    for low, high in stretches:
        within = sum(max(min(high, top) - max(low, foot), 0.0) for foot, top in inside)
        # Over a corner post the hip itself stands; what reaches past it on the wall's line is not a rafter.
        if within >= SHORTEST:
            tail = (high - low - within) * factor
            found.append(Member(_kind(frame.face, (place, low), (place, high), own, framing),
                                LineString([frame.plan(place, low), frame.plan(place, high)]), (high - low) * factor,
                                frame.face.name, tail if tail > NEAR else 0.0))
    return found


def _crossed(ring: Sequence[Point], place: float) -> list[Span]:
    """Where the line at `place` runs inside a closed ring, as spans upwards [m]."""
    ups = sorted(up + (place - across) / (next_across - across) * (next_up - up)
                 for (across, up), (next_across, next_up) in zip(ring, ring[1:], strict=False)
                 if (across <= place) != (next_across <= place))
    return list(zip(ups[::2], ups[1::2], strict=True))


def _kind(
    face: Face, low: Point, high: Point, own: Sequence[tuple[LineKind, list[Point]]], framing: Framing
) -> MemberKind:
    if framing == "trusses":
        return "truss"
    if not face.pitch:
        return "joist"
    foot, top = ([kind for kind, ends in own if _distance(end, *ends) <= 10 * NEAR] for end in (low, high))
    from_valley = "valley" in foot and "eave" not in foot
    # Where two hips of a face meet its rafter is whole: the one in the middle of a hip end.
    to_hip = top.count("hip") == 1 and not {"ridge", "curb", "break", "high edge"}.intersection(top)
    if from_valley:
        return "cripple jack" if to_hip else "valley jack"
    return "jack" if to_hip else "common"


def _distance(point: Point, begin: Point, end: Point) -> float:
    """From a point to a stretch."""
    step = (end[0] - begin[0], end[1] - begin[1])
    along = (point[0] - begin[0]) * step[0] + (point[1] - begin[1]) * step[1]
    share = min(max(along / (step[0] ** 2 + step[1] ** 2), 0.0), 1.0)
    return math.dist(point, (begin[0] + share * step[0], begin[1] + share * step[1]))
