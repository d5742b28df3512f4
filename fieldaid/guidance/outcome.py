"""What an evaluation concludes, as plain data that can be compared.

An `Outcome` is what one channel says. A `Line` is something that may be said aloud.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, Literal

LineKind = Literal["trigger", "stop", "caution", "advice", "access", "gate"]
WhenSaid = Literal["at once", "unless barred", "when asked"]
"""Of itself as soon as it stands; not before a hazard or an order that bars the roof is gone; not of itself."""


@dataclass(frozen=True, slots=True)
class Firing:
    """One rule that fired. `where` is the place a family condition matched at ("" without one); `value` is the value
    of that condition, or of the rule's first one."""

    rule: str
    where: str = ""
    value: str | float | int | None = None

    @property
    def key(self) -> str:
        """Rule id and binding: the same danger at the same place has the same key."""
        return f"{self.rule}:{self.where}" if self.where else self.rule


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one channel concludes. Firings are in pack order, names are sorted, `missing` is in the order of need."""

    access: str
    access_reason: str | None
    access_rules: tuple[str, ...]
    gate: str
    gate_rules: tuple[str, ...]
    triggers: tuple[str, ...] = ()
    stops: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()
    place: str | None = None
    kind: str | None = None
    size_ft: tuple[float, float] | None = None
    opening_rules: tuple[str, ...] = ()
    derived: tuple[tuple[str, str], ...] = ()
    missing: tuple[str, ...] = ()
    firings: tuple[Firing, ...] = ()

    def differences(self, other: Outcome) -> tuple[str, ...]:
        """The names of the fields in which two outcomes differ."""
        return tuple(one.name for one in fields(self) if getattr(self, one.name) != getattr(other, one.name))

    def to_data(self) -> dict[str, Any]:
        """The outcome as JSON data."""
        data = {one.name: getattr(self, one.name) for one in fields(self)}
        data["firings"] = [[one.rule, one.where, one.value] for one in self.firings]
        return data

    @classmethod
    def from_data(cls, data: dict[str, Any]) -> Outcome:
        """The outcome that `to_data` wrote. Raises TypeError, KeyError or ValueError when it is not one."""
        told = dict(data)
        for name in ("access_rules", "gate_rules", "triggers", "stops", "cautions", "advice", "opening_rules",
                     "missing"):
            told[name] = _texts(told[name])
        told["derived"] = tuple((name, value) for name, value in map(_texts, told["derived"]))
        told["firings"] = tuple(Firing(*_texts((rule, where)), value) for rule, where, value in told["firings"])
        if told["size_ft"] is not None:
            width, length = told["size_ft"]
            told["size_ft"] = (float(width), float(length))
        return cls(**told)


def _texts(items: Any) -> tuple[str, ...]:
    found = tuple(items)
    if not all(isinstance(one, str) for one in found):
        raise TypeError(f"not all texts: {found!r}")
    return found


@dataclass(frozen=True, slots=True)
class Line:
    """Something that may be said. Sides stay letters ("Soft deck, C."); the speaking room turns them into words.

    kind: trigger, stop, caution, advice are sentences; access and gate are fragments that follow "Stay off:" or
    "Hold cut:". `key` is the rule id and its binding, so that each can be said once. `said`: when it is heard.
    `about`: the facts and names that the rule looks at; a line that looks at no others has the same cause.
    `need`: the fact for want of which alone it stands.
    """

    kind: LineKind
    text: str
    rules: tuple[str, ...]
    key: str
    said: WhenSaid = "at once"
    about: frozenset[str] = frozenset()
    need: str | None = None
