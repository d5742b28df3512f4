"""Shared by the tests of the house pack: the pack, both channels, and situations as a session makes them."""

from __future__ import annotations

import functools
import random
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fieldaid.authoring.situations import changed
from fieldaid.facts.picture import CANNOT_TELL, Picture, Telling
from fieldaid.facts.situation import Situation
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import ACCESS, GATE, Pack, load_pack
from fieldaid.guidance.reference import Reference
from fieldaid.workings.computed import compute

HOUSE = Path(__file__).resolve().parents[2] / "rules" / "house"
NO_GO = ("leave now", "come down", "stay off")


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


def random_facts(rng: random.Random, start: Mapping[str, Any], changes: int) -> dict[str, Any]:
    """`start` with facts taken out, marked "cannot tell", and told anew, at most `changes` of each."""
    return changed(rng, start, changes, changes)


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
