"""`work-out wind`, `work-out ladder` and `work-out air`: what may advise, from options to an answer."""

from __future__ import annotations

import argparse
import math

from fieldaid.errors import WrongUse
from fieldaid.facts.vocabulary import COMPASS, SIDES
from fieldaid.session.work_out_answer import Answer, Value
from fieldaid.workings import air, ladder, wind, wind_pressure
from fieldaid.workings.quantity import read, read_pitch
from fieldaid.workings.roof_forms import ENDS
from fieldaid.workings.roof_model import FOOT

MPH = 0.44704


def wind_options(parser: argparse.ArgumentParser) -> None:
    """The options of `work-out wind`."""
    speed = parser.add_mutually_exclusive_group()
    speed.add_argument("--speed", metavar="SPEED", help="20mph, 9m/s")
    speed.add_argument("--beaufort", type=int, metavar="FORCE", help="force by the signs of the scale, 0 to 11")
    parser.add_argument("--from", dest="wind_from", metavar="WHERE", help="compass point or side the wind comes from")
    parser.add_argument("--a-faces", metavar="COMPASS", help="where side A faces")
    parser.add_argument("--pitch", metavar="PITCH", help="of the slopes: 6, 6/12, 26.6deg")
    parser.add_argument("--form", default="gable", metavar="FORM", help="gable is computed (default)")
    parser.add_argument("--ridge", default="B-D", metavar="B-D|A-C", help="the sides the ridge runs between")
    parser.add_argument("--height-over-depth", type=float, metavar="RATIO",
                        help="mean roof height over the building's depth along the wind (default: all from 0.25 to 1)")


def work_wind(told: argparse.Namespace) -> Answer:
    """Force, sides and the sign of pressure on the slopes, as far as the options tell."""
    low, high = _speeds(told)
    inputs = [Value("speed", "wind", (low, high) if high != low else low, "mph")]
    results: list[Value] = []
    forces = sorted({wind.beaufort(round(speed / MPH)) for speed in (low, high)})
    sign = {force: words for force, _, _, words in wind.BEAUFORT_MPH}
    results.append(Value("beaufort", "Beaufort force", forces[0], "", sign.get(forces[0], "beyond the table")))
    stopped = tuple(wind_pressure.dynamic_pressure(speed) for speed in sorted({low, high}))
    results.append(Value("dynamic_pressure", "pressure of stopped wind", stopped, "Pa"))
    sides = _lie(told, low)
    if told.wind_from:
        inputs.append(Value("from", "wind from", told.wind_from))
    if told.a_faces:
        inputs.append(Value("a_faces", "side A faces", told.a_faces))
    results.extend(Value(f"side_{side}", f"side {side}", how) for side, how in sides.items())
    if told.pitch is not None:
        pitch = read_pitch(told.pitch)
        inputs.extend([Value("form", "form", told.form), Value("pitch", "pitch", pitch, "in 12"),
                       Value("ridge", "ridge", told.ridge)])
        results.extend(_slopes(told, pitch, sides, high))
    return Answer(
        "wind", tuple(inputs), tuple(results),
        ("NOAA/NWS Beaufort table", "sides: meteorological convention, from memory", *wind_pressure.SOURCES),
        (wind_pressure.LIMITS,
         "a side is windward up to 45 degrees off the wind; between the codes' two directions both are spanned",
         "smoke drifts with the fire's own draught: read leaves and flags away from it"),
        "whether air goes in or out at one hole: that hangs on the fire, the inlets below and gusts as much as on this")


def _speeds(told: argparse.Namespace) -> tuple[float, float]:
    if told.beaufort is not None:
        for force, low, high, _ in wind.BEAUFORT_MPH:
            if force == told.beaufort:
                return low * MPH, high * MPH
        raise WrongUse(f"force {told.beaufort} is outside its limits", where="beaufort",
                       why="the table goes from 0 to 11", next_step="give --speed in mph")
    if told.speed is None:
        raise WrongUse("no wind was told", where="wind", next_step="add --speed 12mph or --beaufort 3")
    speed = read(told.speed, "speed", "speed", "mph")
    if speed > 73.5 * MPH:
        raise WrongUse(f"{speed / MPH:.3g} mph is outside its limits", where="speed",
                       why="nobody works on a roof in a hurricane, and the table ends at 73 mph",
                       next_step="give 0 to 73 mph")
    return speed, speed


def _lie(told: argparse.Namespace, speed: float) -> dict[str, wind.Lie]:
    for name, value, known in (("from", told.wind_from, (*COMPASS, *SIDES)), ("a-faces", told.a_faces, COMPASS)):
        if value is not None and value not in known:
            raise WrongUse(f"{value!r} is no direction", where=name, next_step=f"use {', '.join(known)}")
    if told.wind_from is None:
        return {}
    if told.wind_from not in SIDES and told.a_faces is None:
        raise WrongUse("no side can be named", where="a-faces", why="it is not told where side A faces",
                       next_step="add --a-faces south, or name the wind's side")
    return wind.lie_of_sides(told.wind_from, told.a_faces, 0 if speed == 0 else None)


def _slopes(told: argparse.Namespace, pitch: float, sides: dict[str, wind.Lie], speed: float) -> list[Value]:
    """Sign and range for each slope; for every lie where the wind's direction is not told."""
    if told.ridge not in ENDS:
        raise WrongUse(f"{told.ridge!r} is not a ridge direction", where="ridge", next_step="use B-D or A-C")
    if told.form not in wind_pressure.FORMS:
        return [Value("slopes", "slopes", None, "",
                      f"outside its limits: {told.form} is not in the tables that were read; gables are")]
    slopes = {side: how for side, how in sides.items() if side not in ENDS[told.ridge]}
    if not slopes:
        slopes = {how: how for how in ("windward", "leeward", "along")}
    found: list[Value] = []
    for name, how in slopes.items():
        spans = wind_pressure.on_slope(pitch, how, told.height_over_depth)
        if told.wind_from in COMPASS and _quartering(told):
            spans = spans.joined(wind_pressure.on_slope(pitch, "along", told.height_over_depth))
        label = f"slope {name}" if name in SIDES else f"{name} slope"
        found.append(Value(f"{name}_sign", f"{label}: wind makes", spans.sign, "", how if name in SIDES else ""))
        found.append(Value(f"{name}_coefficient", f"{label}: coefficient", (spans.low, spans.high)))
        found.append(Value(f"{name}_pressure", f"{label}: pressure", spans.pressure_pa(speed), "Pa"))
    return found


def _quartering(told: argparse.Namespace) -> bool:
    """Whether the wind is nearer to a corner than to a side: the codes have only winds square to a side."""
    return (COMPASS.index(told.wind_from) - COMPASS.index(told.a_faces)) % 2 == 1


def ladder_options(parser: argparse.ArgumentParser) -> None:
    """The options of `work-out ladder`."""
    parser.add_argument("--eave-height", required=True, metavar="LENGTH", help="ground to eave line: 18ft")
    parser.add_argument("--ladder", metavar="LENGTH", help="its working length as set up: 24ft")
    parser.add_argument("--angle", metavar="ANGLE", help="with the ground (default: 75.5deg)")
    parser.add_argument("--foot", metavar="LENGTH", help="from the wall, below the eave line, to the foot")


def work_ladder(told: argparse.Namespace) -> Answer:
    """Length, foot and tips of a ladder at an eave."""
    eave = read(told.eave_height, "length", "eave height", "ft")
    length = None if told.ladder is None else read(told.ladder, "length", "ladder", "ft")
    found = ladder.reach(eave, length=length,
                         angle=None if told.angle is None else read(told.angle, "angle", "angle", "deg"),
                         foot=None if told.foot is None else read(told.foot, "length", "foot", "ft"))
    inputs = [Value("eave_height", "eave above the ground", eave, "ft"), Value("angle", "angle", found.angle, "deg")]
    results = [Value("needed_length", "working length needed", found.needed, "ft", "tips 3 ft above the eave"),
               Value("foot", "foot out from the eave line", found.foot, "ft")]
    if length is not None and found.tips_above is not None:
        inputs.append(Value("ladder", "ladder, as set up", length, "ft"))
        results.append(Value("tips_above_eave", "tips above the eave", found.tips_above, "ft"))
        results.append(Value("long_enough", "long enough", "yes" if found.long_enough else "no", "",
                             "" if found.long_enough else f"short by {(found.needed - length) / FOOT:.1f} ft"))
    return Answer("ladder", tuple(inputs), tuple(results), ladder.SOURCES, (ladder.LIMITS,),
                  "whether the ladder stands firm, is clear of wires and windows, or is still there when you come back")


def air_options(parser: argparse.ArgumentParser) -> None:
    """The options of `work-out air`."""
    parser.add_argument("--cylinder", required=True, metavar="VOLUME",
                        help="free air of a full one: 1870L, 66cuft; or its rating: 30min, 45min, 60min")
    parser.add_argument("--left", action="append", required=True, metavar="AIR",
                        help="one member's: a share (0.5, 50%%) or a pressure (2200psi); give it once for each member")
    parser.add_argument("--full", metavar="PRESSURE", help="the rated pressure, when --left is a pressure: 4500psi")
    parser.add_argument("--alarm", default="33%", metavar="SHARE", help="where the alarm sounds (default: 33%%)")


def work_air(told: argparse.Namespace) -> Answer:
    """How long the lowest member's air may last."""
    volume = _cylinder(told.cylinder)
    members = tuple(_share(one, told.full) for one in told.left)
    alarm = read(told.alarm, "share", "alarm", "")
    found = air.lasts(volume, members, alarm=alarm)
    inputs = (Value("cylinder", "full cylinder, free air", volume, "ft3"),
              Value("members", "members, share left", members, between=", "),
              Value("alarm", "alarm at", 100 * alarm, "%"))
    results = (
        Value("lowest", "lowest member has", 100 * found.fraction, "%"),
        Value("to_alarm", "until the low-air alarm", tuple(60 * one for one in found.to_alarm), "min",
              "" if found.to_alarm[1] else "the alarm is due"),
        Value("to_empty", "until empty, way out included", tuple(60 * one for one in found.to_empty), "min"),
        Value("rates", "at", (air.FASTEST, air.RATED), "L/min", "fastest measured, and the rating"),
    )
    return Answer("air", inputs, results, air.SOURCES, (air.LIMITS,),
                  "how long anyone may stay: no time here allows going up, staying or going back")


def _cylinder(text: str) -> float:
    """A cylinder by its volume or its rated minutes at 40 L/min [m3]."""
    if text.strip().lower().endswith(("min", "minutes")):
        minutes = read(text, "time", "cylinder") / 60
        if not any(math.isclose(minutes, rated) for rated in (30, 45, 60, 75)):
            raise WrongUse(f"a rating of {minutes:g} minutes is outside its limits", where="cylinder",
                           why="cylinders are rated 30, 45, 60 or 75 minutes",
                           next_step="give the volume, such as 1870L")
        return minutes * 60 * air.RATED
    return read(text, "volume", "cylinder")


def _share(text: str, full: str | None) -> float:
    if text.strip().replace(".", "", 1).rstrip("%").isdigit():
        return read(text, "share", "left", "")
    if full is None:
        raise WrongUse(f"{text!r} needs the rated pressure", where="left", why="a pressure alone is no share",
                       next_step="add --full 4500psi, or give a share such as 50%")
    return air.fraction_from_pressure(read(text, "pressure", "left"), read(full, "pressure", "full", "psi"))
