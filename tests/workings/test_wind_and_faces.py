"""Wind and faces against published tables and plain geometry."""

from __future__ import annotations

import doctest

import pytest

from fieldaid.facts import Situation
from fieldaid.workings import COMPUTED, compute, faces, wind

PARAMETERS = {"air_low_fraction": 0.33, "air_low_minutes": 5}


@pytest.mark.parametrize("module", [wind, faces])
def test_worked_examples(module):
    result = doctest.testmod(module)
    assert result.attempted and not result.failed


# NOAA/NWS Beaufort table, weather.gov/tbw/beaufort: the mph bands of force 0 to 11.
NWS = {1: (1, 3), 2: (4, 7), 3: (8, 12), 4: (13, 18), 5: (19, 24), 6: (25, 31), 7: (32, 38), 8: (39, 46),
       9: (47, 54), 10: (55, 63), 11: (64, 73)}


@pytest.mark.parametrize(("force", "band"), NWS.items())
def test_beaufort_bands_are_those_of_the_weather_service(force, band):
    assert wind.beaufort(band[0]) == wind.beaufort(band[1]) == force


@pytest.mark.parametrize("force", range(1, 12))
def test_beaufort_bands_agree_with_the_speed_law(force):
    """v = 0.836 B^1.5 m/s (the scale's empirical law) lies in each band; 1 m/s = 2.23694 mph."""
    low, high = NWS[force]
    assert low - 0.5 <= 0.836 * force**1.5 * 2.23694 <= high + 0.5


# WMO convention: wind is named by where it comes from. Worked by hand: wind from 225 onto a wall that faces 225 is
# windward, onto 45 leeward, onto 315 along.
@pytest.mark.parametrize(("wind_from", "a_faces", "side", "lie"), [
    ("southwest", "southwest", "A", "windward"),
    ("southwest", "northeast", "A", "leeward"),
    ("southwest", "northwest", "A", "along"),
    ("west", "south", "B", "windward"),
    ("west", "south", "D", "leeward"),
    ("north", "south", "C", "windward"),
    ("A", "south", "A", "windward"),
    ("A", "south", "C", "leeward"),
])
def test_sides_lie_to_the_wind_as_the_convention_says(wind_from, a_faces, side, lie):
    assert wind.lie_of_sides(wind_from, a_faces)[side] == lie


def test_turning_house_and_wind_together_changes_nothing():
    from fieldaid.facts.vocabulary import COMPASS

    for step in range(8):
        turned = {name: COMPASS[(COMPASS.index(name) + step) % 8] for name in COMPASS}
        for point in COMPASS:
            assert wind.lie_of_sides(point, "south") == wind.lie_of_sides(turned[point], turned["south"])


def test_a_calm_has_no_windward_side():
    assert set(wind.lie_of_sides("west", "south", 0).values()) == {"along"}


def test_a_compass_wind_without_the_houses_facing_names_no_side():
    assert wind.lie_of_sides("west", None) == {}
    computed = compute(Situation.of({"wind.from": "west"}), PARAMETERS)
    assert computed["place.leeward"].value == "east"
    assert not [name for name in computed if name.startswith("wind.on")]


FORMS = ("gable", "hip", "gambrel", "saltbox", "a-frame", "pyramid", "mansard", "flat", "dutch gable", "clipped gable")


def test_the_chosen_face_is_never_windward_nor_refused():
    """Invariant 16 (rows W01-W06, W11): no opening that the wind blows into. All forms, winds and fire sides."""
    chosen = 0
    for form in FORMS:
        for ridge in ("A-C", "B-D"):
            for point in (*wind.COMPASS, "A", "B", "C", "D"):
                for side in ("A", "B", "C", "D", "AB", "BC", "CD", "DA", "centre"):
                    for panels in ("none", ["C"], ["A", "C"]):
                        found = compute(Situation.of({
                            "roof.form": form, "roof.ridge_runs": ridge, "wind.from": point, "site.a_faces": "south",
                            "fire.side": side, "roof.solar": panels}), PARAMETERS)
                        if found["place.found"].value == "no":
                            assert found["place.why_not"].value in ("windward", "obstacles", "no slope")
                            continue
                        face = found["place.face"].value
                        chosen += 1
                        assert found[f"wind.on.{face}"].value != "windward"
                        assert found[f"face.{face}"].value != "gable end"
                        assert panels == "none" or face not in panels
    assert chosen > 1000


def test_only_windward_faces_left_is_said_so():
    found = compute(Situation.of({"roof.form": "gable", "roof.ridge_runs": "B-D", "wind.from": "A", "fire.side": "A",
                                  "deck.C": "soft"}), PARAMETERS)
    assert found["place.found"].value == "no" and found["place.why_not"].value == "windward"


@pytest.mark.parametrize(("facts", "ways"), [
    ({"crew.ladders": [{"place": "A"}, {"place": "BC"}]}, 2),
    ({"crew.ladders": [{"place": "A"}, {"place": "A"}]}, 1),  # two at one place are one way (S28, S34)
    ({"crew.ladders": [{"place": "A"}, {"place": "C", "usable": "no"}]}, 1),
    ({"crew.ladders": [{"place": "A"}, {"place": "C"}], "window.C": "failed"}, 1),
    ({"crew.ladders": [{"place": "unsaid"}, {"place": "unsaid"}]}, 1),
    ({"crew.ways_off": 2, "crew.ladders": [{"place": "A"}]}, 1),
    ({"crew.ways_off": 2}, 2),
])
def test_ways_off_are_counted_by_place(facts, ways):
    assert compute(Situation.of(facts), PARAMETERS)["ways.usable"].value == ways


@pytest.mark.parametrize(("air", "low"), [
    ({"low": "yes"}, "yes"), ({"fraction": 0.33}, "yes"), ({"fraction": 0.5}, "no"),
    ({"minutes": 5}, "yes"), ({"minutes": 12}, "no"),
])
def test_air_is_low_at_the_alarm_of_the_standard(air, low):
    """NFPA 1981 (2013 edition on): the low-air alarm at 33 % of the cylinder [T22]. The minutes are a setting."""
    assert compute(Situation.of({"crew.air": air}), PARAMETERS)["air.low"].value == low


def test_a_missing_input_gives_nothing_and_every_result_is_declared_sourced_and_limited():
    assert compute(Situation.of({}), PARAMETERS) == {}
    found = compute(Situation.of({
        "roof.form": "hip", "roof.ridge_runs": "B-D", "wind.from": "west", "site.a_faces": "south", "fire.side": "C",
        "building.built": "1950-1959", "crew.air": {"low": "yes"}, "crew.ways_off": 2}), PARAMETERS)
    for name, one in found.items():
        assert name in COMPUTED and one.source and one.limits
