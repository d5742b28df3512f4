"""Every fact that can be told: its name, values, unit and marks. The one source for packs, grammar and journal.

Marks
-----
settled     belongs to the building and does not change: a second value raises a question, and meanwhile the worse
            value counts (`worse`: from best to worst; without an order the fact counts as unknown while in question).
moving      a new value replaces the old one.
only_worse  a later better value never replaces a worse one, unless the line says "correction".
loosening   the values that can lower access, gate or a leave. Spoken, they wait for a confirmation; they are also the
            only ones that go stale, so that time never takes a danger away.
lasting     loosening values that can also be a danger: neither time, "cannot tell" nor a change of crew takes them away.
ages_to     (value, later): a value that goes stale turns into another one instead of into unknown.
placing     any value can move the place of an opening; spoken, it is confirmed when the gate hangs on it.
not_over    (new, old): the new value does not replace the old one without "correction".
worse_end   the worse of two numbers is the higher one; without it two numbers leave the fact unknown while in question.
stale_s     seconds after which a loosening value counts as unknown; none for settled facts. The lengths are
            settings of ours: common practice, no source.
section     may belong to a section of the house other than the main roof: `roof.framing@garage`.
"""

from __future__ import annotations

import difflib
from typing import Literal

from pydantic import BaseModel, ConfigDict

from fieldaid.errors import FactError

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
    """One fact of the vocabulary. `low` and `high` bound a number in `unit`; `group` and `place` split a family name."""

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
_BUILDING = dict(settled=True)
_ROOF = dict(settled=True, section=True)


def _plain() -> list[Fact]:
    """The facts that are not families."""
    f = Fact
    return [
        f(
            name="job.kind",
            called="job",
            about="what the roof work is for",
            values=("room", "attic", "chimney", "smoke removal", "overhaul", "drill"),
        ),
        f(
            name="building.built",
            called="year built",
            about="year, or a range of years such as 1950-1959",
            kind="years",
            unit="year",
            low=1700,
            high=2100,
            **_BUILDING,
        ),
        f(
            name="building.stories",
            called="stories",
            about="stories at the address side",
            kind="number",
            low=1,
            high=6,
            unit="stories",
            **_BUILDING,
        ),
        f(
            name="building.stories_rear",
            called="stories at the rear",
            about="stories at the rear",
            kind="number",
            low=1,
            high=6,
            unit="stories",
            **_BUILDING,
        ),
        f(
            name="building.use",
            called="building use",
            about="what the building is",
            values=("house", "duplex", "apartment", "row", "manufactured", "barn", "store"),
            worse=("house", "duplex", "row", "apartment", "barn", "store", "manufactured"),
            **_BUILDING,
        ),
        f(
            name="building.garage",
            called="garage",
            about="where the garage is",
            values=("none", "detached", "attached", "under rooms"),
            worse=("none", "detached", "attached", "under rooms"),
            **_BUILDING,
        ),
        f(
            name="building.frame",
            called="wall frame",
            about="how the walls are framed",
            values=("balloon", "platform", "masonry"),
            worse=("masonry", "platform", "balloon"),
            **_BUILDING,
        ),
        f(
            name="building.additions",
            called="additions",
            about="none, or where the house was added to",
            values=("none", *SIDES, *CORNERS, "unsaid"),
            **_BUILDING,
        ),
        f(
            name="building.condition",
            called="condition",
            about="what weakens the building",
            values=("renovation", "vacant", "rot", "prior fire"),
            worse=("renovation", "vacant", "rot", "prior fire"),
            **_BUILDING,
        ),
        f(
            name="roof.form",
            called="roof form",
            about="the shape of the roof",
            values=(
                "gable",
                "hip",
                "cross-gable",
                "dutch gable",
                "clipped gable",
                "gambrel",
                "mansard",
                "shed",
                "saltbox",
                "flat",
                "pyramid",
                "arched",
                "a-frame",
                "mixed",
            ),
            worse=(),
            placing=True,
            **_ROOF,
        ),
        f(
            name="roof.framing",
            called="framing",
            about="what carries the deck",
            values=(
                "rafters",
                "trusses",
                "i-joists",
                "lightweight",
                "bowstring",
                "plank and beam",
                "sandwich panel",
                "steel",
                "mixed",
            ),
            worse=(
                "rafters",
                "plank and beam",
                "steel",
                "mixed",
                "sandwich panel",
                "lightweight",
                "i-joists",
                "trusses",
                "bowstring",
            ),
            loosening=("rafters", "plank and beam"),
            **_ROOF,
        ),
        f(
            name="roof.deck",
            called="deck material",
            about="what the deck is made of",
            values=("plank", "spaced boards", "tongue and groove", "plywood", "osb", "metal", "concrete", "two decks"),
            worse=("plank", "tongue and groove", "plywood", "osb", "spaced boards", "concrete", "metal", "two decks"),
            **_ROOF,
        ),
        f(
            name="roof.layers",
            called="layers",
            about="layers of roof covering",
            kind="number",
            low=1,
            high=6,
            unit="layers",
            worse_end="high",
            **_ROOF,
        ),
        f(
            name="roof.cover",
            called="covering",
            about="the roof covering",
            values=("asphalt", "wood shake", "wood shingle", "tile", "slate", "metal", "built-up", "membrane"),
            worse=("asphalt", "built-up", "membrane", "wood shingle", "wood shake", "metal", "tile", "slate"),
            **_ROOF,
        ),
        f(
            name="roof.pitch",
            called="pitch",
            about="rise in 12 of run",
            kind="number",
            low=0,
            high=24,
            unit="in 12",
            worse_end="high",
            **_ROOF,
        ),
        f(
            name="roof.pitch_word",
            called="pitch",
            about="how the pitch looks; only ever a caution",
            values=("walkable", "steep"),
            worse=("walkable", "steep"),
            **_ROOF,
        ),
        f(
            name="roof.length_ft",
            called="roof length",
            about="length along the ridge",
            kind="number",
            low=4,
            high=400,
            unit="ft",
            **_ROOF,
        ),
        f(
            name="roof.width_ft",
            called="roof width",
            about="width across the ridge",
            kind="number",
            low=4,
            high=400,
            unit="ft",
            **_ROOF,
        ),
        f(
            name="roof.overhang_ft",
            called="overhang",
            about="overhang at the eave",
            kind="number",
            low=0,
            high=8,
            unit="ft",
            **_ROOF,
        ),
        f(
            name="roof.spacing_in",
            called="spacing",
            about="member spacing on centre",
            kind="number",
            low=6,
            high=96,
            unit="in",
            **_ROOF,
        ),
        f(
            name="roof.ridge_runs",
            called="ridge direction",
            about="the sides that the ridge runs between",
            values=("A-C", "B-D"),
            placing=True,
            **_ROOF,
        ),
        f(
            name="roof.solar",
            called="panels",
            about="none, or where the panels are",
            kind="places",
            values=OBSTACLE_PLACES,
            loosening=("none", "some"),
            lasting=("some",),
            **_ROOF,
        ),
        f(
            name="roof.skylight",
            called="skylights",
            about="none, or where they are",
            kind="places",
            values=OBSTACLE_PLACES,
            placing=True,
            **_ROOF,
        ),
        f(
            name="roof.wires",
            called="wires",
            about="none, or where wires are in reach",
            kind="places",
            values=OBSTACLE_PLACES,
            loosening=("none",),
            **_ROOF,
        ),
        f(
            name="roof.load",
            called="roof load",
            about="weight standing on the roof",
            values=("none", "machinery", "tank", "snow", "stacked material"),
            worse=("none", "stacked material", "machinery", "tank", "snow"),
            loosening=("none",),
            **_ROOF,
        ),
        f(
            name="roof.surface",
            called="surface",
            about="what is under the boots",
            values=("dry", "wet", "frost", "ice", "snow", "moss", "loose"),
            worse=("dry", "wet", "loose", "moss", "frost", "snow", "ice"),
            loosening=("dry", "wet", "moss", "loose"),
            lasting=("wet", "moss", "loose"),
            section=True,
            stale_s=30 * MINUTE,
        ),
        f(
            name="site.a_faces",
            called="side A facing",
            about="compass direction that side A faces",
            values=COMPASS,
            settled=True,
            placing=True,
        ),
        f(
            name="light",
            called="light",
            about="light on the roof",
            values=("day", "dusk", "night"),
            worse=("day", "dusk", "night"),
        ),
        f(
            name="weather.lightning",
            called="lightning",
            about="lightning near",
            values=YES_NO,
            loosening=("no",),
            stale_s=30 * MINUTE,
        ),
        f(
            name="wind.from",
            called="wind",
            about="where the wind comes from: compass point or side",
            values=(*COMPASS, *SIDES),
            placing=True,
            stale_s=15 * MINUTE,
        ),
        f(
            name="wind.mph",
            called="wind speed",
            about="steady wind",
            kind="number",
            low=0,
            high=120,
            unit="mph",
            placing=True,
            stale_s=15 * MINUTE,
        ),
        f(name="wind.gusts", called="gusts", about="gusting", values=YES_NO, worse=("no", "yes")),
        f(
            name="wind.shifting",
            called="shifting wind",
            about="the wind changes direction",
            values=YES_NO,
            loosening=("no",),
            worse=("no", "yes"),
            stale_s=15 * MINUTE,
        ),
        f(
            name="fire.side",
            called="fire side",
            about="the side, corner or centre the fire is at",
            values=(*SIDES, *CORNERS, "centre"),
            placing=True,
            section=True,
        ),
        f(
            name="fire.room",
            called="fire room",
            about="the room that burns",
            values=(
                "bedroom",
                "kitchen",
                "living room",
                "bathroom",
                "hall",
                "stair",
                "dining room",
                "laundry",
                "office",
            ),
        ),
        f(
            name="fire.signs",
            called="fire signs",
            about="signs of a fire short of air",
            values=("pulsing", "sucking in", "no flame"),
        ),
        f(
            name="fire.stage",
            called="fire stage",
            about="where the fire stands",
            values=("growing", "through the roof", "knocked down", "out"),
            section=True,
            worse=("out", "knocked down", "growing", "through the roof"),
            loosening=("growing", "knocked down"),
            stale_s=10 * MINUTE,
        ),
        f(
            name="fire.minutes",
            called="burn time",
            about="how long it has burned; never allows anything",
            kind="number",
            low=0,
            high=600,
            unit="min",
        ),
        f(
            name="attic.use",
            called="attic use",
            about="what the attic is",
            values=("open", "storage", "living"),
            worse=("open", "storage", "living"),
            settled=True,
            section=True,
        ),
        f(
            name="attic.knee_wall",
            called="knee wall",
            about="a knee-wall void",
            values=("yes", "suspected", "no"),
            worse=("no", "suspected", "yes"),
            settled=True,
            section=True,
            loosening=("no",),
        ),
        f(
            name="attic.vented",
            called="attic vents",
            about="whether the attic is vented",
            values=YES_NO,
            worse=("yes", "no"),
            settled=True,
            section=True,
        ),
        f(
            name="attic.party_wall",
            called="party wall",
            about="a wall through the attic",
            values=YES_NO,
            worse=("no", "yes"),
            settled=True,
            section=True,
        ),
        f(
            name="ceiling.kind",
            called="ceiling",
            about="the ceiling below the roof",
            values=("flat", "cathedral", "scissor"),
            worse=("flat", "cathedral", "scissor"),
            settled=True,
        ),
        f(
            name="water.on_fire",
            called="water",
            about="water on the fire",
            values=YES_NO,
            loosening=("yes",),
            worse=("yes", "no"),
            stale_s=10 * MINUTE,
        ),
        f(
            name="line.attack",
            called="attack line",
            about="the attack line",
            values=("none", "stretched", "charged", "flowing", "lost"),
            loosening=("none", "stretched", "charged", "flowing"),
            worse=("flowing", "charged", "stretched", "none", "lost"),
            stale_s=10 * MINUTE,
        ),
        f(
            name="line.backup",
            called="backup line",
            about="the second line",
            values=("none", "stretched", "charged", "flowing", "lost"),
            worse=("flowing", "charged", "stretched", "none", "lost"),
        ),
        f(
            name="line.aims",
            called="stream",
            about="where the stream goes",
            values=("inside", "roof opening"),
            loosening=("inside",),
            worse=("inside", "roof opening"),
            stale_s=10 * MINUTE,
        ),
        f(
            name="interior.crew",
            called="interior crew",
            about="where the interior crew is",
            values=("none", "going in", "in place", "backing out", "out"),
            loosening=("none", "going in", "in place", "out"),
            stale_s=10 * MINUTE,
        ),
        f(
            name="interior.searching",
            called="search",
            about="people search inside",
            values=YES_NO,
            loosening=("no",),
            worse=("no", "yes"),
            stale_s=10 * MINUTE,
        ),
        f(
            name="interior.calls",
            called="interior call",
            about="what the interior crew asks for",
            values=("open now", "hold"),
            loosening=("open now",),
            worse=("open now", "hold"),
            stale_s=5 * MINUTE,
        ),
        f(
            name="interior.relief",
            called="relief",
            about="what the opening did inside",
            values=("better", "no change", "worse"),
            worse=("better", "no change", "worse"),
            loosening=("better", "no change"),
            lasting=("no change",),
            stale_s=10 * MINUTE,
        ),
        f(
            name="interior.answers",
            called="interior answer",
            about="the interior crew was told and answers",
            values=("yes", "none"),
            loosening=("yes",),
            worse=("yes", "none"),
            stale_s=10 * MINUTE,
        ),
        f(
            name="command.mode",
            called="mode",
            about="command's mode",
            values=("offensive", "defensive"),
            loosening=("offensive",),
            worse=("offensive", "defensive"),
        ),
        f(
            name="command.roof",
            called="roof order",
            about="command's order for the roof",
            values=("not assigned", "go up", "open", "hold", "come off"),
            loosening=("not assigned", "go up", "open", "hold"),
            worse=("open", "go up", "hold", "not assigned", "come off"),
        ),
        f(
            name="command.backdraft_order",
            called="backdraft order",
            about="command orders the opening for a fire short of air",
            values=("yes",),
            loosening=("yes",),
            stale_s=10 * MINUTE,
        ),
        f(
            name="crew.count",
            called="crew",
            about="members of the roof crew",
            kind="number",
            low=1,
            high=12,
            unit="members",
            loosening="any",
            lasting=(1,),
        ),
        f(
            name="crew.where",
            called="crew place",
            about="where the roof crew is",
            values=("ground", "ladder", "aerial", "roof"),
            loosening=("ground", "ladder", "aerial"),
            worse=("ground", "ladder", "aerial", "roof"),
        ),
        f(
            name="crew.masks",
            called="masks",
            about="the worst member's mask",
            values=("breathing air", "on", "off"),
            loosening=("breathing air", "on"),
            worse=("breathing air", "on", "off"),
            stale_s=20 * MINUTE,
        ),
        f(name="crew.air", called="air", about="the lowest member's air", kind="air", lasting="any"),
        f(
            name="crew.in_contact",
            called="contact",
            about="in sight or voice contact",
            values=YES_NO,
            loosening=("yes",),
            worse=("yes", "no"),
        ),
        f(
            name="crew.hurt",
            called="injury",
            about="a member is hurt",
            values=YES_NO,
            loosening=("no",),
            worse=("no", "yes"),
        ),
        f(
            name="crew.missing",
            called="missing member",
            about="a member is missing",
            values=YES_NO,
            loosening=("no",),
            worse=("no", "yes"),
        ),
        f(
            name="crew.ladders",
            called="ladders",
            about="ladders placed",
            kind="ladders",
            values=LADDER_PLACES,
            loosening="any",
            lasting="any",
        ),
        f(
            name="crew.ways_off",
            called="ways off",
            about="usable separate ways off",
            kind="number",
            low=0,
            high=8,
            unit="ways",
            loosening="any",
            lasting="any",
        ),
        f(name="saw.state", called="saw", about="the saw", values=("running", "failed"), worse=("running", "failed")),
        f(
            name="fan.state",
            called="fan",
            about="a fan at the inlet",
            values=("on", "off"),
            loosening=("off",),
            worse=("off", "on"),
            stale_s=15 * MINUTE,
        ),
        f(
            name="opening.made",
            called="opening",
            about="how far the opening is",
            values=("none", "inspection", "part", "full"),
            section=True,
            loosening=("none", "inspection", "part", "full"),
        ),
        f(
            name="opening.shows",
            called="opening shows",
            about="what the hole shows",
            section=True,
            values=("nothing", "lazy smoke", "pressure", "flame", "second deck", "insulation", "truss"),
            worse=("nothing", "lazy smoke", "insulation", "second deck", "pressure", "flame", "truss"),
            loosening=("nothing", "lazy smoke", "pressure", "second deck", "insulation"),
            stale_s=10 * MINUTE,
        ),
        f(
            name="opening.ceiling",
            called="ceiling under the opening",
            about="the ceiling under the opening",
            section=True,
            values=("closed", "pushed", "none", "cannot reach"),
        ),
    ]


def _families() -> list[Fact]:
    """The facts that repeat for places, vents and sides."""
    found: list[Fact] = []
    for place in FIRE_PLACES:
        spoken = place.replace("_", " ")
        found.append(
            Fact(
                name=f"fire.{place}",
                group="fire",
                place=place,
                called=f"{spoken} fire" if place != "attic" else "attic",
                about=f"fire in or at: {spoken}",
                values=("not seen", "suspected", "confirmed", "knocked down"),
                loosening=("not seen", "confirmed", "knocked down")
                if place in ("attic", "cockloft")
                else ("not seen", "knocked down"),
                lasting=("confirmed",),
                ages_to=(("knocked down", "suspected"),),
                not_over=(("suspected", "confirmed"),),
                section=True,
                stale_s=10 * MINUTE,
            )
        )
    for where in ROOF_PLACES:
        found.append(
            Fact(
                name=f"deck.{where}",
                group="deck",
                place=where,
                called="deck",
                section=True,
                about=f"the deck: {where}",
                only_worse=True,
                loosening=("solid",),
                stale_s=10 * MINUTE,
                values=(
                    "solid",
                    "soft",
                    "sagging",
                    "smoking",
                    "bubbling",
                    "hot",
                    "changed sound",
                    "rotten",
                    "burned through",
                ),
                worse=(
                    "solid",
                    "changed sound",
                    "hot",
                    "bubbling",
                    "rotten",
                    "smoking",
                    "soft",
                    "sagging",
                    "burned through",
                ),
            )
        )
        found.append(
            Fact(
                name=f"camera.{where}",
                group="camera",
                place=where,
                called="camera",
                about=f"thermal camera: {where}",
                only_worse=True,
                values=("cool", "warm", "hot", "unusable"),
                worse=("unusable", "cool", "warm", "hot"),
            )
        )
    for side in SIDES:
        found.append(
            Fact(
                name=f"door.{side}",
                group="door",
                place=side,
                called=f"door {side}",
                about=f"a door on side {side}",
                values=("open", "closed", "failed"),
                worse=("closed", "open", "failed"),
                stale_s=15 * MINUTE,
            )
        )
        found.append(
            Fact(
                name=f"window.{side}",
                group="window",
                place=side,
                called=f"window {side}",
                loosening=("open", "closed"),
                about=f"a window on side {side}",
                values=("open", "closed", "failed"),
                worse=("closed", "open", "failed"),
                stale_s=15 * MINUTE,
            )
        )
    attributes = {
        "volume": (("none", "light", "moderate", "heavy"), ("none",)),
        "colour": (("white", "grey", "black", "brown", "yellow"), ()),
        "push": (("lazy", "steady", "pressurised", "turbulent", "pulsing"), ()),
    }
    for vent in VENTS:
        for side in ("", *SIDES):
            for attribute, (values, loosening) in attributes.items():
                place = f"{vent}.{side}" if side else vent
                spoken = vent.replace("_", " ") if vent != "any" else ""
                found.append(
                    Fact(
                        name=f"smoke.{place}.{attribute}",
                        group=f"smoke.{attribute}",
                        place=place,
                        called=f"smoke {spoken}".strip(),
                        about=f"smoke {attribute} at: {place}",
                        values=values,
                        worse=values if attribute != "colour" else (),
                        loosening=loosening,
                        stale_s=10 * MINUTE,
                    )
                )
    return found


FACTS: dict[str, Fact] = {one.name: one for one in [*_plain(), *_families()]}


def split_section(name: str) -> tuple[str, str]:
    """`roof.framing@garage` -> ("roof.framing", "garage"); the main section is ""."""
    base, _, section = name.partition("@")
    return base, section


def fact(name: str) -> Fact:
    """The fact called `name`, with or without a section.

    Raises
    ------
    FactError : no such fact, or it cannot belong to that section; names the nearest ones
    """
    base, section = split_section(name)
    found = FACTS.get(base)
    if found is None:
        near = difflib.get_close_matches(base, FACTS, n=3, cutoff=0.6)
        raise FactError(
            f"no fact is called {base!r}",
            why="the vocabulary does not have it",
            next_step=f"did you mean {', '.join(near)}?" if near else "see the list in fieldaid/facts",
        )
    if section and section not in SECTIONS:
        near = difflib.get_close_matches(section, SECTIONS, n=1, cutoff=0.4)
        raise FactError(
            f"no section is called {section!r}",
            where=name,
            why=f"sections are {', '.join(SECTIONS)}",
            next_step=f"did you mean {near[0]}?" if near else "use one of them",
        )
    if section and not found.section:
        raise FactError(
            f"{base} cannot belong to a section",
            where=name,
            why="only facts of the roof, deck, attic, fire and opening can",
            next_step=f"tell {base} without @{section}",
        )
    return found
