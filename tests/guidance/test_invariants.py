"""Invariants that hang on what is taken away or told twice: each need of access and gate, ways off, guesses and plans.

That every invariant holds over covering arrays, seeded situations and talks stands in tests/test_proof.py; here one
need after another is taken from situations in which nothing bars or holds. Rows: rules/house/sources.yaml.
"""

from __future__ import annotations

import functools
import random
from collections.abc import Mapping
from typing import Any

import pytest
from house import NO_GO, plain_computed, random_facts, run, situation_of

from fieldaid.authoring.properties_seen import Seen
from fieldaid.authoring.situations import GOOD
from fieldaid.facts.picture import CANNOT_TELL

pytestmark = pytest.mark.slow

NEEDS = ("fire.attic", "crew.count", "crew.ways_off", "deck.eave", "crew.masks", "command.roof", "roof.wires",
         "roof.surface", "roof.solar")
GATE_NEEDS = ("water.on_fire", "interior.calls", "interior.answers", "wind.from", "fire.side", "roof.form",
              "roof.ridge_runs", "site.a_faces")


def seen(facts: Mapping[str, Any], basis: Mapping[str, str] | None = None) -> Seen:
    one = situation_of(facts, basis)
    return Seen(one, plain_computed(one), run(one))


@functools.cache
def pool() -> tuple[Seen, ...]:
    """Situations near one in which nothing bars and nothing holds."""
    rng = random.Random(2024)
    starts = [GOOD, {**GOOD, "crew.where": "roof"}, {**GOOD, "crew.where": "ladder"}]
    return tuple(seen(random_facts(rng, starts[n % len(starts)], changes=2)) for n in range(500))


def free() -> list[Seen]:
    return [one for one in pool() if one.free][:60]


def open_() -> list[Seen]:
    return [one for one in pool() if one.open][:60]


def test_the_pool_bites() -> None:
    assert len(free()) == 60 and len(open_()) == 60


@pytest.mark.parametrize("lost", NEEDS)
@pytest.mark.parametrize("how", ["not told", CANNOT_TELL])
def test_invariant_02_each_need_taken_away_bars_and_is_asked_for(lost: str, how: str) -> None:
    """N01, L25."""
    for one in free():
        stand_in = {"fire.attic": "fire.cockloft", "crew.ways_off": "crew.ladders"}.get(lost)
        if stand_in in one.told:
            continue
        others = [name for name in one.told if name.startswith("deck.")] if lost == "deck.eave" else []
        facts = {name: value for name, value in one.told.items() if name not in (lost, *others)}
        after = seen({**facts, lost: CANNOT_TELL} if how == CANNOT_TELL else facts, one.situation.basis)
        assert not after.free and lost in after.out.missing, after


@pytest.mark.parametrize("lost", GATE_NEEDS)
def test_invariant_02_each_need_of_the_gate_taken_away_holds_and_is_asked_for(lost: str) -> None:
    """W11, V24, S02."""
    for one in open_():
        told = one.told
        if one.backdraft or told.get("command.roof") == "open" or told.get("wind.mph") == 0:
            continue
        if lost == "water.on_fire" and told.get("interior.crew") == "in place":
            continue
        if lost == "site.a_faces" and told["wind.from"] in "ABCD" or lost == "roof.ridge_runs" and told[
                "roof.form"] in ("flat", "pyramid", "mansard"):
            continue
        after = seen({name: value for name, value in told.items() if name != lost}, one.situation.basis)
        assert not after.open and lost in after.out.missing, after


def test_invariant_07_two_ladders_at_one_corner_or_over_a_venting_window_are_one_way() -> None:
    """S02, S34, N07."""
    told = {**GOOD, "crew.ways_off": CANNOT_TELL}
    assert seen({**told, "crew.ladders": [{"place": "BC"}, {"place": "BC"}]}).out.access in NO_GO
    apart = {**told, "crew.ladders": [{"place": "A"}, {"place": "C"}], "crew.where": "roof"}
    assert seen(apart).free
    assert seen({**apart, "window.C": "failed"}).out.access == "leave now"


def test_invariant_24_guesses_and_plans_free_nothing() -> None:
    """C17, A15. That weak sources carry no loosening is a property of the pack's own words."""
    for one in free():
        for name in ("fire.attic", "deck.eave"):
            for basis in ("guess", "preplan"):
                others = {other: "guess" for other in one.told if other.startswith(("deck.", "fire.cockloft"))}
                after = seen(one.told, {**one.situation.basis, **others, name: basis})
                assert after.no_go or after.out.access.endswith("only"), after
