"""Builds a computed roof from the measures that people tell: form, size, pitch, ridge, spacing, overhang.

Forms: gable, a-frame, hip, pyramid, shed, saltbox, flat, gambrel, mansard, dutch gable, clipped gable, cross-gable;
hips and gables with wings (L, T and cross footprints, one pitch). Arched and mixed roofs are not computed.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import shapely
import shapely.errors
from shapely.geometry import Polygon, box

from fieldaid.workings.limits import ImpossibleShape, OutsideLimits, within
from fieldaid.workings.roof_forms import ENDS, Measures, parts_of
from fieldaid.workings.roof_lines import gable_ends, lines_of
from fieldaid.workings.roof_members import members_of
from fieldaid.workings.roof_model import FOOT, INCH, Face, Framing, RoofModel
from fieldaid.workings.roof_planes import OUTWARD, Plane, welded
from fieldaid.workings.roof_wings import Wing, nearest_eaves, pushed_out, ring_of, walls_with_wings

FORMS = ("gable", "a-frame", "hip", "pyramid", "shed", "saltbox", "flat", "gambrel", "mansard", "dutch gable",
         "clipped gable", "cross-gable")
NOT_COMPUTED = ("arched", "mixed")
WITH_WINGS = ("gable", "hip", "cross-gable")
ONE_PITCH = ("gambrel", "mansard", "cross-gable", "dutch gable", "clipped gable")
WITH_TRUSSES = ("gable", "a-frame", "shed", "flat")


def _laid_out(make: Callable[..., RoofModel]) -> Callable[..., RoofModel]:
    """Refuses by name an outline that the geometry library cannot lay out."""

    @functools.wraps(make)
    def refusing(*told: Any, **how: Any) -> RoofModel:
        try:
            return make(*told, **how)
        except shapely.errors.GEOSException as error:
            raise ImpossibleShape("this outline cannot be laid out", where="overhang",
                                  why=f"overhang and wings leave slivers beside each other ({error})",
                                  next_step="change the overhang or a wing by a few inches") from None

    return refusing


@_laid_out
def build(
    form: str,
    length_m: float,
    width_m: float,
    pitch: float,
    *,
    pitches: Mapping[str, float] | None = None,
    ridge_runs: str = "B-D",
    spacing_m: float = 16 * INCH,
    overhang_m: float = 0.0,
    rake_m: float | None = None,
    framing: Framing = "rafters",
    plate_height_m: float | None = None,
    wings: Sequence[Wing] = (),
    upper_pitch: float | None = None,
    break_run_m: float | None = None,
    ridge_from_m: float | None = None,
    end_run_m: float | None = None,
    low_side: str | None = None,
) -> RoofModel:
    """A roof of `form` over a building of `length_m` along the ridge and `width_m` across it.

    Parameters
    ----------
    form : one of FORMS
    length_m, width_m : of the walls, along and across the ridge [m]
    pitch : rise over run, 6 in 12 is 0.5; the lower one of a gambrel or mansard
    pitches : the pitch of single sides where it differs, by side letter (gable, a-frame, hip, pyramid, saltbox)
    ridge_runs : the sides that the ridge runs between, "B-D" or "A-C"; a shed's high edge and a flat roof's length too
    spacing_m : of rafters, joists or trusses, on centre [m]
    overhang_m : at the eaves, level [m]
    rake_m : over the gables [m]; as at the eaves when not given
    framing : "rafters" or "trusses"
    plate_height_m : plate line above the ground [m]
    wings : parts that stand out from the long sides (gable, hip, cross-gable)
    upper_pitch : of a gambrel's or mansard's upper faces; 0 is a mansard's level top
    break_run_m : from the wall to a gambrel's or mansard's change of pitch, level [m]
    ridge_from_m : a saltbox's ridge from its front wall (A, or B where the ridge runs A-C) [m]
    end_run_m : level depth of the end slopes: a dutch gable's from the wall, a clipped gable's from the ridge's end [m]
    low_side : the side that a shed or flat roof drains over

    Raises
    ------
    ImpossibleShape : the measures do not make this roof; names the measure
    OutsideLimits : a measure is outside the range that is computed, or the form is not computed

    >>> roof = build("hip", 40 * FOOT, 24 * FOOT, 6 / 12)
    >>> round(roof.lines_of("ridge")[0].length_m / FOOT, 3), round(roof.area_m2 / FOOT**2, 1)
    (16.0, 1073.3)
    """
    of = {side: (pitches or {}).get(side, pitch) for side in "ABCD"}
    _check_form(form, ridge_runs, wings, pitch, pitches or {})
    _check_measures(form, length_m, width_m, {"": pitch, **(pitches or {})}, spacing_m, overhang_m, rake_m)
    rake = overhang_m if rake_m is None else rake_m
    told = Measures(form, length_m, width_m, of, ridge_runs, overhang_m, rake, upper_pitch, break_run_m, ridge_from_m,
                    end_run_m, low_side)
    if wings or form == "cross-gable":
        walls = walls_with_wings(told.size, ridge_runs, wings, gables=form != "hip")
        edge = pushed_out(walls, overhang_m, rake)
        footprint, outline = ring_of(walls), ring_of(edge)
        parts = nearest_eaves(edge, pitch, overhang_m * pitch)
    else:
        footprint = box(0.0, 0.0, *told.size)
        outline, parts = parts_of(told)

    faces = _named(welded(parts))
    lines = lines_of(faces)
    notes = ["the layout starts at a corner or an end wall; a real one may start elsewhere"]
    if framing == "trusses" and (form not in WITH_TRUSSES or wings):
        members = ()
        notes.append("truss layout not computed: hips, wings and broken slopes of trusses stand on girder and jack "
                     "trusses whose places do not follow from the shape")
    else:
        members = members_of(faces, lines, footprint, spacing_m, framing)
    if form == "saltbox":
        low = min(face.height(*point) for face in faces for point in footprint.exterior.coords)
        if low < -1e-6:
            notes.append(f"the back wall's plate is {-low / FOOT:.1f} ft below the front's")
    has_ridge = any(line.kind in ("ridge", "high edge") for line in lines)
    return RoofModel(
        form=form, footprint=footprint, outline=outline, faces=faces, lines=lines, members=members,
        gable_ends=gable_ends(footprint, faces, lines),
        ridge_height_m=max(face.height(*point) for face in faces for point in face.plan.exterior.coords),
        ridge_runs=ridge_runs if has_ridge else "", framing=framing, spacing_m=spacing_m, overhang_m=overhang_m,
        plate_height_m=plate_height_m, notes=tuple(notes))


def _check_form(form: str, ridge_runs: str, wings: Sequence[Wing], pitch: float, pitches: Mapping[str, float]) -> None:
    if form in NOT_COMPUTED:
        raise OutsideLimits(f"{form} roofs are not computed", where="form",
                            why="their faces do not follow from a few measures",
                            next_step=f"use {', '.join(FORMS)}, or work its parts out one by one")
    if form not in FORMS:
        raise OutsideLimits(f"no roof form is called {form!r}", where="form", next_step=f"use {', '.join(FORMS)}")
    if ridge_runs not in ENDS:
        raise OutsideLimits(f"{ridge_runs!r} is not a ridge direction", where="ridge", next_step="use B-D or A-C")
    if wings and form not in WITH_WINGS:
        raise OutsideLimits(f"wings on a {form} roof are not computed", where="wing",
                            why="only hips and gables of one pitch are", next_step=f"use {', '.join(WITH_WINGS)}")
    if form == "cross-gable" and not wings:
        raise ImpossibleShape("a cross-gable needs a second gable", where="wing",
                              why="it is a gable with a wing whose gable looks over a long side",
                              next_step="give the wing's side, width and length (length 0 for a gable in the wall)")
    for side, one in pitches.items():
        if side not in OUTWARD:
            raise OutsideLimits(f"no side is called {side!r}", where="pitch of a side", next_step="use A, B, C or D")
        if abs(one - pitch) > 1e-9 and (wings or form in ONE_PITCH):
            raise OutsideLimits(f"a {form} roof{' with wings' if wings else ''} with different pitches is not computed",
                                where=f"pitch of side {side}", why="its lines then do not follow from the plan alone",
                                next_step="give one pitch")


def _check_measures(
    form: str, length: float, width: float, pitches: Mapping[str, float], spacing: float, overhang: float,
    rake: float | None,
) -> None:
    for name, value in (("length", length), ("width", width)):
        within(name, value / FOOT, 4, 400, "ft", "that is the range of house and small commercial roofs")
    low, high = 0.0 if form == "flat" else 0.5, 48.0 if form in ("mansard", "gambrel", "a-frame") else 24.0
    for side, pitch in pitches.items():
        within(f"pitch of side {side}" if side else "pitch", pitch * 12, low, high, "in 12",
               f"that is the range for a {form} roof")
    within("spacing", spacing / INCH, 6, 96, "in", "that is the range of rafters, joists and trusses")
    for name, value in (("overhang", overhang), ("rake", rake)):
        if value is not None:
            within(name, value / FOOT, 0, 8, "ft", "more than that is a porch with posts of its own")


def _named(parts: Mapping[Plane, Sequence[Polygon]]) -> tuple[Face, ...]:
    """Faces with their names: the letter alone where a side has one, else numbered (see Face.name)."""
    def order(item: tuple[Plane, Polygon]) -> tuple[float, ...]:
        plane, part = item
        x, y = (round(value, 6) for value in part.centroid.coords[0])
        return (plane.order, x, y) if plane.side in "AC" else (plane.order, y, x)

    found = [(plane, part) for plane, pieces in parts.items() for part in pieces]
    faces: list[Face] = []
    for side in ("A", "B", "C", "D", ""):
        own = sorted((item for item in found if item[0].side == side), key=order)
        for number, (plane, part) in enumerate(own, start=1):
            name = (side or "top") if len(own) == 1 else f"{side or 'top'}{number}"
            faces.append(Face(name, side, plane.kind, part, plane.pitch, plane.down, (plane.a, plane.b, plane.c)))
    return tuple(faces)
