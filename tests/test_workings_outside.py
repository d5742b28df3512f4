"""Wind, ladder and air against codes and published figures; the source stands beside each check.

`from memory` marks a row whose source was not opened; such rows carry no advice.
"""

from __future__ import annotations

import doctest
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaid.workings import air, ladder, opening, timber, vents, wind_pressure
from fieldaid.workings.limits import OutsideLimits
from fieldaid.workings.wind_pressure import asce, dynamic_pressure, eurocode, on_slope

FOOT, MPH = 0.3048, 0.44704


@pytest.mark.parametrize("module", [air, ladder, opening, timber, vents, wind_pressure])
def test_worked_examples_of_the_docstrings(module):
    result = doctest.testmod(module)
    assert result.attempted and not result.failed


# ASCE 7-10 figure 27.4-1 (7-16: 27.3-1), windward slope, wind normal to the ridge: (angle, h/L): (low, high).
ASCE_WINDWARD = {(10, 0.25): (-0.7, -0.18), (15, 0.25): (-0.5, 0.0), (25, 0.25): (-0.2, 0.3), (45, 0.25): (0, 0.4),
                 (10, 0.5): (-0.9, -0.18), (20, 0.5): (-0.4, 0.0), (30, 0.5): (-0.2, 0.2), (35, 0.5): (-0.2, 0.3),
                 (10, 1.0): (-1.3, -0.18), (25, 1.0): (-0.5, 0.0), (45, 1.0): (0, 0.3)}
ASCE_LEEWARD = {(10, 0.25): -0.3, (15, 0.25): -0.5, (20, 0.25): -0.6, (10, 0.5): -0.5, (30, 0.5): -0.6, (10, 1.0): -0.7,
                (45, 1.0): -0.6}


@pytest.mark.parametrize(("at", "pair"), ASCE_WINDWARD.items())
def test_asce_windward_coefficients(at, pair):
    found = asce("windward", *at)
    assert (found.low, found.high) == pytest.approx(pair)


@pytest.mark.parametrize(("at", "value"), ASCE_LEEWARD.items())
def test_asce_leeward_coefficients(at, value):
    assert asce("leeward", *at).low == asce("leeward", *at).high == pytest.approx(value)


@pytest.mark.parametrize("angle", [60, 65, 70])
def test_asce_steep_windward_slopes_are_a_hundredth_of_the_angle(angle):
    assert asce("windward", angle, 0.5).low == asce("windward", angle, 0.5).high == pytest.approx(0.01 * angle)


# EN 1991-1-4:2005 table 7.4a at 0 degrees: zones F, G, H windward; I and J leeward. Table 7.4b at 90 degrees: H, I.
@pytest.mark.parametrize(("angle", "windward", "leeward", "along"), [
    (15, (-0.9, 0.2), (-1.0, -0.4), (-0.6, -0.5)),
    (30, (-0.5, 0.7), (-0.5, -0.4), (-0.8, -0.5)),
    (45, (0.0, 0.7), (-0.3, -0.2), (-0.9, -0.5)),
])
def test_eurocode_coefficients(angle, windward, leeward, along):
    for lie, pair in (("windward", windward), ("leeward", leeward), ("along", along)):
        found = eurocode(lie, angle)
        assert (found.low, found.high) == pytest.approx(pair)


def test_eurocode_is_silent_where_its_values_were_not_read():
    assert eurocode("leeward", 10) is None
    assert eurocode("leeward", 50) is None


@given(st.floats(0.5, 24), st.sampled_from([None, 0.25, 0.4, 0.7, 1.0]))
def test_leeward_and_side_slopes_always_suck(rise, h_over_l):
    """The rule that both codes support."""
    for lie in ("leeward", "along"):
        assert on_slope(rise / 12, lie, h_over_l).sign == "suction"


@pytest.mark.parametrize(("rise", "sign"), [(1, "suction"), (2, "suction"), (6, "either sign"), (8, "either sign"),
                                            (20.8, "pressure")])
def test_the_windward_slope_by_pitch(rise, sign):
    """Flat slopes suck, 20 to 45 degrees either sign, 60 degrees (20.8 in 12) presses: both codes."""
    assert on_slope(rise / 12, "windward").sign == sign


def test_ranges_span_both_codes():
    both = on_slope(math.tan(math.radians(30)), "windward", 0.5)
    assert (both.low, both.high) == pytest.approx((-0.5, 0.7))


def test_dynamic_pressure_of_the_eurocode_example():
    """Worked sheet to EN 1991-1-4: 26 m/s at 1.25 kg/m3 is 0.422 kN/m2."""
    assert dynamic_pressure(26, 1.25) / 1000 == pytest.approx(0.4225, abs=0.0006)


@pytest.mark.parametrize("mph", [5, 10, 15, 20, 30])
def test_dynamic_pressure_in_psf_by_the_asce_constant(mph):
    """ASCE 7: 0.00256 V^2 psf with V in mph (constant from memory); 1 psf is 47.88 Pa."""
    assert dynamic_pressure(mph * MPH) / 47.88 == pytest.approx(0.00256 * mph**2, rel=0.005)


@pytest.mark.parametrize("bad", [80.0, -1.0, math.nan])
def test_no_coefficient_outside_the_slopes_of_the_code(bad):
    with pytest.raises(OutsideLimits):
        asce("windward", bad, 0.5)


def test_the_ladder_angle_of_a_quarter_length():
    """NFPA 1932 5.1.8 and OSHA 1926.1053: a quarter of the working length is 75.5 degrees."""
    assert pytest.approx(75.5, abs=0.05) == ladder.BEST_ANGLE


@pytest.mark.parametrize(("eave", "needed"), [(8, 11.4), (10, 13.4), (12, 15.5), (18, 21.7), (20, 23.8), (28, 32.0)])
def test_ladder_length_with_three_feet_above(eave, needed):
    """29 CFR 1926.1053(b)(1): 3 ft above the landing; lengths worked by hand: (eave + 3) / sin 75.5."""
    assert ladder.needed_length(eave * FOOT) / FOOT == pytest.approx(needed, abs=0.06)


def test_a_ladder_that_is_too_short_says_so():
    found = ladder.reach(18 * FOOT, length=20 * FOOT)
    assert found.long_enough is False
    assert found.tips_above / FOOT == pytest.approx(20 * math.sin(math.acos(0.25)) - 18)
    assert ladder.reach(18 * FOOT, length=found.needed).long_enough is True


def test_foot_and_angle_are_one_thing():
    by_foot = ladder.reach(18 * FOOT, foot=18 / 4 * FOOT)
    assert by_foot.angle == pytest.approx(math.degrees(math.atan(4)))
    assert ladder.reach(18 * FOOT, angle=by_foot.angle).foot == pytest.approx(18 / 4 * FOOT)


@pytest.mark.parametrize("how", [{"eave": 1 * FOOT}, {"eave": 200 * FOOT}, {"eave": 18 * FOOT, "angle": 60.0},
                                 {"eave": 18 * FOOT, "angle": 85.0}, {"eave": 18 * FOOT, "foot": 0.0},
                                 {"eave": 18 * FOOT, "foot": 5.0}, {"eave": 18 * FOOT, "length": 1.0},
                                 {"eave": 18 * FOOT, "angle": 75.0, "foot": 1.0}, {"eave": math.nan}])
def test_no_ladder_outside_its_limits(how):
    with pytest.raises(OutsideLimits):
        ladder.reach(how.pop("eave"), **how)


@pytest.mark.parametrize(("litres", "minutes"), [(1200, 30), (1800, 45), (2400, 60)])
def test_rated_minutes_of_cylinders(litres, minutes):
    """NIOSH rates at 40 L/min (as quoted in the NFPA community thread)."""
    assert air.lasts(litres / 1000, [1.0]).to_empty[1] == pytest.approx(minutes)


@pytest.mark.parametrize(("litres", "to_alarm"), [(1200, 18.6), (1800, 28), (2400, 37.2)])
def test_working_minutes_to_a_38_percent_alarm(litres, to_alarm):
    """NFPA community thread: 19, 28 to 29 and 37 to 38 minutes at 40 L/min."""
    assert air.lasts(litres / 1000, [1.0], alarm=0.38).to_alarm[1] == pytest.approx(to_alarm, abs=0.6)


@pytest.mark.parametrize(("full", "alarm"), [(2216, 730), (3000, 1000), (4500, 1500), (5500, 1825)])
def test_alarm_pressures_of_the_2013_edition(full, alarm):
    """NFPA 1981-2013 as tabled at safteng.net: 33 % (-0, +5) of the rated pressure."""
    assert 0.33 * 0.995 <= air.fraction_from_pressure(alarm, full) <= 0.33 + 0.05


def test_the_fastest_measured_member():
    """Williams-Bell et al., abstract: three quarters of a 30 minute cylinder (1240 L) in 8 minutes."""
    assert pytest.approx(0.75 * 1240 / 8, rel=0.01) == air.FASTEST * 60e3
    assert air.lasts(1.24, [1.0], alarm=0.25).to_alarm[0] == pytest.approx(8, abs=0.1)


@given(st.floats(0.5, 3.0), st.lists(st.floats(0, 1), min_size=1, max_size=6))
def test_the_lowest_member_counts_and_less_air_never_lasts_longer(volume, shares):
    found = air.lasts(volume, shares)
    assert found.fraction == min(shares)
    assert found.to_alarm[0] <= found.to_alarm[1] <= found.to_empty[1]
    less = air.lasts(volume, [share / 2 for share in shares])
    assert less.to_alarm[1] <= found.to_alarm[1] and less.to_empty[0] <= found.to_empty[0]


@pytest.mark.parametrize(("volume", "shares", "alarm"), [(0.1, [1.0], 0.33), (9, [1.0], 0.33), (1.8, [], 0.33),
                                                         (1.8, [1.2], 0.33), (1.8, [-0.1], 0.33), (1.8, [0.5], 0.9),
                                                         (1.8, [math.nan], 0.33)])
def test_no_time_outside_the_limits(volume, shares, alarm):
    with pytest.raises(OutsideLimits):
        air.lasts(volume, shares, alarm=alarm)


@pytest.mark.parametrize(("along", "spacing", "crossed"), [(48, 16, (2, 3)), (48, 24, (1, 2)), (40, 16, (2, 3)),
                                                           (20, 24, (0, 1)), (96, 16, (5, 6))])
def test_members_under_an_opening_by_hand(along, spacing, crossed):
    """Counted on paper: slide the opening along members on centre; a member in the very edge is not under it."""
    inch = FOOT / 12
    found = opening.rectangle(along * inch, 4 * FOOT, spacing=spacing * inch)
    assert found.crossed == crossed
    counts = {sum(0.001 < at * spacing - start < along - 0.001 for at in range(20)) for start in range(spacing)}
    assert (min(counts), max(counts)) == crossed


def test_area_in_plan_is_less_on_a_slope():
    found = opening.rectangle(4 * FOOT, 8 * FOOT, pitch=0.5)
    assert found.area / FOOT**2 == pytest.approx(32)
    assert found.plan_area * math.sqrt(1.25) == pytest.approx(found.area)
