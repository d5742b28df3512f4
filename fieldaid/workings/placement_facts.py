"""From told facts to a question for the placement solver, and from its answer to computed facts.

What the solver needs and nobody told is named; nothing is assumed in its place. Where the solver cannot say, the
rougher choice of a face by side (`computed`) stands as it was.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fieldaid.errors import FieldaidError
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import SIDES, fact
from fieldaid.workings import ways, wind
from fieldaid.workings.placement_names import WHY_NOT

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from fieldaid.workings.placement_model import Answer, Question, WayOff
    from fieldaid.workings.roof_model import RoofModel

# Told facts that the solver looks at; its answers are kept by their values.
LOOKED_AT = (
    "roof.form",
    "roof.ridge_runs",
    "roof.length_ft",
    "roof.width_ft",
    "roof.pitch",
    "roof.spacing_in",
    "roof.overhang_ft",
    "roof.framing",
    "roof.deck",
    "roof.solar",
    "roof.wires",
    "roof.skylight",
    "roof.load",
    "building.additions",
    "attic.knee_wall",
    "attic.party_wall",
    "ceiling.kind",
    "wind.from",
    "wind.mph",
    "wind.shifting",
    "site.a_faces",
    "fire.side",
    "crew.ladders",
    "crew.count",
    *(f"window.{side}" for side in SIDES),
    *(f"deck.{side}" for side in SIDES),
)
ROOF_FORMS = ("gable", "hip", "pyramid", "flat")
CORNER_AT = {"AB": (0, 1), "BC": (0, 3), "CD": (2, 3), "DA": (2, 1)}
SIDE_ENDS = {"A": ("AB", "DA"), "B": ("AB", "BC"), "C": ("BC", "CD"), "D": ("DA", "CD")}
SOURCE = "placement solver on the computed roof; rows C18, C19, G01, G08, G10, G13, S34, W11"


class NotTold(Exception):
    """The solver cannot be asked; the text says what is missing or in the way."""


def answer_of(situation: Situation) -> tuple[Question | None, Answer]:
    """The question that the told facts amount to and its answer; None with a `not_computed` answer otherwise."""
    if situation.section:
        from fieldaid.workings.placement_model import Answer

        return None, Answer(None, None, (), not_computed=f"the shape of the {situation.section} is not told")
    told = situation.values
    return _answered(tuple((name, _frozen(told[name])) for name in LOOKED_AT if name in told))


@functools.lru_cache(maxsize=128)
def _answered(told: tuple[tuple[str, Any], ...]) -> tuple[Question | None, Answer]:
    from fieldaid.workings.placement import place
    from fieldaid.workings.placement_model import Answer

    values = {name: _thawed(value) for name, value in told}
    try:
        question = question_of(values)
    except NotTold as missing:
        return None, Answer(None, None, (), not_computed=str(missing))
    answer = place(question)
    skylight = values.get("roof.skylight", "none")
    if answer.best is not None and skylight != "none" and _on_side(skylight, answer.best.side):
        why = f"where on {answer.best.side} the skylight lies is not told"
        return question, Answer(None, None, answer.rejections, not_computed=why)
    return question, answer


def question_of(told: Mapping[str, Any]) -> Question:
    """The question for the solver.

    Raises
    ------
    NotTold : something that it needs is not told; says what
    """
    from fieldaid.workings.placement_model import Question

    blow = wind_of(told)
    ladders = told.get("crew.ladders")
    needs = {
        "fire.side": told.get("fire.side"),
        "roof.solar": told.get("roof.solar"),
        "roof.wires": told.get("roof.wires"),
        "crew.ladders": ladders,
    }
    need(needs)
    if told.get("roof.load", "none") != "none":
        raise NotTold("where the load on the roof stands is not told")
    if told.get("attic.knee_wall") in ("yes", "suspected"):
        raise NotTold("where the knee wall stands is not told")
    if told.get("attic.party_wall") == "yes":
        raise NotTold("where the party wall stands is not told")
    roof = roof_of(told)
    ways = ways_of(roof, ladders or [], told)
    fire = told["fire.side"]
    return Question(
        roof=roof,
        wind=blow,
        fire=fire_part(roof, fire),
        fire_sides="" if fire == "centre" else fire,
        ways=ways,
        refused=refused_sides(told),
        framing=told.get("roof.framing"),
        deck=told.get("roof.deck"),
        ceiling=told.get("ceiling.kind"),
        crew=told.get("crew.count"),
    )


def roof_of(told: Mapping[str, Any]) -> RoofModel:
    """The roof as far as it is told.

    Raises
    ------
    NotTold : a measure is missing, the form has no rules here, or the measures do not make a roof
    """
    from fieldaid.workings.roof import build
    from fieldaid.workings.roof_model import FOOT, INCH

    form = told.get("roof.form")
    need({"roof.form": form})
    if form == "shed":
        raise NotTold("which side the shed roof drains over is not told")
    if form not in ROOF_FORMS:
        raise NotTold(f"a {form} roof has no placement rules here")
    if told.get("building.additions", "none") != "none":
        raise NotTold("the shape of the additions is not told")
    needs = ["roof.length_ft", "roof.width_ft", "roof.spacing_in"]
    needs += [] if form == "pyramid" else ["roof.ridge_runs"]
    needs += [] if form == "flat" else ["roof.pitch"]
    needs += ["roof.framing"] if form in ("hip", "pyramid") else []
    need({name: told.get(name) for name in needs})
    if form != "flat" and not told["roof.pitch"]:
        raise NotTold(f"a {form} roof with pitch 0 is none")
    try:
        return build(
            form,
            told["roof.length_ft"] * FOOT,
            told["roof.width_ft"] * FOOT,
            0.0 if form == "flat" else told["roof.pitch"] / 12,
            ridge_runs=told.get("roof.ridge_runs", "B-D"),
            spacing_m=told["roof.spacing_in"] * INCH,
            overhang_m=0.0,
            framing="trusses" if told.get("roof.framing") in ("trusses", "lightweight") else "rafters",
        )
    except FieldaidError as error:
        raise NotTold(str(error).rstrip(".")) from error


def need(values: Mapping[str, Any]) -> None:
    """Raises NotTold with the names of the facts, as they are called, whose value is None."""
    missing = [fact(name).called for name, value in values.items() if value is None]
    if missing:
        raise NotTold(f"{', '.join(missing)} not told")


def wind_of(told: Mapping[str, Any]) -> tuple[float, float]:
    """Unit vector in plan towards where the wind comes from; (0, 0) in a calm."""
    import math

    if told.get("wind.shifting") == "yes":
        raise NotTold("the wind shifts")
    if told.get("wind.mph") == 0:
        return 0.0, 0.0
    need({"wind.from": told.get("wind.from")})
    # Side C is up in the plan, so its outward normal is the plan's "north".
    if told["wind.from"] in SIDES:
        off = {"A": 180.0, "B": 270.0, "C": 0.0, "D": 90.0}[told["wind.from"]]
    else:
        need({"site.a_faces": told.get("site.a_faces")})
        from_north = wind.side_normals("north")["A"] + 45.0 * wind.COMPASS.index(told["wind.from"])
        off = from_north - wind.side_normals(told["site.a_faces"])["C"]
    return round(math.sin(math.radians(off)), 12), round(math.cos(math.radians(off)), 12)


def fire_part(roof: RoofModel, side: str) -> Polygon:
    """The half of the house at a side, the quarter at a corner, or the middle: where a fire told there may be."""
    from shapely.geometry import box

    x0, y0, x1, y1 = roof.footprint.bounds
    xm, ym = (x0 + x1) / 2, (y0 + y1) / 2
    if side == "centre":
        return box((x0 + xm) / 2, (y0 + ym) / 2, (xm + x1) / 2, (ym + y1) / 2)
    return box(
        xm if "D" in side else x0, ym if "C" in side else y0, xm if "B" in side else x1, ym if "A" in side else y1
    )


def ways_of(roof: RoofModel, ladders: list[Mapping[str, Any]], told: Mapping[str, Any]) -> tuple[WayOff, ...]:
    """The ladders whose place is told, as ways off. One over a venting window is none, nor is a roof ladder.

    Raises
    ------
    NotTold : fewer than two places are told, while more ways off may be there
    """
    from fieldaid.workings.placement_model import WayOff

    bounds = roof.outline.bounds

    def spot(corner: str) -> tuple[float, float]:
        across, up = CORNER_AT[corner]
        return bounds[across], bounds[up]

    found = []
    for one in ladders:
        place = one["place"]
        if place == "unsaid" or not ways.leads_down(one):
            continue
        ends = (
            (spot(place), spot(place)) if place in CORNER_AT else (spot(SIDE_ENDS[place][0]), spot(SIDE_ENDS[place][1]))
        )
        usable = one["usable"] == "yes" and not ways.over_venting_window(told, place)
        found.append(WayOff(f"{place} {'aerial' if one['kind'] == 'aerial' else 'ladder'}", ends, one["kind"], usable))
    if sum(one.usable for one in found) < 2 and any(one["place"] == "unsaid" for one in ladders):
        raise NotTold("the place of a ladder is not told")
    return tuple(found)


def refused_sides(told: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Sides on which something stands whose outline is not told, with what it is."""
    found: dict[str, str] = {}
    for name, called in (("roof.solar", "panels"), ("roof.wires", "wires")):
        for side in SIDES:
            if _on_side(told.get(name, "none"), side):
                found.setdefault(side, f"{called} there, and where they end is not told")
    for side in SIDES:
        if told.get(f"deck.{side}", "solid") != "solid":
            found[side] = f"{told[f'deck.{side}']} deck"
    return tuple(sorted(found.items()))


def _on_side(places: Any, side: str) -> bool:
    """Whether an obstacle told at `places` may lie on the face of a side."""
    return places != "none" and any(side in place if len(place) < 3 else True for place in places)


def refined(situation: Situation, computed: Mapping[str, Any], placed: Answer | None = None) -> dict[str, Any]:
    """`computed` with the solver's facts laid over those of the rougher choice; as it was where it cannot say.

    The solver never finds a place where the rougher choice found none: it only adds to what stands in the way.
    `placed` is the solver's answer where more is known of the plan than facts can say.
    """
    from fieldaid.workings.computed import Computed

    before = computed.get("place.found")
    if before is None or before.value != "yes":
        return dict(computed)
    answer = placed if placed is not None else answer_of(situation)[1]
    found = {name: one for name, one in computed.items() if not name.startswith("place.")}
    if answer.not_computed:
        return {**computed, "place.worked": Computed("no", SOURCE, f"not computed: {answer.not_computed}")}
    told = {
        "place.worked": "yes",
        "place.found": "yes" if answer.best else "no",
        **{
            f"place.bar.{one.side}": one.code if one.code != "ways" else "way off"
            for one in answer.rejections
            if one.side
        },
    }
    best = answer.best
    if best is None:
        told["place.why_not"] = _why_not(answer)
    else:
        told |= {
            "place.face": best.side,
            "place.over": "over the fire" if best.over_fire else "next face, high",
            "place.kind": best.kind,
            "place.ladder_told": "no" if best.condition else "yes",
            "place.kerf_ft": round(sum(cut.length_m for cut in best.cuts) / 0.3048, 1),
        }
        if best.size_ft:
            told["place.size"] = f"{best.size_ft[0]:g} by {best.size_ft[1]:g}"
        if answer.second is not None:
            told["place.second"] = answer.second.side
    limits = limits_of(situation, answer)
    return found | {name: Computed(value, SOURCE, limits) for name, value in told.items()}


def _why_not(answer: Answer) -> str:
    codes = {
        "way off" if one.code == "ways" else "obstacles" if one.code == "section" else one.code
        for one in answer.rejections
    }
    for code in ("way off", "no room", "obstacles", "windward"):
        if code in codes:
            return code
    return WHY_NOT[2]


def limits_of(situation: Situation, answer: Answer) -> str:
    """What the solver did not see, in one sentence or two."""
    untold = [
        fact(name).called
        for name in ("roof.skylight", "attic.knee_wall", "attic.party_wall", "roof.load")
        if name not in situation.values
    ]
    parts = ["the roof as told, a rectangle measured eave to eave; chimneys and vents are not in it"]
    if untold:
        parts.append(f"not told and not kept clear of: {', '.join(untold)}")
    if answer.best is not None and answer.best.condition:
        parts.append(answer.best.condition)
    return "; ".join(parts)


def _frozen(value: Any) -> Any:
    if isinstance(value, list):
        return ("list", *(_frozen(one) for one in value))
    if isinstance(value, Mapping):
        return ("map", *((name, _frozen(one)) for name, one in sorted(value.items())))
    return value


def _thawed(value: Any) -> Any:
    if isinstance(value, tuple):
        head, *rest = value
        return [_thawed(one) for one in rest] if head == "list" else {name: _thawed(one) for name, one in rest}
    return value
