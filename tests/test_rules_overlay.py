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

from fieldaid.authoring import compare_room, cover_room, mutants_room, safety_case_room, schema_room
from fieldaid.authoring.book_room import write_book
from fieldaid.authoring.cover import cover
from fieldaid.authoring.mutants import mutants
from fieldaid.authoring.provenance import called, own_of
from fieldaid.authoring.safety_case import broken_links, build
from fieldaid.authoring.test_room import run
from fieldaid.cli import main
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


def test_a_rule_is_explained_with_what_the_overlay_made_of_it(capsys: pytest.CaptureFixture[str]) -> None:
    def said(*words: str) -> str:
        assert main(["rules", "explain", *words, "--overlay", str(TOWN)]) == 0
        return capsys.readouterr().out

    own = said("TOWN-010")
    assert own.startswith("TOWN-010 Slate or tile at night only from the aerial (trial, added by quillhaven)\n")
    assert "town.yaml:3" in own and "covering is slate or tile" in own and "QH1, Quillhaven standing order" in own
    wind = said("wind-110")
    assert 'words of quillhaven; the pack says "Wind {value} miles per hour: enough to drive fire."' in wind
    assert "$wind_caution_mph is set by quillhaven: 8; the pack has 10" in wind
    assert "retired: Every house" in said("ERA-220")


def test_a_rule_that_nobody_wrote_and_a_value_that_cannot_be_are_wrong_use(
        capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "explain", "TOWN-010"]) == 2
    assert "no rule is called TOWN-010" in (said := capsys.readouterr().err) and "--overlay FOLDER" in said
    assert main(["rules", "explain", "roof.cover=thatch"]) == 2
    assert main(["rules", "explain", "F999"]) == 2
    assert "?." not in capsys.readouterr().err


def test_a_situation_names_the_warnings_and_advice_that_apply(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "explain", "roof.cover=slate", "wind.mph=8", "--overlay", str(TOWN)]) == 0
    said = capsys.readouterr().out
    assert "  caution: Slate: slides, breaks, hides the deck. [COVER-010] (unless barred)\n" in said
    assert "  caution: Wind 8 miles per hour: strong for this ridge. [WIND-110]\n" in said


def test_the_rule_book_says_at_the_rule_whose_words_and_numbers_they_are(tmp_path: Path) -> None:
    write_book(HOUSE, [TOWN], tmp_path / "book.html", io.StringIO())
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", (tmp_path / "book.html").read_text(encoding="utf-8")))
    assert "at least 8 ($wind_caution_mph; quillhaven, the pack has 10) mph" in text
    assert "words of quillhaven; the pack says" in text
    assert "by quillhaven: Every house in the old town" in text
    assert text.count("the pack has 10") >= 2


def test_every_change_that_compare_shows_can_be_pasted_as_a_situation(tmp_path: Path) -> None:
    overlay = tmp_path / "pasted"
    shutil.copytree(TOWN, overlay)
    out = io.StringIO()
    assert compare_room.show([HOUSE], [HOUSE, TOWN], 300, 1, 0, "any", False, out) == 1
    (overlay / "tests" / "compared.yaml").write_text(out.getvalue(), encoding="utf-8")
    before, after = (run(one, HOUSE, engine=False) for one in (TOWN, overlay))
    assert not after.failed, [one.name for one in after.failed]
    assert len(after.situations) >= len(before.situations) + 5
