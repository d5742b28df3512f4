"""The planes of each roof form over a rectangle, and where each of them is the roof."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import Polygon, box

from fieldaid.workings.limits import ImpossibleShape
from fieldaid.workings.roof_model import FOOT
from fieldaid.workings.roof_planes import GRID, Plane, level_at, lowest, polygons_of, rising_from, tidy

ENDS = {"B-D": ("B", "D"), "A-C": ("A", "C")}
SLOPES = {"B-D": ("A", "C"), "A-C": ("B", "D")}
# The greatest pitch that is still called flat here; IRC R905 asks roofing of its own below 2 in 12 [from memory].
FLATTEST = 2 / 12

Parts = dict[Plane, list[Polygon]]


@dataclass(frozen=True)
class Measures:
    """What a roof over a rectangle is built from; lengths in m, pitches as rise over run. See `roof.build`."""

    form: str
    length: float
    width: float
    of: Mapping[str, float]
    ridge_runs: str
    overhang: float
    rake: float
    upper_pitch: float | None = None
    break_run: float | None = None
    ridge_from: float | None = None
    end_run: float | None = None
    low_side: str | None = None

    @property
    def size(self) -> tuple[float, float]:
        """The walls' extent to the right and upwards in the plan."""
        return (self.length, self.width) if self.ridge_runs == "B-D" else (self.width, self.length)

    @property
    def slopes(self) -> tuple[str, str]:
        """The sides along the ridge."""
        return SLOPES[self.ridge_runs]

    @property
    def ends(self) -> tuple[str, str]:
        """The sides at the ridge's ends."""
        return ENDS[self.ridge_runs]

    @property
    def ridge_height(self) -> float:
        """Where the planes of the two long sides meet."""
        first, second = (self.of[side] for side in self.slopes)
        return self.width / (1 / first + 1 / second)

    def rising(self, sides: Sequence[str], **how: object) -> list[Plane]:
        """The planes that rise from these sides."""
        return [rising_from(side, self.of[side], self.size, **how) for side in sides]

    def outline(self, eaved: Sequence[str]) -> Polygon:
        """The roof's edge: the overhang beyond the sides in `eaved`, the rake's beyond the others."""
        out = {side: self.overhang if side in eaved else self.rake for side in "ABCD"}
        return box(-out["B"], -out["A"], self.size[0] + out["D"], self.size[1] + out["C"])


def parts_of(told: Measures) -> tuple[Polygon, Parts]:
    """(outline, the part of it under each plane).

    Raises
    ------
    ImpossibleShape : the measures do not make this form; names the measure
    """
    return _FORMS[told.form](told)


def _over(outline: Polygon, planes: Sequence[Plane]) -> tuple[Polygon, Parts]:
    return outline, {plane: [part] for plane, part in lowest(outline, planes).items()}


def _gable(told: Measures) -> tuple[Polygon, Parts]:
    return _over(told.outline(told.slopes), told.rising(told.slopes))


def _hip(told: Measures) -> tuple[Polygon, Parts]:
    needed = sum(told.ridge_height / told.of[end] for end in told.ends)
    length, width = told.length / FOOT, told.width / FOOT
    if told.form == "pyramid" and abs(needed - told.length) > 1e-3:
        raise ImpossibleShape(
            f"length {length:.4g} ft does not bring four slopes to one point over a width of {width:.4g} ft",
            where="length", why=f"these pitches meet in a point at {needed / FOOT:.4g} ft",
            next_step=f"give length {needed / FOOT:.4g} ft, or use form hip")
    if needed > told.length + 1e-6:
        raise ImpossibleShape(
            f"length {length:.4g} ft is too short for a hip across {width:.4g} ft", where="length",
            why=f"the two hip ends alone need {needed / FOOT:.4g} ft along the ridge",
            next_step="swap length and width (length lies along the ridge), or make the ends steeper")
    ends = told.rising(told.ends, kind="hip end" if told.form == "hip" else "slope")
    return _over(told.outline("ABCD"), [*told.rising(told.slopes), *ends])


def _shed(told: Measures) -> tuple[Polygon, Parts]:
    low = told.low_side or told.slopes[0]
    if low not in told.slopes:
        raise ImpossibleShape(f"a shed whose high edge runs {told.ridge_runs} cannot drain over {low}",
                              where="low side", why="water runs square to the high edge",
                              next_step=f"use side {told.slopes[0]} or {told.slopes[1]}, or turn the ridge")
    return _over(told.outline(told.slopes), told.rising([low]))


def _saltbox(told: Measures) -> tuple[Polygon, Parts]:
    front, back = told.slopes
    front_run = told.width / 3 if told.ridge_from is None else told.ridge_from
    if not 0 < front_run < told.width:
        raise ImpossibleShape(f"the ridge stands {front_run / FOOT:.4g} ft from the front wall", where="ridge from",
                              why=f"the house is {told.width / FOOT:.4g} ft wide there",
                              next_step="give a distance between the walls")
    back_foot = told.of[front] * front_run - told.of[back] * (told.width - front_run)
    return _over(told.outline(told.slopes), [*told.rising([front]), *told.rising([back], start=back_foot)])


def _flat(told: Measures) -> tuple[Polygon, Parts]:
    low = told.low_side or told.slopes[0]
    if told.of[low] > FLATTEST + 1e-9:
        raise ImpossibleShape(f"{told.of[low] * 12:g} in 12 is no flat roof", where="pitch",
                              why=f"flat is {FLATTEST * 12:g} in 12 at most here", next_step="use form shed")
    planes = told.rising([low], kind="flat") if told.of[low] else [level_at(0.0)]
    return _over(told.outline("ABCD"), planes)


def _gambrel(told: Measures) -> tuple[Polygon, Parts]:
    return _over(told.outline(told.slopes), _two_pitches(told, told.slopes, told.width / 4, 1 / 3))


def _mansard(told: Measures) -> tuple[Polygon, Parts]:
    run = min(told.length / 8, told.width / 8, 3 * FOOT)
    return _over(told.outline("ABCD"), _two_pitches(told, "ABCD", run, 0.0))


def _two_pitches(told: Measures, sides: Sequence[str], usual_run: float, usual_share: float) -> list[Plane]:
    """A steep plane from each side, and above the change of pitch a flatter one, or one that is level."""
    lower = told.of[sides[0]]
    run = usual_run if told.break_run is None else told.break_run
    upper = lower * usual_share if told.upper_pitch is None else told.upper_pitch
    half = min(told.width, told.length if told.form == "mansard" else told.width) / 2
    if not 0 < run < half:
        raise ImpossibleShape(f"the pitch changes {run / FOOT:.4g} ft inside the wall", where="break run",
                              why=f"the middle is {half / FOOT:.4g} ft inside it", next_step="give a shorter distance")
    if not 0 <= upper < lower or (told.form == "gambrel" and upper == 0):
        raise ImpossibleShape(f"the upper pitch is {upper * 12:g} in 12", where="upper pitch",
                              why=f"a {told.form} is steeper below ({lower * 12:g} in 12) than above",
                              next_step="give a smaller upper pitch" if upper else "give an upper pitch above 0")
    steep = told.rising(sides, kind="steep")
    if upper == 0:
        return [*steep, level_at(lower * run)]
    return [*steep, *(rising_from(side, upper, told.size, set_in=run, start=lower * run, order=2) for side in sides)]


def _end_run(told: Measures, usual_share: float) -> float:
    whole = min(told.ridge_height / told.of[end] for end in told.ends)
    most = min(whole, told.length / 2)
    run = whole * usual_share if told.end_run is None else told.end_run
    if not 0 < run < most:
        raise ImpossibleShape(f"the end slopes are {run / FOOT:.4g} ft deep", where="end run",
                              why=f"a whole hip would be {whole / FOOT:.4g} ft deep, half the length is "
                                  f"{told.length / 2 / FOOT:.4g} ft",
                              next_step=f"give more than 0 and less than {most / FOOT:.4g} ft")
    return run


def _clipped_gable(told: Measures) -> tuple[Polygon, Parts]:
    run = _end_run(told, 0.25)
    hips = [rising_from(end, told.of[end], told.size, "hip end", start=told.ridge_height - told.of[end] * run)
            for end in told.ends]
    return _over(told.outline(told.slopes), [*told.rising(told.slopes), *hips])


def _dutch_gable(told: Measures) -> tuple[Polygon, Parts]:
    run = _end_run(told, 0.5)
    outline = told.outline("ABCD")
    low_hip, high_hip = told.rising(told.ends, kind="hip end")
    sides = told.rising(told.slopes)
    least_x, least_y, most_x, most_y = outline.bounds
    if told.ridge_runs == "B-D":
        zones = [box(least_x, least_y, run, most_y), box(run, least_y, told.length - run, most_y),
                 box(told.length - run, least_y, most_x, most_y)]
    else:
        zones = [box(least_x, least_y, most_x, run), box(least_x, run, most_x, told.length - run),
                 box(least_x, told.length - run, most_x, most_y)]
    pieces: Parts = {}
    for zone, hips in zip(zones, ([low_hip], [], [high_hip]), strict=True):
        for plane, part in lowest(zone, [*sides, *hips]).items():
            pieces.setdefault(plane, []).append(part)
    return outline, {plane: _united(parts) for plane, parts in pieces.items()}


def _united(parts: Sequence[Polygon]) -> list[Polygon]:
    whole = shapely.union_all(list(parts), grid_size=GRID)
    pieces = [tidy([tuple(point) for point in one.exterior.coords[:-1]]) for one in polygons_of(whole)]
    return [piece for piece in pieces if piece is not None]


_FORMS: dict[str, Callable[[Measures], tuple[Polygon, Parts]]] = {
    "gable": _gable, "a-frame": _gable, "hip": _hip, "pyramid": _hip, "shed": _shed, "saltbox": _saltbox, "flat": _flat,
    "gambrel": _gambrel, "mansard": _mansard, "dutch gable": _dutch_gable, "clipped gable": _clipped_gable,
}
