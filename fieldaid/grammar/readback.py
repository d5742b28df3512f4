"""The read-back of typed facts: short, from the facts and never from the words heard.

`said` in the template files holds a pattern for a fact or family: {value}, {place}, {basis}, {section}.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from fieldaid.facts import fact, split_section
from fieldaid.grammar.load import Loaded
from fieldaid.grammar.model import Reading

_PLACES = {"unsaid": "", "everywhere": "everywhere", "centre": "centre"}


def spoken(loaded: Loaded, readings: Iterable[Reading]) -> str:
    """The fragments of several readings, joined by commas; wind, its speed and gusts become one."""
    fragments: list[str] = []
    for one in readings:
        text = _fragment(loaded, one)
        if fragments and text.startswith("wind ") and fragments[-1].startswith("wind "):
            fragments[-1] += text.removeprefix("wind")
        elif text not in fragments:
            fragments.append(text)
    return ", ".join(fragments)


def _fragment(loaded: Loaded, one: Reading) -> str:
    base, section = split_section(one.name)
    spec = fact(one.name)
    value = _value(loaded, base, one.value)
    pattern = (loaded.said.get(f"{base}={one.value}" if isinstance(one.value, (str, int)) else "")
               or loaded.said.get(base) or loaded.said.get(spec.group) or "{called}: {value}")
    basis = one.basis if one.basis in ("seen", "struck", "inspection cut", "preplan") else ""
    text = pattern.format(value=value, place=_place(spec.place), basis=basis, called=spec.called)
    if basis and "{basis}" not in pattern:
        text = f"{text} {basis}"
    if section:
        text = f"{section.replace('_', ' ')} {text}"
    if one.basis == "guess":
        text = f"guess: {text}"
    return " ".join(text.split()).replace(" ,", ",").strip(" ,")


def _place(place: str) -> str:
    if place in _PLACES:
        return _PLACES[place]
    return " ".join(part for part in place.replace("_", " ").split(".") if part != "any")


def _value(loaded: Loaded, name: str, value: Any) -> str:
    kind = fact(name).kind
    if kind == "ladders":
        return _ladders(value)
    if kind == "air":
        (key, told), = value.items()
        if key == "low":
            return "low" if told == "yes" else "not low"
        return f"{told:g} minutes" if key == "minutes" else f"{round(told * 100)} percent"
    if kind == "places" and isinstance(value, list):
        return ", ".join(_PLACES.get(place, " ".join(place) if place.isupper() else place) for place in value) or "yes"
    if isinstance(value, str):
        return " ".join(value.replace("-", "")) if value.isupper() else value
    return f"{value:g}" if isinstance(value, float) else str(value)


def _ladders(ladders: list[dict]) -> str:
    good = [one for one in ladders if one["usable"] == "yes"]
    lost = [one for one in ladders if one["usable"] == "no"]
    text = []
    for kind in dict.fromkeys(one["kind"] for one in good):
        those = [one for one in good if one["kind"] == kind]
        told = dict.fromkeys(one["place"] for one in those if one["place"] != "unsaid")
        places = " and ".join(map(_ladder_place, told))
        noun = {"ground": "ladder", "aerial": "aerial", "roof": "roof ladder"}[kind]
        count = f"{len(those)} {noun}s" if len(those) > 1 else noun
        text.append(f"{count} {places}".strip())
    if lost:
        places = " and ".join(_ladder_place(one["place"]) for one in lost if one["place"] != "unsaid")
        text.append(f"ladder lost {places}".strip())
    return ", ".join(text)


def _ladder_place(place: str) -> str:
    """A side, or two sides as the corner between them: "B C and A" would sound like three sides."""
    return f"{' '.join(place)} corner" if len(place) == 2 else " ".join(place)
