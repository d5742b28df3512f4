"""Situations for proof and coverage: each is a function of a seed and its number alone, so that any part of a run can
be made again anywhere, by any number of workers.

The house is invented: side A faces south, the ridge runs from B to D, the fire is at C.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from typing import Any

from fieldaid.facts.fact import BASES, LADDER_PLACES
from fieldaid.facts.picture import CANNOT_TELL, Picture, Telling
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import FACTS

Facts = dict[str, Any]

# Everything told and good.
GOOD: Mapping[str, Any] = {
    "roof.form": "gable", "roof.ridge_runs": "B-D", "site.a_faces": "south", "wind.from": "west",
    "fire.side": "C", "fire.attic": "not seen", "roof.framing": "rafters", "command.roof": "go up", "crew.count": 3,
    "crew.where": "ground", "crew.masks": "breathing air", "crew.ways_off": 2, "deck.eave": "solid",
    "roof.wires": "none", "roof.solar": "none", "roof.surface": "dry", "water.on_fire": "yes",
    "interior.calls": "open now", "interior.answers": "yes",
}
TWO_LADDERS = [{"place": "A", "kind": "aerial", "usable": "yes"}, {"place": "C", "kind": "ground", "usable": "yes"}]

# Near the edge of an answer, so that one more fact can tip it.
STARTS: tuple[Mapping[str, Any], ...] = (
    GOOD,
    {**GOOD, "crew.where": "roof"},
    {**GOOD, "crew.where": "ladder", "fire.attic": "suspected"},
    {**GOOD, "crew.where": "aerial", "smoke.ridge.volume": "light", "roof.framing": CANNOT_TELL},
    {**GOOD, "crew.where": "roof", "fire.attic": "confirmed"},
    {**GOOD, "crew.where": "roof", "roof.framing": "trusses"},
    {**GOOD, "command.backdraft_order": "yes", "interior.crew": "out", "water.on_fire": CANNOT_TELL},
    {**GOOD, "opening.made": "full", "interior.relief": "no change"},
    {**GOOD, "roof.surface": "wet", "crew.ladders": TWO_LADDERS},
    {**GOOD, "line.attack": "lost"},
    {**GOOD, "interior.crew": "backing out"},
    {**GOOD, "command.roof": "come off", "crew.where": "roof"},
    {**GOOD, "opening.shows": "flame", "opening.made": "inspection"},
    {**GOOD, "water.on_fire": CANNOT_TELL, "line.attack": "charged", "interior.crew": "in place"},
    {**GOOD, "wind.from": "north", "wind.mph": 10},
    {**GOOD, "wind.from": CANNOT_TELL},
    {**GOOD, "crew.where": "roof", "roof.framing": "trusses", "fire.attic": "confirmed"},
    {**GOOD, "crew.where": "roof", "roof.framing": "trusses", "fire.attic": "knocked down"},
    {**GOOD, "crew.where": "roof", "crew.air": {"minutes": 4}},
    {**GOOD, "crew.where": "roof", "crew.ways_off": 1},
    {**GOOD, "crew.where": "roof", "opening.shows": "flame", "opening.made": "part", "interior.relief": "no change"},
    {**GOOD, "roof.form": "hip", "fire.side": "D", "wind.from": "B", "crew.where": "roof"},
    {**GOOD, "roof.solar": ["A"], "crew.where": "roof"},
    {**GOOD, "roof.solar": ["A"], "wind.from": "C"},
    {**GOOD, "crew.ladders": TWO_LADDERS, "crew.where": "roof", "building.built": 1958},
    {},
)

# Where access and gate may turn on a number, values on both sides of it.
_NUMBERS: Mapping[str, tuple[float, ...]] = {
    "crew.count": (1, 2, 3, 4), "crew.ways_off": (0, 1, 2, 3), "wind.mph": (0, 4, 9, 10, 20, 30),
    "roof.layers": (1, 2, 3), "roof.pitch": (0, 4, 5, 8, 12), "building.stories": (1, 1.5, 2, 3),
    "building.stories_rear": (1, 2, 3), "fire.minutes": (0, 6, 10, 60),
}
_ROOMS = ("fire", "crew", "interior", "command", "water", "line", "roof", "fan", "opening", "wind", "deck", "attic",
          "weather", "window")
_TESTED = sorted(name for name in FACTS if name.split(".")[0] in _ROOMS)
# Facts that access and gate may hang on come up three times as often as smoke at each of its many places.
_WEIGHTED = (*_TESTED, *_TESTED, *FACTS)


def values_of(name: str) -> tuple[Any, ...]:
    """Values to try for a fact: all of a choice, for other kinds some on each side of every limit."""
    fact = FACTS[name]
    if fact.kind == "choice":
        return fact.values
    if fact.kind == "places":
        return ("none", *([one] for one in fact.values))
    if fact.kind == "air":
        return ({"low": "yes"}, {"low": "no"}, {"minutes": 4}, {"minutes": 5}, {"minutes": 20}, {"fraction": 0.3},
                {"fraction": 0.9})
    if fact.kind == "ladders":
        one = {"place": "A", "kind": "ground", "usable": "yes"}
        return ([one], [one, {**one, "place": "BC"}], [{**one, "kind": "aerial"}, {**one, "place": "C"}],
                [{**one, "usable": "no"}], *([{**one, "place": place}] for place in LADDER_PLACES))
    if fact.kind == "years":
        return (1910, 1944, 1948, 1958, 1977, 1985, 2005, "1940-1960")
    return _NUMBERS.get(name, (fact.low, fact.high))


def stream(seed: int, number: int, what: str = "") -> random.Random:
    """The random numbers of one situation."""
    return random.Random(f"{seed}/{number}/{what}")


def changed(rng: random.Random, start: Mapping[str, Any], out: int, anew: int) -> Facts:
    """`start` with at most `out` facts taken out or marked "cannot tell", and at most `anew` told anew."""
    facts = dict(start)
    for name in rng.sample(sorted(facts), min(len(facts), rng.randint(0, out))):
        if rng.random() < 0.3:
            facts[name] = CANNOT_TELL
        else:
            del facts[name]
    for _ in range(rng.randint(0, anew)):
        name = rng.choice(_WEIGHTED)
        facts[name] = rng.choice(values_of(name))
    return facts


def seeded_facts(seed: int, number: int) -> tuple[Facts, dict[str, str]]:
    """Facts in the order told, and how each is known: a start with some facts taken out and others told anew."""
    rng = stream(seed, number)
    changes = rng.choice((1, 2, 3, 4, 4, 8))
    facts = changed(rng, STARTS[number % len(STARTS)], min(changes, 4), changes)
    basis = {}
    if rng.random() < 0.2:
        basis = {name: rng.choice(BASES) for name, value in facts.items()
                 if value != CANNOT_TELL and rng.random() < 0.2}
    return facts, basis


def situation_of(facts: Mapping[str, Any], basis: Mapping[str, str] | None = None) -> Situation:
    """The situation of facts whose values are in their written form already."""
    known = {name: value for name, value in facts.items() if value != CANNOT_TELL}
    return Situation(known, {name: (basis or {}).get(name, "told") for name in known},
                     frozenset(facts.keys() - known.keys()))


def seeded(seed: int, number: int) -> Situation:
    """The situation of this number under this seed."""
    return situation_of(*seeded_facts(seed, number))


def shuffled(situation: Situation, rng: random.Random) -> Situation:
    """The same facts told in another order."""
    names = list(situation.values)
    rng.shuffle(names)
    return Situation({name: situation.values[name] for name in names}, situation.basis, situation.cannot_tell,
                     situation.section)


def picture_of(situation: Situation) -> Picture:
    """A picture in which exactly these facts were told, one utterance for each."""
    tellings = [Telling(n, name, value, basis=situation.basis.get(name, "told"))
                for n, (name, value) in enumerate(situation.values.items(), 1)]
    first = len(tellings) + 1
    tellings += [Telling(first + n, name, act="cannot tell") for n, name in enumerate(sorted(situation.cannot_tell))]
    return Picture(tuple(tellings))


def told_after(picture: Picture, name: str, value: Any) -> Picture:
    """The picture after one more telling; `CANNOT_TELL` is one."""
    n = len(picture.tellings) + 1
    if value == CANNOT_TELL:
        return picture.tell(Telling(n, name, act="cannot tell"))
    return picture.tell(Telling(n, name, value))
