"""Shared by the tests of the house pack: the pack, both channels, and situations as a session makes them."""

from __future__ import annotations

import functools
import random
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fieldaid.facts.picture import CANNOT_TELL, Picture, Telling
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import FACTS, LADDER_PLACES
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import ACCESS, GATE, Pack, load_pack
from fieldaid.guidance.reference import Reference
from fieldaid.workings.computed import compute

HOUSE = Path(__file__).resolve().parents[2] / "rules" / "house"
NO_GO = ("leave now", "come down", "stay off")

# The invented house of the truth table, with everything told and good.
GOOD: Mapping[str, Any] = {
    "roof.form": "gable", "roof.ridge_runs": "B-D", "site.a_faces": "south", "wind.from": "west",
    "fire.side": "C", "fire.attic": "not seen", "roof.framing": "rafters", "command.roof": "go up", "crew.count": 3,
    "crew.where": "ground", "crew.masks": "breathing air", "crew.ways_off": 2, "deck.eave": "solid",
    "roof.wires": "none", "roof.solar": "none", "roof.surface": "dry", "water.on_fire": "yes",
    "interior.calls": "open now", "interior.answers": "yes",
}


@functools.cache
def house() -> Pack:
    return load_pack(HOUSE)


@functools.cache
def reference() -> Reference:
    return Reference(house())


def plain_computed(situation: Situation) -> dict[str, Any]:
    return {name: one.value for name, one in compute(situation, house().parameter_values()).items()}


def run(situation: Situation) -> Outcome:
    """What the reference channel concludes."""
    return reference().run(situation, plain_computed(situation))


def situation_of(facts: Mapping[str, Any], basis: Mapping[str, str] | None = None, section: str = "",
                 told: list[Mapping[str, Any]] | None = None) -> Situation:
    """The situation of facts told in order through the picture, `told` after the rest."""
    return picture_of(facts, basis, told).situation(0.0, section)


def picture_of(facts: Mapping[str, Any], basis: Mapping[str, str] | None = None,
               told: list[Mapping[str, Any]] | None = None) -> Picture:
    picture = Picture()
    lines = [*facts.items(), *(pair for one in told or [] for pair in one.items())]
    for n, (name, value) in enumerate(lines, 1):
        picture = picture.tell(telling(n, name, value, (basis or {}).get(name, "told")))
    return picture


def telling(n: int, name: str, value: Any, basis: str = "told") -> Telling:
    if value == CANNOT_TELL:
        return Telling(n, name, act="cannot tell")
    return Telling(n, name, value, basis=basis)


def stricter(a: str, b: str, order: tuple[str, ...]) -> bool:
    """Whether `a` is stricter than `b`; the order is strictest first."""
    return order.index(a) < order.index(b)


def access_fell(before: Outcome, after: Outcome) -> bool:
    return stricter(before.access, after.access, ACCESS)


def gate_fell(before: Outcome, after: Outcome) -> bool:
    return stricter(before.gate, after.gate, GATE)


def values_of(name: str) -> tuple[Any, ...]:
    """Values to try for a fact: all of a choice, for other kinds some on each side of every threshold."""
    fact = FACTS[name]
    if fact.kind == "choice":
        return fact.values
    if fact.kind == "places":
        return ("none", *([one] for one in fact.values))
    if fact.kind == "air":
        return ({"low": "yes"}, {"low": "no"}, {"minutes": 4}, {"minutes": 20}, {"fraction": 0.3},
                {"fraction": 0.9})
    if fact.kind == "ladders":
        one = {"place": "A", "kind": "ground", "usable": "yes"}
        return ([one], [one, {**one, "place": "BC"}], [{**one, "kind": "aerial"}, {**one, "place": "C"}],
                [{**one, "usable": "no"}], *([{**one, "place": place}] for place in LADDER_PLACES))
    if fact.kind == "years":
        return (1910, 1948, 1958, 1985, 2005, "1940-1960")
    few = {"crew.count": (1, 2, 3), "crew.ways_off": (0, 1, 2, 3), "wind.mph": (0, 4, 9, 10, 30),
           "roof.layers": (1, 2), "roof.pitch": (0, 4, 8, 12), "building.stories": (1, 1.5, 2, 3),
           "building.stories_rear": (1, 2, 3), "fire.minutes": (0, 10, 60)}
    return few.get(name, (fact.low, fact.high))


def random_facts(rng: random.Random, start: Mapping[str, Any], changes: int) -> dict[str, Any]:
    """`start` with facts taken out, marked "cannot tell", and told anew, at most `changes` of each."""
    facts = dict(start)
    for name in rng.sample(sorted(facts), min(len(facts), rng.randint(0, changes))):
        if rng.random() < 0.3:
            facts[name] = CANNOT_TELL
        else:
            del facts[name]
    for _ in range(rng.randint(0, changes)):
        name = rng.choice(WEIGHTED)
        facts[name] = rng.choice(values_of(name))
    return facts


# Facts that rules test against access and gate come up as often as all the others together.
_TESTED = sorted(name for name in FACTS if not name.startswith("smoke.")
                 and name.split(".")[0] in ("fire", "crew", "interior", "command", "water", "line", "roof", "fan",
                                            "opening", "wind", "deck", "attic", "weather", "window"))
WEIGHTED = [*_TESTED, *_TESTED, *FACTS]


@contextmanager
def both_channels() -> Iterator[Any]:
    """A function that runs a situation through both channels and fails where they differ."""
    from fieldaid.guidance.engine import Engine

    engine = Engine(house(), ready_s=60.0)
    try:
        assert engine.wait_ready(60.0), "the engine's child did not start"

        def compare(situation: Situation, computed: Mapping[str, Any] | None = None) -> Outcome:
            computed = plain_computed(situation) if computed is None else computed
            first = engine.run(situation, computed, timeout_s=10.0)
            second = reference().run(situation, computed)
            assert not first.differences(second), f"{first.differences(second)}: {first} against {second}"
            return second

        yield compare
    finally:
        engine.close()
