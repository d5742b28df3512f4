"""Roofs of equal pitch over footprints with wings: L, T and crosses of right angles.

With equal pitches the roof over a footprint is its straight skeleton: every eave's plane rises inward at the same
rate, and the plane of the nearest eave is the roof. For walls at right angles "nearest" is measured square to the wall,
and an eave's plane reaches past an inside corner as far as the 45 degree line through it: that line is the valley. (For
such footprints the straight skeleton is the medial axis of the L-infinity distance; Aichholzer and Aurenhammer 1996,
from memory; the tests compare with another implementation.) A gable wall raises no plane, and bounds its neighbours
square.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from fieldaid.workings.limits import ImpossibleShape
from fieldaid.workings.roof_model import FOOT, FaceKind
from fieldaid.workings.roof_planes import GRID, NEAR, OUTWARD, Plane, Point, cut, polygons_of, tidy

# Walked with the building on the left hand, an outside corner turns left: from each side to the next of these.
LEFT_TURN = {"A": "D", "D": "C", "C": "B", "B": "A"}


@dataclass(frozen=True)
class Wing:
    """A part of the building that stands out from one long side of the main part.

    side : the main part's side that it stands out from
    length_m : how far it stands out; 0 is a gable in the wall itself
    width_m : along that side
    start_m : from the left end of that side in the plan (from its bottom end, for B and D)
    """

    side: str
    length_m: float
    width_m: float
    start_m: float


@dataclass(frozen=True)
class Wall:
    """One straight wall of a footprint, walked with the building on the left hand. Its length may be 0."""

    begin: Point
    end: Point
    side: str
    gable: bool = False
    kind: FaceKind = "slope"


def walls_with_wings(size: Point, ridge_runs: str, wings: Sequence[Wing], *, gables: bool) -> list[Wall]:
    """The walls of a main part (0, 0) to `size` [m] with wings on its long sides; all ends are gables, or all hips.

    Raises
    ------
    ImpossibleShape : a wing is on an end, reaches past its side, shares its side, or is a hip without depth
    """
    long_sides = ("A", "C") if ridge_runs == "B-D" else ("B", "D")
    on: dict[str, Wing] = {}
    for wing in wings:
        _check_wing(wing, long_sides, size[0] if ridge_runs == "B-D" else size[1], on, gables)
        on[wing.side] = wing
    across, along = size
    corners = {"A": ((0.0, 0.0), (across, 0.0)), "D": ((across, 0.0), (across, along)),
               "C": ((across, along), (0.0, along)), "B": ((0.0, along), (0.0, 0.0))}
    end_kind: FaceKind = "slope" if gables else "hip end"
    walls: list[Wall] = []
    for side in "ADCB":
        begin, end = corners[side]
        if side not in long_sides:
            walls.append(Wall(begin, end, side, gables, end_kind))
        elif side in on:
            walls.extend(_around(on[side], begin, end, gables, end_kind))
        else:
            walls.append(Wall(begin, end, side))
    return _joined(walls)


def _check_wing(wing: Wing, long_sides: tuple[str, str], length: float, on: dict[str, Wing], gables: bool) -> None:
    if wing.side not in long_sides:
        raise ImpossibleShape(f"a wing cannot stand on side {wing.side}", where="wing side",
                              why=f"the ridge of the main part ends at {wing.side}: that would lengthen the main part",
                              next_step=f"put it on side {long_sides[0]} or {long_sides[1]}, or turn the ridge")
    if wing.side in on:
        raise ImpossibleShape(f"two wings on side {wing.side}", where="wing side",
                              why="one wing on each long side can be computed", next_step="leave one out")
    if wing.width_m <= 0 or wing.start_m < -NEAR or wing.start_m + wing.width_m > length + NEAR:
        raise ImpossibleShape(
            f"the wing takes {wing.start_m / FOOT:.4g} to {(wing.start_m + wing.width_m) / FOOT:.4g} ft of side "
            f"{wing.side}", where="wing width", why=f"that side is {length / FOOT:.4g} ft long",
            next_step="make the wing narrower or start it elsewhere")
    if wing.length_m < 0 or (not gables and wing.length_m <= NEAR):
        raise ImpossibleShape(f"the wing stands out {wing.length_m / FOOT:.4g} ft", where="wing length",
                              why="a hip wing needs a wall to rise from", next_step="give a length above 0")


def _around(wing: Wing, begin: Point, end: Point, gable: bool, end_kind: FaceKind) -> list[Wall]:
    """The walls of one long side with its wing, from `begin` to `end`."""
    out = OUTWARD[wing.side]
    before = {after: side for side, after in LEFT_TURN.items()}[wing.side]
    step = ((end[0] > begin[0]) - (end[0] < begin[0]), (end[1] > begin[1]) - (end[1] < begin[1]))
    whole = abs(end[0] - begin[0]) + abs(end[1] - begin[1])
    # A wing's start is told along the plan's axis; sides C and B are walked against it.
    start = wing.start_m if step[0] + step[1] > 0 else whole - wing.start_m - wing.width_m
    def place(along: float, outward: float) -> Point:
        return (begin[0] + step[0] * along + out[0] * outward, begin[1] + step[1] * along + out[1] * outward)

    near, far = start, start + wing.width_m
    if whole - far < NEAR:
        far = whole
    found = [
        Wall(begin, place(near, 0.0), wing.side),
        Wall(place(near, 0.0), place(near, wing.length_m), before),
        Wall(place(near, wing.length_m), place(far, wing.length_m), wing.side, gable, end_kind),
        Wall(place(far, wing.length_m), place(far, 0.0), LEFT_TURN[wing.side]),
        Wall(place(far, 0.0), end, wing.side),
    ]
    if near < NEAR:
        del found[0]
    if whole - far < NEAR:
        del found[-1]
    return found


def _joined(walls: list[Wall]) -> list[Wall]:
    """The walls with neighbours in one line made one. A gable end that is drawn out by a wing becomes an eave."""
    found: list[Wall] = []
    for wall in walls:
        if found and found[-1].side == wall.side:
            found[-1] = _join(found[-1], wall)
        else:
            found.append(wall)
    if len(found) > 1 and found[0].side == found[-1].side:
        found[0] = _join(found.pop(), found[0])
    return found


def _join(first: Wall, second: Wall) -> Wall:
    # A gable and an eave in one line of wall keep apart only where a step of no length lies between them.
    return Wall(first.begin, second.end, first.side, first.gable and second.gable,
                first.kind if first.kind == second.kind else "slope")


def ring_of(walls: Sequence[Wall]) -> Polygon:
    """The walls as a polygon [m]."""
    polygon = tidy([wall.begin for wall in walls])
    if polygon is None or not polygon.is_valid:
        raise ImpossibleShape("the walls cross each other", where="overhang",
                              why="the space beside a wing is narrower than two overhangs",
                              next_step="make the overhang smaller or the space wider")
    return polygon


def pushed_out(walls: Sequence[Wall], eave: float, rake: float) -> list[Wall]:
    """The walls moved outward by the overhang at the eaves, at gables by the rake's [m]: the roof's edge."""
    def line(wall: Wall) -> float:
        out_x, out_y = OUTWARD[wall.side]
        return wall.begin[0] * out_x + wall.begin[1] * out_y + (rake if wall.gable else eave)

    def corner(first: Wall, second: Wall) -> Point:
        (x, y), (out_x, out_y) = OUTWARD[first.side], OUTWARD[second.side]
        one, two = line(first), line(second)
        return (one * x + two * out_x, one * y + two * out_y)

    corners = [corner(before, wall) for before, wall in zip([walls[-1], *walls[:-1]], walls, strict=True)]
    return [Wall(begin, end, wall.side, wall.gable, wall.kind)
            for wall, begin, end in zip(walls, corners, [*corners[1:], corners[0]], strict=True)]


def nearest_eaves(walls: Sequence[Wall], pitch: float, drop: float) -> dict[Plane, list[Polygon]]:
    """The faces over `walls` [m]; at the eaves the roof is `drop` [m] below the plate line.

    Raises
    ------
    ImpossibleShape : the walls cross each other, or gables face each other so that no roof closes between them
    """
    outline = ring_of(walls)
    least_x, least_y, most_x, most_y = outline.bounds
    reach = 2 * (most_x - least_x + most_y - least_y)
    around = zip([walls[-1], *walls[:-1]], walls, [*walls[1:], walls[0]], strict=True)
    # Walls in one line (left and right of a wing) share one plane, so they make one face.
    eaves: dict[Plane, list[list[Point]]] = {}
    for before, wall, after in around:
        if not wall.gable:
            a, b, c = _distance(wall)
            plane = next((one for one in eaves if one.side == wall.side and abs(one.c - (c * pitch - drop)) <= NEAR),
                         Plane(wall.side, wall.kind, pitch, a * pitch, b * pitch, c * pitch - drop))
            eaves.setdefault(plane, []).append(_wedge(before, wall, after, reach))
    found: dict[Plane, list[Polygon]] = {}
    for plane, wedges in eaves.items():
        reached = shapely.union_all([Polygon(wedge) for wedge in wedges], grid_size=GRID)
        part = _areas(shapely.intersection(reached, outline, grid_size=GRID))
        for other, other_wedges in eaves.items():
            for wedge in other_wedges if other is not plane else ():
                # Beside a valley the two planes share a line; cutting that out would split the face beyond it.
                lower = tidy(cut(wedge, other.a - plane.a, other.b - plane.b, other.c - plane.c))
                if lower is not None:
                    part = _areas(shapely.difference(part, lower, grid_size=GRID))
        pieces = [tidy([tuple(point) for point in piece.exterior.coords[:-1]]) for piece in polygons_of(part)]
        found[plane] = [piece for piece in pieces if piece is not None]
    covered = sum(piece.area for pieces in found.values() for piece in pieces)
    if abs(covered - outline.area) > 1e-6 * outline.area:
        raise ImpossibleShape("the wings' roofs do not close over the main part", where="wing width",
                              why="gables that face each other across a narrower part meet no slope between them",
                              next_step="make the wings narrower than the main part, or give them one place")
    return found


def _areas(shape: BaseGeometry) -> MultiPolygon:
    """A shape without the lines and points that cutting may leave."""
    return MultiPolygon(polygons_of(shape))


def _distance(wall: Wall) -> tuple[float, float, float]:
    """(a, b, c) of the distance a x + b y + c inside a wall."""
    out_x, out_y = OUTWARD[wall.side]
    return -out_x, -out_y, out_x * wall.begin[0] + out_y * wall.begin[1]


def _wedge(before: Wall, wall: Wall, after: Wall, reach: float) -> list[Point]:
    """Where a wall's plane can be the roof: inside it, between the lines through its two corners."""
    out_x, out_y = OUTWARD[wall.side]
    step = (-out_y, out_x)  # the walk's direction, building on the left hand
    (x, y), (end_x, end_y) = wall.begin, wall.end
    points = [(x - reach, y - reach), (x + reach, y - reach), (x + reach, y + reach), (x - reach, y + reach)]
    a, b, c = _distance(wall)
    points = cut(points, -a, -b, -c)
    # At each corner the bound is: along the step >= lean * depth from the beginning, and likewise from the end.
    for (corner_x, corner_y), sense, turn in (((x, y), -1.0, _lean(before, wall)), ((end_x, end_y), 1.0,
                                                                                   _lean(wall, after))):
        bound_x, bound_y = sense * step[0] + turn * a, sense * step[1] + turn * b
        points = cut(points, bound_x, bound_y, -(bound_x * corner_x + bound_y * corner_y))
    return points


def _lean(first: Wall, second: Wall) -> float:
    """How a plane's edge leans at a corner: 1 inward at an outside corner, -1 past an inside corner, 0 at a gable."""
    if first.gable or second.gable:
        return 0.0
    return 1.0 if LEFT_TURN[first.side] == second.side else -1.0
