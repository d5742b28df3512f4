"""The picture: what tellings add up to. The laws come from the design of the vocabulary's marks."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldaid.errors import FactError
from fieldaid.facts import CANNOT_TELL, FACTS, Picture, Telling, check_value, fact

MINUTE = 60.0


def told(*tellings: tuple, start: int = 1) -> Picture:
    return Picture().tell(*(Telling(n, *one) for n, one in enumerate(tellings, start)))


def some_value(spec):
    """A strategy for values of one fact."""
    if spec.kind == "choice":
        return st.sampled_from(spec.values)
    if spec.kind == "number":
        return st.integers(int(spec.low), int(spec.high))
    if spec.kind == "years":
        return st.integers(1880, 2020)
    if spec.kind == "places":
        return st.one_of(st.just("none"), st.lists(st.sampled_from(spec.values), min_size=1, max_size=3))
    if spec.kind == "ladders":
        ladder = st.fixed_dictionaries({"place": st.sampled_from(("A", "BC", "unsaid")),
                                        "kind": st.sampled_from(("ground", "aerial")),
                                        "usable": st.sampled_from(("yes", "no"))})
        return st.lists(ladder, min_size=1, max_size=3)
    return st.one_of(st.just({"low": "yes"}), st.integers(1, 60).map(lambda m: {"minutes": m}),
                     st.floats(0.1, 1.0).map(lambda f: {"fraction": f}))


tellings = st.lists(
    st.sampled_from(sorted(FACTS)).flatmap(lambda name: st.tuples(
        st.just(name), some_value(fact(name)), st.sampled_from(("tell", "correct", "withdraw", "cannot tell")))),
    max_size=12)


def picture_of(rows, start=1) -> Picture:
    return Picture().tell(*(Telling(n, name, value, act) for n, (name, value, act) in enumerate(rows, start)))


@given(tellings, tellings)
@settings(max_examples=200, deadline=None)
def test_do_then_undo_equals_never_done(before, after):
    base = picture_of(before)
    n = len(before) + 1
    done = base.tell(*(Telling(n, name, value, act) for name, value, act in after))
    assert done.cancel(n).known(0) == base.known(0)
    assert done.cancel(n).restore(n).known(0) == done.known(0)


@given(tellings)
@settings(max_examples=200, deadline=None)
def test_staleness_never_takes_a_danger_away(rows):
    picture = picture_of(rows)
    late = picture.known(1e6)
    for name, one in picture.known(0).items():
        spec = fact(name)
        if one.counts and not spec.is_loosening(one.value) and not spec.placing:
            assert late[name].counts, f"{name}={one.value} must not go stale"


def test_a_moving_fact_is_replaced():
    assert told(("wind.from", "west"), ("wind.from", "north")).known(0)["wind.from"].value == "north"


def test_a_settled_fact_told_twice_is_contested_and_the_worse_counts():
    one = told(("roof.framing", "rafters"), ("roof.framing", "trusses")).known(0)["roof.framing"]
    assert (one.value, one.contested) == ("trusses", ("rafters", "trusses"))
    one = told(("roof.framing", "trusses"), ("roof.framing", "rafters")).known(0)["roof.framing"]
    assert one.value == "trusses"


def test_a_contradiction_without_an_order_is_unknown():
    one = told(("roof.form", "gable"), ("roof.form", "hip")).known(0)["roof.form"]
    assert one.value is None and one.contested == ("gable", "hip") and not one.counts


def test_a_correction_settles_a_contradiction():
    picture = told(("roof.framing", "trusses"), ("roof.framing", "rafters"), ("roof.framing", "rafters", "correct"))
    assert picture.known(0)["roof.framing"].value == "rafters"
    assert not picture.known(0)["roof.framing"].contested


def test_the_steeper_of_two_pitches_counts():
    assert told(("roof.pitch", 6), ("roof.pitch", 12)).known(0)["roof.pitch"].value == 12


def test_panels_told_twice_add_up():
    assert told(("roof.solar", ["C"]), ("roof.solar", "none")).known(0)["roof.solar"].value == ["C"]
    assert told(("roof.solar", ["C"]), ("roof.solar", ["A"])).known(0)["roof.solar"].value == ["A", "C"]


def test_the_deck_only_gets_worse():
    assert told(("deck.C", "soft"), ("deck.C", "solid")).known(0)["deck.C"].value == "soft"
    assert told(("deck.C", "soft"), ("deck.C", "burned through")).known(0)["deck.C"].value == "burned through"
    assert told(("deck.C", "soft"), ("deck.C", "solid", "correct")).known(0)["deck.C"].value == "solid"


def test_a_confirmed_attic_fire_is_not_softened_to_suspected():
    assert told(("fire.attic", "confirmed"), ("fire.attic", "suspected")).known(0)["fire.attic"].value == "confirmed"


def test_a_year_inside_a_range_is_no_contradiction():
    one = told(("building.built", "1950-1959"), ("building.built", 1958)).known(0)["building.built"]
    assert (one.value, one.contested) == (1958, ())


def test_cannot_tell_holds_and_never_removes_a_danger():
    assert told(("roof.framing", None, "cannot tell")).known(0)["roof.framing"].value == CANNOT_TELL
    assert told(("roof.framing", "trusses"), ("roof.framing", None, "cannot tell")
                ).known(0)["roof.framing"].value == "trusses"
    good = told(("water.on_fire", "yes"), ("water.on_fire", None, "cannot tell"))
    assert not good.known(0)["water.on_fire"].counts


def test_good_news_goes_stale_and_says_so():
    spec = fact("water.on_fire")
    picture = told(("water.on_fire", "yes"))
    assert picture.known(spec.stale_s)["water.on_fire"].counts
    assert picture.known(spec.stale_s + 1)["water.on_fire"].stale


def test_a_roof_ladder_hooked_above_a_ladder_leaves_that_ladder():
    """S03: a roof ladder lies on the slope; what stands on the ground below it still stands."""
    picture = told(("crew.ladders", [{"place": "C"}]), ("crew.ladders", [{"place": "C", "kind": "roof"}]))
    assert [(one["place"], one["kind"]) for one in picture.known(0)["crew.ladders"].value] == [
        ("C", "ground"), ("C", "roof")]
    aerial = picture.tell(Telling(9, "crew.ladders", [{"place": "C", "kind": "aerial"}]))
    assert [one["kind"] for one in aerial.known(0)["crew.ladders"].value] == ["roof", "aerial"]


@pytest.mark.parametrize(("fire", "beside"), [("confirmed", ("garage",)), ("suspected", ("garage",)),
                                              ("knocked down", ("garage",)), ("not seen", ())])
def test_fire_in_the_attic_of_another_section_is_seen_beside_and_not_in_its_own(fire, beside):
    """Invariant 31: it clears nothing, and what was clear before is looked at again; common practice, no source."""
    picture = told(("fire.attic@garage", fire), ("fire.attic", "not seen"))
    assert picture.situation(0).attics_beside == beside
    assert picture.situation(0, "porch").attics_beside == beside
    assert picture.situation(0, "garage").attics_beside == ()
    assert told(("fire.eaves", "confirmed")).situation(0, "garage").attics_beside == ("main",)


def test_ladders_add_up_by_place_and_a_lost_one_without_place_puts_all_in_doubt():
    picture = told(("crew.ladders", [{"place": "A"}]), ("crew.ladders", [{"place": "BC"}]))
    assert [one["place"] for one in picture.known(0)["crew.ladders"].value] == ["A", "BC"]
    lost = picture.tell(Telling(9, "crew.ladders", [{"place": "unsaid", "usable": "no"}]))
    assert {one["usable"] for one in lost.known(0)["crew.ladders"].value} == {"no"}


def test_a_crew_change_drops_good_news_and_keeps_dangers():
    picture = told(("crew.count", 3), ("crew.hurt", "yes"), ("crew.", None, "expire"))
    assert "crew.count" not in picture.known(0)
    assert picture.known(0)["crew.hurt"].value == "yes"


def test_a_section_inherits_hazards_and_never_good_news():
    picture = told(("roof.framing", "trusses"), ("deck.C", "solid"), ("wind.from", "west"),
                   ("fire.attic@garage", "confirmed"))
    garage = picture.situation(0, "garage").values
    assert garage["roof.framing"] == "trusses" and garage["fire.attic"] == "confirmed"
    assert "deck.C" not in garage
    assert garage["wind.from"] == "west"
    assert "fire.attic" not in picture.situation(0).values


def test_only_confirmed_words_are_left_when_asked():
    picture = Picture().tell(Telling(1, "wind.from", "west", confirmed=False))
    assert "wind.from" in picture.situation(0).values
    assert "wind.from" not in picture.situation(0, confirmed_only=True).values


@pytest.mark.parametrize(("name", "value", "says"), [
    ("roof.from", "gable", "roof.form"),
    ("roof.form", "gabel", "gable"),
    ("roof.pitch", 99, "between 0 and 24"),
    ("roof.pitch", True, "number"),
    ("roof.pitch", float("nan"), "number"),
    ("building.built", 12, "1700"),
    ("building.built", "1990-1950", "range"),
    ("roof.wires", [], "places"),
    ("crew.air", {"minutes": 500}, "minutes"),
    ("crew.ladders", [{"place": "moon"}], "place"),
    ("wind.from@garage", "west", "section"),
    ("roof.form@cellar", "gable", "sections are"),
])
def test_what_is_outside_the_vocabulary_is_refused_in_one_clear_sentence(name, value, says):
    with pytest.raises(FactError) as caught:
        check_value(name, value)
    assert says in str(caught.value)


def test_every_fact_is_well_formed():
    for name, spec in FACTS.items():
        assert spec.name == name and spec.called and spec.about
        assert (spec.kind in ("choice", "places", "ladders")) == bool(spec.values), name
        if spec.worse:
            assert set(spec.worse) == set(spec.values), f"{name}: the order must name every value"
        if spec.loosening != "any" and spec.kind == "choice":
            assert set(spec.loosening) <= set(spec.values), name
        if spec.settled:
            assert spec.stale_s is None, f"{name}: a settled fact does not go stale"
