"""The search for a place on one face: what bars it, the shapes that fit, the cheapest that people can leave."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from fieldaid.workings import placement_cuts, placement_stance
from fieldaid.workings import placement_limits as limits
from fieldaid.workings.placement_faces import NORMALS, Ground, inside_section, lie_to_wind
from fieldaid.workings.placement_model import Opening, OpeningKind, Question, Rejection, WayOff
from fieldaid.workings.placement_shapes import (
    Shapes,
    rectangles,
    small_triangles,
    there_already,
    together,
    under_a_point,
)
from fieldaid.workings.placement_stance import Ways
from fieldaid.workings.roof_model import FOOT, Face

PANEL_DECKS = ("plywood", "osb")
# How many shapes are looked at together, best first: small enough to stop early, large enough to be quick.
_AT_ONCE = 48
_TRIES = 24
# Shapes lie on the edge of the room they are cut from; rounding must not put them outside it [m].
_HAIR = 1e-6


def called(face: Face) -> str:
    """A face as people call it."""
    return "Flat roof" if face.pitch == 0 else f"{face.name}, {face.kind}" if face.kind == "hip end" else face.name


@dataclass
class Search:
    """The search on one face. `but` is a place that was taken already."""

    question: Question
    ground: Ground
    ways: Ways
    floor: BaseGeometry
    but: Polygon | None = None

    def run(self) -> Opening | Rejection:
        """The best opening on the face, or why there is none."""
        barred = self._barred()
        if barred:
            return self._rejected(*barred)
        shapes = self._fitting()
        if isinstance(shapes, Rejection):
            return shapes
        if self.question.mode == "inspection":
            return self._inspection(shapes)
        plans = _in_plan(self.ground, shapes.shapes)
        keep = self._out_of_wind(plans)
        if self.but is not None:
            keep &= shapely.distance(plans, self.but) > limits.STANCE_OUT.value
        if not keep.any():
            return self._rejected("windward", "the wind blows onto every part of it that would do", "W11, W12")
        shapes, plans = shapes.only(keep), plans[keep]
        return self._best(shapes, plans)

    def _rejected(self, code: str, why: str, source: str) -> Rejection:
        face = self.ground.face
        return Rejection(face.name, face.side, code, f"{called(face)}: {why}.", source)

    def _barred(self) -> tuple[str, str, str] | None:
        """What takes the whole face away before anything is measured."""
        question, face = self.question, self.ground.face
        if not self.ground.flat and lie_to_wind(face.down, question.wind) == "windward":
            return "windward", "the wind blows onto it", "W11, W12"
        refused = dict(question.refused)
        sides = set(refused) & ({face.side} if face.side else set("ABCD"))
        if sides:
            return "obstacles", refused[min(sides)], "P12, P14, S02"
        part = inside_section(self.ground, question)
        if part is not None and self.ground.shape.intersection(part).area < FOOT**2:
            return "section", "it is not over the section or void that burns", "A13, L25"
        return None

    def _fitting(self) -> Shapes | Rejection:
        """The shapes that lie whole where a kerf may lie."""
        question, ground = self.question, self.ground
        room = ground.clear(question.obstacles)
        part = inside_section(ground, question)
        room = room if part is None else room.intersection(part)
        room = room.buffer(_HAIR)
        if question.mode == "inspection":
            near = [_on_slope(ground, point) for point in self.ways.points]
            return self._some(small_triangles(ground, room, near), "ways", "no ladder tip reaches it", "N05, G12")
        cut = self._bare()
        shapely.prepare(room)
        fits = cut.only(shapely.covers(room, cut.shapes))
        ready = there_already(ground, question.obstacles)
        if len(ready):
            base = ground.shape if part is None else ground.shape.intersection(part)
            keep = [
                base.covers(shape) and self._unblocked(of) for shape, of in zip(ready.shapes, ready.of, strict=True)
            ]
            fits = together(fits, ready.only(np.array(keep, dtype=bool)))
        if len(fits):
            return fits
        if len(cut):
            if part is not None and not question.obstacles:
                return self._rejected("section", "no opening fits inside the section or void that burns", "A13")
            names = sorted(
                {
                    one.name or one.kind
                    for one in question.obstacles
                    if one.plan.distance(ground.face.plan) < limits.CLEAR_OF[one.kind].value
                }
            )
            return self._rejected(
                "obstacles", f"no room clear of {', '.join(names) or 'what stands on it'}", "P12, P18, S02"
            )
        if ground.pointed:
            return self._rejected(
                "no room", "no room for a triangle that leaves hips, ridge and jacks whole", "G13, C19"
            )
        return self._rejected(
            "no room", "four by four feet over two bays does not fit clear of ridge, hips and edges", "G02, G06, C19"
        )

    def _bare(self) -> Shapes:
        """The cut shapes that fit the face with nothing on it."""
        ground, kind = self.ground, self._kind()
        if kind not in ground.cut_shapes:
            made = under_a_point(ground) if ground.pointed else rectangles(ground, kind)
            room = ground.edges_kept.buffer(_HAIR)
            shapely.prepare(room)
            ground.cut_shapes[kind] = made.only(shapely.covers(room, made.shapes))
        return ground.cut_shapes[kind]

    def _unblocked(self, of: object) -> bool:
        """Whether what would be opened is clear of panels, wires and bad deck."""
        return all(
            one is of
            or one.kind not in ("array", "wires", "bad deck")
            or one.plan.distance(of.plan) >= limits.CLEAR_OF[one.kind].value  # type: ignore[attr-defined]
            for one in self.question.obstacles
        )

    def _some(self, shapes: Shapes, code: str, why: str, source: str) -> Shapes | Rejection:
        return shapes if len(shapes) else self._rejected(code, why, source)

    def _kind(self) -> OpeningKind:
        louvre = self.question.framing == "rafters" and self.question.deck in PANEL_DECKS
        louvre = louvre and self.ground.roof.spacing_m >= limits.PANEL_WIDTH.value - 1e-9
        return "louvred panels" if louvre else "rectangle"

    def _out_of_wind(self, plans: np.ndarray) -> np.ndarray:
        """On a flat roof the part nearest to a side that the wind blows onto is as good as windward."""
        if not self.ground.flat:
            return np.ones(len(plans), dtype=bool)
        barred = [lie_to_wind(NORMALS[side], self.question.wind) == "windward" for side in "ABCD"]
        return ~np.array(barred)[self._nearest_sides(plans)]

    def _nearest_side(self, plan: Polygon) -> str:
        return "ABCD"[int(self._nearest_sides(np.array([plan], dtype=object))[0])]

    def _nearest_sides(self, plans: np.ndarray) -> np.ndarray:
        """Index into ABCD of the side nearest to each shape; of two as near the one that faces the wind more."""
        x0, y0, x1, y1 = self.question.roof.bounds
        x, y = shapely.get_coordinates(shapely.centroid(plans)).T
        gaps = np.stack([y - y0, x - x0, y1 - y, x1 - x], axis=1)
        facing = np.array(
            [NORMALS[side][0] * self.question.wind[0] + NORMALS[side][1] * self.question.wind[1] for side in "ABCD"]
        )
        near = gaps <= gaps.min(axis=1, keepdims=True) + 1e-6
        return np.where(near, facing, -np.inf).argmax(axis=1)

    def _paid(self, shapes: Shapes, plans: np.ndarray) -> np.ndarray:
        """What each shape costs wherever people stand: fire, face, low, wind, size, cut [ft]."""
        question, ground = self.question, self.ground
        off = shapely.distance(plans, question.fire) / FOOT
        areas = np.where(shapes.sizes >= 0, 0.0, shapely.area(shapes.shapes) / FOOT**2)
        nominal = np.array([wide * high for wide, high in limits.SIZES_FT])
        areas = np.where(shapes.sizes >= 0, nominal[shapes.sizes], areas)
        drop = (ground.shape.bounds[3] - (shapes.boxes[:, 1] + shapes.boxes[:, 3]) / 2) / FOOT
        own = ground.face.side in question.fire_sides if not ground.flat and question.fire_sides else True
        along = 0.0 if ground.flat or lie_to_wind(ground.down, question.wind) in ("leeward", "calm") else 1.0
        ready = np.array([of is not None for of in shapes.of])
        small = np.clip(limits.FULL_AREA_FT2 - areas, 0.0, None)
        nominal_width = np.array([wide for wide, _ in limits.SIZES_FT])[shapes.sizes]
        width = (shapes.boxes[:, 2] - shapes.boxes[:, 0]) / FOOT
        middle = shapely.distance(shapely.centroid(plans), question.fire.centroid) / FOOT
        columns = [
            (off > 1e-6) * limits.OFF_FIRE.weight,
            off * limits.FIRE_DISTANCE.weight,
            middle * limits.FIRE_MIDDLE.weight,
            np.full(len(plans), 0.0 if own else limits.OTHER_FACE.weight),
            (np.zeros(len(plans)) if ground.flat else drop) * limits.LOW.weight,
            np.full(len(plans), along * limits.ALONG_WIND.weight),
            small * limits.SMALL.weight,
            np.where(shapes.sizes >= 0, np.abs(width - nominal_width), 0.0) * limits.OFF_SIZE.weight,
            np.where(ready, 0.0, limits.CUTS.weight),
        ]
        return np.stack(columns, axis=1)

    def _best(self, shapes: Shapes, plans: np.ndarray) -> Opening | Rejection:
        """The cheapest shape that people can stand beside and leave."""
        paid = self._paid(shapes, plans)
        base = paid.sum(axis=1)
        # Nobody leaves by less than the nearest way off: with it the search can stop early.
        gaps = shapely.distance(plans, shapely.multipoints(self.ways.points)) / FOOT
        least = base + np.maximum(gaps - 4.0, 0.0) * limits.WALK.weight
        best: list[tuple[float, int]] = []
        stood_at: dict[int, tuple[placement_stance.Stood, int]] = {}
        for rows in _rounds(shapes, base, least):
            if best and rows and least[rows].min() >= min(best)[0]:
                rows = [row for row in rows if least[row] < min(best)[0]]
            while rows:
                some, rows = rows[:_AT_ONCE], rows[_AT_ONCE:]
                stood = self._stand(shapes, plans, some)
                for n, row in enumerate(some):
                    if stood.point[n] >= 0:
                        best.append((round(float(base[row] + stood.cost[n]), 6), row))
                        stood_at[row] = (stood, n)
                rows = [row for row in rows if not best or least[row] < min(best)[0]]
            if best:
                break
        if not best:
            return self._rejected(
                "way off",
                "the opening would lie between the crew and every way off, or they would end beyond or below it",
                "S34, G10",
            )
        for score, row in sorted(best)[:_TRIES]:
            stood, n = stood_at[row]
            found = self._opening(shapes.only(np.arange(len(base)) == row), plans[row], score, paid[row], stood, n)
            if found is not None:
                return found
        return self._rejected("way off", "once open, the second way off could not be reached past it", "S02, S34")

    def _stand(self, shapes: Shapes, plans: np.ndarray, rows: list[int]) -> placement_stance.Stood:
        return placement_stance.stand(self.question, self.ground, shapes.only(rows), plans[rows], self.ways, self.floor)

    def _opening(
        self, one: Shapes, plan: Polygon, score: float, paid: np.ndarray, stood: placement_stance.Stood, n: int
    ) -> Opening | None:
        question, ground = self.question, self.ground
        stance = (float(stood.at[n][0]), float(stood.at[n][1]))
        first = int(stood.point[n])
        strip = None if ground.flat else placement_stance.drop_strips(ground, one.boxes)[0]
        second = placement_stance.second_way(self.ways, first, stance, plan, strip, self.floor)
        if second is None:
            return None
        way = LineString([stance, self.ways.points[first]])
        kind, shape = one.kinds[0], one.shapes[0]
        a0, u0, a1, u1 = shape.bounds
        wide, high = limits.SIZES_FT[one.sizes[0]]
        condition = placement_stance.holds_where(
            ground, one, np.array([plan], dtype=object), self.ways, first, stance, self.floor
        )
        side = ground.face.side if not ground.flat else self._nearest_side(plan)
        wishes = (
            limits.OFF_FIRE,
            limits.FIRE_DISTANCE,
            limits.FIRE_MIDDLE,
            limits.OTHER_FACE,
            limits.LOW,
            limits.ALONG_WIND,
            limits.SMALL,
            limits.OFF_SIZE,
            limits.CUTS,
            limits.WALK,
            limits.DOWNWIND,
            limits.FOOTING,
            limits.FAR_LAST_CUT,
            limits.WAY_NOT_TOLD,
        )
        costs = (*paid, *stood.paid[n])
        return Opening(
            kind=kind,
            face=ground.name,
            side=side,
            plan=plan,
            size_ft=(min(wide, high), max(wide, high)) if one.sizes[0] >= 0 else None,
            along_m=a1 - a0,
            up_m=u1 - u0,
            area_m2=shape.area,
            over_fire=bool(paid[0] == 0),
            lie="calm"
            if question.wind == (0.0, 0.0)
            else lie_to_wind(NORMALS[side] if ground.flat else ground.down, question.wind),
            cuts=placement_cuts.cuts(ground, shape, kind, stance, self.floor),
            stances=placement_cuts.stances(question, stance, way),
            way_off=self.ways.ways[self.ways.of[first]].name,
            way=way,
            second_way=second.name,
            condition=condition,
            drop_path=placement_cuts.drop_path(ground, shape),
            ceiling=placement_cuts.ceiling(question, ground, shape),
            score=score,
            paid=tuple(
                (wish.about, round(float(cost), 3), wish.source)
                for wish, cost in zip(wishes, costs, strict=True)
                if cost > 1e-9
            ),
            notes=self._notes(kind),
        )

    def _notes(self, kind: OpeningKind) -> tuple[str, ...]:
        found = []
        if kind == "existing opening":
            found.append("What is open is a fall hole too [P18].")
        if self.question.crew is None:
            found.append("Crew not told: the two that it takes at least are shown.")
        if self.question.framing is None:
            found.append("Framing not told: the lines are at the spacing told; whatever the saw meets is ridden over.")
        if self.ground.face.pitch >= 8 / 12:
            found.append("Steep: worked from a roof ladder or an aerial [G16].")
        return tuple(found)

    def _inspection(self, shapes: Shapes) -> Opening | Rejection:
        """The inspection triangle nearest to the fire, worked from the ladder tip; nobody stands on the roof for it."""
        question, ground = self.question, self.ground
        plans = _in_plan(ground, shapes.shapes)
        keep = self._out_of_wind(plans)
        if not keep.any():
            return self._rejected("windward", "the wind blows onto what a ladder tip reaches", "W11, W12")
        shapes, plans = shapes.only(keep), plans[keep]
        tips = shapely.points(self.ways.points)
        reach = shapely.distance(plans[:, None], tips[None, :])
        cost = np.round(shapely.distance(plans, question.fire) / FOOT + reach.min(axis=1) / FOOT, 6)
        row = int(np.lexsort((np.arange(len(cost)), cost))[0])
        first = int(reach[row].argmin())
        tip = (float(self.ways.points[first][0]), float(self.ways.points[first][1]))
        way = self.ways.ways[self.ways.of[first]]
        shape = shapes.shapes[row]
        a0, u0, a1, u1 = shape.bounds
        return Opening(
            kind="inspection",
            face=ground.name,
            side=ground.face.side or self._nearest_side(plans[row]),
            plan=plans[row],
            size_ft=None,
            along_m=a1 - a0,
            up_m=u1 - u0,
            area_m2=shape.area,
            over_fire=bool(shapely.intersects(plans[row], question.fire)),
            lie=lie_to_wind(ground.down, question.wind),
            cuts=tuple(
                replace(cut, stand=tip) for cut in placement_cuts.cuts(ground, shape, "inspection", tip, self.floor)
            ),
            stances=_at_the_tip(tip, way),
            way_off=way.name,
            way=LineString([tip, tip]),
            second_way="",
            condition="" if way.told else f"where along its side the {way.name} stands is not told",
            drop_path=placement_cuts.drop_path(ground, shape),
            ceiling="an inspection opening pushes no ceiling",
            score=float(cost[row]),
        )


def _at_the_tip(tip: tuple[float, float], way: WayOff) -> tuple[placement_cuts.Stance, ...]:
    """One at the ladder tip, one at its foot."""
    return (
        placement_cuts.Stance(f"saw, at the tip of the {way.name}", tip),
        placement_cuts.Stance("partner, at the foot of the ladder", tip),
    )


def _rounds(shapes: Shapes, base: np.ndarray, least: np.ndarray) -> Iterator[list[int]]:
    """Rows to look at: first the cheapest of each column of the face, then, where nobody could stand, the rest.

    Shapes of one size above each other are a column; of two where people can stand the cheaper one is better, since
    what a stance costs changes by less than what the place does.
    """
    order = np.lexsort((np.arange(len(base)), np.round(least, 6)))
    keys = np.stack([shapes.sizes, np.round(shapes.boxes[:, 0], 4), np.round(shapes.boxes[:, 2], 4)], axis=1)[order]
    firsts = np.zeros(len(order), dtype=bool)
    firsts[np.unique(keys, axis=0, return_index=True)[1]] = True
    firsts |= shapes.sizes[order] < 0
    yield order[firsts].tolist()
    yield order[~firsts].tolist()


def _in_plan(ground: Ground, shapes: np.ndarray) -> np.ndarray:
    xa, xu, ya, yu = ground.plan_matrix()
    return shapely.transform(
        shapes,
        lambda points: np.stack([points[:, 0] * xa + points[:, 1] * xu, points[:, 0] * ya + points[:, 1] * yu], axis=1),
    )


def _on_slope(ground: Ground, point: np.ndarray) -> tuple[float, float]:
    spot = ground.on_slope(shapely.Point(point))
    return float(spot.x), float(spot.y)
