"""The shipped pack passes its own bench: nothing to find, and every situation comes out through both channels."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldaid.authoring.check_room import examine
from fieldaid.authoring.finding_output import as_text
from fieldaid.authoring.test_files import read_tests
from fieldaid.authoring.test_room import run
from fieldaid.guidance.engine import is_installed
from fieldaid.guidance.pack import ACCESS, GATE, REASONS, load_pack

HOUSE = Path(__file__).resolve().parents[1] / "rules" / "house"


def test_check_finds_nothing_not_even_on_style() -> None:
    report = examine(HOUSE)
    assert report.findings == (), "\n".join(map(as_text, report.findings))
    assert report.exit_code(strict=True) == 0 and not report.waiting


@pytest.mark.parametrize("engine", [False, pytest.param(True, marks=pytest.mark.skipif(
    not is_installed(), reason="durable-rules is not installed"))], ids=["one channel", "both channels"])
def test_every_situation_comes_out_as_expected(engine: bool) -> None:
    result = run(HOUSE, engine=engine)
    assert bool(result.notice) is not engine
    assert not result.failed, "\n".join(as_text(finding) for one in result.failed for finding in one.findings)
    assert len(result.rules) == len(load_pack(HOUSE).live_rules)


def test_the_situations_cover_every_word_of_access_gate_and_reason_in_english_sentences() -> None:
    tests, wrong = read_tests(HOUSE, load_pack(HOUSE))
    assert not wrong and len(tests) >= 60
    for key, words in (("access", ACCESS), ("gate", GATE), ("reason", REASONS)):
        assert {one.expect.get(key) for one in tests} >= set(words)
    assert all(len(one.name.split()) >= 3 and one.name[0].isupper() for one in tests)


def test_the_sample_department_is_clean_over_the_shipped_pack() -> None:
    """Its higher thresholds do not count against the situations of the base's rules, which presuppose the base's."""
    overlay = HOUSE.parent / "quillhaven"
    assert "members_least" in (overlay / "parameters.yaml").read_text(encoding="utf-8")
    report = examine(overlay, HOUSE)
    assert report.findings == (), "\n".join(map(as_text, report.findings))
    result = run(overlay, HOUSE, engine=False)
    assert not result.failed and result.rules and all("quillhaven" in one.group for one in result.rules)
