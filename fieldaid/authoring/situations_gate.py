"""The gate facts and their levels: what access and gate may hang on, unknown included.

A factor is one fact, or a few that say the same thing in different words. A level is what the trade tells apart; it
holds every value that says it, and each row of a covering array takes one of them in turn. The levels are set down
from the vocabulary and the closed list of the design, not from the rules: a rule that tells apart two values of one
level is still met with both, and a rule that forgets a value is found by it.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fieldaid.facts.fact import SIDES
from fieldaid.facts.picture import CANNOT_TELL
from fieldaid.facts.situation import Situation

# One way to tell a level: facts, and how each is known where it is not "told".
Way = tuple[Mapping[str, Any], Mapping[str, str]]
NOTHING: Way = ({}, {})
LOOKED = ("told", "seen", "struck", "inspection cut")


@dataclass(frozen=True)
class Level:
    """One level of a factor: its name, and the ways in which it may be told."""

    name: str
    ways: tuple[Way, ...]


@dataclass(frozen=True)
class Factor:
    """A gate fact, or a few that are told as one, with its levels."""

    name: str
    levels: tuple[Level, ...]

    @property
    def facts(self) -> frozenset[str]:
        """Every fact that one of its levels tells."""
        return frozenset(fact for level in self.levels for way in level.ways for fact in way[0])


def _told(*facts: Mapping[str, Any]) -> tuple[Way, ...]:
    return tuple((one, {}) for one in facts)


def _known_by(fact: str, values: Sequence[Any], bases: Sequence[str]) -> tuple[Way, ...]:
    return tuple(({fact: value}, {fact: basis}) for value in values for basis in bases)


def _fact(name: str, *levels: Sequence[Any], unknown_with: Sequence[Any] = ()) -> Factor:
    """A factor of one fact: unknown (not told, cannot tell, and values that say nothing), then the levels given."""
    unknown = Level("unknown", (NOTHING, *_told({name: CANNOT_TELL}, *({name: value} for value in unknown_with))))
    return Factor(name, (unknown, *(
        Level(" or ".join(map(_shown, values)), _told(*({name: value} for value in values))) for values in levels)))


def _shown(value: Any) -> str:
    return "+".join(_shown(one) for one in value) if isinstance(value, list) else (
        " ".join(map(str, value.values())) if isinstance(value, dict) else str(value))


def _smoke(*vents: str, side: bool = True) -> tuple[Way, ...]:
    places = [place for vent in vents for place in (vent, *((f"{vent}.{one}" for one in SIDES) if side else ()))]
    told = [("volume", "light"), ("volume", "moderate"), ("volume", "heavy"), ("push", "lazy"), ("push", "turbulent"),
            ("push", "pulsing"), ("push", "pressurised"), ("push", "steady"), ("colour", "brown"),
            ("colour", "white"), ("colour", "black"), ("colour", "grey"), ("colour", "yellow")]
    return _told(*({f"smoke.{place}.{attribute}": value} for place in places for attribute, value in told))


def _ladder(place: str, kind: str = "ground", usable: str = "yes") -> dict[str, str]:
    return {"place": place, "kind": kind, "usable": usable}


_BAD_DECK = ("soft", "sagging", "smoking", "bubbling", "hot", "changed sound", "rotten", "burned through")
_DECK_PLACES = (*SIDES, "ridge", "eave", "valley", "hip", "unsaid")
_ENGINEERED = ("trusses", "i-joists", "lightweight", "sandwich panel", "steel", "mixed")

GATE_FACTS: tuple[Factor, ...] = (
    Factor("fire.attic", (
        Level("unknown", (NOTHING, *_told({"fire.attic": CANNOT_TELL}))),
        Level("not seen", _known_by("fire.attic", ("not seen",), LOOKED)),
        Level("not seen, by guess or plan", _known_by("fire.attic", ("not seen",), ("guess", "preplan"))),
        Level("suspected", _told({"fire.attic": "suspected"})),
        Level("confirmed", _known_by("fire.attic", ("confirmed",), LOOKED)),
        Level("knocked down", _told({"fire.attic": "knocked down"})))),
    Factor("fire.cockloft", (
        Level("unknown", (NOTHING, *_known_by("fire.cockloft", ("not seen",), ("guess", "preplan")))),
        Level("not seen", _known_by("fire.cockloft", ("not seen",), LOOKED)),
        Level("fire", _told({"fire.cockloft": "suspected"}, {"fire.cockloft": "confirmed"})),
        Level("knocked down", _told({"fire.cockloft": "knocked down"})))),
    _fact("fire.knee_wall", ("not seen",), ("suspected", "confirmed"), ("knocked down",)),
    _fact("fire.eaves", ("suspected",), ("confirmed",), unknown_with=("not seen", "knocked down")),
    _fact("attic.knee_wall", ("yes", "suspected"), unknown_with=("no",)),
    Factor("smoke at the attic vents", (
        Level("unknown", (NOTHING, *_told(*({f"smoke.{vent}.volume": "none"}
                                            for vent in ("ridge", "roof_vent", "gable", "eave"))))),
        Level("showing", _smoke("ridge", "roof_vent", "gable", "eave")))),
    Factor("smoke elsewhere", (
        Level("unknown", (NOTHING, *_told({"smoke.any.volume": "none"}))),
        Level("showing", _smoke("window", "door", "chimney", "opening", "any")))),
    Factor("smoke at the deck", (
        Level("unknown", (NOTHING, *_told({"smoke.deck.volume": "none"}))), Level("showing", _smoke("deck")))),
    Factor("camera", (
        Level("unknown", (NOTHING, *_told({"camera.C": "unusable"}, {"camera.ridge": "warm"}))),
        Level("cool", _told(*({f"camera.{place}": "cool"} for place in _DECK_PLACES))),
        Level("hot", _told(*({f"camera.{place}": "hot"} for place in _DECK_PLACES))))),
    Factor("roof.framing", (
        Level("unknown", (NOTHING, *_told({"roof.framing": CANNOT_TELL}),
                          *_known_by("roof.framing", ("rafters", "plank and beam"), ("guess",)))),
        Level("solid", _known_by("roof.framing", ("rafters", "plank and beam"), (*LOOKED, "preplan"))),
        Level("engineered", (*_told(*({"roof.framing": value} for value in _ENGINEERED)),
                             *_known_by("roof.framing", _ENGINEERED, ("guess", "preplan")))),
        Level("bowstring", _told({"roof.framing": "bowstring"})))),
    Factor("deck", (
        Level("unknown", (NOTHING, *_told({"deck.eave": CANNOT_TELL}))),
        Level("solid", tuple(way for place in _DECK_PLACES for way in _known_by(f"deck.{place}", ("solid",), LOOKED))),
        Level("solid, by guess or plan", _known_by("deck.eave", ("solid",), ("guess", "preplan"))),
        Level("bad", _told(*({f"deck.{place}": value} for place in _DECK_PLACES for value in _BAD_DECK))),
        Level("bad beside solid", _told(*({"deck.eave": "solid", f"deck.{place}": value}
                                          for place in SIDES for value in _BAD_DECK))))),
    _fact("roof.wires", ("none",), (["A"], ["C"], ["BC"], ["eave"], ["everywhere"], ["unsaid"])),
    _fact("roof.solar", ("none",), (["A"], ["AB"]), (["C"], ["BC"], ["CD"]), (["B"], ["D"], ["A", "C"]),
          (["everywhere"], ["unsaid"], ["ridge"], ["eave"], ["valley"], ["hip"])),
    _fact("roof.skylight", ("none",), (["C"], ["A"], ["everywhere"], ["unsaid"])),
    _fact("roof.surface", ("dry",), ("wet", "moss", "loose"), ("ice", "snow", "frost")),
    _fact("roof.melted", (["C"], ["ridge"], ["unsaid"]), unknown_with=("none",)),
    _fact("roof.load", ("machinery", "tank", "snow"), unknown_with=("none", "stacked material")),
    _fact("building.condition", ("prior fire", "rot"), unknown_with=("vacant", "renovation")),
    _fact("building.use", ("manufactured",), unknown_with=("house", "duplex", "apartment", "row", "barn", "store")),
    _fact("weather.lightning", ("yes",), unknown_with=("no",)),
    _fact("crew.count", (1,), (2, 3, 4)),
    _fact("crew.where", ("ground",), ("ladder",), ("aerial",), ("roof",)),
    _fact("crew.masks", ("breathing air",), ("on",), ("off",)),
    _fact("crew.air", ({"low": "yes"}, {"minutes": 4}, {"minutes": 5}, {"fraction": 0.3}, {"fraction": 0.33}),
          unknown_with=({"low": "no"}, {"minutes": 20}, {"fraction": 0.9})),
    _fact("crew.in_contact", ("no",), unknown_with=("yes",)),
    _fact("crew.hurt", ("yes",), unknown_with=("no",)),
    _fact("crew.missing", ("yes",), unknown_with=("no",)),
    _fact("crew.ways_off", (0, 1), (2, 3)),
    _fact("crew.ladders", ([_ladder("A"), _ladder("BC")], [_ladder("A"), _ladder("C")]),
          ([_ladder("A"), _ladder("CD", "aerial")], [_ladder("B", "aerial"), _ladder("D")]),
          ([_ladder("A")], [_ladder("BC"), _ladder("BC")], [_ladder("A"), _ladder("C", usable="no")],
           [_ladder("B", "aerial")])),
    _fact("command.mode", ("defensive",), unknown_with=("offensive",)),
    _fact("command.roof", ("not assigned",), ("go up",), ("open",), ("hold",), ("come off",)),
    _fact("command.backdraft_order", ("yes",)),
    _fact("interior.crew", ("none", "out"), ("going in",), ("in place",), ("backing out",)),
    _fact("interior.searching", ("yes",), unknown_with=("no",)),
    _fact("interior.calls", ("open now",), ("hold",)),
    _fact("interior.answers", ("yes",), ("none",)),
    _fact("interior.relief", ("better",), ("no change",), ("worse",)),
    _fact("water.on_fire", ("yes",), ("no",)),
    _fact("line.attack", ("charged", "flowing"), ("lost",), unknown_with=("none", "stretched")),
    _fact("line.aims", ("roof opening",), unknown_with=("inside",)),
    _fact("fan.state", ("on",), unknown_with=("off",)),
    _fact("fire.stage", ("through the roof",), ("out",), unknown_with=("growing", "knocked down")),
    _fact("fire.signs", ("pulsing", "sucking in", "no flame")),
    _fact("fire.side", ("A", "AB", "DA"), ("C", "BC", "CD"), ("B", "D"), ("centre",)),
    _fact("fire.top_floor", ("not seen",), unknown_with=("suspected", "confirmed", "knocked down")),
    Factor("fire below", (Level("unknown", (NOTHING, *_told({"fire.lower_floor": "not seen"}))),
                          Level("fire", _told(*({f"fire.{place}": how} for place in ("lower_floor", "basement")
                                                for how in ("suspected", "confirmed")))))),
    _fact("fire.chimney", ("suspected", "confirmed"), unknown_with=("not seen", "knocked down")),
    _fact("fire.garage", ("suspected", "confirmed", "knocked down"), unknown_with=("not seen",)),
    _fact("job.kind", ("smoke removal",), unknown_with=("room", "attic", "chimney", "overhaul", "drill")),
    _fact("opening.made", ("none",), ("inspection", "part"), ("full",)),
    _fact("opening.shows", ("flame",), ("truss",),
          unknown_with=("nothing", "lazy smoke", "pressure", "second deck", "insulation")),
    _fact("opening.ceiling", ("pushed", "none"), unknown_with=("closed", "cannot reach")),
    _fact("opening.wind", ("into",), unknown_with=("clear",)),
    Factor("tries", (
        Level("unknown", (NOTHING, *_told({"tried.size": "done"}, {"tried.ceiling": "no relief"}))),
        Level("two without relief", _told({"tried.ceiling": "no relief", "tried.size": "no relief"},
                                          {"tried.bay": "no relief", "tried.inlet": "no relief"})))),
    _fact("roof.form", ("gable", "gambrel", "saltbox", "a-frame"), ("hip", "dutch gable", "clipped gable"),
          ("flat", "pyramid", "mansard"), ("cross-gable", "shed", "arched", "mixed")),
    _fact("roof.ridge_runs", ("A-C",), ("B-D",)),
    _fact("site.a_faces", ("south", "north", "east", "west", "southeast", "northwest")),
    _fact("wind.from", ("A", "D"), ("C", "B"), ("west", "north", "northeast", "south")),
    _fact("wind.mph", (0,), unknown_with=(4, 10, 30)),
    _fact("wind.shifting", ("yes",), unknown_with=("no",)),
    Factor("window", (
        Level("unknown", (NOTHING, *_told({"window.A": "open"}, {"window.C": "closed"}))),
        Level("failed at A or D", _told({"window.A": "failed"}, {"window.D": "failed"})),
        Level("failed at B or C", _told({"window.B": "failed"}, {"window.C": "failed"})))),
)

LEVELS: tuple[int, ...] = tuple(len(one.levels) for one in GATE_FACTS)
Row = Sequence[int]


def situation_of_row(row: Row, rng: random.Random) -> Situation:
    """The situation of one row of levels; `rng` picks the way in which each level is told.

    Raises
    ------
    IndexError : a level that its factor does not have
    """
    values: dict[str, Any] = {}
    basis: dict[str, str] = {}
    cannot: set[str] = set()
    for factor, level in zip(GATE_FACTS, row, strict=True):
        facts, known = rng.choice(factor.levels[level].ways)
        for name, value in facts.items():
            if value == CANNOT_TELL:
                cannot.add(name)
            else:
                values[name], basis[name] = value, known.get(name, "told")
    return Situation(values, basis, frozenset(cannot - values.keys()))


def levels_of(situation: Situation) -> list[int]:
    """The level of each factor that a situation is at; 255 where it tells what no level holds."""
    return [next((n for n, level in enumerate(factor.levels) if _is_at(situation, factor, level)), 255)
            for factor in GATE_FACTS]


def _is_at(situation: Situation, factor: Factor, level: Level) -> bool:
    told = {name: situation.values[name] for name in factor.facts if name in situation.values}
    for facts, known in level.ways:
        wanted = {name: value for name, value in facts.items() if value != CANNOT_TELL}
        if wanted == told and all(situation.basis.get(name, "told") == known[name] for name in wanted if name in known):
            return True
    return False
