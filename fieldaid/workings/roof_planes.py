"""Planes over a plan, and which of them is the roof at each place.

A roof whose parts all rise from their walls is, at every point, the lowest of its planes. On a convex outline each face
is therefore the outline cut by one straight line against every other plane. Footprints with an inside corner are in
`roof_wings`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from fieldaid.workings.roof_model import FaceKind

Point = tuple[float, float]

# The way out of the building, over each side.
OUTWARD: dict[str, Point] = {"A": (0.0, -1.0), "B": (-1.0, 0.0), "C": (0.0, 1.0), "D": (1.0, 0.0)}
# Points closer than this are one point [m]; a hundredth of a millimetre is far below any building tolerance.
NEAR = 1e-5
# Results of cutting and joining areas are rounded to this [m], so that faces meet in the same points.
GRID = 1e-7


@dataclass(frozen=True)
class Plane:
    """A plane z = a x + b y + c [m] that drains over `side`; `order` counts from the eave upwards."""

    side: str
    kind: FaceKind
    pitch: float
    a: float
    b: float
    c: float
    order: int = 1

    @property
    def down(self) -> Point:
        """Unit vector of the way water runs; (0, 0) when level."""
        return OUTWARD[self.side] if self.side else (0.0, 0.0)

    def height(self, x: float, y: float) -> float:
        """Height at a point of the plan [m]."""
        return self.a * x + self.b * y + self.c


def rising_from(
    side: str, pitch: float, size: Point, kind: FaceKind = "slope", *, set_in: float = 0.0, start: float = 0.0,
    order: int = 1,
) -> Plane:
    """The plane that rises inward from `side` of a rectangle (0, 0) to `size` [m].

    It stands at height `start` [m] above a line `set_in` [m] inside the wall.
    """
    out_x, out_y = OUTWARD[side]
    wall = {"A": 0.0, "B": 0.0, "C": size[1], "D": size[0]}[side]
    # The distance inside the wall is wall - (outward . point) for C and D, and the coordinate itself for A and B.
    return Plane(side, kind, pitch, -out_x * pitch, -out_y * pitch, start + (wall - set_in) * pitch, order)


def level_at(height: float) -> Plane:
    """A level plane."""
    return Plane("", "flat", 0.0, 0.0, 0.0, height)


def cut(points: Sequence[Point], a: float, b: float, c: float) -> list[Point]:
    """The part of a convex polygon where a x + b y + c is not above zero; NEAR decides what counts as zero."""
    kept: list[Point] = []
    for here, there in zip(points, [*points[1:], points[0]], strict=True) if points else ():
        high_here, high_there = (a * x + b * y + c for x, y in (here, there))
        if high_here <= NEAR / 10:
            kept.append(here)
        if (high_here > NEAR / 10) != (high_there > NEAR / 10):
            part = min(max(high_here / (high_here - high_there), 0.0), 1.0)
            kept.append((here[0] + part * (there[0] - here[0]), here[1] + part * (there[1] - here[1])))
    return kept


def lowest(outline: Polygon, planes: Sequence[Plane]) -> dict[Plane, Polygon]:
    """The part of a convex `outline` over which each plane is the lowest; planes that nowhere are, are left out."""
    parts: dict[Plane, Polygon] = {}
    start = [tuple(point) for point in outline.exterior.coords[:-1]]
    for plane in planes:
        points = start
        for other in planes:
            if other is not plane:
                points = cut(points, plane.a - other.a, plane.b - other.b, plane.c - other.c)
        part = tidy(points)
        if part is not None:
            parts[plane] = part
    return parts


def tidy(points: Sequence[Point]) -> Polygon | None:
    """The polygon of these points without doubled points and points on a straight edge; None when nothing is left."""
    ring: list[Point] = []
    for point in points:
        if not ring or math.dist(point, ring[-1]) > NEAR:
            ring.append(point)
    if ring and math.dist(ring[0], ring[-1]) <= NEAR:
        ring.pop()
    kept = [point for before, point, after in zip([ring[-1], *ring[:-1]], ring, [*ring[1:], ring[0]], strict=True)
            if _corner(before, point, after)] if len(ring) > 2 else []
    if len(kept) < 3:
        return None
    polygon = Polygon(kept)
    # A sliver is nothing, however long it is.
    return polygon if polygon.area > NEAR * polygon.length else None


def polygons_of(shape: BaseGeometry) -> list[Polygon]:
    """The polygons that a shape is made of."""
    if isinstance(shape, Polygon):
        return [] if shape.is_empty else [shape]
    return [one for one in getattr(shape, "geoms", ()) if isinstance(one, Polygon)]


def welded(parts: Mapping[Plane, Sequence[Polygon]]) -> dict[Plane, list[Polygon]]:
    """The parts with corners that are one point up to rounding made exactly one: neighbours then share their edge."""
    corners: list[Point] = []

    def same(point: Point) -> Point:
        near = next((corner for corner in corners if math.dist(corner, point) <= NEAR), None)
        if near is None:
            # Adding zero turns -0.0 into 0.0.
            near = (round(point[0], 9) + 0.0, round(point[1], 9) + 0.0)
            corners.append(near)
        return near

    return {plane: [Polygon([same((x, y)) for x, y in piece.exterior.coords[:-1]]) for piece in pieces]
            for plane, pieces in parts.items()}


def _corner(before: Point, point: Point, after: Point) -> bool:
    """Whether `point` stands off the line from `before` to `after`."""
    base = math.dist(before, after)
    cross = (after[0] - before[0]) * (point[1] - before[1]) - (after[1] - before[1]) * (point[0] - before[0])
    return base <= NEAR or abs(cross) / base > NEAR
