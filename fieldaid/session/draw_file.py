"""A situation to draw, read from a YAML file: its title, its facts, and what is known of its plan.

title: Hip with panels
facts:                              # as in the situations of a rule
  roof.form: hip
  crew.ladders: [{place: BC}, {place: DA, kind: aerial}]
plan:                               # optional; feet, from the corner of sides A and B, to the right and up
  wings: [{side: C, length: 14, width: 16, from: 20}]
  low_side: A                       # of a shed
  obstacles: [{kind: array, at: [6, 16], size: [14, 7], name: panels}]
  ladders: [{name: BC ladder, at: [0, 28]}]
  fire: [30, 20]
  mode: inspection
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

import yaml

from fieldaid.errors import FieldaidError
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import SIDES, fact

_NUMBER = re.compile(r"-?\d+(\.\d+)?")
_PLAN_KEYS = ("wings", "low_side", "obstacles", "ladders", "fire", "mode")
LONGEST = 100_000


@dataclass(frozen=True)
class DrawFile:
    """What a file says. `plan` is empty where it has none."""

    title: str
    situation: Situation
    plan: Mapping[str, Any]
    where: str


def read(path: Path) -> DrawFile:
    """The situation of a file.

    Raises
    ------
    FieldaidError : the file cannot be read, is no YAML, or has a key or value that is not known
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise FieldaidError(
            "the situation cannot be read",
            where=str(path),
            why=getattr(error, "strerror", "") or str(error),
            next_step="name a YAML file",
        ) from error
    if len(text) > LONGEST:
        raise _wrong(path, "the file is too long", f"a situation has at most {LONGEST} characters")
    try:
        # Every scalar stays text, so that yes and no are words here as they are everywhere.
        found = yaml.load(text, Loader=yaml.BaseLoader)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        where = f"{path}:{mark.line + 1}:{mark.column + 1}" if mark else str(path)
        raise FieldaidError(
            "the file is no YAML", where=where, why=str(getattr(error, "problem", error)), next_step="mend that line"
        ) from error
    if not isinstance(found, dict) or not isinstance(found.get("facts"), dict):
        raise _wrong(path, "the file has no facts", "write facts: and under it a line for each fact")
    unknown = [name for name in found if name not in ("title", "facts", "plan")]
    if unknown:
        raise _wrong(path, f"the file has no use for the key {unknown[0]}", "use title, facts and plan")
    plan = found.get("plan") or {}
    if not isinstance(plan, dict):
        raise _wrong(path, "plan must be a mapping", f"its keys are {', '.join(_PLAN_KEYS)}")
    for name in plan:
        if name not in _PLAN_KEYS:
            raise _wrong(path, f"plan has no key {name}", f"its keys are {', '.join(_PLAN_KEYS)}")
    try:
        situation = Situation.of({name: _value(name, value) for name, value in found["facts"].items()})
    except FieldaidError as error:
        raise FieldaidError(error.what, where=str(path), why=error.why, next_step=error.next_step) from error
    return DrawFile(str(found.get("title", "")), situation, plan, str(path))


def _value(name: str, value: Any) -> Any:
    """A text as the number that its fact wants."""
    if fact(name).kind in ("number", "years") and isinstance(value, str) and _NUMBER.fullmatch(value):
        number = float(value)
        return int(number) if number.is_integer() else number
    if fact(name).kind == "air" and isinstance(value, dict):
        return {key: float(one) if _NUMBER.fullmatch(str(one)) else one for key, one in value.items()}
    return value


def _wrong(where: Path | str, what: str, next_step: str) -> FieldaidError:
    return FieldaidError(what, where=str(where), next_step=next_step)


def asked(file: DrawFile) -> tuple[Any, Any] | None:
    """The question and the answer of a file with a plan; None for one without.

    Raises
    ------
    FieldaidError : the plan does not make a roof, lacks what it needs, or has a value that is not known
    """
    if not file.plan:
        return None
    from fieldaid.workings.placement import place
    from fieldaid.workings.placement_facts import NotTold

    try:
        question = _question(file)
    except NotTold as missing:
        raise FieldaidError(
            "the plan cannot be drawn", where=file.where, why=str(missing), next_step="tell it among the facts"
        ) from missing
    return question, place(question)


def _question(file: DrawFile) -> Any:
    from shapely.geometry import Point

    from fieldaid.workings import placement_facts as told_facts
    from fieldaid.workings.placement_model import Question
    from fieldaid.workings.roof_model import FOOT

    told, plan = file.situation.values, file.plan
    roof = _roof(file)
    told_facts.need({"fire.side": told.get("fire.side")})
    ladders = _ladders(file) if "ladders" in plan else told_facts.ways_of(roof, told.get("crew.ladders") or [], told)
    fire = told["fire.side"]
    part = told_facts.fire_part(roof, fire)
    if "fire" in plan:
        x, y = _pair(file, plan["fire"], "fire")
        part = Point(x * FOOT, y * FOOT).buffer(4 * FOOT).intersection(roof.footprint)
        if part.is_empty:
            raise _wrong(file.where, "the fire lies outside the house", "give feet from the corner of sides A and B")
    obstacles = _obstacles(file, roof)
    drawn = {one.kind for one in obstacles}
    outlined = {"array": "roof.solar", "wires": "roof.wires"}
    left = {name: value for name, value in told.items() if name not in [outlined.get(kind) for kind in drawn]}
    mode = plan.get("mode", "full")
    if mode not in ("full", "inspection"):
        raise _wrong(file.where, f"mode cannot be {mode}", "use full or inspection")
    return Question(
        roof=roof,
        wind=told_facts.wind_of(told),
        fire=part,
        fire_sides="" if fire == "centre" else fire,
        ways=ladders,
        obstacles=obstacles,
        refused=told_facts.refused_sides(left),
        framing=told.get("roof.framing"),
        deck=told.get("roof.deck"),
        ceiling=told.get("ceiling.kind"),
        crew=told.get("crew.count"),
        mode=mode,
    )


def _roof(file: DrawFile) -> Any:
    from fieldaid.workings import placement_facts as told_facts
    from fieldaid.workings.roof import build
    from fieldaid.workings.roof_model import FOOT, INCH
    from fieldaid.workings.roof_wings import Wing

    told, plan = file.situation.values, file.plan
    if "wings" not in plan and "low_side" not in plan:
        return told_facts.roof_of(told)
    told_facts.need(
        {
            name: told.get(name)
            for name in ("roof.form", "roof.length_ft", "roof.width_ft", "roof.pitch", "roof.spacing_in")
        }
    )
    wings = tuple(
        Wing(
            side=_side(file, one, "side"),
            length_m=_feet(file, one, "length"),
            width_m=_feet(file, one, "width"),
            start_m=_feet(file, one, "from"),
        )
        for one in _rows(file, "wings", ("side", "length", "width", "from"))
    )
    return build(
        told["roof.form"],
        told["roof.length_ft"] * FOOT,
        told["roof.width_ft"] * FOOT,
        told["roof.pitch"] / 12,
        ridge_runs=told.get("roof.ridge_runs", "B-D"),
        spacing_m=told["roof.spacing_in"] * INCH,
        wings=wings,
        overhang_m=0.0,
        low_side=_side(file, plan, "low_side") if "low_side" in plan else None,
        framing="trusses" if told.get("roof.framing") in ("trusses", "lightweight") else "rafters",
    )


def _obstacles(file: DrawFile, roof: Any) -> tuple[Any, ...]:
    from shapely.geometry import Polygon, box

    from fieldaid.workings.placement_model import Obstacle, ObstacleKind
    from fieldaid.workings.roof_model import FOOT

    found = []
    for one in _rows(file, "obstacles", ("kind", "at", "size", "name")):
        if one.get("kind") not in get_args(ObstacleKind):
            raise _wrong(
                file.where, f"no obstacle is called {one.get('kind')}", f"use {', '.join(get_args(ObstacleKind))}"
            )
        x, y = _pair(file, one.get("at"), "at")
        wide, high = _pair(file, one.get("size"), "size")
        shape = box(x * FOOT, y * FOOT, (x + wide) * FOOT, (y + high) * FOOT).intersection(roof.outline)
        if not isinstance(shape, Polygon) or shape.is_empty or shape.area == 0:
            raise _wrong(file.where, f"the {one['kind']} lies outside the roof", "give feet from the corner of A and B")
        found.append(Obstacle(one["kind"], shape, one.get("name", one["kind"])))
    return tuple(found)


def _ladders(file: DrawFile) -> tuple[Any, ...]:
    from shapely.geometry import Point

    from fieldaid.workings.placement_model import WayOff
    from fieldaid.workings.roof_model import FOOT

    roof = _roof(file)
    found = []
    for one in _rows(file, "ladders", ("name", "at", "kind", "usable")):
        x, y = _pair(file, one.get("at"), "at")
        edge = roof.outline.exterior
        spot = Point(x * FOOT, y * FOOT)
        if edge.distance(spot) > 3 * FOOT:
            raise _wrong(
                file.where,
                f"the ladder {one.get('name', '')} is {edge.distance(spot) / FOOT:.0f} ft off the edge",
                "give a place on the roof's edge",
            )
        on = edge.interpolate(edge.project(spot))
        kind = one.get("kind", "ground")
        if kind not in ("ground", "aerial", "roof"):
            raise _wrong(file.where, f"no ladder is called {kind}", "use ground, aerial or roof")
        found.append(
            WayOff(one.get("name", "ladder"), ((on.x, on.y), (on.x, on.y)), kind, one.get("usable", "yes") != "no")
        )
    return tuple(found)


def _rows(file: DrawFile, name: str, keys: Sequence[str]) -> list[Mapping[str, Any]]:
    rows = file.plan.get(name, [])
    if not isinstance(rows, list) or not all(isinstance(one, dict) for one in rows) or len(rows) > 50:
        raise _wrong(file.where, f"{name} must be a list of at most 50 mappings", f"their keys are {', '.join(keys)}")
    for one in rows:
        for key in one:
            if key not in keys:
                raise _wrong(file.where, f"{name} has no key {key}", f"its keys are {', '.join(keys)}")
    return rows


def _pair(file: DrawFile, value: Any, name: str) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2 or not all(_NUMBER.fullmatch(str(one)) for one in value):
        raise _wrong(file.where, f"{name} must be two numbers of feet", f"such as {name}: [6, 16]")
    return float(value[0]), float(value[1])


def _feet(file: DrawFile, one: Mapping[str, Any], name: str) -> float:
    from fieldaid.workings.roof_model import FOOT

    value = one.get(name, "")
    if not _NUMBER.fullmatch(str(value)):
        raise _wrong(file.where, f"{name} must be a number of feet", f"such as {name}: 14")
    return float(value) * FOOT


def _side(file: DrawFile, one: Mapping[str, Any], name: str) -> str:
    if one.get(name) not in SIDES:
        raise _wrong(file.where, f"{name} must be a side", "use A, B, C or D")
    return one[name]
