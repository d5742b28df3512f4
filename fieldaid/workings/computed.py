"""Computed facts: the workings that the told facts allow, each with its source and its limits.

A working whose input is missing or outside its limits gives nothing: the fact stays unknown, never assumed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldaid.facts.situation import Situation
from fieldaid.facts.tries import TRIES
from fieldaid.facts.values import year_range
from fieldaid.facts.vocabulary import COMPASS, SECTIONS, SIDES, YES_NO, Fact
from fieldaid.workings import faces as roof_faces
from fieldaid.workings import placement_names, ways, wind, wind_pressure


@dataclass(frozen=True)
class Computed:
    """A computed value, where the calculation comes from, and what it does not tell."""

    value: Any
    source: str
    limits: str


def _declared() -> dict[str, Fact]:
    plain = [
        Fact(name="ways.usable", called="ways off", about="usable separate ways off", kind="number", low=0, high=20,
             unit="ways"),
        Fact(name="ways.aerial", called="aerial", about="a usable aerial is among the ladders", values=YES_NO),
        Fact(name="ways.over_window", called="ladder at a window",
             about="a ladder stands on a side where a window vents", values=YES_NO),
        Fact(name="ways.shared", called="ladders at one place", about="two ladders stand at one place", values=YES_NO),
        Fact(name="ways.roof_ladder", called="roof ladder", about="a roof ladder is among the ladders", values=YES_NO),
        Fact(name="part.named", called="section", about="the section looked at; not known of the main roof",
             values=SECTIONS),
        Fact(name="beside.attic", called="attic beside", about="fire told in the attic of another section",
             values=("yes",)),
        Fact(name="air.low", called="air", about="the lowest member's air is low", values=YES_NO),
        Fact(name="tries.failed", called="tries", about="acts tried after the opening that brought no relief",
             kind="number", low=0, high=len(TRIES), unit="tries"),
        Fact(name="tries.waiting", called="try", about="something was tried and relief was not told since",
             values=YES_NO),
        Fact(name="built.first", called="built from", about="earliest year built", kind="number", low=1700, high=2100,
             unit="year"),
        Fact(name="built.last", called="built to", about="latest year built", kind="number", low=1700, high=2100,
             unit="year"),
        Fact(name="wind.side", called="windward side", about="side or corner the wind blows onto",
             values=(*SIDES, "AB", "BC", "CD", "DA")),
        Fact(name="fire.windward", called="wind on the fire's side", about="the wind blows onto the fire's side",
             values=YES_NO),
        Fact(name="place.found", called="place", about="whether a face for an opening was found", values=YES_NO),
        Fact(name="place.face", called="place", about="the face for an opening", values=SIDES),
        Fact(name="place.over", called="place", about="how the face lies to the fire",
             values=("over the fire", "next face, high")),
        Fact(name="place.why_not", called="place", about="why no face was found",
             values=placement_names.WHY_NOT),
        Fact(name="place.leeward", called="leeward", about="compass point away from the wind, side A's facing not told",
             values=COMPASS),
    ]
    families = [
        ("wind.on", "how a side lies to the wind", ("windward", "leeward", "along")),
        ("face", "the face on a side", ("slope", "hip end", "gable end", "flat")),
        ("over", "a face above the fire", ("yes",)),
        ("pressure", "what the wind does on a slope, over the codes' whole range", wind_pressure.SIGNS),
    ]
    grouped = [Fact(name=f"{group}.{side}", group=group, place=side, called=group, about=about, values=values)
               for group, about, values in families for side in SIDES]
    return {one.name: one for one in [*plain, *grouped, *placement_names.FACTS]}


COMPUTED: dict[str, Fact] = _declared()

NO_DEFAULTS: Mapping[str, float] = {}


def compute(situation: Situation, parameters: Mapping[str, float] = NO_DEFAULTS) -> dict[str, Computed]:
    """Every computed fact that the situation allows.

    `parameters` are the pack's: `air_low_fraction` [share of a full cylinder] and `air_low_minutes` [min].
    """
    found: dict[str, Computed] = {}
    told = situation.values
    found.update({name: Computed(value, ways.SOURCE, ways.LIMITS) for name, value in ways.count(told).items()})
    found.update(_section(situation))
    found.update(_air(told, parameters))
    found.update(_tries(told))
    if "building.built" in told:
        first, last = year_range(told["building.built"])
        for name, year in (("built.first", first), ("built.last", last)):
            found[name] = Computed(year, "the year told", "additions and re-roofs may be younger [C17]")
    found.update(_wind_and_faces(told))
    return found


def _section(situation: Situation) -> dict[str, Computed]:
    """The section that is looked at, and whether the attic of another one burns."""
    source, limits = "the sections as told", "whether a wall stands between them is another fact"
    found = {}
    if situation.section:
        found["part.named"] = Computed(situation.section, source, limits)
    if situation.attics_beside:
        found["beside.attic"] = Computed("yes", source, limits)
    return found


def _air(told: Mapping[str, Any], parameters: Mapping[str, float]) -> dict[str, Computed]:
    air = told.get("crew.air")
    if air is None:
        return {}
    low = air.get("low") == "yes"
    if "fraction" in air and "air_low_fraction" in parameters:
        low = air["fraction"] <= parameters["air_low_fraction"]
    elif "minutes" in air and "air_low_minutes" in parameters:
        low = air["minutes"] <= parameters["air_low_minutes"]
    return {"air.low": Computed("yes" if low else "no", "comparison with the pack's parameter [T22]",
                                "the lowest member as told; air left never allows staying")}


def _tries(told: Mapping[str, Any]) -> dict[str, Computed]:
    """How many acts brought no relief, and whether one still waits for word from inside."""
    tried = [told[f"tried.{act}"] for act in TRIES if f"tried.{act}" in told]
    if not tried:
        return {}
    source, limits = "count of the tries told [G21]", "what nobody told was tried is not in it"
    return {"tries.failed": Computed(tried.count("no relief"), source, limits),
            "tries.waiting": Computed("yes" if "done" in tried else "no", source, limits)}


def _wind_and_faces(told: Mapping[str, Any]) -> dict[str, Computed]:
    found: dict[str, Computed] = {}
    source = "wind direction against the sides' normals; WMO convention, from memory"
    limits = "flat open ground; trees and neighbours turn the wind"
    calm = told.get("wind.mph") == 0
    lie: dict[str, wind.Lie] = {}
    if "wind.from" in told or calm:
        lie = wind.lie_of_sides(told.get("wind.from", "north"), told.get("site.a_faces"), told.get("wind.mph"))
        if not lie:
            found["place.leeward"] = Computed(wind.opposite(told["wind.from"]), source,
                                              "side A's facing is not told, so no side can be named")
    for side, how in lie.items():
        found[f"wind.on.{side}"] = Computed(how, source, limits)
    blown = "".join(side for side in SIDES if lie.get(side) == "windward")
    if blown:
        found["wind.side"] = Computed({"AD": "DA"}.get(blown, blown), source, limits)
    if lie and "fire.side" in told and told["fire.side"] != "centre":
        onto = any(lie[side] == "windward" for side in told["fire.side"])
        found["fire.windward"] = Computed("yes" if onto else "no", source, limits)
    found.update(_place(told, lie))
    if not calm:
        found.update(_pressure(told, lie))
    return found


def _pressure(told: Mapping[str, Any], lie: dict[str, wind.Lie]) -> dict[str, Computed]:
    """The sign of wind pressure on each slope of a gable; nothing where the codes' tables do not reach."""
    form, ridge, pitch = (told.get(name) for name in ("roof.form", "roof.ridge_runs", "roof.pitch"))
    if form not in wind_pressure.FORMS or ridge is None or pitch is None:
        return {}
    found: dict[str, Computed] = {}
    for side, how in lie.items():
        if side not in ridge.split("-"):
            # Between a side's own wind and one along the ridge the codes have no value, so both count.
            spans = wind_pressure.on_slope(pitch / 12, how).joined(wind_pressure.on_slope(pitch / 12, "along"))
            found[f"pressure.{side}"] = Computed(spans.sign, "; ".join(wind_pressure.SOURCES), wind_pressure.LIMITS)
    return found


def _place(told: Mapping[str, Any], lie: dict[str, wind.Lie]) -> dict[str, Computed]:
    found: dict[str, Computed] = {}
    source = "faces from form and ridge; rows G01, W11, P14"
    limits = "words, not measures; high and near the ridge is judged by the crew"
    kinds = roof_faces.faces(told["roof.form"], told.get("roof.ridge_runs")) if "roof.form" in told else {}
    for side, kind in kinds.items():
        found[f"face.{side}"] = Computed(kind, source, limits)
    if not kinds or "fire.side" not in told:
        return found
    for side in roof_faces.over_fire(kinds, told["fire.side"]):
        found[f"over.{side}"] = Computed("yes", source, limits)
    if not lie:
        return found
    face, why = roof_faces.choose_face(kinds, told["fire.side"], lie, _refused(told))
    found["place.found"] = Computed("yes" if face else "no", source, limits)
    if face:
        found["place.face"] = Computed(face, source, limits)
        found["place.over"] = Computed(why, source, limits)
    else:
        found["place.why_not"] = Computed(why, source, limits)
    return found


def _refused(told: Mapping[str, Any]) -> dict[str, str]:
    """Faces that cannot take an opening, each with the reason."""
    refused: dict[str, str] = {}
    for name in ("roof.solar", "roof.wires"):
        places = told.get(name, "none")
        for place in () if places == "none" else places:
            for side in SIDES if place in ("everywhere", "unsaid", "ridge", "eave", "valley", "hip") else place:
                refused[side] = name
    for side in SIDES:
        if told.get(f"deck.{side}") in roof_faces.BAD_DECK:
            refused[side] = f"deck.{side}"
    return refused
