"""Ridges, hips, valleys, eaves, rakes and gable walls, read off the faces of a roof.

Every edge of every face is cut where another face's corner lies on it; two faces that then share an edge meet in a line
whose kind follows from the slopes on its two sides. Pieces of one line are put together again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry import LineString, Polygon
from shapely.geometry import Point as ShapelyPoint

from fieldaid.workings.roof_model import Face, GableEnd, LineKind, RoofLine
from fieldaid.workings.roof_planes import NEAR, OUTWARD, Point

# Heights and slopes closer than this are equal [m, and m per m]; corners are rounded at a tenth of a micrometre.
LEVEL = 1e-4


@dataclass(frozen=True)
class _Edge:
    """A piece of a face's edge, walked with the face on the left hand."""

    face: Face
    begin: Point
    end: Point

    @property
    def heights(self) -> Point:
        return self.face.height(*self.begin), self.face.height(*self.end)

    @property
    def falls(self) -> float:
        """How steeply the face falls from this edge inward (negative: it rises from here) [m per m]."""
        length = math.dist(self.begin, self.end)
        inward = (-(self.end[1] - self.begin[1]) / length, (self.end[0] - self.begin[0]) / length)
        a, b, _ = self.face.plane
        return -(a * inward[0] + b * inward[1])

    @property
    def level(self) -> bool:
        return abs(self.heights[0] - self.heights[1]) <= LEVEL


def lines_of(faces: Sequence[Face]) -> tuple[RoofLine, ...]:
    """The lines of a roof: where two faces meet, and where one ends."""
    pieces: list[tuple[LineKind, tuple[str, ...], Point, Point, Point]] = []
    for met in _met(_cut_edges(faces)):
        one = met[0]
        if len(met) == 1:
            pieces.append((_rim(one), (one.face.name,), one.begin, one.end, one.heights))
        elif _same_heights(met[0], met[1]):
            names = tuple(sorted(edge.face.name for edge in met))
            pieces.append((_meeting(*met), names, one.begin, one.end, one.heights))
        else:
            low, high = sorted(met, key=lambda edge: sum(edge.heights))
            pieces.append(("break", (low.face.name,), low.begin, low.end, low.heights))
            pieces.append(("rake", (high.face.name,), high.begin, high.end, high.heights))
    return _joined(pieces)


def _cut_edges(faces: Sequence[Face]) -> list[_Edge]:
    corners = {point for face in faces for point in face.plan.exterior.coords[:-1]}
    edges: list[_Edge] = []
    for face in faces:
        ring = list(face.plan.exterior.coords)
        if not face.plan.exterior.is_ccw:
            ring.reverse()
        for begin, end in zip(ring, ring[1:], strict=False):
            stops = sorted({begin, end, *(point for point in corners if _between(point, begin, end))},
                           key=lambda point: math.dist(begin, point))
            edges.extend(_Edge(face, here, there) for here, there in zip(stops, stops[1:], strict=False)
                         if math.dist(here, there) > NEAR)
    return edges


def _between(point: Point, begin: Point, end: Point) -> bool:
    """Whether a point lies on a stretch, away from its ends."""
    length = math.dist(begin, end)
    along = ((point[0] - begin[0]) * (end[0] - begin[0]) + (point[1] - begin[1]) * (end[1] - begin[1])) / length
    aside = ((point[1] - begin[1]) * (end[0] - begin[0]) - (point[0] - begin[0]) * (end[1] - begin[1])) / length
    return NEAR < along < length - NEAR and abs(aside) <= NEAR


def _met(edges: Sequence[_Edge]) -> list[list[_Edge]]:
    """The edges, each with the edge of another face that runs along it the other way, if there is one."""
    waiting = list(edges)
    found: list[list[_Edge]] = []
    while waiting:
        one = waiting.pop(0)
        other = next((edge for edge in waiting if math.dist(edge.begin, one.end) <= 2 * NEAR
                      and math.dist(edge.end, one.begin) <= 2 * NEAR), None)
        if other is not None:
            waiting.remove(other)
        found.append([one] if other is None else [one, other])
    return found


def _same_heights(one: _Edge, other: _Edge) -> bool:
    return all(abs(one.face.height(*point) - other.face.height(*point)) <= LEVEL for point in (one.begin, one.end))


def _meeting(one: _Edge, other: _Edge) -> LineKind:
    if one.falls + other.falls < -LEVEL:
        return "valley"
    if not one.level:
        return "hip"
    return "ridge" if one.falls > LEVEL and other.falls > LEVEL else "curb"


def _rim(edge: _Edge) -> LineKind:
    if not edge.level:
        return "rake"
    if edge.face.pitch == 0:
        return "eave"
    return "eave" if edge.falls < -LEVEL else "high edge"


def _joined(pieces: Sequence[tuple[LineKind, tuple[str, ...], Point, Point, Point]]) -> tuple[RoofLine, ...]:
    """The pieces with those that go on straight, in the same kind between the same faces, made one."""
    waiting = list(pieces)
    found: list[RoofLine] = []
    while waiting:
        kind, names, begin, end, (low, high) = waiting.pop(0)
        grown = True
        while grown:
            grown = False
            for other in waiting:
                if other[:2] != (kind, names):
                    continue
                ends = [(other[2], other[4][0]), (other[3], other[4][1])]
                for (near, _), (far, far_z) in (ends, ends[::-1]):
                    if math.dist(near, end) <= NEAR and _between(end, begin, far):
                        end, high, grown = far, far_z, True
                    elif math.dist(near, begin) <= NEAR and _between(begin, end, far):
                        begin, low, grown = far, far_z, True
                    else:
                        continue
                    break
                if grown:
                    waiting.remove(other)
                    break
        found.append(RoofLine(kind, LineString([begin, end]), (low, high), names))
    return tuple(found)


def gable_ends(footprint: Polygon, faces: Sequence[Face], lines: Sequence[RoofLine]) -> tuple[GableEnd, ...]:
    """The walls that stand up under the roof above the plate line, and gablets over a `break`."""
    found: list[GableEnd] = []
    ring = list(footprint.exterior.coords)
    if not footprint.exterior.is_ccw:
        ring.reverse()
    for begin, end in zip(ring, ring[1:], strict=False):
        high, area = _standing(begin, end, faces, 0.0)
        if high > LEVEL:
            found.append(GableEnd(_side(begin, end), LineString([begin, end]), high, area))
    for line in lines:
        if line.kind == "break":
            begin, end = (tuple(point) for point in line.plan.coords)
            high, area = _standing(begin, end, [face for face in faces if face.name not in line.faces], line.z[0])
            side = next((face.side for face in faces if face.name == line.faces[0]), "")
            found.append(GableEnd(side, line.plan, high, area))
    return tuple(found)


def _standing(begin: Point, end: Point, faces: Sequence[Face], base: float) -> tuple[float, float]:
    """(greatest height, area) of the wall between `base` and the roof over it [m, m2]."""
    length = math.dist(begin, end)

    def at(along: float) -> Point:
        share = along / length
        return begin[0] + share * (end[0] - begin[0]), begin[1] + share * (end[1] - begin[1])

    stops = sorted({0.0, length, *(stop for face in faces for stop in _stops(begin, end, face) if 0 < stop < length)})
    top = area = 0.0
    for here, there in zip(stops, stops[1:], strict=False):
        middle = at((here + there) / 2)
        over = [face for face in faces if face.plan.distance(ShapelyPoint(middle)) <= NEAR]
        if over and there - here > NEAR:
            face = min(over, key=lambda one: one.height(*middle))
            low, high = sorted(face.height(*at(along)) - base for along in (here, there))
            top = max(top, high)
            if low >= 0:
                area += (low + high) / 2 * (there - here)
            elif high > 0:
                area += high / 2 * (there - here) * high / (high - low)
    return top, area


def _stops(begin: Point, end: Point, face: Face) -> list[float]:
    """Where a face's edges cross the line of a wall, or have a corner on it, from the wall's beginning [m]."""
    length = math.dist(begin, end)
    step = ((end[0] - begin[0]) / length, (end[1] - begin[1]) / length)
    seen = [((x - begin[0]) * step[0] + (y - begin[1]) * step[1], (y - begin[1]) * step[0] - (x - begin[0]) * step[1])
            for x, y in face.plan.exterior.coords]
    found = [along for along, aside in seen if abs(aside) <= NEAR]
    for (along, aside), (next_along, next_aside) in zip(seen, seen[1:], strict=False):
        if min(aside, next_aside) < -NEAR and max(aside, next_aside) > NEAR:
            found.append(along + aside / (aside - next_aside) * (next_along - along))
    return found


def _side(begin: Point, end: Point) -> str:
    """The side that a wall, walked with the building on the left hand, looks at."""
    length = math.dist(begin, end)
    outward = ((end[1] - begin[1]) / length, -(end[0] - begin[0]) / length)
    return max(OUTWARD, key=lambda side: OUTWARD[side][0] * outward[0] + OUTWARD[side][1] * outward[1])
