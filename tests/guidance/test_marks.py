"""The marks `loosening` and `placing` of the vocabulary are complete for the house pack.

Telling a value that is not marked never lowers access, never takes a leave away and never lowers the gate; a
placing fact may lower the gate, and access only where panels were over the fire and are no longer. Each unmarked
value is told on top of many random situations, through the picture, so that replacing, contradicting and only-worse
count as they do in a session. Seeds are fixed.

Two answers are no danger and may give way to news: "done" (a fire that was out burns again) and "other means" (a
fire that was only on a lower floor is on the top floor now).
"""

from __future__ import annotations

import random
import zlib
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import pytest
from house import access_fell, gate_fell, picture_of, random_facts, run, telling

from fieldaid.authoring.situations import STARTS, values_of
from fieldaid.facts.picture import CANNOT_TELL, Picture, Telling
from fieldaid.facts.vocabulary import FACTS, Fact
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import ACCESS, GATE

pytestmark = pytest.mark.slow

Situations = Iterator[tuple[dict[str, Any], Any, Outcome, Outcome]]

def unmarked(fact: Fact) -> Iterator[Any]:
    yield from (value for value in values_of(fact.name) if not fact.is_loosening(value))


def unmarked_by_name(placing: bool) -> dict[str, list[Any]]:
    found = {fact.name: list(unmarked(fact)) for fact in FACTS.values() if fact.placing == placing}
    return {name: values for name, values in found.items() if values}


TIGHTENING, PLACING = unmarked_by_name(placing=False), unmarked_by_name(placing=True)


def before_and_after(name: str, values: Iterable[Any], tries: int) -> Situations:
    """Random situations, each with what comes out before and after each of `values` is told."""
    rng = random.Random(zlib.crc32(name.encode()))
    for n in range(tries):
        facts = random_facts(rng, STARTS[n % len(STARTS)], changes=3)
        picture = picture_of(facts)
        before = run(picture.situation(0.0))
        for value in values:
            told = picture.tell(telling(len(facts) + 1, name, value))
            yield facts, value, before, run(told.situation(0.0))


def tries_for(name: str) -> int:
    """Families repeat for places and sides, so each member needs fewer tries."""
    if name.startswith("smoke."):
        return len(STARTS) // 4 if name.count(".") == 3 else len(STARTS) // 2
    return len(STARTS) if FACTS[name].group else 6 * len(STARTS)


def keeps_access(before: Outcome, after: Outcome) -> bool:
    if before.access_reason == "done":
        return True
    leave_gone = before.access == "leave now" and after.access != "leave now"
    return not access_fell(before, after) and not leave_gone


def keeps_gate(before: Outcome, after: Outcome) -> bool:
    if before.gate == "other means" or before.access_reason == "done":
        return True
    return not gate_fell(before, after)


def violations(name: str, holds: Callable[[Outcome, Outcome], bool]) -> list[str]:
    """What fell when a value of `TIGHTENING` or `PLACING` was told, once for each value."""
    values = {**TIGHTENING, **PLACING}[name]
    found: dict[str, str] = {}
    for facts, value, before, after in before_and_after(name, values, tries_for(name)):
        if not holds(before, after):
            found.setdefault(str(value), f"{name} = {value}: {before.access}, {before.gate} -> "
                             f"{after.access}, {after.gate} with {facts}")
    return list(found.values())


@pytest.mark.parametrize("room", sorted({name.split(".")[0] for name in TIGHTENING}))
def test_an_unmarked_value_never_lowers_access_gate_or_a_leave(room: str) -> None:
    wrong = [line for name in TIGHTENING if name.split(".")[0] == room
             for line in violations(name, lambda before, after: keeps_access(before, after)
                                    and keeps_gate(before, after))]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("name", PLACING)
def test_a_placing_fact_never_lowers_access_or_a_leave(name: str) -> None:
    wrong = violations(name, lambda before, after: keeps_access(before, after)
                       or before.access_rules == ("SOLAR-110",))
    assert not wrong, "\n".join(wrong)


def pictures(count: int, seed: int) -> Iterator[tuple[dict[str, Any], Picture]]:
    rng = random.Random(seed)
    for n in range(count):
        facts = random_facts(rng, STARTS[n % len(STARTS)], changes=3)
        yield facts, picture_of(facts)


def keeps_all(before: Outcome, after: Outcome) -> bool:
    return (keeps_access(before, after) or before.access_reason == "done") and keeps_gate(before, after)


def test_time_alone_never_lowers_access_gate_or_a_leave() -> None:
    """Invariants 4 and 26 (N02: not after a set time): facts grow old, and nothing is allowed by that."""
    for facts, picture in pictures(1000, seed=11):
        before = run(picture.situation(0.0))
        for later in (6 * 60.0, 11 * 60.0, 40 * 60.0, 4 * 3600.0):
            after = run(picture.situation(later))
            assert keeps_all(before, after), f"{before.access} -> {after.access} after {later:g} s with {facts}"


def test_cannot_tell_never_lowers_access_gate_or_a_leave() -> None:
    """Invariant 2: "can't tell" is an answer, and it holds."""
    for facts, picture in pictures(600, seed=12):
        before = run(picture.situation(0.0))
        for name in facts:
            after = run(picture.tell(telling(len(facts) + 1, name, CANNOT_TELL)).situation(0.0))
            assert keeps_all(before, after), f"{name}: {before.access} -> {after.access} with {facts}"


def test_a_change_of_crew_never_lowers_access_gate_or_a_leave() -> None:
    """Invariant 29: crew-bound good news goes with the crew, dangers stay."""
    for facts, picture in pictures(1000, seed=13):
        before = run(picture.situation(0.0))
        after = run(picture.tell(Telling(len(facts) + 1, "crew.", act="expire")).situation(0.0))
        assert keeps_all(before, after), f"{before.access} -> {after.access} with {facts}"


def test_the_situations_are_not_all_alike() -> None:
    """The random situations reach every answer of access and gate, or the tests above prove little."""
    seen = [run(picture.situation(0.0)) for _, picture in pictures(1600, seed=7)]
    assert {one.gate for one in seen} == set(GATE)
    assert {one.access for one in seen} == set(ACCESS)
    assert sum(one.access == "no bar reported" for one in seen) > 100


def test_a_missing_mark_would_be_noticed() -> None:
    """Water on the fire is marked; without the mark the same search finds it at once."""
    fell = [after for *_, before, after in before_and_after("water.on_fire", ["yes"], 24 * len(STARTS))
            if gate_fell(before, after)]
    assert fell
