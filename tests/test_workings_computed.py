"""The sign of wind pressure as a computed fact: from everything it needs, or not at all."""

from __future__ import annotations

import pytest

from fieldaid.facts import Situation
from fieldaid.workings import COMPUTED, compute

TOLD = {"roof.form": "gable", "roof.ridge_runs": "B-D", "roof.pitch": 6, "site.a_faces": "south", "wind.from": "north"}


def pressures(facts):
    return {name: one for name, one in compute(Situation.of(facts)).items() if name.startswith("pressure.")}


def test_the_leeward_slope_sucks_and_the_windward_one_may_press():
    """Both ASCE 7 and EN 1991-1-4: leeward suction at any pitch, windward either sign at 26.6 degrees."""
    assert {name: one.value for name, one in pressures(TOLD).items()} == {
        "pressure.A": "suction", "pressure.C": "either sign"}


@pytest.mark.parametrize("pitch", [1, 4, 9, 12, 18, 24])
def test_no_windward_slope_of_a_house_counts_as_sucking_when_the_wind_may_press(pitch):
    found = pressures({**TOLD, "roof.pitch": pitch})
    assert found["pressure.A"].value == "suction"
    assert found["pressure.C"].value == ("suction" if pitch < 2.2 else "either sign")


@pytest.mark.parametrize("missing", list(TOLD))
def test_a_missing_input_gives_nothing(missing):
    assert pressures({name: value for name, value in TOLD.items() if name != missing}) == {}


@pytest.mark.parametrize("facts", [{"roof.form": "hip"}, {"roof.form": "saltbox"}, {"wind.mph": 0}])
def test_outside_the_tables_and_in_a_calm_nothing_is_said(facts):
    assert pressures({**TOLD, **facts}) == {}


def test_it_has_source_and_limits():
    for name, one in pressures(TOLD).items():
        assert one.value in COMPUTED[name].values
        assert "EN 1991-1-4" in one.source and "envelope" in one.limits
