"""Reports drafted for a person to send: to command, of the roof, an urgent call, a handover, the form for a mayday.

Nothing here transmits, and every draft says so. What was not told is said as not told.
Sources: conditions, actions, needs [R03]; location, unit, name, assignment and air, resources [R09]; roof design,
condition, fire on the roof, fire walls, loads, plan [S32]; what is sent at once [R17]; a count is a unit and a number
of members seen [S20].
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from fieldaid.guidance.guide import Conclusions
from fieldaid.guidance.outcome import Line
from fieldaid.session.conclusion_lines import access_text, gate_text, needs
from fieldaid.session.judging import Judged
from fieldaid.session.replies import Reply
from fieldaid.session.wording import labelled

NOT_TOLD = "not told"
Phrase = Callable[[str, Any, str], str]
_CREW = ("crew.count", "crew.where", "crew.masks", "crew.air", "crew.par", "crew.missing", "crew.hurt")
_ROOF = ("roof.form", "roof.ridge_runs", "roof.framing", "roof.deck", "roof.cover", "roof.surface")
_FIRE = ("fire.", "smoke.", "camera.")
_HOLE = ("opening.", "interior.relief", "tried.")
_WATER = ("water.", "line.", "interior.crew", "interior.searching", "interior.calls", "interior.answers", "fan.")
_WANTED: tuple[tuple[str, tuple[Any, ...], str], ...] = (
    ("crew.hurt", ("yes",), "help for a member hurt"),
    ("water.on_fire", ("no",), "water on the fire"),
    ("line.attack", ("lost",), "another attack line"),
    ("interior.relief", ("no change", "worse"), "line status from interior"),
    ("interior.answers", ("none",), "an answer from interior"),
    ("saw.state", ("failed", "both failed"), "another saw"),
)


def conditions_actions_needs(judged: Judged, phrase: Phrase) -> list[Reply]:
    """The roof crew's report to command: where and how many, conditions, actions, needs, what is not told."""
    return _draft("report", [
        *labelled("Roof crew", _crew(judged, phrase)),
        *labelled("Conditions", _told(judged, phrase, (*_FIRE, "deck.", "opening.shows", "interior.relief")), NOT_TOLD),
        *labelled("Actions", _told(judged, phrase, ("opening.made", "opening.ceiling", "tried.")), NOT_TOLD),
        access_text(judged.main),
        *labelled("Needs", _wanted(judged), "none named"),
        *labelled("Not told", needs(judged.main)[:3]),
    ], judged.main.access_rules)


def roof_report(judged: Judged, phrase: Phrase) -> list[Reply]:
    """Roof, deck, fire on it, fire walls and loads, plan, crew [S32]."""
    walls = _told(judged, phrase, ("attic.party_wall",)) or ["party wall not told"]
    loads = _told(judged, phrase, ("roof.load", "roof.solar", "roof.wires")) or ["loads not told"]
    ladders = _told(judged, phrase, ("crew.ladders", "crew.ways_off")) or ["ways off not told"]
    return _draft("roof report", [
        *labelled("Roof", _told(judged, phrase, _ROOF), NOT_TOLD),
        *labelled("Deck", _told(judged, phrase, ("deck.",), "deck "), NOT_TOLD),
        *labelled("Fire", _told(judged, phrase, _FIRE), NOT_TOLD),
        *labelled("Also", [*walls, *loads, *ladders]),
        *labelled("Opening", _told(judged, phrase, _HOLE, "opening "), NOT_TOLD),
        access_text(judged.main),
        gate_text(judged.main),
        *labelled("Roof crew", _crew(judged, phrase)),
    ], judged.main.access_rules)


def urgent_call(judged: Judged, phrase: Phrase) -> list[Reply]:
    """What is sent at once: the dangers, the side, the crew, what is needed."""
    dangers = _dangers(judged)
    if not dangers:
        return [Reply("note", "No danger told to call. You decide.")]
    return _draft("urgent call", [
        *labelled("Urgent, roof", dangers),
        *labelled("Where", _told(judged, phrase, ("fire.side", "crew.where")), NOT_TOLD),
        access_text(judged.main),
        *labelled("Roof crew", _crew(judged, phrase)),
        *labelled("Needs", _wanted(judged)),
    ], judged.main.access_rules)


def handover(judged: Judged, phrase: Phrase, waiting: Sequence[str], marks: Sequence[str]) -> list[Reply]:
    """For the next crew: what stands, what is told, what is in doubt, what is not told, and the marks."""
    doubtful = [f"{phrase(name, one.value, '')}, old" for name, one in judged.known.items()
                if one.stale and one.value is not None]
    doubtful += [phrase(name, one.contested[0], "") for name, one in judged.known.items() if one.contested]
    return _draft("handover", [
        *labelled("Stands", _dangers(judged), "no danger told"),
        access_text(judged.main),
        gate_text(judged.main),
        *labelled("Roof", _told(judged, phrase, _ROOF), NOT_TOLD),
        *labelled("Deck", _told(judged, phrase, ("deck.",), "deck "), NOT_TOLD),
        *labelled("Fire", _told(judged, phrase, _FIRE), NOT_TOLD),
        *labelled("Water and interior", _told(judged, phrase, _WATER), NOT_TOLD),
        *labelled("Opening", _told(judged, phrase, _HOLE, "opening "), NOT_TOLD),
        *labelled("Ways off", _told(judged, phrase, ("crew.ladders", "crew.ways_off")), NOT_TOLD),
        *labelled("Crew now", _crew(judged, phrase)),
        *labelled("In doubt", doubtful),
        *labelled("Waits for affirm", waiting),
        *labelled("Not told", needs(judged.main)),
        *marks,
        "After the change say: crew change.",
    ], judged.main.access_rules)


def mayday_form(known: Mapping[str, Any]) -> list[Reply]:
    """The five parts of a mayday call with what is known of each."""
    where = known.get("crew.where")
    place = where.value if where is not None and where.counts else NOT_TOLD
    side = known.get("fire.side")
    fire = f", fire {side.value}" if side is not None and side.counts else ""
    air = known.get("crew.air")
    left = NOT_TOLD
    if air is not None and air.counts:
        (kind, value), = air.value.items()
        left = "low" if (kind, value) == ("low", "yes") else _air(kind, value)
    return [
        Reply("note", "Draft mayday, not sent. You call it."),
        Reply("note", f"Location: {place}{fire}. Unit: not told. Name: not told."),
        Reply("note", f"Assignment: roof. Air: {left}. Resources: not told."),
    ]


def _draft(kind: str, lines: list[str], rules: tuple[str, ...]) -> list[Reply]:
    return [Reply("note", f"Draft {kind}, not sent. You send it."),
            *(Reply("note", line, rules) for line in lines if line)]


def _told(judged: Judged, phrase: Phrase, starts: tuple[str, ...], less: str = "") -> list[str]:
    """The facts whose names begin so, in words: what counts, with how it is known. `less` is what the label says."""
    return [phrase(name, one.value, one.basis).removeprefix(less) for name, one in judged.known.items()
            if one.counts and name.startswith(starts)]


def _crew(judged: Judged, phrase: Phrase) -> list[str]:
    told = _told(judged, phrase, _CREW, "crew ")
    counts = {name for name, one in judged.known.items() if one.counts}
    told += [f"{word} {NOT_TOLD}" for name, word in (("crew.count", "count"), ("crew.where", "place"))
             if name not in counts]
    return told if counts & {"crew.par", "crew.missing"} else [*told, f"roll call {NOT_TOLD}"]


def _dangers(judged: Judged) -> list[str]:
    """What stands against the roof, in the words of the rules, each section's too; nothing twice."""
    standing = _standing(judged.main)
    shared = {line.key for line in standing}
    lines = [line.text for line in standing]
    lines += [f"{name.replace('_', ' ')} {line.text[:1].lower()}{line.text[1:]}"
              for name, found in judged.sections.items() for line in _standing(found) if line.key not in shared]
    said: list[str] = []
    for line in (line.rstrip(".") for line in lines):
        if not any(line.lower() in one.lower() for one in said):
            said.append(line)
    return said


def _standing(found: Conclusions) -> list[Line]:
    """The dangers of one part of the roof; where there is none to leave for, the hazards or the order that bar it."""
    bars: list[Line] = []
    if not found.triggers and found.access_reason in ("hazard", "ordered"):
        bars = [line for line in found.access_says if line.need is None]    # what is not told is no danger
    return [*found.triggers, *bars, *found.stops]


def _wanted(judged: Judged) -> list[str]:
    """What the facts ask others for; a missing second way off is one of them."""
    known = judged.known
    wants = [words for name, values, words in _WANTED
             if name in known and known[name].counts and known[name].value in values]
    ways = judged.main.computed.get("ways.usable")
    if ways is not None and getattr(ways, "value", ways) < 2:
        wants.append("another ladder")
    return wants


def _air(kind: str, value: Any) -> str:
    return f"{round(value * 100)} percent" if kind == "fraction" else f"{value:g} minutes" if kind == "minutes" else (
        "not low")


REPORTS: Mapping[str, Callable[[Judged, Phrase], list[Reply]]] = {
    "report": conditions_actions_needs, "roof report": roof_report, "urgent call": urgent_call}
