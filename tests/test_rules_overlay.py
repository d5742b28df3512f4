"""What the tools say of a department's overlay is about the overlay: its rules, its thresholds, its name.

The sample department `quillhaven` over the shipped pack; and small overlays that lack a situation.
"""

from __future__ import annotations

import argparse
import io
import re
import shutil
from pathlib import Path

import pytest

from fieldaid.authoring import cover_room, mutants_room, safety_case_room, schema_room
from fieldaid.authoring.cover import cover
from fieldaid.authoring.mutants import mutants
from fieldaid.authoring.provenance import called, own_of
from fieldaid.authoring.safety_case import broken_links, build
from fieldaid.guidance.pack import load_pack

RULES = Path(__file__).resolve().parents[1] / "rules"
HOUSE, TOWN = RULES / "house", RULES / "quillhaven"
OWN = {"TOWN-010", "TOWN-020"}
READ_THE_THRESHOLDS = {"READY-010", "READY-020", "TEAM-010", "TEAM-020", "WIND-110", "ACCESS-900"}


@pytest.fixture(scope="module")
def town():
    return load_pack(HOUSE, [TOWN])


def options(**changes) -> argparse.Namespace:
    return argparse.Namespace(**{"workers": 0, "cluster": None, "keep": None, "stubs": False, "survivors": False,
                                 "least": 1.0, "json": False, **changes})


def test_an_overlay_is_its_rules_and_the_thresholds_that_it_sets(town) -> None:
    own = own_of(town)
    assert own is not None and own.rules == OWN and own_of(load_pack(HOUSE)) is None
    assert own.parameters == {"wind_caution_mph", "air_low_minutes", "members_least"}
    assert called(town) == "house 1.0 under quillhaven"


def test_faults_are_planted_in_what_the_overlay_brings_and_nowhere_else(town) -> None:
    planted = list(mutants(town))
    assert {one.of for one in planted} == OWN | READ_THE_THRESHOLDS
    assert {one.kind for one in planted if one.of not in OWN} == {"limit moved"}


def test_the_situations_of_the_sample_show_all_of_it_and_notice_every_fault() -> None:
    out = io.StringIO()
    assert cover_room.show(HOUSE, [TOWN], False, False, out) == 0
    assert "for 2 rules that it adds" in out.getvalue() and "10 of 10" in out.getvalue()
    out = io.StringIO()
    assert mutants_room.show(HOUSE, [TOWN], options(), out) == 0
    assert "37 of 37 planted faults" in out.getvalue()


def test_a_threshold_that_no_situation_shows_is_named_and_can_be_pasted(tmp_path: Path) -> None:
    bare = tmp_path / "bare"
    shutil.copytree(TOWN, bare, ignore=shutil.ignore_patterns("tests"))
    pack = load_pack(HOUSE, [bare])
    assert {one.leaf.rule for one in cover(bare, pack).to_show} == READ_THE_THRESHOLDS
    out = io.StringIO()
    assert mutants_room.show(HOUSE, [bare], options(stubs=True), out) == 1
    (bare / "tests").mkdir()
    (bare / "tests" / "pasted.yaml").write_text(out.getvalue(), encoding="utf-8")
    assert mutants_room.show(HOUSE, [bare], options(), io.StringIO()) == 0


def test_an_overlay_of_words_alone_has_no_fault_to_plant(tmp_path: Path) -> None:
    for name in ("pack.yaml", "changes.yaml"):
        shutil.copy(TOWN / name, tmp_path / name)
    out = io.StringIO()
    assert mutants_room.show(HOUSE, [tmp_path], options(), out) == 0
    assert "No fault can be planted" in out.getvalue()


def test_a_rule_that_the_overlay_retired_is_named_in_the_safety_case_and_breaks_no_link(town) -> None:
    assert broken_links(build(town, None), RULES.parent) == []
    out = io.StringIO()
    safety_case_room.show(HOUSE, [TOWN], None, None, out)
    said = out.getvalue()
    assert said.startswith("# Safety case of the pack house 1.0 under quillhaven\n")
    assert re.search(r"ERA-220 .*; RETIRED by the overlay: Every house", said)
    assert "it speaks of the base without the overlay" in said


def test_the_first_line_for_an_editor_leads_from_a_file_of_rules_to_the_schema(tmp_path: Path) -> None:
    """An editor that follows the line resolves the path from the folder of the file that holds it."""
    out = io.StringIO()
    (tmp_path / "mine" / "rules").mkdir(parents=True)
    shutil.copy(TOWN / "pack.yaml", tmp_path / "mine")
    assert schema_room.write(tmp_path / "mine", HOUSE, tmp_path / "mine" / "schema", out) == 0
    path = out.getvalue().splitlines()[-1].partition("$schema=")[2]
    assert path == "../schema/rules.json" and (tmp_path / "mine" / "rules" / path).is_file()
    assert "house 1.0 under mine" in out.getvalue()
