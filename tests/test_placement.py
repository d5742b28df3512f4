"""Placement: the invariants on thousands of random houses by an independent checker, and metamorphic relations."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest
from placement_checker import faults
from placement_houses import (
    CORNERS,
    MIRROR,
    QUARTER,
    SIDE_ENDS,
    along_side,
    corner,
    fire_part,
    moved,
    random_question,
)
from shapely.geometry import box

from fieldaid.workings.placement import place
from fieldaid.workings.placement_model import Obstacle, Question, WayOff
from fieldaid.workings.roof import build
from fieldaid.workings.roof_model import FOOT

WEST = (-1.0, 0.0)


def gable(**told) -> Question:  # type: ignore[no-untyped-def]
    """The invented house of the design: ridge from B to D, fire at C, wind from B, ladders at the BC corner and A."""
    roof = build("gable", 40 * FOOT, 28 * FOOT, 6 / 12)
    base = dict(
        roof=roof,
        wind=WEST,
        fire=fire_part(roof, "C"),
        fire_sides="C",
        ways=(corner(roof, "BC"), along_side(roof, "A")),
        framing="rafters",
        deck="plank",
        ceiling="flat",
        crew=3,
    )
    return Question(**{**base, **told})


def hip(**told) -> Question:  # type: ignore[no-untyped-def]
    roof = build("hip", 44 * FOOT, 28 * FOOT, 6 / 12)
    base = dict(
        roof=roof,
        wind=WEST,
        fire=fire_part(roof, "D"),
        fire_sides="D",
        ways=(corner(roof, "CD"), corner(roof, "AB")),
        framing="rafters",
        deck="plank",
        crew=2,
    )
    return Question(**{**base, **told})


def test_the_house_of_the_design() -> None:
    """C, high, four by eight, the ladder at the corner behind the crew [G01, G03, S34]."""
    best = place(gable()).best
    assert best is not None and faults(gable(), best) == []
    assert (best.face, best.kind, best.size_ft, best.way_off, best.second_way) == (
        "C",
        "rectangle",
        (4.0, 8.0),
        "BC ladder",
        "A ladder",
    )
    assert best.over_fire and best.lie == "along" and best.condition == ""
    assert [cut.name for cut in best.cuts] == ["top", "far side", "bottom", "near side"]
    assert best.cuts[0].rides_over == (("rafter", 6),) and best.cuts[1].rides_over == ()
    assert best.cuts[0].length_m == pytest.approx(8 * FOOT) and best.cuts[1].length_m == pytest.approx(4 * FOOT)
    assert len(best.stances) == 3
    assert "flat ceiling is about 6 ft below" in best.ceiling


def test_louvred_panels_on_a_panel_deck_over_rafters() -> None:
    """G04, G08: long cuts high and low, then a cut in each bay, the last one nearest to the crew."""
    best = place(gable(deck="osb")).best
    assert best is not None and best.kind == "louvred panels" and faults(gable(deck="osb"), best) == []
    assert [cut.name for cut in best.cuts][:2] == ["top", "bottom"]
    upright = best.cuts[2:]
    home = best.stances[0].at
    gaps = [math.dist(home, cut.plan.centroid.coords[0]) for cut in upright]
    assert gaps == sorted(gaps, reverse=True) and len(upright) == 7


def test_a_hip_end_gets_a_triangle_or_trapezoid_high_beside_the_hip() -> None:
    """G13, C19."""
    best = place(hip()).best
    assert best is not None and best.face == "D" and best.kind in ("triangle", "trapezoid")
    assert faults(hip(), best) == [] and best.lie == "leeward"


def test_every_rejected_face_has_a_reason() -> None:
    answer = place(hip(wind=(1.0, 0.0)))
    reasons = {one.face: one.code for one in answer.rejections}
    assert reasons["D"] == "windward" and all(one.why.endswith(".") and one.source for one in answer.rejections)
    told = {one.face for one in answer.rejections} | {one.face for one in (answer.best, answer.second) if one}
    assert told <= set("ABCD")


def test_an_existing_opening_over_the_fire_is_preferred_to_a_cut() -> None:
    """P17."""
    skylight = Obstacle("skylight", box(5.0, 5.6, 6.2, 6.8), "skylight")
    best = place(gable(obstacles=(skylight,))).best
    assert best is not None and best.kind == "existing opening" and best.plan.equals_exact(skylight.plan, 1e-6)
    assert best.cuts == () and any("fall hole" in note for note in best.notes)


@pytest.mark.parametrize(
    ("told", "code"),
    [
        (dict(ways=()), "ways"),
        (dict(refused=(("A", "panels, where they end is not told"), ("C", "panels"))), "obstacles"),
        (dict(knee_wall_m=0.9, void="knee wall", within=box(0, 0, 0.5, 0.5)), "section"),
    ],
)
def test_no_place_at_all(told: dict, code: str) -> None:
    answer = place(gable(**told))
    assert answer.best is None and answer.second is None
    assert code in {one.code for one in answer.rejections}


def test_one_corner_is_one_way() -> None:
    """Invariant 7: two ladders at one corner are one way [S02]."""
    roof = gable().roof
    two = (corner(roof, "BC"), replace(corner(roof, "BC"), name="second BC ladder"))
    assert place(gable(ways=two)).best is None
    assert place(gable(ways=(*two, corner(roof, "DA")))).best is not None
    lost = (corner(roof, "BC"), replace(corner(roof, "DA"), usable=False))
    assert place(gable(ways=lost)).best is None


def test_a_ladder_told_by_its_side_alone_brings_a_condition() -> None:
    """Where along a side a ladder stands is not assumed."""
    roof = gable().roof
    answer = place(gable(ways=(along_side(roof, "C"), along_side(roof, "A"))))
    assert answer.best is not None and "is not told" in answer.best.condition


@pytest.mark.parametrize("form", ["gambrel", "mansard", "saltbox", "dutch gable", "clipped gable"])
def test_other_forms_are_said_to_be_not_computed(form: str) -> None:
    roof = build(form, 40 * FOOT, 28 * FOOT, (20 if form in ("gambrel", "mansard") else 6) / 12)
    answer = place(gable(roof=roof))
    assert answer.best is None and form in answer.not_computed and answer.rejections == ()


@pytest.mark.parametrize("told", [dict(framing="bowstring"), dict(framing="sandwich panel"), dict(deck="concrete")])
def test_what_a_roof_saw_does_not_open(told: dict) -> None:
    assert place(gable(**told)).not_computed


def test_a_truss_hip_is_not_computed() -> None:
    roof = build("hip", 44 * FOOT, 28 * FOOT, 6 / 12, framing="trusses")
    assert "truss layout not computed" in place(hip(roof=roof, framing="trusses")).not_computed


def test_a_flat_roof_names_the_trench_and_places_none() -> None:
    """G14, G15."""
    roof = build("flat", 40 * FOOT, 28 * FOOT, 0)
    answer = place(gable(roof=roof))
    assert answer.best is not None and answer.best.kind == "rectangle" and "trench" in answer.notes[0].lower()


def test_an_inspection_opening_is_within_reach_of_a_tip() -> None:
    """G12, N05: between two members, nobody on the roof."""
    answer = place(gable(mode="inspection"))
    best = answer.best
    assert best is not None and best.kind == "inspection" and best.area_m2 < 0.2
    assert best.way.coords[0] == best.stances[0].at and not any(cut.rides_over for cut in best.cuts)
    assert best.plan.distance(best.way) < 4 * FOOT


def test_knee_wall_bay() -> None:
    """A13: the opening is over the void that burns."""
    peak = place(gable(knee_wall_m=3 * FOOT, void="peak")).best
    low = place(gable(knee_wall_m=4.5 * FOOT, void="knee wall")).best
    roof = gable().roof
    assert peak is not None and low is not None
    assert min(roof.height(x, y) for x, y in peak.plan.exterior.coords) >= 3 * FOOT - 1e-6  # type: ignore[type-var]
    assert max(roof.height(x, y) for x, y in low.plan.exterior.coords) <= 4.5 * FOOT + 1e-6  # type: ignore[type-var]


# Thousands of random houses


def run(seeds: range) -> dict[str, int]:
    """Places an opening on each house; every answer must be free of faults."""
    counts = {"asked": 0, "placed": 0, "second": 0, "nowhere": 0, "not computed": 0}
    for seed in seeds:
        question = random_question(random.Random(seed))
        answer = place(question)
        counts["asked"] += 1
        counts["not computed"] += bool(answer.not_computed)
        counts["placed"] += answer.best is not None
        counts["second"] += answer.second is not None
        for opening in (answer.best, answer.second):
            assert opening is None or faults(question, opening) == [], f"seed {seed}: {faults(question, opening)}"
        if answer.best is None and not answer.not_computed:
            counts["nowhere"] += 1
            named = {one.face for one in answer.rejections}
            assert {face.name for face in question.roof.faces} <= named, f"seed {seed}"
    return counts


def test_the_invariants_hold_on_random_houses() -> None:
    counts = run(range(60))
    assert counts["placed"] > 25 and counts["nowhere"] > 2, counts


@pytest.mark.slow
@pytest.mark.parametrize("first", range(1000, 4000, 500))
def test_the_invariants_hold_on_thousands_of_random_houses(first: int) -> None:
    """Invariants 5, 7, 8, 16 and the obstacles on 3,000 houses."""
    counts = run(range(first, first + 500))
    assert counts["placed"] > 200 and counts["nowhere"] > 16, counts


@pytest.mark.parametrize(("to", "names"), [MIRROR, QUARTER])
def test_a_mirrored_or_turned_house_has_the_mirrored_or_turned_answer(to, names) -> None:  # type: ignore[no-untyped-def]
    same = 0
    for seed in range(30):
        question = random_question(random.Random(7000 + seed))
        answer, other = place(question), place(moved(question, to, names))
        assert (answer.best is None) == (other.best is None), seed
        assert sorted(one.code for one in answer.rejections) == sorted(one.code for one in other.rejections), seed
        if answer.best is None or other.best is None:
            continue
        assert other.best.score == pytest.approx(answer.best.score, abs=1e-4), seed
        where = [to(x, y) for x, y in answer.best.plan.exterior.coords]
        theirs = other.best.plan
        # Two places may be as good as each other; then either may be named first.
        if theirs.symmetric_difference(theirs.__class__(where)).area < 1e-6:
            same += 1
    assert same > 10


def test_what_is_put_on_the_place_moves_it() -> None:
    for seed in range(25):
        question = random_question(random.Random(8000 + seed))
        best = place(question).best
        if best is None:
            continue
        middle = best.plan.centroid.buffer(0.3)
        for kind in ("array", "bad deck"):
            more = replace(question, obstacles=(*question.obstacles, Obstacle(kind, middle, "new")))
            after = place(more)
            for one in (after.best, after.second):
                assert one is None or one.plan.distance(middle) > 0.5, seed


def test_a_windier_face_is_never_preferred() -> None:
    """Of two faces that are alike the one away from the wind; with the wind onto a face never that one."""
    roof = gable().roof
    both = tuple(corner(roof, name) for name in CORNERS)
    even = gable(ways=both, fire=fire_part(roof, "centre"), fire_sides="")
    for wind, away, onto in (((0.0, 1.0), "A", "C"), ((0.0, -1.0), "C", "A")):
        answer = place(replace(even, wind=wind))
        assert answer.best is not None and answer.best.face == away
        assert onto in {one.face for one in answer.rejections if one.code == "windward"}
    for seed in range(25):
        question = random_question(random.Random(9000 + seed))
        best = place(question).best
        if best is None or question.roof.face(best.face).pitch == 0:
            continue
        turned = place(replace(question, wind=question.roof.face(best.face).down))
        assert turned.best is None or turned.best.face != best.face


def test_the_same_question_has_the_same_answer() -> None:
    for seed in range(10):
        question = random_question(random.Random(seed))
        first = place(question)
        place.cache_clear()
        assert place(question) == first


def test_ways_off_by_name() -> None:
    """Every corner and side of a plan can be a way off."""
    roof = gable().roof
    for name in (*CORNERS, *SIDE_ENDS):
        way = corner(roof, name) if len(name) == 2 else along_side(roof, name)
        assert isinstance(way, WayOff) and all(
            roof.outline.distance(box(x, y, x, y).centroid) < 1e-9 for x, y in way.ends
        )
