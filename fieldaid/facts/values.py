"""Checks a told value against the vocabulary and brings it into its one written form."""

from __future__ import annotations

import difflib
import math
import re
from typing import Any

from fieldaid.errors import FactError
from fieldaid.facts.vocabulary import LADDER_PLACES, Fact, fact

LADDER_KINDS = ("ground", "aerial", "roof")
AIR_KEYS = {"low": None, "minutes": (0.0, 90.0), "fraction": (0.0, 1.0)}


def _wrong(one: Fact, value: Any, why: str, next_step: str) -> FactError:
    return FactError(f"{one.name} cannot be {value!r}", why=why, next_step=next_step)


def _choice(one: Fact, value: Any) -> str:
    if value in one.values:
        return value
    near = difflib.get_close_matches(str(value), one.values, n=1, cutoff=0.6)
    raise _wrong(
        one, value, f"its values are {', '.join(one.values)}", f"did you mean {near[0]}?" if near else "use one of them"
    )


def _number(one: Fact, value: Any) -> float | int:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise _wrong(one, value, f"it is a number of {one.unit}", "tell a number")
    if not (one.low <= value <= one.high):
        raise _wrong(one, value, f"it lies between {one.low:g} and {one.high:g} {one.unit}", "say the number again")
    return int(value) if float(value).is_integer() else float(value)


def _years(one: Fact, value: Any) -> int | str:
    if isinstance(value, str) and (parts := re.fullmatch(r"(\d{4})-(\d{4})", value)):
        first, last = int(parts[1]), int(parts[2])
        if one.low <= first <= last <= one.high:
            return first if first == last else value
    elif not isinstance(value, str):
        return int(_number(one, value))
    raise _wrong(one, value, "it is a year such as 1958 or a range such as 1950-1959", "say the year again")


def _places(one: Fact, value: Any) -> str | list[str]:
    if value == "none":
        return "none"
    if isinstance(value, (list, tuple)) and value:
        for place in value:
            _choice(one, place)
        return sorted(set(value), key=one.values.index)
    raise _wrong(one, value, "it is none, or a list of places", f"places are {', '.join(one.values)}")


def _ladders(one: Fact, value: Any) -> list[dict[str, str]]:
    if not isinstance(value, (list, tuple)):
        raise _wrong(one, value, "it is a list of ladders", "tell where the ladders are")
    found = []
    for ladder in value:
        place, kind, usable = (ladder.get("place", "unsaid"), ladder.get("kind", "ground"), ladder.get("usable", "yes"))
        if place not in LADDER_PLACES or kind not in LADDER_KINDS or usable not in ("yes", "no"):
            raise _wrong(
                one,
                ladder,
                f"a ladder has a place ({', '.join(LADDER_PLACES)}), a kind "
                f"({', '.join(LADDER_KINDS)}) and usable yes or no",
                "tell the ladder again",
            )
        found.append({"place": place, "kind": kind, "usable": usable})
    return found


def _air(one: Fact, value: Any) -> dict[str, Any]:
    if isinstance(value, dict) and len(value) == 1:
        ((key, told),) = value.items()
        if key == "low" and told in ("yes", "no"):
            return {"low": told}
        bounds = AIR_KEYS.get(key)
        if bounds and isinstance(told, (int, float)) and not isinstance(told, bool) and bounds[0] <= told <= bounds[1]:
            return {key: int(told) if float(told).is_integer() and key == "minutes" else float(told)}
    raise _wrong(
        one,
        value,
        "air is low, minutes (0 to 90) or a fraction (0 to 1) of the lowest member",
        "say it again, such as half, or ten minutes",
    )


_CHECKS = {"choice": _choice, "number": _number, "years": _years, "places": _places, "ladders": _ladders, "air": _air}


def check_value(name: str, value: Any) -> Any:
    """`value` in its one written form.

    Raises
    ------
    FactError : the fact or the value is not in the vocabulary; says which values are, and the nearest
    """
    one = fact(name)
    return _CHECKS[one.kind](one, value)


def same_value(one: Fact, a: Any, b: Any) -> bool:
    """Whether two checked values say the same. A year inside a told range does not contradict the range."""
    if one.kind == "years" and a != b:
        low_a, high_a = year_range(a)
        low_b, high_b = year_range(b)
        return low_a >= low_b and high_a <= high_b or low_b >= low_a and high_b <= high_a
    return a == b


def year_range(value: int | str) -> tuple[int, int]:
    """First and last year of a told year or range: 1958 -> (1958, 1958), "1950-1959" -> (1950, 1959)."""
    if isinstance(value, str):
        first, last = value.split("-")
        return int(first), int(last)
    return int(value), int(value)
