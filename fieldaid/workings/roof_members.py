"""Rafters, joists and trusses laid out under the faces of a roof.

The layout is the usual one by rule: on centre from a corner or from the end wall, a rafter at each end of a gable, a
common rafter at each end of a hip's ridge, jacks in from the corners (jacks: Navy NAVEDTRA 14044; the rest common
practice, no source). A real roof may start elsewhere. Lengths are on the line, before shortening for the thickness of
ridge and hip.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from fieldaid.workings.roof_model import Face, Framing, Member, MemberKind, RoofLine
from fieldaid.workings.roof_planes import NEAR

# A member must be at least this long, and two stand at least this far apart, to be counted [m]: 1 in.
SHORTEST = 0.0254


def members_of(
    faces: Sequence[Face], lines: Sequence[RoofLine], footprint: Polygon, spacing: float, framing: Framing,
) -> tuple[Member, ...]:
    """Every member under the faces, and for rafters the ridge, hip and valley members too. `spacing` in m."""
    found: list[Member] = []
    for face in faces:
        for place in _places(face, lines, footprint, spacing):
            found.extend(_at(face, place, lines, footprint, framing))
    if framing == "rafters":
        for line in lines:
            if line.kind in ("ridge", "hip", "valley"):
                inside = line.plan.intersection(footprint).length if line.plan.length else 0.0
                tail = 0.0 if line.kind == "ridge" else (1 - inside / line.plan.length) * line.length_m
                plan = line.plan if line.z[0] <= line.z[1] else LineString(line.plan.coords[::-1])
                found.append(Member(line.kind, plan, line.length_m, "", _clean(tail)))
    return tuple(found)


def _clean(length: float) -> float:
    return length if length > NEAR else 0.0


def _frame(face: Face) -> tuple[tuple[float, float], tuple[float, float]]:
    """(unit vector across the members, unit vector along them, upwards) in plan.

    On a level face the members span the shorter way of its bounds.
    """
    if face.pitch:
        return face.along, (-face.down[0], -face.down[1])
    least_x, least_y, most_x, most_y = face.plan.bounds
    return ((1.0, 0.0), (0.0, 1.0)) if most_x - least_x >= most_y - least_y else ((0.0, 1.0), (1.0, 0.0))


def _places(face: Face, lines: Sequence[RoofLine], footprint: Polygon, spacing: float) -> list[float]:
    """Where members stand, as distances across the face along its frame [m]."""
    (ax, ay), _ = _frame(face)

    def across(shape: Polygon | LineString) -> tuple[float, float]:
        coords = shape.exterior.coords if isinstance(shape, Polygon) else shape.coords
        values = [x * ax + y * ay for x, y in coords]
        return min(values), max(values)

    walls = face.plan.intersection(footprint)
    if walls.is_empty or not isinstance(walls, Polygon):
        walls = face.plan
    first, last = across(walls)
    tops = [across(line.plan) for line in lines if face.name in line.faces and line.kind in ("ridge", "break", "curb")
            and line.z[0] > face.height(*face.plan.representative_point().coords[0])]
    hips = [across(line.plan) for line in lines if face.name in line.faces and line.kind == "hip"]
    left = any(abs(low - first) <= NEAR or low < first for low, _ in hips)
    right = any(abs(high - last) <= NEAR or high > last for _, high in hips)
    valleys = any(face.name in line.faces and line.kind == "valley" for line in lines)
    if left and right and not valleys:
        # Between the feet of two hips: jacks in from both corners, commons between the ends of the ridge.
        top_first = min((low for low, _ in tops), default=max(high for _, high in hips if high < last - NEAR)
                        if any(high < last - NEAR for _, high in hips) else (first + last) / 2)
        top_last = max((high for _, high in tops), default=top_first)
        return _spread([*_steps(first, top_first, spacing), top_first,
                        *_steps(top_first, top_last, spacing), top_last,
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
    face: Face, place: float, lines: Sequence[RoofLine], footprint: Polygon, framing: Framing
) -> list[Member]:
    """The members on one line across a face: one, or two where the line leaves the face and comes back."""
    (ax, ay), (ux, uy) = _frame(face)
    ups = [x * ux + y * uy for x, y in face.plan.exterior.coords]

    def over(across: float) -> BaseGeometry:
        return face.plan.intersection(LineString(
            [(across * ax + up * ux, across * ay + up * uy) for up in (min(ups) - 1.0, max(ups) + 1.0)]))

    def longest(shape: BaseGeometry) -> float:
        return max((part.length for part in getattr(shape, "geoms", [shape])), default=0.0)

    # A member in the edge of its face is measured a hair inside it, on the side where it is longest.
    best = over(place)
    for beside in (over(place + NEAR), over(place - NEAR)):
        if longest(beside) > longest(best) + 10 * NEAR:
            best = beside
    walls = footprint.buffer(2 * NEAR, join_style="mitre")
    found: list[Member] = []
    for stretch in getattr(best, "geoms", [best]):
        if not isinstance(stretch, LineString) or stretch.is_empty or stretch.length < SHORTEST:
            continue
        low, high = sorted((tuple(point) for point in stretch.coords), key=lambda point: point[0] * ux + point[1] * uy)
        kind = _kind(face, low, high, lines, framing)
        tail = (stretch.length - stretch.intersection(walls).length) * face.factor
        # Over a corner post the hip itself stands; what reaches past it on the wall's line is not a rafter.
        if tail > stretch.length * face.factor - SHORTEST:
            continue
        found.append(Member(kind, LineString([low, high]), stretch.length * face.factor, face.name, _clean(tail)))
    return found


def _kind(
    face: Face, low: tuple[float, ...], high: tuple[float, ...], lines: Sequence[RoofLine], framing: Framing
) -> MemberKind:
    if framing == "trusses":
        return "truss"
    if not face.pitch:
        return "joist"
    foot, top = ([line.kind for line in lines
                  if face.name in line.faces and line.plan.distance(Point(end)) <= 10 * NEAR] for end in (low, high))
    from_valley = "valley" in foot and "eave" not in foot
    # Where two hips of a face meet its rafter is whole: the one in the middle of a hip end.
    to_hip = top.count("hip") == 1 and not {"ridge", "curb", "break", "high edge"}.intersection(top)
    if from_valley:
        return "cripple jack" if to_hip else "valley jack"
    return "jack" if to_hip else "common"
