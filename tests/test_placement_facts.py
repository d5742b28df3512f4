"""Told facts to the placement solver and back: what is not told is named, and the solver only adds to what holds."""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent / "guidance"))

from house import house, random_facts, reference, situation_of

from fieldaid.authoring.situations import GOOD
from fieldaid.facts.situation import Situation
from fieldaid.guidance.engine import is_installed
from fieldaid.guidance.guide import Guide
from fieldaid.guidance.pack import ACCESS, GATE
from fieldaid.workings import COMPUTED, compute
from fieldaid.workings.placement_facts import answer_of, question_of, refined, ways_of, wind_of
from fieldaid.workings.placement_names import FACTS
from fieldaid.workings.wind import lie_of_sides

CORNERS = [{"place": "BC", "kind": "ground", "usable": "yes"}, {"place": "DA", "kind": "ground", "usable": "yes"}]
# The house of the truth table with its measures told.
TOLD: dict[str, Any] = {
    **GOOD,
    "roof.length_ft": 40,
    "roof.width_ft": 28,
    "roof.pitch": 6,
    "roof.spacing_in": 16,
    "roof.deck": "plank",
    "roof.skylight": "none",
    "crew.ladders": CORNERS,
    "ceiling.kind": "flat",
}
MEASURES: dict[str, tuple[Any, ...]] = {
    "roof.length_ft": (8, 20, 40, 70, None),
    "roof.width_ft": (6, 14, 28, 40, None),
    "roof.pitch": (3, 6, 10, None),
    "roof.spacing_in": (16, 24, None),
    "roof.form": ("gable", "hip", "pyramid", "flat", "gambrel"),
    "roof.skylight": ("none", ["C"], None),
    "attic.knee_wall": ("no", "yes", None),
    "roof.load": ("none", "tank", None),
    "crew.ladders": (
        CORNERS,
        [{"place": "A", "kind": "ground", "usable": "yes"}, CORNERS[0]],
        [{"place": "unsaid", "kind": "ground", "usable": "yes"}],
        None,
    ),
    "fire.side": (*"ABCD", "BC", "centre", None),
    "wind.from": ("west", "north", "southeast", "C", None),
}


def without(*names: str, **changed: Any) -> Situation:
    facts = {**TOLD, **{name.replace("__", "."): value for name, value in changed.items()}}
    return Situation.of({name: value for name, value in facts.items() if name not in names})


def random_houses(count: int, seed: int) -> Iterator[Situation]:
    """The told house with measures, sides, wind and other facts changed or taken out."""
    rng = random.Random(seed)
    for _ in range(count):
        facts = random_facts(rng, TOLD, changes=2)
        for name in rng.sample(sorted(MEASURES), rng.randint(0, 4)):
            facts[name] = rng.choice(MEASURES[name])
        yield situation_of({name: value for name, value in facts.items() if value is not None})


def test_every_fact_that_the_solver_gives_is_declared() -> None:
    seen = set()
    for situation in random_houses(120, seed=1):
        computed = refined(situation, compute(situation, house().parameter_values()))
        for name, one in computed.items():
            if name.startswith("place."):
                seen.add(name)
                fact = COMPUTED[name]
                assert fact.kind == "number" or one.value in fact.values, (name, one.value)
                assert one.source and one.limits
    assert {one.name for one in FACTS if one.place == ""} <= seen | {"place.size"}


@pytest.mark.parametrize(
    ("lost", "said"),
    [
        ("roof.length_ft", "roof length not told"),
        ("roof.width_ft", "roof width not told"),
        ("roof.pitch", "pitch not told"),
        ("roof.spacing_in", "spacing not told"),
        ("roof.form", "roof form not told"),
        ("roof.ridge_runs", "ridge direction not told"),
        ("wind.from", "wind not told"),
        ("site.a_faces", "facing not told"),
        ("fire.side", "fire side not told"),
        ("crew.ladders", "ladders not told"),
        ("roof.solar", "panels not told"),
        ("roof.wires", "wires not told"),
    ],
)
def test_what_is_not_told_is_named_and_nothing_is_assumed(lost: str, said: str) -> None:
    question, answer = answer_of(without(lost))
    assert question is None and answer.best is None and said in answer.not_computed


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (dict(roof__form="gambrel"), "gambrel"),
        (dict(roof__form="shed"), "which side"),
        (dict(roof__load="tank"), "load"),
        (dict(attic__knee_wall="suspected"), "knee wall"),
        (dict(attic__party_wall="yes"), "party wall"),
        (dict(building__additions="C"), "additions"),
        (dict(wind__shifting="yes"), "shifts"),
        (dict(roof__skylight=["C"]), "where on C the skylight lies"),
        (dict(roof__framing="bowstring"), "bowstring"),
        (dict(roof__form="hip", roof__framing="trusses"), "truss layout"),
        (dict(roof__form="hip", roof__width_ft=60), "hip"),
        (dict(crew__ladders=[CORNERS[0], {"place": "unsaid", "kind": "ground", "usable": "yes"}]), "place of a ladder"),
    ],
)
def test_what_stands_against_computing_is_said(changed: dict[str, Any], said: str) -> None:
    situation = without(**changed)
    assert said in answer_of(situation)[1].not_computed
    before = compute(situation)
    after = refined(situation, before)
    if before.get("place.found") and before["place.found"].value == "yes":
        assert after["place.worked"].value == "no" and said in after["place.worked"].limits
        assert {name: one for name, one in after.items() if name != "place.worked"} == before


def test_a_roof_ladder_and_a_ladder_at_a_venting_window_are_no_ways_for_the_solver() -> None:
    """S03, S34; invariants 7, 8: they are counted as in the ways off."""
    roof = dict(without().values)
    model = question_of(roof).roof
    two = [{"place": "A", "kind": "ground", "usable": "yes"}, {"place": "C", "kind": "roof", "usable": "yes"}]
    assert [one.usable for one in ways_of(model, two, roof)] == [True]
    smoke = {**roof, "smoke.window.A.volume": "heavy"}
    assert [one.usable for one in ways_of(model, two, smoke)] == [False]


def test_a_section_is_not_computed() -> None:
    situation = Situation(values=without().values, section="garage")
    assert "garage" in answer_of(situation)[1].not_computed


@pytest.mark.parametrize("a_faces", ["north", "southwest", "east"])
@pytest.mark.parametrize("start", ["north", "southeast", "west", "A", "D"])
def test_the_wind_in_plan_agrees_with_how_the_sides_lie(a_faces: str, start: str) -> None:
    """The vector against `lie_of_sides`, which is tested by itself."""
    x, y = wind_of({"wind.from": start, "site.a_faces": a_faces})
    out = {"A": (0, -1), "B": (-1, 0), "C": (0, 1), "D": (1, 0)}
    for side, lie in lie_of_sides(start, a_faces).items():
        facing = x * out[side][0] + y * out[side][1]
        assert lie == ("windward" if facing > 0.7 else "leeward" if facing < -0.7 else "along")


def test_the_solver_never_loosens() -> None:
    """Access and gate with its facts are never looser than without them, and a place is never windward."""
    worked = 0
    for situation in random_houses(250, seed=2):
        computed = compute(situation, house().parameter_values())
        plain = reference().run(situation, {name: one.value for name, one in computed.items()})
        more = refined(situation, computed)
        after = reference().run(situation, {name: one.value for name, one in more.items()})
        assert ACCESS.index(after.access) <= ACCESS.index(plain.access), situation.values
        assert GATE.index(after.gate) <= GATE.index(plain.gate), situation.values
        face = more.get("place.face")
        if face is not None and f"wind.on.{face.value}" in more:
            assert more[f"wind.on.{face.value}"].value != "windward"
        worked += more.get("place.worked") is not None and more["place.worked"].value == "yes"
    assert worked > 40


def test_no_place_that_fits_holds() -> None:
    with Guide(house(), engine=False) as guide:
        small = guide.evaluate(without(roof__length_ft=7, roof__width_ft=5))
        assert small.gate == "hold" and "PLACE-030" in small.gate_rules and small.place is None and small.kind is None
        crowded = guide.evaluate(
            without(crew__ladders=[{**CORNERS[0]}, {**CORNERS[0], "kind": "aerial"}], crew__ways_off=2)
        )
        assert crowded.gate != "no hold reported"


@pytest.mark.parametrize(
    ("changed", "kind", "size"),
    [
        (dict(), "rectangle", (4, 8)),
        (dict(roof__deck="osb"), "louvred panels", (4, 8)),
        (dict(roof__form="hip", fire__side="D", roof__length_ft=46), "triangle", None),
    ],
)
def test_guidance_says_kind_and_size_that_were_worked_out(changed: dict[str, Any], kind: str, size: Any) -> None:
    with Guide(house(), engine=False) as guide:
        found = guide.evaluate(without(**changed))
    kinds = ("triangle", "trapezoid") if kind == "triangle" else (kind,)
    assert found.kind in kinds and found.kind == found.computed["place.kind"].value and found.size_ft == size
    assert found.place == "high, over the fire"
    assert found.computed["place.worked"].value == "yes"


def test_after_a_no_go_no_computed_fact_speaks_of_a_place() -> None:
    """Invariant 1."""
    with Guide(house(), engine=False) as guide:
        found = guide.evaluate(without(deck__C="soft", crew__where="roof"))
    assert found.access == "leave now" and not any(name.startswith("place.") for name in found.computed)


@pytest.mark.skipif(not is_installed(), reason="durable-rules is not installed")
def test_both_channels_get_the_same_place_and_agree() -> None:
    with Guide(house(), timeout_s=20.0) as guide:
        if guide.engine is not None:
            guide.engine.wait_ready(60.0)
        for situation in [
            without(),
            without(roof__deck="osb"),
            without(roof__length_ft=7, roof__width_ft=5),
            *random_houses(25, seed=3),
        ]:
            assert guide.evaluate(situation).channels_agree, situation.values
