"""The shapes that an opening could have on one face: rectangles on the bays, triangles and trapezoids under a point,
small inspection triangles, and what can be opened already. Shapes only; whether one may be used is decided elsewhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from fieldaid.workings import placement_limits as limits
from fieldaid.workings.placement_faces import Ground
from fieldaid.workings.placement_model import Obstacle, OpeningKind
from fieldaid.workings.roof_model import FOOT

STEP = 1.0 * FOOT
# A nominal width may be met by bays that give this much less or more [ft].
_LESS, _MORE = 0.8, 1.4
_MOST_ROWS = 40
_MOST_BAYS = 120


@dataclass(frozen=True)
class Shapes:
    """Shapes on one face, in its own coordinates [m].

    shapes : polygons; boxes : their bounds, a row each (along, up, along, up)
    kinds : the kind of each; sizes : index into `limits.SIZES_FT`, -1 for other shapes
    of : the obstacle that each would open, None for a cut
    """

    shapes: np.ndarray
    boxes: np.ndarray
    kinds: np.ndarray
    sizes: np.ndarray
    of: np.ndarray

    def __len__(self) -> int:
        return len(self.kinds)

    def only(self, keep: np.ndarray | list[int]) -> Shapes:
        """The shapes where `keep` is true, or those at its indices."""
        return Shapes(self.shapes[keep], self.boxes[keep], self.kinds[keep], self.sizes[keep], self.of[keep])


def _made(
    shapes: list[Polygon], kinds: OpeningKind | list[OpeningKind], of: list[Obstacle | None] | None = None
) -> Shapes:
    found = np.array(shapes, dtype=object)
    boxes = shapely.bounds(found) if shapes else np.empty((0, 4))
    called = kinds if isinstance(kinds, list) else [kinds] * len(shapes)
    opened = np.empty(len(shapes), dtype=object)
    opened[:] = of or [None] * len(shapes)
    return Shapes(found, boxes, np.array(called, dtype=object), np.full(len(shapes), -1), opened)


def together(*parts: Shapes) -> Shapes:
    """All shapes in one."""
    return Shapes(
        *(np.concatenate([getattr(one, name) for one in parts]) for name in ("shapes", "boxes", "kinds", "sizes", "of"))
    )


def rectangles(ground: Ground, kind: OpeningKind) -> Shapes:
    """Rectangles whose side kerfs run in the middle of bays, so that the top and bottom kerfs cross whole members.

    Each reaches into at least two bays. They start at the highest line that a kerf may take and come down in steps.
    """
    left, low, right, top = ground.edges_kept.bounds if not ground.edges_kept.is_empty else (0.0,) * 4
    rows: list[tuple[float, float, float, float, int]] = []
    bays = [at for at in ground.bays if left - 1e-9 <= at <= right + 1e-9]
    stride = max(1, math.ceil(len(bays) / _MOST_BAYS))
    for size, (wide, high) in enumerate(limits.SIZES_FT):
        spans = _spans(bays, wide, stride)
        count = int((top - low - high * FOOT) / STEP + 1e-9) + 1
        if count < 1:
            continue
        step = STEP * max(1, math.ceil(count / _MOST_ROWS))
        tops = [top - n * step for n in range(int((top - low - high * FOOT) / step + 1e-9) + 1)]
        rows += [(a0, up - high * FOOT, a1, up, size) for a0, a1 in spans for up in tops]
    if not rows:
        return _made([], kind)
    table = np.array(rows)
    shapes = shapely.box(table[:, 0], table[:, 1], table[:, 2], table[:, 3])
    of = np.full(len(rows), None, dtype=object)
    return Shapes(shapes, table[:, :4], np.full(len(rows), kind, dtype=object), table[:, 4].astype(int), of)


def _spans(bays: list[float], wide_ft: float, stride: int) -> list[tuple[float, float]]:
    """Pairs of bay middles about `wide_ft` apart; a member stands between any two bays.

    For each bay the nearest width to its right and to its left; of two as near both, so that a mirrored roof has the
    mirrored choice.
    """
    at = np.array(bays)
    if len(at) < 2:
        return []
    widths = (at[None, :] - at[:, None]) / FOOT
    off = np.where((widths >= wide_ft - _LESS) & (widths <= wide_ft + _MORE), np.abs(widths - wide_ft), np.inf)
    right, left = off.min(axis=1, keepdims=True), off.min(axis=0, keepdims=True)
    first, last = np.nonzero(np.isfinite(off) & ((off <= right + 0.05) | (off <= left + 0.05)))
    keep = first % stride == 0
    return list(zip(at[first[keep]].tolist(), at[last[keep]].tolist(), strict=True))


def under_a_point(ground: Ground) -> Shapes:
    """Triangles and trapezoids high on a face that ends in a point, their sloping kerfs along the hips.

    One sort reaches from hip to hip under the point; the other stands beside one hip with an upright kerf in a bay.
    """
    room = ground.edges_kept
    if room.is_empty or not isinstance(room, Polygon):
        return _made([], "triangle")
    left, low, right, top = room.bounds
    boxes: list[tuple[float, float, float, float]] = []
    for bottom in [top - n * STEP for n in range(2, int((top - low) / STEP) + 1)]:
        boxes += [
            (left, bottom, right, upper)
            for upper in (top, *(bottom + high * FOOT for high in (3.0, 4.0, 5.0)))
            if upper <= top
        ]
        boxes += [(left, bottom, at, top) for at in ground.bays] + [(at, bottom, right, top) for at in ground.bays]
    if not boxes:
        return _made([], "triangle")
    least, most = (one.value for one in limits.TRIANGLE_AREA)
    found = shapely.intersection(room, shapely.box(*np.array(boxes).T))
    areas = shapely.area(found)
    found = found[(shapely.get_type_id(found) == 3) & (areas >= least) & (areas <= most)]
    bounds = np.round(shapely.bounds(found), 4).reshape(-1, 4)
    bounds, first = np.unique(bounds, axis=0, return_index=True)
    kept, kinds = [], []
    for (left, _, right, _), one in zip(bounds.tolist(), found[first], strict=True):
        ring = _corners(one)
        if len(ring) not in (3, 4):
            continue
        sides = list(map(math.dist, ring, [*ring[1:], ring[0]]))
        if min(sides) < limits.TRIANGLE_LEG.value or max(sides) > limits.TRIANGLE_LONGEST.value:
            continue
        if any(left < row < right for row in ground.rows):
            kept.append(Polygon(ring))
            kinds.append("triangle" if len(ring) == 3 else "trapezoid")
    return _made(kept, kinds)


def _corners(shape: Polygon) -> list[tuple[float, float]]:
    """The points of a ring at which it turns."""
    ring = list(shape.exterior.coords)[:-1]
    return [
        here
        for before, here, after in zip([ring[-1], *ring[:-1]], ring, [*ring[1:], ring[0]], strict=True)
        if abs((here[0] - before[0]) * (after[1] - here[1]) - (here[1] - before[1]) * (after[0] - here[0])) > 1e-9
    ]


def there_already(ground: Ground, obstacles: tuple[Obstacle, ...]) -> Shapes:
    """Skylights, scuttles and roof vents that lie whole on the face."""
    found = [
        (ground.on_slope(one.plan), one)
        for one in obstacles
        if one.kind in limits.OPENABLE and ground.face.plan.buffer(1e-6).contains(one.plan)
    ]
    return _made([shape for shape, _ in found], "existing opening", [one for _, one in found])


def small_triangles(ground: Ground, room: BaseGeometry, near: list[tuple[float, float]]) -> Shapes:
    """Inspection triangles between two members within reach of the points `near` (ladder tips, face coordinates)."""
    found = []
    for along, up in near:
        for left, right in zip(ground.rows, ground.rows[1:], strict=False):
            leg = min(limits.INSPECTION_LEG.value, right - left - 2 * limits.MEMBER_CLEAR.value)
            if leg < limits.INSPECTION_LEG.value / 2:
                continue
            start = (left + right - leg) / 2
            for rise in (0.0, 1.0, 2.0, 3.0):
                foot = up + rise * FOOT
                shape = Polygon([(start, foot), (start + leg, foot), (start + leg / 2, foot + leg)])
                if shape.distance(shapely.Point(along, up)) <= limits.TIP_REACH.value and room.covers(shape):
                    found.append(shape)
    return _made(found, "inspection")
