"""The computed roof against framing-square tables and the worked examples of the Army and Navy manuals.

Sources: rafter tables of framing squares (web copies; 13 and 16 in 12 also in the Army correspondence text EN5156 and
manual EN0069A); Army EN5156, worked example beside figure 3-13; Navy NAVEDTRA 14044 (Builder), chapters on hip rafters
and ridge layout; Carpenter's Guide, "length of ridge". The rows of the jack lines are from memory and marked so.
"""

from __future__ import annotations

import doctest
import math

import pytest

from fieldaid.workings import roof
from fieldaid.workings.roof import build
from fieldaid.workings.roof_model import FOOT, INCH

# Square, line 1: length of common rafter per foot of run [in].
COMMON = {2: 12.17, 3: 12.37, 4: 12.65, 5: 13.00, 6: 13.42, 7: 13.89, 8: 14.42, 9: 15.00, 10: 15.62, 11: 16.28,
          12: 16.97, 13: 17.69, 14: 18.44, 15: 19.21, 16: 20.00, 17: 20.81, 18: 21.63}
# Square, line 2: length of hip or valley per foot of common run [in]; 8 in 12 also NAVEDTRA 14044.
HIP = {3: 17.23, 4: 17.44, 5: 17.69, 6: 18.00, 7: 18.36, 8: 18.76, 9: 19.21, 10: 19.70, 11: 20.22, 12: 20.78}
# Square, lines 3 and 4: difference of jacks at 16 and 24 in; figures from memory.
JACKS = [(8, 16, 19.23), (8, 24, 28.84), (6, 16, 17.89), (6, 24, 26.83), (12, 16, 22.63), (12, 24, 33.94),
         (4, 16, 16.87), (4, 24, 25.30)]
# Slope angles, as books print them.
ANGLES = {3: 14.04, 4: 18.43, 5: 22.62, 6: 26.57, 8: 33.69, 9: 36.87, 10: 39.81, 12: 45.00}


def hip(pitch_in_12: float, spacing: float = 16.0, length: float = 40.0, width: float = 24.0, **how):
    return build("hip", length * FOOT, width * FOOT, pitch_in_12 / 12, spacing_m=spacing * INCH, **how)


def test_the_worked_example_of_the_builder():
    assert doctest.testmod(roof).failed == 0


@pytest.mark.parametrize(("rise", "per_foot"), COMMON.items())
def test_common_rafters_are_those_of_the_square(rise, per_foot):
    model = build("gable", 40 * FOOT, 24 * FOOT, rise / 12)
    lengths = {round(member.length_m / INCH, 6) for member in model.members if member.kind == "common"}
    assert len(lengths) == 1
    assert lengths.pop() / 12 == pytest.approx(per_foot, abs=0.0051)  # run is 12 ft; the table has two decimals


@pytest.mark.parametrize(("rise", "per_foot"), HIP.items())
def test_hips_are_those_of_the_square(rise, per_foot):
    for line in hip(rise).lines_of("hip"):
        assert line.length_m / INCH / 12 == pytest.approx(per_foot, abs=0.0051)


@pytest.mark.parametrize(("rise", "per_foot"), HIP.items())
def test_valleys_are_those_of_the_square(rise, per_foot):
    """A wing as wide as the house has valleys whose common run is half its width."""
    model = build("hip", 40 * FOOT, 24 * FOOT, rise / 12,
                  wings=[roof.Wing("A", 15 * FOOT, 24 * FOOT, 8 * FOOT)])
    valleys = model.lines_of("valley")
    assert len(valleys) == 2
    for line in valleys:
        assert line.length_m / INCH / 12 == pytest.approx(per_foot, abs=0.0051)


@pytest.mark.parametrize(("rise", "spacing", "difference"), JACKS)
def test_jacks_differ_as_the_square_says_from_memory(rise, spacing, difference):
    model = hip(rise, spacing, length=60, width=40)
    jacks = sorted({round(member.length_m / INCH, 4) for member in model.members_under("B") if member.kind == "jack"})
    steps = [longer - shorter for shorter, longer in zip(jacks, jacks[1:], strict=False)]
    assert len(steps) > 3
    assert steps == pytest.approx([difference] * len(steps), abs=0.006)


@pytest.mark.parametrize(("rise", "angle"), ANGLES.items())
def test_slope_angles(rise, angle):
    assert build("gable", 30 * FOOT, 20 * FOOT, rise / 12).face("A").angle_deg == pytest.approx(angle, abs=0.006)


def test_army_example_13_in_12():
    """EN5156: run 10 ft 4 in at 13 in 12 is 17.69 in a foot, 182.79 in, or 15 ft 3 in."""
    run = 10 + 4 / 12
    model = build("gable", 40 * FOOT, 2 * run * FOOT, 13 / 12)
    length = next(member.length_m for member in model.members if member.kind == "common") / INCH
    assert length == pytest.approx(182.79, abs=0.06)  # the text rounds the table value before it multiplies
    assert length / 12 == pytest.approx(15.25, abs=0.03)


def test_navy_example_hip_of_15_ft_run_and_10_ft_rise():
    """NAVEDTRA 14044: common run 15 ft, rise 10 ft: hip run 21.21 ft, hip length 23.45 ft."""
    model = hip(8, length=50, width=30)
    line = model.lines_of("hip")[0]
    assert model.ridge_height_m / FOOT == pytest.approx(10)
    assert line.plan.length / FOOT == pytest.approx(21.21, abs=0.005)
    assert line.length_m / FOOT == pytest.approx(23.45, abs=0.005)


def test_ridge_of_a_hip_is_length_less_width():
    """Carpenter's Guide, "length of ridge"; thickness of ridge and hip left out, as said in the limits."""
    assert [line.length_m / FOOT for line in hip(6).lines_of("ridge")] == pytest.approx([16.0])


def test_area_of_a_hip_by_hand():
    """Worked by hand: 40 x 24 ft at 6 in 12: two triangles 24 x 13.416 / 2, two trapezoids (40 + 16) / 2 x 13.416."""
    slope = 12 * math.sqrt(1.25)
    by_hand = 2 * (24 * slope / 2) + 2 * ((40 + 16) / 2 * slope)
    model = hip(6)
    assert model.area_m2 / FOOT**2 == pytest.approx(by_hand, rel=1e-9)
    assert model.area_m2 / FOOT**2 == pytest.approx(1073.3, abs=0.05)


def test_fourth_jack_at_16_in_on_6_in_12():
    """A hip is at 45 degrees in plan, so a jack stands as far from the corner as it runs: 64 in run, 71.6 in long."""
    jacks = sorted(member.length_m / INCH for member in hip(6).members_under("A") if member.kind == "jack")
    assert jacks[6:8] == pytest.approx([71.55, 71.55], abs=0.03)  # two of each, one at either end


def test_gambrel_by_hand():
    """24 ft wide, 18 in 12 for 6 ft, then 6 in 12: up 9 ft, then 3 ft; rafters 6 x 1.803 and 6 x 1.118 ft."""
    model = build("gambrel", 40 * FOOT, 24 * FOOT, 18 / 12, upper_pitch=6 / 12, break_run_m=6 * FOOT)
    assert model.ridge_height_m / FOOT == pytest.approx(12)
    lengths = {face: model.members_under(face)[0].length_m / FOOT for face in ("A1", "A2")}
    assert lengths == pytest.approx({"A1": 6 * math.sqrt(1 + 1.5**2), "A2": 6 * math.sqrt(1.25)})
    assert model.area_m2 / FOOT**2 == pytest.approx(2 * 40 * sum(lengths.values()))


def test_saltbox_by_hand():
    """30 ft wide, ridge 10 ft behind the front at 12 in 12, back at 6 in 12: ridge 10 ft up, back plate level again."""
    model = build("saltbox", 40 * FOOT, 30 * FOOT, 1.0, pitches={"C": 0.5}, ridge_from_m=10 * FOOT)
    assert model.ridge_height_m / FOOT == pytest.approx(10)
    assert model.face("C").height(0, 30 * FOOT) == pytest.approx(0, abs=1e-9)
    assert {end.side: end.area_m2 / FOOT**2 for end in model.gable_ends} == pytest.approx({"B": 150, "D": 150})


def test_dutch_gable_by_hand():
    """Half-hip 6 ft deep on a 40 x 24 ft house at 6 in 12: ridge 28 ft, gablets 12 ft wide and 3 ft high."""
    model = build("dutch gable", 40 * FOOT, 24 * FOOT, 0.5, end_run_m=6 * FOOT)
    assert [line.length_m / FOOT for line in model.lines_of("ridge")] == pytest.approx([28])
    assert sorted((end.side, round(end.height_m / FOOT, 6), round(end.area_m2 / FOOT**2, 6))
                  for end in model.gable_ends) == [("B", 3.0, 18.0), ("D", 3.0, 18.0)]
    assert model.area_m2 / FOOT**2 == pytest.approx(40 * 24 * math.sqrt(1.25))


def test_clipped_gable_by_hand():
    """The clip starts 3 ft from the ridge's end: 34 ft ridge, clip 6 ft wide at the wall, 1.5 ft below the ridge."""
    model = build("clipped gable", 40 * FOOT, 24 * FOOT, 0.5, end_run_m=3 * FOOT)
    assert [line.length_m / FOOT for line in model.lines_of("ridge")] == pytest.approx([34])
    clip = model.face("B")
    assert clip.plan.area / FOOT**2 == pytest.approx(9)
    assert [round(line.length_m / FOOT, 6) for line in model.lines_of("eave") if line.faces == ("B",)] == [6.0]


def test_mansard_by_hand():
    """40 x 24 ft, 24 in 12 for 3 ft, level above: curb 6 ft up, top 34 x 18 ft."""
    model = build("mansard", 40 * FOOT, 24 * FOOT, 2.0, break_run_m=3 * FOOT)
    assert model.face("top").plan.area / FOOT**2 == pytest.approx(34 * 18)
    assert model.ridge_height_m / FOOT == pytest.approx(6)
    assert len(model.lines_of("curb")) == 4


def test_hip_with_steeper_ends_by_hand():
    """40 x 24 ft, sides 6, ends 12 in 12: ridge 6 ft up, end runs 6 ft, ridge 28 ft."""
    model = hip(6, pitches={"B": 1.0, "D": 1.0})
    assert [line.length_m / FOOT for line in model.lines_of("ridge")] == pytest.approx([28])
    assert model.face("B").plan.area / FOOT**2 == pytest.approx(24 * 6 / 2)


def test_gable_with_two_pitches_by_hand():
    """24 ft wide, 6 in 12 over A and 12 in 12 over C: the ridge stands 16 ft from A and 8 ft up."""
    model = build("gable", 40 * FOOT, 24 * FOOT, 0.5, pitches={"C": 1.0})
    (ridge,) = model.lines_of("ridge")
    assert {round(y / FOOT, 6) for _, y in ridge.plan.coords} == {16.0}
    assert model.ridge_height_m / FOOT == pytest.approx(8)


def test_overhang_lengthens_rafters_by_its_slope_and_drops_the_eave():
    """A foot of overhang at 6 in 12 is 13.42 in of tail [square] and half a foot of drop."""
    model = hip(6, overhang_m=1 * FOOT)
    common = next(member for member in model.members if member.kind == "common")
    assert common.tail_m / INCH == pytest.approx(13.42, abs=0.005)
    assert common.length_m / INCH == pytest.approx(13 * 13.416, abs=0.01)
    assert min(z for line in model.lines_of("eave") for z in line.z) / FOOT == pytest.approx(-0.5)
    assert [line.length_m / FOOT for line in model.lines_of("ridge")] == pytest.approx([16])


@pytest.mark.parametrize(("form", "length", "count"), [
    # By hand: 40 ft at 16 in is 30 bays, so 31 places, on two slopes; one at each end of 41 ft makes 32 places.
    ("gable", 40, 62), ("gable", 41, 64), ("shed", 40, 31), ("flat", 40, 31),
])
def test_member_counts_by_hand(form, length, count):
    model = build(form, length * FOOT, 24 * FOOT, 0.0 if form == "flat" else 0.5)
    assert sum(member.kind in ("common", "joist") for member in model.members) == count


def test_trusses_stand_at_24_in_and_have_no_ridge():
    model = build("gable", 40 * FOOT, 24 * FOOT, 0.5, framing="trusses", spacing_m=24 * INCH)
    assert {member.kind for member in model.members} == {"truss"}
    assert len(model.members_under("A")) == 21


def test_layout_of_hip_trusses_is_said_to_be_unknown():
    model = hip(6, framing="trusses")
    assert model.members == ()
    assert any("truss layout not computed" in note for note in model.notes)


def test_a_face_measures_along_and_up_its_slope():
    face = hip(6).face("C")
    along, up = face.on_slope(20 * FOOT, 20 * FOOT)
    assert face.in_plan(along, up) == pytest.approx((20 * FOOT, 20 * FOOT))
    further, higher = face.on_slope(18 * FOOT, 18 * FOOT)
    assert (further - along, higher - up) == pytest.approx((2 * FOOT, 2 * FOOT * math.sqrt(1.25)))
