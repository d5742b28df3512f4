"""From a chosen shape to how it could be cut: numbered kerfs, what the saw rides over, who ends where, what falls."""

from __future__ import annotations

import math
from collections import Counter

from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from fieldaid.workings import placement_limits as limits
from fieldaid.workings.placement_faces import Ground
from fieldaid.workings.placement_model import Cut, OpeningKind, Question, Spot, Stance
from fieldaid.workings.roof_model import FOOT

_LEVEL = math.sin(math.radians(5.0))
_KINDS = {
    "common": "rafter",
    "jack": "jack",
    "valley jack": "valley jack",
    "cripple jack": "cripple jack",
    "joist": "joist",
    "truss": "truss",
}


def cuts(ground: Ground, shape: Polygon, kind: OpeningKind, stance: Spot, floor: BaseGeometry) -> tuple[Cut, ...]:
    """The kerfs in order: the top one first, the last one beside the final stance [G08, G10].

    `shape` is in the face's coordinates, `stance` and `floor` (where people may walk) in plan. What is open already has
    none. Before the last cut the deck still lies: only for it does everyone have to be at the final stance.
    """
    if kind == "existing opening":
        return ()
    home = ground.on_slope(Point(stance))
    ring = list(shape.exterior.coords)
    edges = [LineString(pair) for pair in zip(ring, ring[1:], strict=False)]
    middle = shape.centroid
    order = sorted(edges, key=lambda edge: (*_turn(edge, middle, home), -edge.distance(home)))
    if kind == "louvred panels":
        level = [edge for edge in order if _is_level(edge)]
        upright = [edge for edge in order if not _is_level(edge)]
        a0, u0, a1, u1 = shape.bounds
        upright += [LineString([(at, u0), (at, u1)]) for at in ground.bays if a0 + 1e-6 < at < a1 - 1e-6]
        order = level + sorted(upright, key=lambda edge: -abs(edge.centroid.x - home.x))
    return tuple(
        _cut(ground, number, edge, middle, home, stance, floor, last=number == len(order))
        for number, edge in enumerate(order, 1)
    )


def _is_level(edge: LineString) -> bool:
    (_, u0), (_, u1) = edge.coords
    return abs(u1 - u0) <= _LEVEL * edge.length


def _turn(edge: LineString, middle: Point, home: Point) -> tuple[int]:
    """Which kerf comes when: top, far side, bottom, near side."""
    if _is_level(edge):
        return (0,) if edge.centroid.y > middle.y else (2,)
    far = (edge.centroid.x - middle.x) * (home.x - middle.x) < 0
    return (1,) if far else (3,)


def _cut(
    ground: Ground,
    number: int,
    edge: LineString,
    middle: Point,
    home: Point,
    stance: Spot,
    floor: BaseGeometry,
    last: bool,
) -> Cut:
    if _is_level(edge):
        name = "top" if edge.centroid.y > middle.y else "bottom"
    else:
        name = (
            "near side"
            if last
            else "side"
            if abs(edge.centroid.x - middle.x) < 1e-6
            else ("far side" if (edge.centroid.x - middle.x) * (home.x - middle.x) < 0 else "side")
        )
    crossed = Counter(_KINDS.get(member, member) for member, line in ground.members if edge.distance(line) < 1e-6)
    stand = stance
    if not last:
        # Outside the kerf, uphill of a level one, at the end that is nearer to the final stance.
        end = min((Point(point) for point in edge.coords), key=lambda point: point.distance(home))
        out = limits.STANCE_OUT.value
        away = (
            Point(end.x, end.y + out)
            if _is_level(edge) and name == "top"
            else Point(end.x + math.copysign(out, end.x - middle.x), end.y)
        )
        spot = ground.in_plan(away)
        if floor.covers(spot):
            stand = (spot.x, spot.y)
    return Cut(
        number,
        name,
        ground.in_plan(edge),
        edge.length,
        tuple(sorted(crossed.items())),  # type: ignore[arg-type]
        stand,
    )


def stances(question: Question, stance: Spot, way: LineString) -> tuple[Stance, ...]:
    """Where people end: the saw beside the opening, the second behind on the way off, a third at the way off."""
    back = way.interpolate(min(limits.PARTNER_BACK.value, way.length / 2))
    found = [Stance("saw", stance), Stance("partner, hand on the saw's user", (back.x, back.y))]
    if question.crew is not None and question.crew >= 3:
        end = way.coords[-1]
        found.append(Stance("watch, at the way off", (end[0], end[1])))
    return tuple(found)


def ceiling(question: Question, ground: Ground, shape: Polygon) -> str:
    """What is known of the ceiling below; a depth only under a flat one [G19, G20]."""
    middle = ground.in_plan(shape.centroid)
    depth = ground.face.height(middle.x, middle.y) / FOOT
    if question.ceiling == "flat" and depth > 0.5:
        return (
            f"a flat ceiling is about {depth:.0f} ft below the opening; a hook that reaches it, pushed only with "
            "water ready and the interior told"
        )
    if question.ceiling == "cathedral":
        return "cathedral: the ceiling is on the rafters, right under the deck"
    if question.ceiling == "scissor":
        return "scissor: the ceiling slopes; how deep it lies is not computed"
    return "depth of the ceiling not computed: " + ("flat roof" if question.ceiling == "flat" else "ceiling not told")


def drop_path(ground: Ground, shape: Polygon) -> Polygon:
    """The strip below the opening in plan, out to six feet beyond the eave; under a flat roof the opening itself."""
    if ground.flat:
        return ground.in_plan(shape)  # type: ignore[return-value]
    a0, _, a1, u1 = shape.bounds
    low = ground.shape.bounds[1] - 6.0 * FOOT * ground.face.factor
    strip = Polygon([(a0, low), (a1, low), (a1, u1), (a0, u1)]).difference(shape)
    parts = [part for part in getattr(strip, "geoms", [strip]) if part.bounds[1] <= low + 1e-6]
    return ground.in_plan(max(parts, key=lambda part: part.area))  # type: ignore[return-value]
