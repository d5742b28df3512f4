"""What is true of every roof: faces cover the plan once, meet at one height, and turn and mirror with the house."""

from __future__ import annotations

import math
from collections import Counter

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import Point
from shapely.ops import unary_union

from fieldaid.workings.limits import ImpossibleShape, OutsideLimits
from fieldaid.workings.roof import FORMS, build
from fieldaid.workings.roof_model import FOOT, INCH, RoofModel
from fieldaid.workings.roof_wings import Wing

MANY = settings(derandomize=True, max_examples=40, deadline=None,
                suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
QUARTER = {"A": "D", "D": "C", "C": "B", "B": "A"}  # where a side lies after the plan turned a quarter to the left


@st.composite
def told_roofs(draw, forms=FORMS):
    """Arguments of `build` for a roof that can be: lengths in quarter feet, pitches in half inches."""
    form = draw(st.sampled_from(forms))
    width = draw(st.integers(40, 200)) / 4 * FOOT
    length = width + draw(st.integers(0, 240)) / 4 * FOOT
    pitch = draw(st.integers(2, 48)) / 2 / 12
    how = {"overhang_m": draw(st.integers(0, 12)) / 4 * FOOT,
           "spacing_m": draw(st.sampled_from([12, 16, 19.2, 24])) * INCH,
           "ridge_runs": draw(st.sampled_from(["B-D", "A-C"]))}
    slopes = ("A", "C") if how["ridge_runs"] == "B-D" else ("B", "D")
    if form == "pyramid":
        length = width
    elif form == "flat":
        pitch = draw(st.sampled_from([0.0, 0.25 / 12, 1 / 12]))
    elif form == "mansard":
        pitch = draw(st.integers(14, 40)) / 12
        how["upper_pitch"] = draw(st.sampled_from([0.0, 2 / 12, 4 / 12]))
    elif form == "gambrel":
        pitch = draw(st.integers(12, 30)) / 12
    elif form in ("gable", "saltbox") and draw(st.booleans()):
        how["pitches"] = {slopes[1]: draw(st.integers(4, 24)) / 2 / 12}
    if form == "cross-gable" or (form in ("gable", "hip") and draw(st.booleans())):
        how.pop("pitches", None)
        how["wings"] = [draw(wings(side, length, form)) for side in draw(st.sampled_from(
            [slopes[:1], slopes[1:], slopes]))]
    return (form, length, width, pitch), how


@st.composite
def wings(draw, side, length, form):
    wide = draw(st.integers(8, max(int(length / FOOT) - 2, 9))) * FOOT
    wide = min(wide, length)
    start = draw(st.sampled_from([0.0, 1.0, 0.5, 0.25])) * (length - wide)
    out = draw(st.integers(0 if form == "cross-gable" else 4, 30)) * FOOT
    return Wing(side, out, wide, start)


def built(told) -> RoofModel:
    (form, length, width, pitch), how = told
    try:
        return build(form, length, width, pitch, **how)
    except ImpossibleShape as error:
        # Two overhangs that fill the space beside a wing, or gables wider than the house that face each other.
        assert error.where == "overhang" or (
            error.where == "wing width" and len(how["wings"]) == 2 and form != "hip"
            and max(wing.width_m for wing in how["wings"]) > width)
        return None


@MANY
@given(told_roofs())
def test_faces_cover_the_plan_once_with_true_areas(told):
    model = built(told)
    if model is None:
        return
    total = sum(face.plan.area for face in model.faces)
    assert total == pytest.approx(model.outline.area, rel=1e-7)
    assert unary_union([face.plan for face in model.faces]).area == pytest.approx(total, rel=1e-7)
    assert model.outline.buffer(1e-4).covers(unary_union([face.plan for face in model.faces]))
    for face in model.faces:
        assert face.area_m2 * math.cos(math.radians(face.angle_deg)) == pytest.approx(face.plan.area)
        a, b, _ = face.plane
        assert math.hypot(a, b) == pytest.approx(face.pitch)
        assert (a, b) == pytest.approx((-face.down[0] * face.pitch, -face.down[1] * face.pitch))


@MANY
@given(told_roofs())
def test_faces_meet_at_one_height_and_lines_lie_on_both(told):
    model = built(told)
    if model is None:
        return
    for line in model.lines:
        for name in line.faces:
            face = model.face(name)
            for point, z in zip(line.plan.coords, line.z, strict=True):
                assert face.height(*point) == pytest.approx(z, abs=1e-3)
                assert face.plan.distance(Point(point)) < 1e-4
        if line.kind in ("ridge", "hip", "valley", "curb"):
            assert len(line.faces) == 2
        if line.kind == "ridge":
            assert line.z[0] == pytest.approx(line.z[1], abs=1e-3)
    assert max(z for line in model.lines for z in line.z) == pytest.approx(model.ridge_height_m, abs=1e-3)


@MANY
@given(told_roofs())
def test_the_edge_of_the_roof_is_eaves_rakes_and_high_edges(told):
    model = built(told)
    if model is None:
        return
    rim = unary_union([line.plan for line in model.lines_of("eave", "rake", "high edge")
                       if line.plan.distance(model.outline.exterior) < 1e-4])
    covered = model.outline.exterior.intersection(rim.buffer(1e-3)).length
    assert covered == pytest.approx(model.outline.exterior.length, rel=1e-3)


@MANY
@given(told_roofs(forms=("gable", "hip", "pyramid", "shed", "gambrel", "dutch gable", "clipped gable", "cross-gable")))
def test_members_lie_on_their_face_with_true_lengths(told):
    model = built(told)
    if model is None:
        return
    for member in model.members:
        (x0, y0), (x1, y1) = member.plan.coords
        if member.face:
            face = model.face(member.face)
            assert face.plan.buffer(1e-3).covers(member.plan)
            rise = face.height(x1, y1) - face.height(x0, y0)
            assert rise >= -1e-6
            assert math.hypot(member.plan.length, rise) == pytest.approx(member.length_m, abs=1e-4)
            assert member.carries_load
            assert 0 <= member.tail_m < member.length_m


@MANY
@given(told_roofs(forms=("hip", "pyramid")))
def test_jacks_grow_by_one_difference(told):
    (form, length, width, pitch), how = told
    how.pop("wings", None)
    model = build(form, length, width, pitch, **how)
    step = math.hypot(1, pitch) * how["spacing_m"]
    for face in model.faces:
        jacks = sorted(member.length_m for member in model.members_under(face.name) if member.kind == "jack")
        # One at either end of the face has each length, so the steps are none and the difference in turn.
        assert len(jacks) % 2 == 0
        for shorter, same, longer in zip(jacks[::2], jacks[1::2], [*jacks[2::2], None], strict=True):
            assert same == pytest.approx(shorter, abs=1e-3)
            assert longer is None or longer - same == pytest.approx(step, abs=1e-3)


@MANY
@given(told_roofs(), st.data())
def test_the_roof_is_the_lowest_plane_over_a_convex_plan(told, data):
    """An independent statement of the same shape: at any point the height is the least over all faces' planes."""
    model = built(told)
    if model is None or how_many_corners(model) > 4 or model.form == "dutch gable":
        return
    if any(line.kind == "valley" for line in model.lines):
        return  # two faces that meet in a valley are the higher of their planes
    least_x, least_y, most_x, most_y = model.bounds
    x = data.draw(st.floats(least_x, most_x))
    y = data.draw(st.floats(least_y, most_y))
    height = model.height(x, y)
    assert height is not None
    assert height == pytest.approx(min(face.height(x, y) for face in model.faces), abs=1e-3)


def how_many_corners(model: RoofModel) -> int:
    return len(model.footprint.exterior.coords) - 1


def signature(model: RoofModel, turn=None):
    """Areas by side and kind, lengths by kind, in order: what must not change when the house is turned or mirrored."""
    found: dict[tuple[str, ...], list[float]] = {("", "ridge height"): [model.ridge_height_m]}
    for face in model.faces:
        side = turn[face.side] if turn and face.side else face.side
        found.setdefault((side, face.kind), []).append(face.area_m2)
    for line in model.lines:
        found.setdefault(("", line.kind), []).append(line.length_m)
    return {name: pytest.approx(sorted(numbers), abs=1e-3) for name, numbers in found.items()}


def plain(signed):
    return {name: one.expected for name, one in signed.items()}


@MANY
@given(told_roofs(forms=("gable", "hip", "pyramid", "gambrel", "mansard", "dutch gable", "clipped gable", "flat")))
def test_turning_the_house_turns_the_roof(told):
    (form, length, width, pitch), how = told
    if "wings" in how or "pitches" in how:
        return
    here = build(form, length, width, pitch, **{**how, "ridge_runs": "B-D"})
    there = build(form, length, width, pitch, **{**how, "ridge_runs": "A-C"})
    # A-C is the plan mirrored at its diagonal, so A and B, and C and D, change places.
    assert plain(signature(here, {"A": "B", "B": "A", "C": "D", "D": "C"})) == signature(there)
    assert Counter(member.kind for member in here.members) == Counter(member.kind for member in there.members)


@MANY
@given(told_roofs(forms=("gable", "hip", "cross-gable")))
def test_a_mirrored_house_has_a_mirrored_roof(told):
    """Wings measured from the other end: the same faces with B and D changed (for a ridge from B to D)."""
    (form, length, width, pitch), how = told
    if "wings" not in how or how["ridge_runs"] != "B-D":
        return
    try:
        here = build(form, length, width, pitch, **how)
        mirrored = [Wing(one.side, one.length_m, one.width_m, length - one.width_m - one.start_m)
                    for one in how["wings"]]
        there = build(form, length, width, pitch, **{**how, "wings": mirrored})
    except ImpossibleShape:
        return
    assert plain(signature(here, {"A": "A", "B": "D", "C": "C", "D": "B"})) == signature(there)


@pytest.mark.parametrize(("told", "how", "where"), [
    (("hip", 20, 24, 6), {}, "length"),
    (("pyramid", 30, 24, 6), {}, "length"),
    (("shed", 30, 24, 6), {"low_side": "B"}, "low side"),
    (("saltbox", 30, 24, 6), {"ridge_from_m": 25 * FOOT}, "ridge from"),
    (("flat", 30, 24, 4), {}, "pitch"),
    (("gambrel", 30, 24, 18), {"break_run_m": 12 * FOOT}, "break run"),
    (("gambrel", 30, 24, 18), {"upper_pitch": 20 / 12}, "upper pitch"),
    (("mansard", 30, 24, 24), {"upper_pitch": 2.0}, "upper pitch"),
    (("dutch gable", 30, 24, 6), {"end_run_m": 12 * FOOT}, "end run"),
    (("clipped gable", 30, 24, 6), {"end_run_m": 0}, "end run"),
    (("cross-gable", 30, 24, 6), {}, "wing"),
    (("hip", 30, 24, 6), {"wings": [Wing("A", 0, 10 * FOOT, 0)]}, "wing length"),
    (("hip", 30, 24, 6), {"wings": [Wing("B", 9, 10 * FOOT, 0)]}, "wing side"),
    (("hip", 30, 24, 6), {"wings": [Wing("A", 9, 31 * FOOT, 0)]}, "wing width"),
    (("hip", 30, 24, 6), {"wings": [Wing("A", 2, 3, 0), Wing("A", 2, 3, 5)]}, "wing side"),
])
def test_an_impossible_shape_names_its_dimension(told, how, where):
    form, length, width, pitch = told
    with pytest.raises(ImpossibleShape) as caught:
        build(form, length * FOOT, width * FOOT, pitch / 12, **how)
    assert caught.value.where == where
    assert caught.value.why and caught.value.next_step


@pytest.mark.parametrize(("told", "how", "where"), [
    (("arched", 30, 24, 6), {}, "form"), (("mixed", 30, 24, 6), {}, "form"), (("onion", 30, 24, 6), {}, "form"),
    (("gable", 3, 24, 6), {}, "length"), (("gable", 30, 4000, 6), {}, "width"), (("gable", 30, 24, 0), {}, "pitch"),
    (("gable", 30, 24, 25), {}, "pitch"), (("gable", 30, 24, 6), {"pitches": {"E": 0.5}}, "pitch of a side"),
    (("gable", 30, 24, 6), {"pitches": {"C": 3.0}}, "pitch of side C"),
    (("gambrel", 30, 24, 18), {"pitches": {"C": 1.0}}, "pitch of side C"),
    (("gable", 30, 24, 6), {"overhang_m": 3.0}, "overhang"), (("gable", 30, 24, 6), {"rake_m": 3.0}, "rake"),
    (("gable", 30, 24, 6), {"spacing_m": 0.05}, "spacing"), (("gable", 30, 24, 6), {"ridge_runs": "A-B"}, "ridge"),
    (("gable", 30, 24, math.nan), {}, "pitch"), (("gable", math.inf, 24, 6), {}, "length"),
    (("mansard", 30, 24, 24), {"wings": [Wing("A", 2, 3, 0)]}, "wing"),
    (("hip", 30, 24, 6), {"pitches": {"C": 1.0}, "wings": [Wing("A", 2, 3, 0)]}, "pitch of side C"),
])
def test_what_is_outside_the_limits_gives_no_roof(told, how, where):
    form, length, width, pitch = told
    with pytest.raises(OutsideLimits) as caught:
        build(form, length * FOOT, width * FOOT, pitch / 12, **how)
    assert caught.value.where == where
    assert caught.value.next_step
