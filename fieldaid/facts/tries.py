"""What follows from the order of what was told: tries for relief, and a roll call that comes out short.

"Ceiling pushed", told while the inside reports no change, is a try; "no change", told after it, says that the try
brought none. No line says both, so the picture adds it up here. A ceiling that was pushed, or a door that was opened,
before anyone missed relief is no try. There is one crew and one word from inside, so an act in the opening of a
section counts like one in that of the main roof, and a hole that is open in a second place is the try of another bay
[G21]. In the same way a roll call of fewer than the crew told before means a member missing, at once [S21]; a full
count never says that nobody is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldaid.facts.fact import SIDES

TRIES = ("ceiling", "bay", "size", "inlet")
NO_RELIEF = ("no change", "worse")
_ACTS: Mapping[tuple[str, Any], str] = {
    ("opening.ceiling", "pushed"): "ceiling",
    **{(f"{what}.{side}", "open"): "inlet" for what in ("door", "window") for side in SIDES},
}


def implied(name: str, value: Any, before: Mapping[str, Any]) -> dict[str, str]:
    """What telling `name` as `value` adds, by fact name; `before` are the values until then.

    >>> implied("opening.ceiling", "pushed", {"interior.relief": "no change"})
    {'tried.ceiling': 'done'}
    >>> implied("opening.ceiling@garage", "pushed", {"interior.relief": "no change"})
    {'tried.ceiling': 'done'}
    >>> implied("interior.relief", "no change", {"tried.ceiling": "done"})
    {'tried.ceiling': 'no relief'}
    """
    if name == "interior.relief" and value in NO_RELIEF:
        return {f"tried.{one}": "no relief" for one in TRIES if before.get(f"tried.{one}") == "done"}
    if name == "crew.par":
        crew = before.get("crew.count")
        return {"crew.missing": "yes"} if isinstance(crew, int | float) and value < crew else {}
    act = _act(name, value, before) if isinstance(value, str) else None
    if act is None or before.get(name) == value or before.get("interior.relief") != "no change":
        return {}
    return {f"tried.{act}": "done"}


def _act(name: str, value: str, before: Mapping[str, Any]) -> str | None:
    """Which try it is to tell `name` as `value`, wherever it lies; None where it is none."""
    base = _base(name)
    if (base, value) == ("opening.made", "full"):
        return "bay" if any(known == "full" and other != name and _base(other) == base
                            for other, known in before.items()) else None
    act = _ACTS.get((base, value))
    # The ceiling under one hole has failed already: this is the one under another hole.
    return "bay" if act == "ceiling" and before.get("tried.ceiling") == "no relief" else act


def _base(name: str) -> str:
    """A fact's name without the section that it may belong to."""
    return name.partition("@")[0]
