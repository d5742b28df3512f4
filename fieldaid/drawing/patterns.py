"""Patterns that fill an area with lines: what colour would say, so that it reads in black and white."""

from __future__ import annotations

import math
from typing import Literal

import shapely
from shapely import affinity
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from fieldaid.drawing.shapes import Path

Pattern = Literal["diagonal", "back diagonal", "crossed", "grid", "upright", "level"]
_TURNS = {
    "diagonal": (45.0,),
    "back diagonal": (135.0,),
    "crossed": (45.0, 135.0),
    "grid": (0.0, 90.0),
    "upright": (90.0,),
    "level": (0.0,),
}


def filled(
    area: BaseGeometry, pattern: Pattern, gap: float, width: float = 1.5, dash: tuple[float, ...] = ()
) -> list[Path]:
    """Lines of a pattern over an area in page units, `gap` apart; nothing for an empty area."""
    if area.is_empty:
        return []
    found = []
    x, y = area.envelope.centroid.coords[0]
    x0, y0, x1, y1 = area.bounds
    reach = math.hypot(x1 - x0, y1 - y0) / 2 + gap
    for turn in _TURNS[pattern]:
        count = int(reach / gap)
        lines = [LineString([(x - reach, y + n * gap), (x + reach, y + n * gap)]) for n in range(-count, count + 1)]
        turned = affinity.rotate(shapely.MultiLineString(lines), -turn, origin=(x, y))
        found += [Path(tuple(part.coords), width, dash=dash) for part in _lines(area.intersection(turned))]
    return found


def _lines(shape: BaseGeometry) -> list[LineString]:
    if isinstance(shape, LineString):
        return [shape] if shape.length > 0.5 else []
    return [one for part in getattr(shape, "geoms", ()) for one in _lines(part)]


def polygons(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of any area."""
    if isinstance(shape, Polygon):
        return [] if shape.is_empty else [shape]
    return [one for part in getattr(shape, "geoms", ()) for one in polygons(part)]
