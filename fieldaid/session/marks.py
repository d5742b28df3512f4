"""The marks of the job with their times, read off the tellings: up, first cut, open, ceiling, relief, off, roll call.

A mark is nothing of its own: it is the first time that a fact was told with that value, after it was something else.
So a mark changes what the fact changes, waits for a confirmation where the fact does, and goes when the line is
scratched. Times are said as minutes ago and never allow anything [invariant 4].
Sources: benchmarks of the roof crew [S37], its calls [R16], the order of the skill sheet [D07].
"""

from __future__ import annotations

from typing import NamedTuple

from fieldaid.facts import Picture, split_section
from fieldaid.session.wording import joined

_CALLED: dict[tuple[str, str], str] = {
    ("crew.where", "roof"): "up",
    ("crew.where", "ground"): "off the roof",
    ("water.on_fire", "yes"): "water on the fire",
    ("water.on_fire", "no"): "water off the fire",
    ("line.attack", "lost"): "line lost",
    ("opening.made", "inspection"): "inspection cut",
    ("opening.made", "part"): "first cut",
    ("opening.made", "full"): "open",
    ("opening.ceiling", "pushed"): "ceiling pushed",
    ("tried.bay", "done"): "another bay",
    ("tried.size", "done"): "hole larger",
    ("tried.inlet", "done"): "inlet open",
    ("interior.relief", "better"): "relief",
    ("interior.relief", "no change"): "no relief",
    ("interior.relief", "worse"): "worse inside",
    ("command.roof", "come off"): "ordered off",
    ("crew.missing", "yes"): "member missing",
    ("crew.missing", "no"): "all accounted for",
}


NEW_JOB = "new job"


class Mark(NamedTuple):
    """What happened, when it was told [s], and whether it was told as an exercise."""

    called: str
    at: float
    exercise: bool = False


def marks(picture: Picture) -> list[Mark]:
    """The marks of the picture in the order in which they were told."""
    found: list[Mark] = []
    before: dict[str, object] = {}
    for one in picture.tellings:
        if one.n in picture.cancelled or one.act not in ("tell", "correct", "withdraw", "expire", "new job"):
            continue
        if one.act == "new job":
            before = {}
            found.append(Mark(NEW_JOB, one.at))
            continue
        if one.act == "expire":
            before = {name: value for name, value in before.items() if not name.startswith(one.name)}
            if one.name == "crew.":
                found.append(Mark("crew change", one.at))
            continue
        was, before[one.name] = before.get(one.name), one.value
        called = _called(one.name, one.value, was)
        if called:
            found.append(Mark(called, one.at, one.exercise))
    return found


def _called(name: str, value: object, was: object) -> str:
    if name == "crew.par" and value is not None:
        return f"roll call {value:g}" if isinstance(value, float) else f"roll call {value}"
    base, section = split_section(name)
    known = _CALLED.get((base, value)) if isinstance(value, str) else None
    retold = value == was and name != "interior.relief"
    if known is None or retold or (name == "crew.where" and value == "ground" and was != "roof"):
        return ""
    return f"{known} {section.replace('_', ' ')}".strip()


def marks_lines(picture: Picture, at: float) -> list[str]:
    """The marks of this job as short lines, each with the minutes since it was told."""
    told: list[Mark] = []
    for one in marks(picture):
        told = [] if one.called == NEW_JOB else [*told, one]
    if not told:
        return ["No marks told yet."]
    words = [f"{'exercise ' if one.exercise else ''}{one.called} {max(0, int((at - one.at) // 60))}" for one in told]
    return [f"{line}." for line in joined([f"Minutes ago: {words[0]}", *words[1:]])]
