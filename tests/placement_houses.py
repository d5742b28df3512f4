"""Invented houses for the placement tests: random questions, and the same question mirrored or turned.

Nothing here uses the solver; roofs come from `fieldaid.workings.roof`.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace

import shapely
from shapely.geometry import Polygon, box

from fieldaid.errors import FieldaidError
from fieldaid.workings.placement_model import Obstacle, Question, WayOff
from fieldaid.workings.roof import build
from fieldaid.workings.roof_model import FOOT, INCH, RoofModel
from fieldaid.workings.roof_wings import Wing

CORNERS = {"AB": (0, 1), "BC": (0, 3), "CD": (2, 3), "DA": (2, 1)}
SIDE_ENDS = {"A": ("AB", "DA"), "B": ("AB", "BC"), "C": ("BC", "CD"), "D": ("DA", "CD")}


def corner(roof: RoofModel, name: str) -> WayOff:
    spot = _spot(roof, name)
    return WayOff(f"{name} ladder", (spot, spot))


def along_side(roof: RoofModel, side: str) -> WayOff:
    first, last = (_spot(roof, name) for name in SIDE_ENDS[side])
    return WayOff(f"{side} ladder", (first, last))


def _spot(roof: RoofModel, name: str) -> tuple[float, float]:
    bounds = roof.bounds
    return bounds[CORNERS[name][0]], bounds[CORNERS[name][1]]


def fire_part(roof: RoofModel, side: str) -> Polygon:
    """The half, quarter or middle of the house that a fire told at `side` may be in."""
    x0, y0, x1, y1 = roof.bounds
    xm, ym = (x0 + x1) / 2, (y0 + y1) / 2
    if side == "centre":
        return box((x0 + xm) / 2, (y0 + ym) / 2, (xm + x1) / 2, (ym + y1) / 2)
    return box(
        xm if "D" in side else x0, ym if "C" in side else y0, xm if "B" in side else x1, ym if "A" in side else y1
    )


def random_roof(rng: random.Random) -> RoofModel:
    """A roof of a form that placement handles, of any size that houses have."""
    while True:
        form = rng.choice(("gable", "gable", "hip", "hip", "pyramid", "shed", "flat", "L", "T"))
        length, width = rng.uniform(16, 80) * FOOT, rng.uniform(14, 44) * FOOT
        pitch = rng.choice((2, 3, 4, 5, 6, 8, 10, 12, 14)) / 12
        rest = dict(
            ridge_runs=rng.choice(("B-D", "A-C")),
            spacing_m=rng.choice((12, 16, 19.2, 24, 30)) * INCH,
            overhang_m=rng.choice((0, 0, 1, 1.5, 2)) * FOOT,
        )
        if form == "pyramid":
            length = width
        if form == "flat":
            pitch = 0.0
        if form == "hip":
            length = max(length, width * rng.uniform(1.05, 2.5))
        try:
            if form in "LT":
                along = rest["ridge_runs"] == "B-D"
                wide = rng.uniform(0.4, 0.9) * min(width, length)
                reach = rng.uniform(8, 30) * FOOT
                at = 0.0 if form == "L" else (length - wide) / 2
                side = rng.choice("AC" if along else "BD")
                wing = Wing(side=side, length_m=reach, width_m=wide, start_m=at)
                return build(rng.choice(("gable", "hip")), length, width, pitch, wings=(wing,), **rest)
            return build(form, length, width, pitch, **rest)
        except FieldaidError:
            continue


def random_question(rng: random.Random) -> Question:
    """A question about a random roof: wind from anywhere or calm, two to four ways off, up to four obstacles."""
    roof = random_roof(rng)
    x0, y0, x1, y1 = roof.bounds
    angle = rng.choice([None, *range(0, 360, 15)])
    wind = (0.0, 0.0) if angle is None else (math.cos(math.radians(angle)), math.sin(math.radians(angle)))
    places = rng.sample([*CORNERS, *SIDE_ENDS], rng.randint(2, 4))
    ways = [corner(roof, name) if len(name) == 2 else along_side(roof, name) for name in places]
    if rng.random() < 0.3:
        on = roof.outline.exterior.interpolate(rng.uniform(0, roof.outline.exterior.length))
        ways[0] = WayOff("odd ladder", ((on.x, on.y), (on.x, on.y)), usable=rng.random() < 0.9)
    obstacles = []
    for n in range(rng.choice((0, 0, 1, 2, 4))):
        kind = rng.choice(("array", "array", "skylight", "chimney", "roof vent", "bad deck", "scuttle"))
        wide, high = (rng.uniform(5, 20), rng.uniform(5, 12)) if kind == "array" else (rng.uniform(1, 5),) * 2
        x, y = rng.uniform(x0, x1), rng.uniform(y0, y1)
        plan = box(x, y, x + wide * FOOT, y + high * FOOT).intersection(roof.outline)
        if isinstance(plan, Polygon) and plan.area > 0.01:
            obstacles.append(Obstacle(kind, plan, f"{kind} {n}"))
    fire = rng.choice((*"ABCD", "AB", "BC", "CD", "DA", "centre"))
    return Question(
        roof,
        wind,
        fire_part(roof, fire),
        "" if fire == "centre" else fire,
        tuple(ways),
        tuple(obstacles),
        framing=rng.choice(("rafters", "rafters", None)),
        deck=rng.choice(("plywood", "plank", None)),
        ceiling=rng.choice(("flat", None)),
        crew=rng.choice((2, 3, 4, None)),
    )


Moved = Callable[[float, float], tuple[float, float]]


def moved(question: Question, to: Moved, names: dict[str, str]) -> Question:
    """The same question after a rigid motion of the plan; `names` gives each side's new letter."""

    def shape(one):  # type: ignore[no-untyped-def]
        return shapely.transform(one, lambda points: [to(x, y) for x, y in points])

    def turned(x: float, y: float) -> tuple[float, float]:
        (ox, oy), (px, py) = to(0.0, 0.0), to(x, y)
        return px - ox, py - oy

    def renamed(name: str) -> str:
        return names.get(name[:1], name[:1]) + name[1:] if name[:1] in names else name

    def plane(one: tuple[float, float, float]) -> tuple[float, float, float]:
        a, b = turned(one[0], one[1])
        x, y = to(0.0, 0.0)
        return a, b, one[2] - a * x - b * y

    roof = question.roof
    faces = tuple(
        replace(
            face,
            name=renamed(face.name),
            side=names.get(face.side, ""),
            plan=shape(face.plan),
            down=turned(*face.down),
            plane=plane(face.plane),
        )
        for face in roof.faces
    )
    lines = tuple(replace(line, plan=shape(line.plan), faces=tuple(map(renamed, line.faces))) for line in roof.lines)
    members = tuple(replace(one, plan=shape(one.plan), face=renamed(one.face)) for one in roof.members)
    new = replace(
        roof, footprint=shape(roof.footprint), outline=shape(roof.outline), faces=faces, lines=lines, members=members
    )
    return replace(
        question,
        roof=new,
        wind=turned(*question.wind),
        fire=shape(question.fire),
        fire_sides="".join(names[side] for side in question.fire_sides),
        ways=tuple(replace(way, ends=(to(*way.ends[0]), to(*way.ends[1]))) for way in question.ways),
        obstacles=tuple(replace(one, plan=shape(one.plan)) for one in question.obstacles),
        refused=tuple((names[side], why) for side, why in question.refused),
        within=None if question.within is None else shape(question.within),
    )


MIRROR: tuple[Moved, dict[str, str]] = (lambda x, y: (-x, y), {"A": "A", "B": "D", "C": "C", "D": "B"})
QUARTER: tuple[Moved, dict[str, str]] = (lambda x, y: (y, -x), {"A": "B", "B": "C", "C": "D", "D": "A"})
