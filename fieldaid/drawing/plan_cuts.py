"""The cuts of an opening on the plan, and where their numbers go."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from fieldaid.drawing import symbols
from fieldaid.drawing.shapes import Path, Spot
from fieldaid.workings.placement_model import Opening

if TYPE_CHECKING:
    from fieldaid.drawing.plan import Plan


def draw_cuts(plan: Plan, best: Opening, shape: BaseGeometry) -> None:
    """The kerfs and their numbers, just outside the opening; kerfs inside it are numbered on themselves."""
    middle = shape.centroid
    for cut in best.cuts:
        plan.page.add(Path(tuple(plan.on_page(cut.plan).coords), 5.0))
    upright = [cut for cut in best.cuts if best.kind == "louvred panels" and cut.number > 2]
    # Where upright kerfs stand close together the first and the last keep their numbers, the others give way.
    ranked = sorted(upright, key=lambda cut: (cut is not upright[-1], cut is not upright[0], cut.number))
    for cut in [*(cut for cut in best.cuts if cut not in upright), *ranked]:
        line = plan.on_page(cut.plan)
        spot = line.interpolate(0.5, normalized=True)
        at: Spot | None = _beside(plan, line, (spot.x - middle.x, spot.y - middle.y), best)
        if cut in upright:
            at = _on_kerf(plan, line, upright.index(cut) % 2 == 0, best)
        if at is not None and line.distance(Point(at)) > 2 * symbols.NUMBER:
            near = line.interpolate(line.project(Point(at)))
            plan.page.add(Path((at, (near.x, near.y)), 1.5))
        if at is not None:
            plan.page.add(*symbols.number(at, str(cut.number)))
            plan.labels.mark(at, symbols.NUMBER)
    plan.labels.keep_free(shape.bounds)
    if best.cuts:
        plan.say("number", "order of the cuts")


def _on_kerf(plan: Plan, line: LineString, high: bool, best: Opening) -> Spot | None:
    """Where the number of a kerf between two others goes: on the kerf itself, near one end; None without room."""
    (x0, y0), (x1, y1) = sorted([line.coords[0], line.coords[-1]], key=lambda point: (point[1], point[0]))
    for share in (0.2, 0.8, 0.5) if high else (0.8, 0.2, 0.5):
        at = (x0 + (x1 - x0) * share, y0 + (y1 - y0) * share)
        if _is_clear(plan, at, best):
            return at
    return None


def _is_clear(plan: Plan, at: Spot, best: Opening) -> bool:
    """Whether a number at a spot covers neither another mark nor somebody who stands there."""
    reach = symbols.NUMBER
    people = (plan.at(*one.at) for one in best.stances)
    return (plan.labels.is_free((at[0] - reach, at[1] - reach, at[0] + reach, at[1] + reach))
            and all(math.dist(at, one) > reach + 15 for one in people))


def _beside(plan: Plan, line: LineString, out: Spot, best: Opening) -> Spot:
    """Where a kerf's number goes: outside it, else inside, clear of people and of other numbers."""
    (x0, y0), (x1, y1) = line.coords[0], line.coords[-1]
    long = math.hypot(x1 - x0, y1 - y0) or 1.0
    square = (-(y1 - y0) / long, (x1 - x0) / long)
    sign = 1.0 if square[0] * out[0] + square[1] * out[1] >= 0 else -1.0
    reach = symbols.NUMBER
    first = None
    for away in (reach + 7, -(reach + 7), reach + 24, -(reach + 24), reach + 40):
        for share in (0.5, 0.3, 0.7, 0.1, 0.9, 0.0, 1.0):
            spot = (x0 + (x1 - x0) * share, y0 + (y1 - y0) * share)
            at = (spot[0] + sign * square[0] * away, spot[1] + sign * square[1] * away)
            first = first or at
            if _is_clear(plan, at, best):
                return at
    return first or out
