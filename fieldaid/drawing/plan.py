"""The roof seen from above: A at the bottom, what may not be cut, what is in the way, and the place worked out."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from fieldaid.drawing import symbols
from fieldaid.drawing.labels import Box, Labels, Wanted
from fieldaid.drawing.patterns import filled, polygons
from fieldaid.drawing.plan_cuts import draw_cuts
from fieldaid.drawing.scene import Scene
from fieldaid.drawing.shapes import Page, Path, Spot
from fieldaid.workings.placement_model import Opening
from fieldaid.workings.roof_model import FOOT, RoofModel

OUT: dict[str, Spot] = {"A": (0.0, 1.0), "B": (-1.0, 0.0), "C": (0.0, -1.0), "D": (1.0, 0.0)}
COMPASS = ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest")
# Line styles: what must not be cut is heavy, valleys broken differently from hips.
STYLES: dict[str, tuple[float, tuple[float, ...]]] = {
    "ridge": (6.0, ()),
    "hip": (4.5, ()),
    "valley": (4.5, (16.0, 5.0, 3.0, 5.0)),
    "eave": (3.0, ()),
    "rake": (3.0, ()),
    "curb": (3.5, (10.0, 4.0)),
    "break": (3.0, ()),
    "high edge": (5.0, ()),
    "wall": (3.0, ()),
}
_MARGIN = 150.0


@dataclass
class Plan:
    """Draws the plan of one scene into `area` of a page. `used` collects the legend's entries, in the order drawn."""

    scene: Scene
    page: Page
    area: Box
    labels: Labels = field(init=False)
    used: dict[str, str] = field(default_factory=dict)
    waiting: list[Wanted] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.labels = Labels(self.area)
        roof = self.roof
        x0, y0, x1, y1 = roof.bounds
        left, top, right, bottom = self.area
        self.scale = min((right - left - 2 * _MARGIN) / (x1 - x0), (bottom - top - 2 * _MARGIN) / (y1 - y0))
        self.shift = ((left + right) / 2 - (x0 + x1) / 2 * self.scale, (top + bottom) / 2 + (y0 + y1) / 2 * self.scale)

    @property
    def roof(self) -> RoofModel:
        assert self.scene.roof is not None
        return self.scene.roof

    def at(self, x: float, y: float) -> Spot:
        """A point of the plan on the page."""
        return self.shift[0] + x * self.scale, self.shift[1] - y * self.scale

    def on_page(self, shape: BaseGeometry) -> BaseGeometry:
        return shapely.transform(shape, lambda points: [self.at(x, y) for x, y in points])

    def ring(self, shape: Polygon) -> tuple[Spot, ...]:
        return tuple(self.at(x, y) for x, y in shape.exterior.coords[:-1])

    def draw(self) -> None:
        """Everything, from the ground up; labels last, so that they lie on top and keep off every mark."""
        self._frame()
        self._no_go_areas()
        self._obstacles()
        opening = self._opening()
        self._fire()
        self._smoke()
        self._ways()
        self._sides()
        self._surroundings()
        if opening is not None:
            self._people(opening)
        self._names()
        (x0, y1), (x1, y0) = self.at(*self.roof.outline.bounds[:2]), self.at(*self.roof.outline.bounds[2:])
        roof = (x0 - 4, y0 - 4, x1 + 4, y1 + 4)
        people = {one.who.split(",")[0] for one in opening.stances} if opening is not None else set()
        for one in sorted(self.waiting, key=lambda one: (not one.outside, one.text not in people)):
            self.labels.place(self.page, one, off=roof)

    def _label(self, text: str, at: Spot, *, bold: bool = False, first: float = 0.0, outside: bool = False,
               others: tuple[Spot, ...] = ()) -> None:
        """Asks for a label; see `Wanted`."""
        self.waiting.append(Wanted(text, at, bold, first, outside, others))

    def say(self, mark: str, words: str) -> None:
        """Notes that the legend explains `mark`."""
        self.used.setdefault(mark, words)

    # -- the roof ----------------------------------------------------------------------------------------------------

    def _frame(self) -> None:
        roof = self.roof
        self.page.add(Path(self.ring(roof.outline), 3.0, "black", "white", True))
        for member in roof.members if self.scene.to_scale else ():
            if member.face:
                self.page.add(Path(tuple(self.at(x, y) for x, y in member.plan.coords), 1.0, dash=(3.0, 4.0)))
                self.say("member", "rafters, jacks, joists: ridden over, not cut")
        if roof.overhang_m:
            self.page.add(Path(self.ring(roof.footprint), 1.5, dash=(9.0, 6.0), closed=True))
            self.say("wall", "walls below")
        for line in roof.lines:
            width, dash = STYLES[line.kind]
            self.page.add(Path(tuple(self.at(x, y) for x, y in line.plan.coords), width, dash=dash))
            if line.kind in ("ridge", "hip", "valley", "curb"):
                self.say(line.kind, f"{line.kind}: not cut")

    def _names(self) -> None:
        """The words at ridge, hips and valleys, each kind once."""
        for kind in ("ridge", "hip", "valley", "high edge"):
            lines = [line for line in self.roof.lines if line.kind == kind]
            if lines:
                longest = max(lines, key=lambda line: (round(line.plan.length, 3), -line.plan.centroid.y))
                spot = longest.plan.interpolate(0.5, normalized=True)
                self._label(kind, self.at(spot.x, spot.y), first=16)

    def _no_go_areas(self) -> None:
        scene = self.scene
        if scene.no_go:
            bad_deck = shapely.union_all([self._deck(place) for place, _ in scene.decks])
            for part in polygons(self.on_page(self.roof.outline.difference(bad_deck))):
                self.page.add(*filled(part, "crossed", 26.0, 2.0))
            self.say("no-go", "nobody goes here")
        bad = (
            {}
            if scene.no_go
            else {one.face: one for one in (scene.answer.rejections if scene.answer else ()) if one.code == "windward"}
        )
        refused = {} if scene.no_go else dict(scene.refused)
        for face in self.roof.faces:
            where = self.on_page(face.plan)
            if face.side in refused:
                self.page.add(*filled(where, "crossed", 26.0, 2.0))
                self.say("no-go", "nobody goes here")
                spot = where.representative_point()
                self._label(refused[face.side].split(",")[0], (spot.x, spot.y), bold=True)
            elif face.name in bad:
                self.page.add(*filled(where, "level", 13.0, 1.0))
                self.say("windward", "the wind blows onto it: no opening")
        for place, what in scene.decks:
            shape = self._deck(place)
            for part in polygons(self.on_page(shape)):
                self.page.add(*filled(part, "crossed", 14.0, 2.5))
                spot = part.representative_point()
                self._label(f"{what} deck", (spot.x, spot.y), bold=True)
            self.say("no-go", "nobody goes here")

    def _deck(self, place: str) -> BaseGeometry:
        """The part of the roof that a place of the deck names."""
        faces = [face.plan for face in self.roof.faces if face.side and face.side in place and len(place) < 3]
        if faces:
            return shapely.union_all(faces)
        lines = [line.plan for line in self.roof.lines if line.kind == place]
        return shapely.union_all(lines).buffer(0.6).intersection(self.roof.outline) if lines else self.roof.outline

    # -- what stands on it -------------------------------------------------------------------------------------------

    def _obstacles(self) -> None:
        for one in self.scene.question.obstacles if self.scene.question else ():
            ring, shape = self.ring(one.plan), self.on_page(one.plan)
            middle = shape.centroid
            if one.kind == "array":
                self.page.add(Path(ring, 3.0, "black", "white", True), *filled(shape, "grid", 16.0, 1.2))
                self.say("array", "solar panels: live always")
            elif one.kind in ("skylight", "scuttle"):
                self.page.add(*symbols.crossed_square(ring))
                self.say("skylight", "skylight or scuttle: a fall hole")
            elif one.kind == "chimney":
                self.page.add(Path(ring, 2.0, "black", "black", True))
                self.say("chimney", "chimney")
            elif one.kind == "bad deck":
                self.page.add(Path(ring, 3.0, "black", "white", True), *filled(shape, "crossed", 12.0, 2.5))
                self.say("no-go", "nobody goes here")
            else:
                self.page.add(Path(ring, 2.5, "black", "white", True), *filled(shape, "upright", 9.0, 1.5))
                self.say("other", "something else that stands there")
            reach = min(shape.bounds[2] - shape.bounds[0], shape.bounds[3] - shape.bounds[1]) / 2
            self.labels.keep_free(*([shape.bounds] if one.kind == "chimney" else []))
            self._label(one.name or one.kind, (middle.x, middle.y), first=0 if reach > 24 else reach + 6)

    def _opening(self) -> Opening | None:
        """The place worked out, with its cuts; or the face that was named without measures. Never after a no-go."""
        scene = self.scene
        if not scene.may_show_opening:
            return None
        best = scene.answer.best if scene.answer else None
        if best is None:
            self._rough_face()
            return None
        second = scene.answer.second if scene.answer else None
        if second is not None and scene.question is not None and scene.question.mode == "full":
            self.page.add(Path(self.ring(second.plan), 2.5, dash=(4.0, 5.0), closed=True))
            self.say("second", "the second place")
            middle = self.on_page(second.plan).centroid
            self._label("second", (middle.x, middle.y))
        if best.face and best.drop_path.area > best.plan.area * 1.01:
            strip = self.on_page(best.drop_path)
            clipped = strip.intersection(shapely.box(*self.area))
            self.page.add(*filled(clipped, "back diagonal", 16.0, 1.2, (10.0, 8.0)))
            self.say("drop", "drop path: nobody below")
        shape = self.on_page(best.plan)
        self.page.add(Path(self.ring(best.plan), 5.0, "black", "white", True), *filled(shape, "diagonal", 12.0, 1.5))
        self.say("opening", "the opening proposed")
        draw_cuts(self, best, shape)
        return best

    def _rough_face(self) -> None:
        faces = [face for face in self.roof.faces if face.side == self.scene.rough_face]
        if not faces:
            return
        # A gambrel or a mansard has two faces on a side: "high" is on the upper one.
        face, high = max(((face, point) for face in faces for point in face.plan.exterior.coords),
                         key=lambda one: one[0].height(*one[1]))
        spot = face.plan.representative_point()
        toward = LineString([(spot.x, spot.y), high]).interpolate(0.3, normalized=True)
        self._label("this face, high: by its side alone, not measured", self.at(toward.x, toward.y), bold=True)

    # -- fire, smoke, people -----------------------------------------------------------------------------------------

    def _fire(self) -> None:
        scene = self.scene
        if not scene.fire_side:
            return
        x0, y0, x1, y1 = self.roof.footprint.bounds
        across = {"B": 0.22, "D": 0.78}
        up = {"A": 0.2, "C": 0.8}
        tx = next((across[side] for side in scene.fire_side if side in across), 0.5)
        ty = next((up[side] for side in scene.fire_side if side in up), 0.5)
        at = self._clear_of_opening(self.at(x0 + (x1 - x0) * tx, y0 + (y1 - y0) * ty), 30.0)
        self.page.add(*symbols.flame(at))
        self.labels.mark(at, 26)
        self.say("fire", "fire: somewhere in that part of the house")
        self._label(scene.fire or "fire", at, bold=True, first=32)

    def _clear_of_opening(self, at: Spot, radius: float) -> Spot:
        """`at`, or the nearest place beside what is taken there already."""
        for reach in range(0, 400, 12):
            for turn in range(16):
                angle = math.radians(turn * 22.5)
                spot = (at[0] + reach * math.cos(angle), at[1] + reach * math.sin(angle))
                box = (spot[0] - radius, spot[1] - radius, spot[0] + radius, spot[1] + radius)
                if self.labels.is_free(box):
                    return spot
        return at

    def _smoke(self) -> None:
        for one in self.scene.smoke:
            at = self._clear_of_opening(self._vent(one.vent, one.side), 22.0)
            self.page.add(*symbols.smoke(at, one.volume))
            self.labels.mark(at, 20)
            words = f"{one.vent.replace('_', ' ')}: {one.volume or 'smoke'}{', ' + one.push if one.push else ''}"
            self._label(words, at, first=22)
            if one.volume == "none":
                self.say("no smoke", "looked at: no smoke seen there")
            else:
                self.say("smoke", "smoke at a vent; more curls, more smoke")

    def _vent(self, vent: str, side: str) -> Spot:
        x0, y0, x1, y1 = self.roof.outline.bounds
        middle = self.at((x0 + x1) / 2, (y0 + y1) / 2)
        if vent == "ridge":
            ridge = [line.plan for line in self.roof.lines if line.kind == "ridge"]
            if ridge:
                spot = max(ridge, key=lambda line: line.length).interpolate(0.75, normalized=True)
                return self.at(spot.x, spot.y)
        if side and side in OUT:
            # Which part of the side is not told: a third along it keeps the marks apart.
            share = {"eave": 0.33, "window": 0.67, "door": 0.55, "gable": 0.5}.get(vent, 0.4)
            spot = {
                "A": (x0 + (x1 - x0) * share, y0),
                "B": (x0, y0 + (y1 - y0) * share),
                "C": (x0 + (x1 - x0) * share, y1),
                "D": (x1, y0 + (y1 - y0) * share),
            }[side]
            x, y = self.at(*spot)
            return x + OUT[side][0] * 24, y + OUT[side][1] * 24
        return middle

    def _ways(self) -> None:
        for way in self.scene.ways:
            (x0, y0), (x1, y1) = (self.at(*end) for end in way.ends)
            at = ((x0 + x1) / 2, (y0 + y1) / 2)
            out = self._outward(way.ends)
            best = self.scene.answer.best if self.scene.answer and self.scene.may_show_opening else None
            if best is not None and best.way_off == way.name and not way.told:
                at = self.at(*best.way.coords[-1])
            if not way.told:
                self.page.add(
                    Path(
                        ((x0 + out[0] * 10, y0 + out[1] * 10), (x1 + out[0] * 10, y1 + out[1] * 10)),
                        2.0,
                        dash=(3.0, 8.0),
                    )
                )
                self.say("side ladder", "only its side is told: anywhere on the dots")
            self.page.add(*symbols.ladder(at, out, way.told))
            if way.told:
                self.say("ladder", "ladder: a way off")
            centre = (at[0] + out[0] * 24, at[1] + out[1] * 24)
            self.labels.mark(centre, 34)
            if not way.usable:
                self.page.add(
                    Path(((centre[0] - 30, centre[1] - 30), (centre[0] + 30, centre[1] + 30)), 4.0),
                    Path(((centre[0] - 30, centre[1] + 30), (centre[0] + 30, centre[1] - 30)), 4.0),
                )
                self.say("lost ladder", "ladder that is not usable")
            name = way.name if way.usable else f"{way.name}, not usable"
            self._label(name, (at[0] + out[0] * 60, at[1] + out[1] * 60), first=6, outside=True)

    def _outward(self, ends: tuple[Spot, Spot]) -> Spot:
        """The way out of the house at a ladder, on the page: square to its side, slanting at a corner."""
        x0, y0, x1, y1 = self.roof.outline.bounds
        (ax, ay), (bx, by) = ends
        middle = ((ax + bx) / 2, (ay + by) / 2)
        near = 0.02 * max(x1 - x0, y1 - y0)
        dx = -1.0 if middle[0] - x0 < near else 1.0 if x1 - middle[0] < near else 0.0
        dy = 1.0 if middle[1] - y0 < near else -1.0 if y1 - middle[1] < near else 0.0
        long = math.hypot(dx, dy)
        if not long:
            nearest = self.roof.outline.exterior.interpolate(self.roof.outline.exterior.project(Point(middle)))
            inside = self.roof.outline.buffer(-0.05).exterior
            back = inside.interpolate(inside.project(nearest))
            dx, dy = nearest.x - back.x, -(nearest.y - back.y)
            long = math.hypot(dx, dy) or 1.0
        return dx / long, dy / long

    def _people(self, best: Opening) -> None:
        way = [self.at(x, y) for x, y in best.way.coords]
        if best.way.length > 1e-6:
            self.page.add(*symbols.arrow(way[0], way[-1], 3.0, 16.0, (12.0, 7.0)))
            self.say("way", "the way off behind the crew")
        for one in best.stances:
            at = self.at(*one.at)
            self.page.add(*symbols.person(at))
            self.labels.mark(at, 14)
            self.say("person", "where each ends before it is opened")
        spots = [self.at(*one.at) for one in best.stances]
        for one, at in zip(best.stances, spots, strict=True):
            self._label(one.who.split(",")[0], at, first=16, others=tuple(spot for spot in spots if spot != at))

    # -- around it ---------------------------------------------------------------------------------------------------

    def _sides(self) -> None:
        x0, y0, x1, y1 = self.roof.outline.bounds
        left, top, right, bottom = self.area
        (px0, py1), (px1, py0) = self.at(x0, y0), self.at(x1, y1)
        for name, at in {
            "A": ((px0 + px1) / 2, bottom - 26),
            "B": (left + 26, (py0 + py1) / 2),
            "C": ((px0 + px1) / 2, top + 26),
            "D": (right - 26, (py0 + py1) / 2),
        }.items():
            self.page.add(*symbols.letter(at, name))
            self.labels.mark(at, 24)

    def _surroundings(self) -> None:
        scene = self.scene
        left, top, right, bottom = self.area
        if scene.a_faces:
            # Side A is at the bottom: north lies as many eighths clockwise from it as A's own bearing lies short of it.
            turn = math.radians(180.0 - 45.0 * COMPASS.index(scene.a_faces))
            at = (left + 74, top + 74)
            self.page.add(*symbols.north(at, (math.sin(turn), -math.cos(turn))))
            self.labels.mark(at, 58)
        wind = scene.question.wind if scene.question else self._wind_from_sides()
        if wind is not None and wind != (0.0, 0.0):
            x, y = wind
            middle, reach = ((left + right) / 2, (top + bottom) / 2), ((right - left) / 2 - 70, (bottom - top) / 2 - 70)
            away = min(reach[0] / abs(x) if abs(x) > 1e-9 else 1e9, reach[1] / abs(y) if abs(y) > 1e-9 else 1e9)
            at = self._clear_of_opening((middle[0] + x * away, middle[1] - y * away), 44.0)
            self.page.add(*symbols.wind(at, (-x, y)))
            self.labels.mark(at, 42)
            self.say("wind", "wind")
            words = (scene.wind or "wind").replace("wind from ", "wind from\n").replace(", ", ",\n")
            self._label(words, at, bold=True, first=44, outside=True)
        if scene.to_scale:
            feet = max(step for step in (2, 5, 10, 20, 50) if step * FOOT * self.scale <= 220 or step == 2)
            long = feet * FOOT * self.scale
            x, y = right - long - 24, bottom - 24
            self.page.add(Path(((x, y - 8), (x, y), (x + long, y), (x + long, y - 8)), 2.5))
            self.labels.keep_free((x, y - 10, x + long, y + 4))
            self._label(f"{feet} ft", (x + long / 2, y), first=14, outside=True)

    def _wind_from_sides(self) -> tuple[float, float] | None:
        found = [OUT[side] for side in self.scene.wind_sides]
        if not found:
            return None
        x, y = sum(one[0] for one in found), -sum(one[1] for one in found)
        long = math.hypot(x, y)
        return (x / long, y / long) if long else None
