"""`work-out roof` and `work-out opening`: geometry, from options to an answer."""

from __future__ import annotations

import argparse
import math
from collections import Counter
from typing import Any

from fieldaid.errors import WrongUse
from fieldaid.session.work_out_answer import Answer, Value
from fieldaid.workings import opening, roof
from fieldaid.workings.quantity import feet_and_inches, read, read_pitch
from fieldaid.workings.roof_model import FOOT, INCH, RoofModel
from fieldaid.workings.roof_wings import Wing

SOURCES = ("geometry of equal-pitch framing, as on the framing square's rafter table",
           "Army EN5156 and Navy NAVEDTRA 14044 for rafter, hip and jack lengths")
LIMITS = ("lengths are on the line, before shortening for the thickness of ridge and hip",
          "square corners, straight planes, walls of one height unless said")
UNTOLD = ("it says how such a roof goes together by rule; it has not seen this one: not where the first rafter stands, "
          "not what was altered, and not whether any of it still carries a person")


def roof_options(parser: argparse.ArgumentParser) -> None:
    """The options of `work-out roof`."""
    parser.add_argument("--form", required=True, metavar="FORM", help=", ".join(roof.FORMS))
    parser.add_argument("--length", required=True, metavar="LENGTH", help="of the walls, along the ridge: 40ft, 12.2m")
    parser.add_argument("--width", metavar="LENGTH", help="of the walls, across the ridge (a pyramid's is its length)")
    parser.add_argument("--pitch", metavar="PITCH", help="6, 6/12, 26.6deg; the lower one of a gambrel or mansard")
    parser.add_argument("--pitch-of", nargs=2, action="append", default=[], metavar=("SIDE", "PITCH"),
                        help="the pitch of one side where it differs; may be given again")
    parser.add_argument("--ridge", default="B-D", metavar="B-D|A-C", help="the sides the ridge runs between")
    parser.add_argument("--spacing", metavar="LENGTH", help="on centre (default: 16in, trusses 24in)")
    parser.add_argument("--overhang", default="0", metavar="LENGTH", help="at the eaves, level (default: 0)")
    parser.add_argument("--rake", metavar="LENGTH", help="overhang at the gables (default: as at the eaves)")
    parser.add_argument("--framing", choices=("rafters", "trusses"), default="rafters")
    parser.add_argument("--eave-height", metavar="LENGTH", help="plate line above the ground")
    parser.add_argument("--wing", nargs=4, action="append", default=[], metavar=("SIDE", "OUT", "WIDE", "START"),
                        help="a wing on a long side: how far out, how wide, and where it starts from that side's left "
                             "end in the plan (A at the bottom); may be given again")
    parser.add_argument("--upper-pitch", metavar="PITCH", help="of a gambrel's or mansard's upper faces")
    parser.add_argument("--break-run", metavar="LENGTH", help="from the wall to the change of pitch, level")
    parser.add_argument("--ridge-from", metavar="LENGTH", help="a saltbox's ridge from its front wall")
    parser.add_argument("--end-run", metavar="LENGTH", help="level depth of a dutch or clipped gable's end slopes")
    parser.add_argument("--low-side", metavar="SIDE", help="the side that a shed or flat roof drains over")


def work_roof(told: argparse.Namespace) -> Answer:
    """The roof that the options tell."""
    length, width, pitch = _sizes(told)
    model = _model(told, length, width, pitch)
    results = [
        Value("area", "roof area, true", model.area_m2, "ft2"),
        Value("plan_area", "roof area in plan", model.outline.area, "ft2"),
        Value("ridge_height", "highest point above the plate", model.ridge_height_m, "ft"),
        *_line_results(model),
        *([Value("total_height", "highest point above the ground", model.plate_height_m + model.ridge_height_m, "ft")]
          if model.plate_height_m is not None else []),
        *(_square_results(pitch, model.spacing_m) if pitch else []),
    ]
    inputs = [
        Value("form", "form", model.form), Value("length", "length along the ridge", length, "ft"),
        Value("width", "width across the ridge", width, "ft"),
        *([Value("wings", "wings", ", ".join(" ".join(wing) for wing in told.wing))] if told.wing else []),
        Value("pitch", "pitch", pitch, "in 12"), Value("ridge", "ridge", told.ridge),
        Value("overhang", "overhang", model.overhang_m, "ft"),
        Value("spacing", "spacing on centre", model.spacing_m, "in"), Value("framing", "framing", model.framing),
    ]
    limits = (*LIMITS, *model.notes)
    return Answer("roof", tuple(inputs), tuple(results), SOURCES, limits, UNTOLD, tables=_tables(model))


def _length(text: str | None, name: str, bare: str = "ft") -> float | None:
    return None if text is None else read(text, "length", name, bare)


def _sizes(told: argparse.Namespace) -> tuple[float, float, float]:
    """Length and width [m], and pitch; a pyramid is as wide as long, a flat roof level, where they are not told."""
    length = read(told.length, "length", "length", "ft")
    width = length if told.form == "pyramid" else None
    pitch = 0.0 if told.form == "flat" else None
    width = read(told.width, "length", "width", "ft") if told.width is not None else width
    pitch = read_pitch(told.pitch) if told.pitch is not None else pitch
    for name, value, example in (("width", width, "24ft"), ("pitch", pitch, "6")):
        if value is None:
            raise WrongUse(f"the {name} is missing", where=name, why=f"a {told.form} roof hangs on it",
                           next_step=f"add --{name}, such as --{name} {example}")
    return length, width, pitch


def _model(told: argparse.Namespace, length: float, width: float, pitch: float) -> RoofModel:
    spacing = _length(told.spacing, "spacing", "in")
    if spacing is None:
        spacing = (24 if told.framing == "trusses" else 16) * INCH
    wings = [Wing(side, read(out, "length", "wing length", "ft"), read(wide, "length", "wing width", "ft"),
                  read(start, "length", "wing start", "ft")) for side, out, wide, start in told.wing]
    return roof.build(
        told.form, length, width, pitch, ridge_runs=told.ridge, spacing_m=spacing, framing=told.framing,
        pitches={side: read_pitch(one, f"pitch of side {side}") for side, one in told.pitch_of},
        overhang_m=read(told.overhang, "length", "overhang", "ft"), rake_m=_length(told.rake, "rake"),
        plate_height_m=_length(told.eave_height, "eave height"), wings=wings,
        upper_pitch=None if told.upper_pitch is None else read_pitch(told.upper_pitch, "upper pitch"),
        break_run_m=_length(told.break_run, "break run"), ridge_from_m=_length(told.ridge_from, "ridge from"),
        end_run_m=_length(told.end_run, "end run"), low_side=told.low_side)


def _line_results(model: RoofModel) -> list[Value]:
    found = []
    for kind in ("ridge", "hip", "valley"):
        lengths = sorted((line.length_m for line in model.lines_of(kind)), reverse=True)
        if lengths:
            alike = lengths[0] - lengths[-1] < 1e-6
            words = "" if len(lengths) == 1 else f"{len(lengths)} of them, " + (
                "all alike" if alike else f"the shortest {feet_and_inches(lengths[-1])}")
            found.append(Value(f"{kind}_length", f"{kind}, longest", lengths[0], "ft", words))
    commons = [member.length_m for member in model.members if member.kind == "common"]
    if commons:
        found.append(Value("common_length", "common rafter, longest", max(commons), "ft"))
    counts = Counter(member.kind for member in model.members)
    if counts:
        found.append(Value("member_count", "members", sum(counts.values()), "",
                           ", ".join(f"{number} {kind}" for kind, number in sorted(counts.items()))))
    return found


def _square_results(pitch: float, spacing: float) -> list[Value]:
    """What the framing square's rafter table has for this pitch."""
    rise = 12 * pitch
    common = math.hypot(12, rise)
    return [
        Value("slope_angle", "slope angle", math.degrees(math.atan(pitch)), "deg"),
        Value("slope_factor", "true length over level length", math.hypot(1, pitch)),
        Value("common_per_foot", "common rafter per foot of run", common * INCH, "in"),
        Value("hip_per_foot", "hip or valley per foot of common run", math.hypot(rise, math.sqrt(288)) * INCH, "in"),
        Value("jack_difference", "difference of jacks at this spacing", math.hypot(1, pitch) * spacing, "in"),
        Value("jack_side_cut", "side cut of jacks on the square", 144 / common * INCH, "in"),
    ]


def _tables(model: RoofModel) -> dict[str, list[dict[str, Any]]]:
    def feet(value: float) -> float:
        return round(value / FOOT, 4) + 0.0  # turns -0.0 into 0.0

    faces = [{"name": face.name, "kind": face.kind, "pitch_in_12": round(face.pitch * 12, 4),
              "slope_deg": round(face.angle_deg, 4), "area_ft2": round(face.area_m2 / FOOT**2, 4),
              "plan_area_ft2": round(face.plan.area / FOOT**2, 4),
              "corners_ft": [[feet(x), feet(y), feet(face.height(x, y))] for x, y in face.plan.exterior.coords[:-1]]}
             for face in model.faces]
    lines = [{"kind": line.kind, "faces": " ".join(line.faces), "length_ft": feet(line.length_m),
              "plan_length_ft": feet(line.plan.length),
              "ends_ft": [[feet(x), feet(y), feet(z)]
                          for (x, y), z in zip(line.plan.coords, line.z, strict=True)]} for line in model.lines]
    grouped: dict[tuple[str, str], list[float]] = {}
    for member in model.members:
        grouped.setdefault((member.kind, member.face), []).append(member.length_m)
    members = [{"kind": kind, "face": face or "-", "count": len(lengths), "shortest_ft": feet(min(lengths)),
                "longest_ft": feet(max(lengths)), "lengths_ft": [feet(one) for one in sorted(lengths)]}
               for (kind, face), lengths in grouped.items()]
    gables = [{"side": gable.side, "height_ft": feet(gable.height_m), "area_ft2": round(gable.area_m2 / FOOT**2, 4)}
              for gable in model.gable_ends]
    return {name: rows for name, rows in
            (("faces", faces), ("lines", lines), ("members", members), ("gable_ends", gables)) if rows}


def opening_options(parser: argparse.ArgumentParser) -> None:
    """The options of `work-out opening`."""
    parser.add_argument("--along", required=True, metavar="LENGTH", help="along the eave: 4ft")
    parser.add_argument("--up", required=True, metavar="LENGTH", help="up the slope: 8ft")
    parser.add_argument("--spacing", default="16in", metavar="LENGTH", help="of rafters or trusses on centre")
    parser.add_argument("--pitch", default="0", metavar="PITCH", help="of the face: 6, 6/12, 26.6deg")
    parser.add_argument("--face-area", metavar="AREA", help="true area of the face, for the share: 400ft2")


def work_opening(told: argparse.Namespace) -> Answer:
    """The measures of a rectangle on a slope."""
    along, up = (read(text, "length", name, "ft") for text, name in ((told.along, "along"), (told.up, "up")))
    pitch, spacing = read_pitch(told.pitch), read(told.spacing, "length", "spacing", "in")
    found = opening.rectangle(along, up, pitch=pitch, spacing=spacing)
    results = [
        Value("area", "area, true", found.area, "ft2"), Value("plan_area", "area in plan", found.plan_area, "ft2"),
        Value("kerf", "length of cuts around it", found.kerf, "ft"),
        Value("members_crossed", "members under it", tuple(float(one) for one in found.crossed), "",
              "which of the two hangs on where the first one stands"),
    ]
    if told.face_area:
        face = read(told.face_area, "area", "face area", "ft2")
        results.append(Value("share", "share of the face", 100 * found.area / face, "%") if found.area <= face else
                       Value("share", "share of the face", None, "%", "outside its limits: the opening is larger"))
    inputs = (Value("along", "along the eave", along, "ft"), Value("up", "up the slope", up, "ft"),
              Value("spacing", "spacing on centre", spacing, "in"), Value("pitch", "pitch", pitch, "in 12"))
    return Answer("opening", inputs, tuple(results), opening.SOURCES, (opening.LIMITS,),
                  "how large a hole the fire needs: tests and equations disagree about that, and water matters more")
