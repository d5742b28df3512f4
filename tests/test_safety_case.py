"""The safety case: every link leads somewhere, and one that does not is named."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path

import pytest

from fieldaid.authoring import safety_case_room
from fieldaid.authoring.prove import FULL, last_full, stale
from fieldaid.authoring.safety_case import NUMBERS, broken_links, build, in_markdown
from fieldaid.authoring.safety_case_room import kept_proof
from fieldaid.errors import BrokenData
from fieldaid.guidance.pack import load_pack

ROOT = Path(__file__).resolve().parents[1]
HOUSE = ROOT / "rules" / "house"


@pytest.fixture(scope="module")
def house():
    return load_pack(HOUSE)


@pytest.fixture(scope="module")
def case(house):
    return build(house, last_full(kept_proof(HOUSE)))


def test_no_link_of_the_safety_case_is_broken(case) -> None:
    assert [line.invariant.number for line in case.lines] == list(NUMBERS)
    assert broken_links(case, ROOT) == []


def test_the_kept_proof_was_a_full_one_and_nothing_broke(case) -> None:
    """It may be of an earlier state of the rules: the case then says so."""
    proof = case.proof
    assert proof is not None and proof.both_channels and proof.holds
    assert proof.extent["strength"] == FULL.strength and proof.counts["seeded"] >= FULL.situations
    assert proof.array["missing"] == 0
    assert case.stale == stale(proof, case.pack)


def test_the_page_that_ships_speaks_of_every_invariant(case) -> None:
    """It is written anew with `fieldaid rules safety-case --write rules/SAFETY_CASE.md`."""
    page = (ROOT / "rules" / "SAFETY_CASE.md").read_text(encoding="utf-8")
    for line in case.lines:
        assert f"### {line.invariant.number}. " in page
        assert all(f"`{node}`" in page for node in line.tests)
    proof = case.proof
    assert proof is not None and proof.date in page and f"{proof.counts['seeded']:,}" in page


def test_each_kind_of_broken_link_is_named(case, house) -> None:
    def wrong(**changes) -> list[str]:
        return broken_links(replace(case, **changes), ROOT)

    first, *rest = case.lines
    lost = replace(house, invariants=tuple(replace(one, enforced=("NONE-010",)) if one.number == 1 else one
                                           for one in house.invariants))
    assert "invariant 1: the pack has no rule NONE-010" in broken_links(build(lost, None), ROOT)
    retired = replace(house, rules=tuple(replace(rule, status="retired") if rule.id == "ACCESS-010" else rule
                                         for rule in house.rules))
    assert "invariant 1: ACCESS-010 takes no part" in broken_links(build(retired, None), ROOT)
    unnamed = replace(house, rules=tuple(replace(rule, invariants=()) if rule.id == "ACCESS-010" else rule
                                         for rule in house.rules))
    assert "invariant 1: ACCESS-010 does not name the invariant" in broken_links(build(unnamed, None), ROOT)
    assert "invariant 1 is not in the pack" in wrong(lines=tuple(rest))
    assert "invariant 1 is enforced nowhere" in wrong(lines=(replace(first, places=()), *rest))
    nowhere = replace(first, tests=("tests/test_proof.py::test_that_is_not_there",))
    assert any("there is no test tests/test_proof.py::test_that_is_not_there" in one
               for one in wrong(lines=(nowhere, *rest)))
    dialogue = next(line for line in case.lines if any(place.kind == "dialogue" for place in line.places))
    gone = replace(dialogue, places=tuple(replace(place, name="no_such_function") for place in dialogue.places
                                          if place.kind == "dialogue"))
    assert any("has no no_such_function" in one for one in wrong(lines=(gone,)))
    proof = case.proof
    assert proof is not None
    assert "the last full proof broke: 06 water" in wrong(proof=replace(proof, broken={"06 water": 1}))
    assert any("asked nothing" in one for one in wrong(lines=(replace(first, properties=()), *rest)))


def test_an_outdated_or_missing_proof_is_said(case, house) -> None:
    assert "None was kept" in in_markdown(build(house, None))
    old = replace(case.proof, digest="other")
    assert "**Out of date: the rules have changed since.**" in in_markdown(build(house, old))


def test_the_command_writes_the_page_and_names_what_is_wrong(tmp_path: Path) -> None:
    out = io.StringIO()
    file = tmp_path / "case.md"
    assert safety_case_room.show(HOUSE, [], file, None, out) == 0
    assert file.read_text(encoding="utf-8").startswith("# Safety case of the pack house")
    broken = tmp_path / "proof.json"
    broken.write_text(json.dumps({"date": "x"}))
    with pytest.raises(BrokenData, match="the kept proof cannot be read"):
        safety_case_room.show(HOUSE, [], None, broken, out)
