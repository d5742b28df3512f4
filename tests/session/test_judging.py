"""What is left of two evaluations: the stricter of each, and no word of a place that only one of them allows."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "guidance"))

import house
import pytest

from fieldaid.authoring.situations import GOOD
from fieldaid.facts import Picture, Telling
from fieldaid.facts.situation import Situation
from fieldaid.guidance.guide import Conclusions, Guide
from fieldaid.session.dialogue_state import Pending, State
from fieldaid.session.judging import judge, stricter


@pytest.fixture(scope="module")
def guide() -> Guide:
    return Guide(house.house(), engine=False)


def _found(guide: Guide, **facts: object) -> Conclusions:
    told = {name.replace("__", "."): one for name, one in facts.items()}
    return guide.evaluate(Situation.of(dict(GOOD) | told))


def _places(found: Conclusions) -> list[str]:
    return [name for name in found.computed if name.startswith("place.")]


@pytest.mark.parametrize("other", [{"deck__C": "soft"}, {"command__roof": "come off"}, {"roof__surface": "ice"}])
def test_after_a_no_go_of_either_nothing_of_a_place_is_left(guide: Guide, other: dict[str, object]) -> None:
    open_, barred = _found(guide), _found(guide, **other)
    assert _places(open_) and open_.place
    for merged in (stricter(open_, barred), stricter(barred, open_)):
        assert merged.access == barred.access
        assert (merged.place, merged.slope, merged.kind, merged.size_ft, merged.opening_rules) == (
            None, None, None, None, ())
        assert _places(merged) == []


def test_two_different_faces_leave_none(guide: Guide) -> None:
    one, other = _found(guide), _found(guide, fire__side="A", wind__from="C")
    assert one.slope != other.slope
    merged = stricter(one, other)
    assert merged.slope is None and merged.place is None and _places(merged) == []


def test_what_is_said_of_a_leave_is_said_when_only_the_waiting_word_brings_it(guide):
    waiting = Pending("attic fire", (Telling(99, "fire.attic", "confirmed"),))
    picture = Picture().tell(Telling(1, "roof.framing", "trusses"))
    before, after = (judge(guide, State(picture=picture, pending=waits), 0).main for waits in ((), (waiting,)))
    assert after.access == "leave now" and before.access == "stay off"
    assert {line.rules for line in after.advice} - {line.rules for line in before.advice} == {("WHERE-110",)}


def test_a_danger_that_waits_is_the_reason_of_a_bar_that_stands_for_want_of_facts_too(guide: Guide) -> None:
    """So that the bar is said once with the danger, and not again when it is affirmed."""
    told = State(picture=Picture().tell(Telling(1, "crew.where", "ground")))
    assert judge(guide, told, 0).main.access_reason == "not told"
    waits = replace(told, pending=(Pending("x", (Telling(2, "crew.ways_off", 1),)),))
    main = judge(guide, waits, 0).main
    assert (main.access, main.access_reason) == ("stay off", "hazard")
