"""What a fact is: its name, values, unit and marks; and the places that facts speak of.

Marks
-----
settled     belongs to the building and does not change: a second value raises a question, and meanwhile the worse
            value counts (`worse`: from best to worst; without an order the fact counts as unknown while in question).
moving      a new value replaces the old one.
only_worse  a later better value never replaces a worse one, unless the line says "correction".
loosening   the values that can lower access, gate or a leave. Spoken, they wait for a confirmation; they are also the
            only ones that go stale, so that time never takes a danger away.
lasting     loosening values that can also be a danger: neither time, "cannot tell" nor a change of crew removes them.
ages_to     (value, later): a value that goes stale, or of which nobody can tell any more, turns into another one
            instead of into unknown.
placing     any value can move the place of an opening; spoken, it is confirmed when the gate hangs on it.
not_over    (new, old): the new value does not replace the old one without "correction".
worse_end   the worse of two numbers is the higher one; without it two numbers leave the fact unknown while in question.
stale_s     seconds after which a loosening value counts as unknown; none for settled facts. The lengths are
            settings of ours: common practice, no source.
section     may belong to a section of the house other than the main roof: `roof.framing@garage`.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict

SIDES = ("A", "B", "C", "D")
CORNERS = ("AB", "BC", "CD", "DA")
ROOF_PLACES = (*SIDES, "ridge", "eave", "valley", "hip", "unsaid")
OBSTACLE_PLACES = (*SIDES, *CORNERS, "ridge", "eave", "valley", "hip", "everywhere", "unsaid")
LADDER_PLACES = (*SIDES, *CORNERS, "unsaid")
FIRE_PLACES = (
    "attic",
    "knee_wall",
    "cockloft",
    "top_floor",
    "lower_floor",
    "basement",
    "walls",
    "garage",
    "eaves",
    "chimney",
    "outside",
)
VENTS = ("ridge", "roof_vent", "gable", "eave", "chimney", "window", "door", "deck", "opening", "any")
SECTIONS = ("garage", "addition", "porch", "dormer", "neighbour_B", "neighbour_D")
COMPASS = ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest")
BASES = ("seen", "struck", "inspection cut", "preplan", "told", "guess")

Kind = Literal["choice", "number", "years", "places", "ladders", "air"]


class Fact(BaseModel):
    """One fact. `low` and `high` bound a number in `unit`; `group` and `place` split a family name."""

    model_config = ConfigDict(frozen=True)

    name: str
    called: str
    about: str
    kind: Kind = "choice"
    values: tuple[str, ...] = ()
    unit: str = ""
    low: float | None = None
    high: float | None = None
    settled: bool = False
    only_worse: bool = False
    worse: tuple[str, ...] = ()
    loosening: tuple[str, ...] | Literal["any"] = ()
    lasting: tuple[str | int, ...] | Literal["any"] = ()
    ages_to: tuple[tuple[str, str], ...] = ()
    placing: bool = False
    not_over: tuple[tuple[str, str], ...] = ()
    worse_end: Literal["high", ""] = ""
    stale_s: float | None = None
    section: bool = False
    group: str = ""
    place: str = ""

    def is_loosening(self, value: object) -> bool:
        """Whether `value` may lower access, gate or a leave in some picture."""
        if self.loosening == "any":
            return True
        if self.kind == "places":
            return ("none" if value == "none" else "some") in self.loosening
        if self.kind == "air":
            return not (isinstance(value, dict) and value.get("low") == "yes")
        return value in self.loosening

    def lasts(self, value: object) -> bool:
        """Whether only another telling takes `value` away: it may be a danger."""
        if not self.is_loosening(value):
            return True
        if self.kind == "places":
            return value != "none" and "some" in self.lasting
        return self.lasting == "any" or value in self.lasting or value in dict(self.ages_to)


YES_NO = ("yes", "no")
MINUTE = 60.0
