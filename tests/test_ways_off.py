"""Ways off counted from the ladders told. S02, S03, S34, N07; invariant 7: two at one corner, or one over a venting
window, are one way; a roof ladder lies on the roof (S03)."""

from __future__ import annotations

import pytest

from fieldaid.facts import Situation
from fieldaid.workings import ways
from fieldaid.workings.computed import compute

A, BC, C = {"place": "A"}, {"place": "BC"}, {"place": "C"}


def usable(*ladders, **told):
    facts = {"crew.ladders": list(ladders), **{name.replace("__", "."): value for name, value in told.items()}}
    found = compute(Situation.of(facts))
    return found["ways.usable"].value if "ways.usable" in found else None


@pytest.mark.parametrize(("ladders", "count"), [
    ([A], 1), ([A, BC], 2), ([BC, BC], 1), ([A, BC, C], 3), ([{"place": "unsaid"}], 1),
    ([{"place": "unsaid"}, {"place": "unsaid"}], 1), ([{**A, "usable": "no"}, C], 1), ([{**A, "usable": "no"}], 0),
    ([A, {**C, "kind": "aerial"}], 2)])
def test_each_place_is_one_way(ladders, count):
    assert usable(*ladders) == count


def test_a_roof_ladder_is_no_way_down_and_alone_tells_of_none():
    assert usable(A, {**C, "kind": "roof"}) == 1
    assert usable({**C, "kind": "roof"}) is None
    assert usable({**C, "kind": "roof"}, crew__ways_off=2) == 2


@pytest.mark.parametrize("window", [
    {"window.C": "failed"}, {"smoke.window.C.volume": "light"}, {"smoke.window.C.volume": "heavy"},
    {"smoke.window.C.push": "lazy"}, {"smoke.window.C.colour": "black"}])
def test_a_ladder_at_a_venting_window_is_no_way(window):
    assert usable(A, C, **{name.replace(".", "__"): value for name, value in window.items()}) == 1
    found = ways.count(Situation.of({"crew.ladders": [A, C], **window}).values)
    assert found["ways.over_window"] == "yes"


@pytest.mark.parametrize("window", [
    {"window.C": "closed"}, {"window.C": "open"}, {"smoke.window.C.volume": "none"}, {"smoke.window.B.volume": "heavy"},
    {"smoke.window.volume": "heavy"}, {"smoke.gable.C.volume": "heavy"}])
def test_a_window_that_vents_nothing_there_takes_no_ladder(window):
    assert usable(A, C, **{name.replace(".", "__"): value for name, value in window.items()}) == 2


def test_the_fewer_of_what_is_told_and_what_is_counted_holds():
    assert usable(A, BC, C, crew__ways_off=2) == 2
    assert usable(A, crew__ways_off=3) == 1
    assert usable({"place": "unsaid"}, crew__ways_off=2) == 2


def test_what_is_said_of_ladders_beside_their_count():
    found = ways.count(Situation.of({"crew.ladders": [BC, BC, {**A, "kind": "roof"}]}).values)
    assert (found["ways.shared"], found["ways.roof_ladder"], found["ways.over_window"]) == ("yes", "yes", "no")
    found = ways.count(Situation.of({"crew.ladders": [A, {**C, "kind": "aerial"}]}).values)
    assert (found["ways.shared"], found["ways.roof_ladder"], found["ways.aerial"]) == ("no", "no", "yes")
    assert ways.count({}) == {}
