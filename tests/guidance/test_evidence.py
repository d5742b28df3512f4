"""Nothing that was collected is forgotten: every row, decision and conflict has its rules or a reason.

The counts are those of the source list that the pack was written from: 319 rows, 20 decisions, 20 conflicts.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import house
import pytest

from fieldaid.authoring.evidence import Evidence, load_evidence
from fieldaid.errors import BrokenData
from fieldaid.guidance.pack import load_pack

ROWS = {"V": 28, "A": 17, "W": 12, "L": 27, "N": 17, "F": 21, "S": 37, "P": 18, "C": 36, "G": 27, "T": 27, "R": 17,
        "D": 12, "H": 23}
"""Rows by letter."""


@pytest.fixture(scope="module")
def evidence() -> Evidence:
    return load_evidence(house.house())


def test_every_row_is_used_or_has_its_reason(evidence: Evidence) -> None:
    pack = house.house()
    used = {row for rule in pack.rules for row in rule.source} | {
        row for one in pack.parameters.values() for row in one.source}
    unused = {one.id for one in evidence.unused}
    wanted = {f"{letter}{number:02}" for letter, count in ROWS.items() for number in range(1, count + 1)}
    assert (used & wanted) | unused == wanted
    assert not used & unused
    assert len(wanted) == 319


def test_every_rule_stands_under_a_decision(evidence: Evidence) -> None:
    under = {rule for one in evidence.decisions for rule in one.rules}
    assert {rule.id for rule in house.house().rules} == under


def test_every_decision_and_conflict_is_there(evidence: Evidence) -> None:
    assert [one.id for one in evidence.decisions] == [f"Q{number}" for number in range(1, 21)]
    assert [one.id for one in evidence.conflicts] == [f"X{number}" for number in range(1, 21)]
    assert all(one.rules for one in evidence.decisions)
    assert all(one.rules or one.elsewhere for one in evidence.conflicts)


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    shutil.copytree(house.HOUSE, tmp_path / "house")
    return tmp_path / "house"


@pytest.mark.parametrize(("file", "old", "new", "told"), [
    ("decisions", "rules: [KIND-010, SIZE-110,", "rules: [KIND-011, SIZE-110,", "KIND-011 is no rule"),
    ("conflicts", "rows: [A12]", "rows: [A99]", "A99 is no row"),
    ("conflicts", "- id: X20", "- id: X19", "X19 stands twice"),
    ("unused_rows", "certainty: A", "certainty: D", "certainty"),
    ("decisions", "  outcomes: a score", "  outcome: a score", "outcome"),
    ("decisions", "- id: Q1\n", "- id: [Q1\n", "not YAML"),
])
def test_a_broken_entry_is_told_with_its_file(copy: Path, file: str, old: str, new: str, told: str) -> None:
    path = copy / "evidence" / f"{file}.yaml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(BrokenData) as caught:
        load_evidence(load_pack(copy))
    assert any(told in one.message and f"{file}.yaml" in one.file for one in caught.value.findings)


def test_a_pack_without_evidence_is_fine(copy: Path) -> None:
    shutil.rmtree(copy / "evidence")
    assert load_evidence(load_pack(copy)) == Evidence()
