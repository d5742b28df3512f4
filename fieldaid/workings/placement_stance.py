"""Where people stand for an opening and how they leave: the hard limits of the way off, over many shapes at once.

A stance is beside the opening, never below it. From it a straight way on the roof leads to a way off; it keeps clear of
the opening, of the strip of roof below it (what slides and falls), of panels, skylights, chimneys and bad deck. A way
off is never reached past the opening: the stance is not farther from it than the opening's farthest corner.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from fieldaid.workings import placement_limits as limits
from fieldaid.workings.placement_faces import Ground
from fieldaid.workings.placement_model import Question, WayOff
from fieldaid.workings.placement_shapes import Shapes
from fieldaid.workings.roof_model import FOOT

# A way off of which only the side is told is tried at this many points along it, and looked at finely afterwards.
TRIED = 9
LOOKED_AT = 49
_STRONG = ("hip", "valley", "ridge", "eave", "rake")


@dataclass(frozen=True)
class Ways:
    """The points at which the usable ways off are tried. `of` is the index into `ways` of each point."""

    ways: tuple[WayOff, ...]
    points: np.ndarray
    of: np.ndarray


def ways_to_try(ways: tuple[WayOff, ...]) -> Ways:
    """The usable ways off; those at one place are one way."""
    kept: list[WayOff] = []
    for one in ways:
        if one.usable and all(_apart(one, other) for other in kept):
            kept.append(one)
    points = [point for one in kept for point in along(one, 1 if one.told else TRIED)]
    of = [n for n, one in enumerate(kept) for _ in range(1 if one.told else TRIED)]
    return Ways(tuple(kept), np.array(points).reshape(-1, 2), np.array(of, dtype=int))


def _apart(one: WayOff, other: WayOff) -> bool:
    return LineString([*one.ends]).distance(LineString([*other.ends])) > 3.0 * FOOT or (
        one.told != other.told or not one.told and set(one.ends) != set(other.ends)
    )


def along(way: WayOff, count: int) -> list[tuple[float, float]]:
    """Points spread evenly between a way's ends."""
    (x0, y0), (x1, y1) = way.ends
    return [(x0 + (x1 - x0) * t, y0 + (y1 - y0) * t) for t in (np.linspace(0.0, 1.0, count) if count > 1 else [0.0])]


def walkable(question: Question) -> BaseGeometry:
    """The roof in plan, less what people do not walk on. A hair wider than the roof, so that its edge counts."""
    taken = [one.plan.buffer(limits.WALK_CLEAR[one.kind]) for one in question.obstacles]
    roof = question.roof.outline.buffer(1e-3)
    return roof.difference(shapely.union_all(taken)) if taken else roof


@dataclass(frozen=True)
class Stood:
    """The best stance for each shape.

    cost : in feet, infinite where nobody can stand; at : its place; point : the index of the way point it leaves by,
    -1 where there is none; paid : what the cost is made of (walk, downwind, footing, last cut, way not told)
    """

    cost: np.ndarray
    at: np.ndarray
    point: np.ndarray
    paid: np.ndarray


def stand(
    question: Question, ground: Ground, shapes: Shapes, plans: np.ndarray, ways: Ways, floor: BaseGeometry
) -> Stood:
    """The best stance and way off for each shape, or none; `plans` are the shapes in plan."""
    count = len(shapes)
    if not count or not len(ways.points):
        return Stood(np.full(count, np.inf), np.zeros((count, 2)), np.full(count, -1), np.zeros((count, 5)))
    stances = _stances(ground, shapes)
    good = _leaves(ground, shapes, plans, stances, ways.points, floor)
    good &= shapely.covers(
        floor.intersection(question.roof.outline.buffer(-limits.STAND_IN.value)), shapely.points(stances)
    )[:, :, None]
    walks = np.linalg.norm(stances[:, :, None, :] - ways.points[None, None, :, :], axis=-1) / FOOT
    still = _standing(question, stances, plans, walks)
    best_cost, best_paid = np.full(good.shape[:2], np.inf), np.zeros((*good.shape[:2], 5))
    best_point = np.full(good.shape[:2], -1)
    for n in range(len(ways.ways)):
        own = np.flatnonzero(ways.of == n)
        share = good[:, :, own].mean(axis=-1)
        reached = share >= min(limits.LEAST_SHARE.value, 1.0)
        # The middle one of the points that do stands for a way whose place is not told; of two the nearer.
        places = np.arange(len(own))
        centre = np.where(good[:, :, own], places, 0).sum(axis=-1) / np.maximum(good[:, :, own].sum(axis=-1), 1)
        off = np.abs(places - centre[:, :, None]) + walks[:, :, own] * 1e-6
        middle = np.where(good[:, :, own], off, np.inf).argmin(axis=-1)
        length = np.take_along_axis(walks[:, :, own], middle[:, :, None], axis=-1)[:, :, 0]
        paid = np.stack(
            [np.where(reached, length, 0.0) * limits.WALK.weight, *still, (1.0 - share) * limits.WAY_NOT_TOLD.weight],
            axis=-1,
        )
        cost = np.where(reached, paid.sum(axis=-1), np.inf)
        better = cost < best_cost - 1e-9
        best_cost = np.where(better, cost, best_cost)
        best_point = np.where(better, own[middle], best_point)
        best_paid = np.where(better[:, :, None], paid, best_paid)
    which = best_cost.argmin(axis=1)
    rows = np.arange(count)
    return Stood(best_cost[rows, which], stances[rows, which], best_point[rows, which], best_paid[rows, which])


def _leaves(
    ground: Ground, shapes: Shapes, plans: np.ndarray, stances: np.ndarray, points: np.ndarray, floor: BaseGeometry
) -> np.ndarray:
    """Whether the straight way from each stance to each point leads over walkable roof, clear of the shape and of what
    falls from it, and not from beyond it (shape, stance, point)."""
    shape = (*stances.shape[:2], len(points))
    good = _not_beyond(plans, stances, points).reshape(-1)
    at = np.flatnonzero(good)
    starts = np.repeat(stances[:, :, None, :], len(points), axis=2).reshape(-1, 2)[at]
    stops = np.tile(points, (shape[0] * shape[1], 1))[at]
    paths = shapely.linestrings(np.stack([starts, stops], axis=1))
    of = at // (shape[1] * shape[2])
    fine = shapely.distance(paths, plans[of]) >= limits.PATH_CLEAR.value - 1e-9
    if not ground.flat:
        kept = np.flatnonzero(fine)
        strips = drop_strips(ground, shapes.boxes)
        fine[kept] = shapely.distance(paths[kept], strips[of[kept]]) >= limits.PATH_CLEAR.value - 1e-9
    kept = np.flatnonzero(fine)
    fine[kept] = shapely.covers(floor, paths[kept])
    good[at] = fine
    return good.reshape(shape)


def _stances(ground: Ground, shapes: Shapes) -> np.ndarray:
    """Stances beside each shape in plan (shape, left or right, xy); on a flat roof also above and below it in plan."""
    a0, u0, a1, u1 = shapes.boxes.T
    out = limits.STANCE_OUT.value
    # Uphill beside a tall shape; beside the middle of one that narrows towards the top.
    level = np.where(np.array(shapes.sizes) >= 0, u1 - 1.0 * FOOT, (u0 + u1) / 2)
    spots = [(a0 - out, level), (a1 + out, level)]
    if ground.flat:
        middle = (a0 + a1) / 2
        spots = [(a0 - out, (u0 + u1) / 2), (a1 + out, (u0 + u1) / 2), (middle, u0 - out), (middle, u1 + out)]
    xa, xu, ya, yu = ground.plan_matrix()
    return np.stack([np.stack([a * xa + u * xu, a * ya + u * yu], axis=-1) for a, u in spots], axis=1)


def drop_strips(ground: Ground, boxes: np.ndarray) -> np.ndarray:
    """The strip of the face below each shape, in plan."""
    a0, _, a1, u1 = boxes.T
    xa, xu, ya, yu = ground.plan_matrix()
    low = np.full_like(a0, ground.shape.bounds[1])
    corners = [(a0, low), (a1, low), (a1, u1), (a0, u1)]
    rings = np.stack([np.stack([a * xa + u * xu, a * ya + u * yu], axis=-1) for a, u in corners], axis=1)
    strips = shapely.polygons(rings)
    if any(kind == "valley" for kind, _ in ground.lines) or ground.pointed:
        return shapely.intersection(strips, ground.face.plan)
    return strips


def _not_beyond(plans: np.ndarray, stances: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Whether each stance is no farther from each way off than the shape's farthest corner."""
    corners, of = shapely.get_coordinates(plans, return_index=True)
    far = np.zeros((len(plans), len(points)))
    np.maximum.at(far, of, np.linalg.norm(corners[:, None, :] - points[None, :, :], axis=-1))
    near = np.linalg.norm(stances[:, :, None, :] - points[None, None, :, :], axis=-1)
    return near <= far[:, None, :] + 1e-9


def _standing(question: Question, stances: np.ndarray, plans: np.ndarray, walks: np.ndarray) -> list[np.ndarray]:
    """What each stance costs whatever way it leaves by: downwind, footing, last cut [ft]."""
    off = stances - shapely.get_coordinates(shapely.centroid(plans))[:, None, :]
    upwind = off @ np.array(question.wind)
    downwind = np.where(upwind < -0.5 * np.linalg.norm(off, axis=-1), limits.DOWNWIND.weight, 0.0)
    footing = np.zeros(stances.shape[:2])
    if question.framing == "rafters":
        strong = shapely.multilinestrings([line.plan for line in question.roof.lines if line.kind in _STRONG])
        footing = shapely.distance(shapely.points(stances), strong) / FOOT * limits.FOOTING.weight
    nearest = walks.min(axis=-1)
    last = np.where(nearest > nearest.min(axis=1, keepdims=True) + 1e-6, limits.FAR_LAST_CUT.weight, 0.0)
    return [downwind, footing, last]


def second_way(
    ways: Ways, first: int, stance: tuple[float, float], plan: Polygon, strip: Polygon | None, floor: BaseGeometry
) -> WayOff | None:
    """Another way off that can be walked to once the opening is made: round it, not through its drop path."""
    taken = plan.buffer(limits.PATH_CLEAR.value)
    if strip is not None:
        taken = taken.union(strip.buffer(limits.PATH_CLEAR.value - 1e-6))
    free = floor.difference(taken)
    parts = [part for part in getattr(free, "geoms", [free]) if part.buffer(1e-3).covers(Point(stance))]
    for n, way in enumerate(ways.ways):
        if n == ways.of[first]:
            continue
        own = [Point(point) for point in ways.points[ways.of == n]]
        if any(part.buffer(1e-3).covers(point) for part in parts for point in own):
            return way
    return None


def holds_where(
    ground: Ground,
    shapes: Shapes,
    plans: np.ndarray,
    ways: Ways,
    first: int,
    stance: tuple[float, float],
    floor: BaseGeometry,
) -> str:
    """For a way off of which only the side is told: along which part of it the answer stands; "" when along all.

    `shapes` and `plans` hold the one shape.
    """
    way = ways.ways[ways.of[first]]
    if way.told:
        return ""
    points = np.array(along(way, LOOKED_AT))
    good = _leaves(ground, shapes, plans, np.array(stance).reshape(1, 1, 2), points, floor)[0, 0]
    if good.all():
        return ""
    nearest = int(np.linalg.norm(points - ways.points[first], axis=1).argmin())
    low = high = nearest
    while low > 0 and good[low - 1]:
        low -= 1
    while high < len(points) - 1 and good[high + 1]:
        high += 1
    length = LineString(way.ends).length / FOOT
    start, stop = (round(length * n / (len(points) - 1)) for n in (low, high))
    return (
        f"holds while the {way.name} stands {start} to {stop} ft from its {_first_end(way)} end; "
        "where along that side it stands is not told"
    )


def _first_end(way: WayOff) -> str:
    """The side of the house that a way's first end is nearest to, other than its own."""
    (x0, y0), (x1, y1) = way.ends
    if abs(x1 - x0) >= abs(y1 - y0):
        return "B" if x0 < x1 else "D"
    return "A" if y0 < y1 else "C"
