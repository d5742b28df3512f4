"""Every row of truth_table.yaml through both channels. The rows name the sources and invariants behind them."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from house import both_channels, house, plain_computed, reference, situation_of

from fieldaid.guidance.engine import is_installed
from fieldaid.guidance.pack import ACCESS, GATE, REASONS

ROWS = yaml.safe_load((Path(__file__).parent / "truth_table.yaml").read_text(encoding="utf-8"))["rows"]
KEYS = {"name", "facts", "basis", "told", "section", "access", "reason", "gate", "trigger", "place", "kind", "note"}


def situation(row: dict):
    facts = {name: value for name, value in row["facts"].items() if value != "not told"}
    return situation_of(facts, row.get("basis"), row.get("section", ""), row.get("told"))


def check(row: dict, outcome) -> None:
    said = f"{row['name']} ({row['note']}): {outcome}"
    assert outcome.access == row["access"], said
    assert outcome.gate == row["gate"], said
    if "reason" in row:
        assert outcome.access_reason == row["reason"], said
    for name in {"place", "kind"} & set(row):
        assert getattr(outcome, name) == row[name], said
    if row.get("trigger") == "none":
        assert not outcome.triggers, said
    if outcome.access in ("leave now", "come down", "stay off"):
        assert (outcome.place, outcome.kind, outcome.size_ft) == (None, None, None), said


@pytest.mark.parametrize("row", ROWS, ids=[row["name"] for row in ROWS])
def test_the_reference_channel_gives_the_row(row: dict) -> None:
    one = situation(row)
    check(row, reference().run(one, plain_computed(one)))


@pytest.mark.skipif(not is_installed(), reason="durable-rules is not installed")
def test_both_channels_give_every_row_and_agree_in_every_detail() -> None:
    with both_channels() as run_both:
        for row in ROWS:
            check(row, run_both(situation(row)))


def test_the_table_is_whole() -> None:
    """At least 30 rows; every word of access, gate and reason comes up; keys and names are in order."""
    assert len(ROWS) >= 30
    assert all(set(row) <= KEYS and {"name", "facts", "access", "gate", "note"} <= set(row) for row in ROWS)
    assert len({row["name"] for row in ROWS}) == len(ROWS)
    assert {row["access"] for row in ROWS} == set(ACCESS)
    assert {row["gate"] for row in ROWS} == set(GATE)
    assert {row["reason"] for row in ROWS if "reason" in row} == set(REASONS)


def test_every_need_of_the_pack_has_a_row_that_misses_it() -> None:
    needs = {rule.conclude.need for rule in house().rules if rule.stratum == "access" and rule.conclude.need}
    missed = {name for row in ROWS for name in needs
              if row["facts"].get(name) in ("not told", "cannot tell") or name in row.get("basis", {})}
    assert needs - missed == set()
