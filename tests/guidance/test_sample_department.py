"""The sample department (invented): what an overlay can do, and that every value says where it comes from."""

from __future__ import annotations

import random
from pathlib import Path

import house
import pytest

from fieldaid.authoring.provenance import Change, Origins, load_with_origins
from fieldaid.authoring.situations import GOOD
from fieldaid.guidance.pack import ACCESS, GATE, Pack
from fieldaid.guidance.reference import Reference
from fieldaid.workings.computed import compute

DEPARTMENT = house.HOUSE.parent / "quillhaven"


@pytest.fixture(scope="module")
def loaded() -> tuple[Pack, Origins]:
    return load_with_origins(house.HOUSE, [DEPARTMENT])


def _run(pack: Pack, facts: dict[str, object]):
    situation = house.situation_of(facts)
    computed = {name: one.value for name, one in compute(situation, pack.parameter_values()).items()}
    return Reference(pack).run(situation, computed)


def test_every_change_is_traced(loaded: tuple[Pack, Origins]) -> None:
    pack, origins = loaded
    assert origins.parameters == {"wind_caution_mph": Change(10, 8, "quillhaven"),
                                  "air_low_minutes": Change(5, 8, "quillhaven"),
                                  "members_least": Change(2, 3, "quillhaven")}
    assert set(origins.added) == {"TOWN-010", "TOWN-020"}
    assert set(origins.retired) == {"ERA-220"} and pack.rule("ERA-220").retired_because
    assert origins.reworded["WIND-110"].after == pack.rule("WIND-110").say
    assert origins.value_from("members_least", pack) == "quillhaven (the pack has 2)"
    assert origins.value_from("steep_pitch", pack) == "house"


@pytest.mark.parametrize(("facts", "access"), [
    (dict(GOOD), "no bar reported"),
    (dict(GOOD) | {"crew.count": 2}, "stay off"),
    (dict(GOOD) | {"crew.air": {"minutes": 7}}, "stay off"),
    (dict(GOOD) | {"roof.cover": "slate", "light": "night"}, "aerial only"),
])
def test_the_department_is_stricter(loaded: tuple[Pack, Origins], facts: dict[str, object], access: str) -> None:
    assert _run(loaded[0], facts).access == access
    assert _run(house.house(), facts).access == "no bar reported"


def test_it_never_loosens_anything(loaded: tuple[Pack, Origins]) -> None:
    rng = random.Random(11)
    for _ in range(150):
        facts = house.random_facts(rng, GOOD, 5)
        before, after = _run(house.house(), facts), _run(loaded[0], facts)
        assert ACCESS.index(after.access) <= ACCESS.index(before.access), facts
        assert GATE.index(after.gate) <= GATE.index(before.gate), facts


def test_two_overlays_name_the_one_that_set_a_value(tmp_path: Path) -> None:
    (tmp_path / "station").mkdir()
    (tmp_path / "station" / "pack.yaml").write_text((DEPARTMENT / "pack.yaml").read_text(encoding="utf-8"),
                                                    encoding="utf-8")
    (tmp_path / "station" / "parameters.yaml").write_text("- {id: members_least, default: 4}\n", encoding="utf-8")
    _, origins = load_with_origins(house.HOUSE, [DEPARTMENT, tmp_path / "station"])
    assert origins.parameters["members_least"] == Change(2, 4, "station")
    assert origins.parameters["wind_caution_mph"].by == "quillhaven"
