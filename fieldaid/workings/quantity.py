"""Reads quantities as people write them, and writes them back: feet and inches, metric, mph, pitch.

Everything is read into SI (a pitch into rise over run). A number without a unit takes the unit that the trade uses for
that input; the caller names it.
"""

from __future__ import annotations

import difflib
import math
import re
from fractions import Fraction
from typing import Literal

from fieldaid.errors import WrongUse

Kind = Literal["length", "speed", "angle", "temperature", "area", "power", "time", "volume", "flow", "pressure", "mass",
               "density", "share"]

_FOOT, _INCH, _POUND = 0.3048, 0.0254, 0.45359237
# Factors are exact by definition (NIST SP 811 B.8), but for psi and Btu, which are rounded there.
UNITS: dict[Kind, dict[str, float]] = {
    "length": {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": _FOOT, "foot": _FOOT, "feet": _FOOT, "'": _FOOT, "in": _INCH,
               "inch": _INCH, "inches": _INCH, '"': _INCH, "yd": 3 * _FOOT},
    "speed": {"m/s": 1.0, "mps": 1.0, "mph": 1609.344 / 3600, "km/h": 1 / 3.6, "kph": 1 / 3.6, "kmh": 1 / 3.6,
              "kt": 1852 / 3600, "kn": 1852 / 3600, "knots": 1852 / 3600, "ft/s": _FOOT, "fps": _FOOT},
    "angle": {"deg": 1.0, "degrees": 1.0, "°": 1.0, "rad": 180 / math.pi},
    "temperature": {"k": 1.0, "c": 1.0, "f": 5 / 9, "°c": 1.0, "°f": 5 / 9, "degc": 1.0, "degf": 5 / 9},
    "area": {"m2": 1.0, "sqm": 1.0, "ft2": _FOOT**2, "sqft": _FOOT**2, "in2": _INCH**2, "sqin": _INCH**2},
    "power": {"w": 1.0, "kw": 1e3, "mw": 1e6, "btu/s": 1055.056},
    "time": {"s": 1.0, "sec": 1.0, "seconds": 1.0, "min": 60.0, "minutes": 60.0, "h": 3600.0},
    "volume": {"m3": 1.0, "l": 1e-3, "litre": 1e-3, "litres": 1e-3, "liters": 1e-3, "ft3": _FOOT**3, "cuft": _FOOT**3},
    "flow": {"m3/s": 1.0, "l/min": 1e-3 / 60, "lpm": 1e-3 / 60, "l/s": 1e-3, "cfm": _FOOT**3 / 60},
    "pressure": {"pa": 1.0, "kpa": 1e3, "bar": 1e5, "mpa": 1e6, "psi": 6894.757, "psf": 47.88026},
    "mass": {"kg": 1.0, "lb": _POUND, "lbs": _POUND, "pounds": _POUND},
    "density": {"kg/m3": 1.0, "lb/ft3": _POUND / _FOOT**3, "pcf": _POUND / _FOOT**3},
    "share": {"": 1.0, "%": 0.01, "percent": 0.01},
}
_ZERO = {"c": 273.15, "°c": 273.15, "degc": 273.15, "f": 459.67 * 5 / 9, "°f": 459.67 * 5 / 9, "degf": 459.67 * 5 / 9}
_MARKS = str.maketrans({"’": "'", "′": "'", "“": '"', "”": '"', "″": '"', "−": "-", "–": "-", "²": "2", "³": "3",
                        "½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"})
_NUMBER = r"(?:\d+\s+\d+/\d+|\d+-\d+/\d+|\d+/\d+|\d+\.?\d*|\.\d+)"
_PART = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\d\s.,-][^\d\s,-]*(?:\d(?![\d.]))?)?\s*,?")
_TWO_WORDS = {"sq ft": "ft2", "square feet": "ft2", "sq m": "m2", "sq in": "in2", "square inches": "in2",
              "cu ft": "ft3", "cubic feet": "ft3", "square metres": "m2", "square meters": "m2"}
_PITCH = re.compile(rf"\s*(?P<rise>{_NUMBER})\s*(?:(?:/|:|-?\s*in\s*-?)\s*(?P<run>\d+\.?\d*))?\s*")


def read(text: str, kind: Kind, name: str, bare: str | None = None) -> float:
    """The quantity in SI [m, m/s, deg, K, m2, W, s, m3, m3/s, Pa, kg, kg/m3, 1].

    Parameters
    ----------
    text : such as 40ft, 40' 6", 12.2m, 24in, 20mph, 66 cu ft, 600F
    kind : what is measured
    name : the input's name, for the message
    bare : the unit of a number without one; without it such a number is refused

    Raises
    ------
    WrongUse : it cannot be read as that kind; says which units can

    >>> round(read("40' 6\\"", "length", "length"), 4), round(read("20 mph", "speed", "wind"), 3)
    (12.3444, 8.941)
    """
    cleaned = " ".join(text.translate(_MARKS).split())
    for words, unit in _TWO_WORDS.items():
        cleaned = re.sub(rf"{words}\b", unit, cleaned, flags=re.IGNORECASE)
    parts: list[tuple[float, str]] = []
    plain = False
    at = 0
    while at < len(cleaned):
        part = _PART.match(cleaned, at)
        if part is None:
            raise _cannot(text, kind, name, bare)
        parts.append((_number(part["number"]), _known(part["unit"], text, kind, name, bare)))
        plain = plain or part["unit"] is None
        at = part.end()
    if not parts or not all(math.isfinite(value) for value, _ in parts):
        raise _cannot(text, kind, name, bare)
    # Only feet and inches are written in two parts, each with its unit, the larger first.
    factors = [UNITS[kind][unit] for _, unit in parts]
    if len(parts) > 1 and (kind != "length" or plain or factors != [UNITS["length"]["ft"], UNITS["length"]["in"]]):
        raise _cannot(text, kind, name, bare)
    return sum(value * factor + _ZERO.get(unit, 0.0) for (value, unit), factor in zip(parts, factors, strict=True))


def read_pitch(text: str, name: str = "pitch") -> float:
    """A pitch as rise over run: 6, 6/12, 6:12, 6 in 12, 26.6deg, 50%.

    Raises
    ------
    WrongUse : it cannot be read

    >>> read_pitch("6"), read_pitch("6/12"), round(read_pitch("26.565deg"), 3)
    (0.5, 0.5, 0.5)
    """
    cleaned = " ".join(text.translate(_MARKS).lower().split())
    told = re.fullmatch(rf"({_NUMBER})\s*(deg|degrees|°|%|percent)", cleaned)
    if told:
        value = _number(told[1])
        if told[2] in ("%", "percent"):
            return value / 100
        if value < 90:
            return math.tan(math.radians(value))
    # 6/12 is a pitch here, not the number one half.
    elif (plain := _PITCH.fullmatch(cleaned) or re.fullmatch(r"(?P<rise>\d+\.?\d*)\s*/\s*(?P<run>\d+\.?\d*)", cleaned)):
        slashed = re.fullmatch(r"(\d+)/(\d+)", plain["rise"])
        rise, run = (float(slashed[1]), float(slashed[2])) if slashed and not plain["run"] else (
            _number(plain["rise"]), float(plain["run"] or 12))
        if run > 0:
            return rise / run
    raise WrongUse(f"cannot read {text!r} as a pitch", where=name,
                   next_step="write rise in 12 such as 6, 6/12 or 6:12, an angle such as 26.6deg, or 50%")


def _number(text: str) -> float:
    whole = 0.0
    for part in re.split(r"[\s-]+", text.strip()):
        try:
            whole += float(Fraction(part))
        except (ValueError, ZeroDivisionError):
            return math.nan
    return whole


def _known(unit: str | None, text: str, kind: Kind, name: str, bare: str | None) -> str:
    if unit is None:
        if bare is None:
            raise WrongUse(f"{text!r} has no unit", where=name, next_step=f"write it with one of {_some(kind)}")
        return bare
    plain = unit.rstrip(".").lower()
    if plain in UNITS[kind]:
        return plain
    near = difflib.get_close_matches(plain, UNITS[kind], n=1, cutoff=0.6)
    raise WrongUse(f"{unit!r} is not a unit of {kind} here", where=name, why=f"in {text!r}",
                   next_step=f"did you mean {near[0]}?" if near else f"use one of {_some(kind)}")


def _some(kind: Kind) -> str:
    seen: dict[float, str] = {}
    for unit, factor in UNITS[kind].items():
        seen.setdefault(factor + _ZERO.get(unit, 0.0), unit or "a plain number")
    return ", ".join(seen.values())


def _cannot(text: str, kind: Kind, name: str, bare: str | None) -> WrongUse:
    example = {"length": "40ft, 40' 6\", 12.2m or 24in"}.get(kind, f"a number with one of {_some(kind)}")
    plain = f"; a plain number is read as {bare}" if bare else ""
    return WrongUse(f"cannot read {text!r} as {'an' if kind[0] in 'aeiou' else 'a'} {kind}", where=name,
                    next_step=f"write {example}{plain}")


def feet_and_inches(metres: float, parts: int = 8) -> str:
    """A length as feet and inches to the nearest 1/`parts` inch.

    >>> feet_and_inches(4.0894), feet_and_inches(0.6096), feet_and_inches(0.0127)
    ('13 ft 5 in', '2 ft', '1/2 in')
    """
    sign = "-" if metres < 0 else ""
    steps = round(abs(metres) / _INCH * parts)
    feet, rest = divmod(steps, 12 * parts)
    inches, over = divmod(rest, parts)
    fraction = str(Fraction(over, parts)) if over else ""
    words = [f"{feet} ft"] if feet else []
    if inches or fraction:
        words.append(" ".join(part for part in (str(inches) if inches else "", fraction) if part) + " in")
    return sign + (" ".join(words) or "0 ft")
