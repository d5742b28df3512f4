"""Mutants: small faults planted in every rule of the house pack, and the shipped situations that notice them."""

from __future__ import annotations

import argparse
import io
import json
from dataclasses import replace
from pathlib import Path

import pytest
import yaml

from fieldaid.authoring import mutants_room
from fieldaid.authoring.mutants import Mutant, mutants, mutants_of
from fieldaid.authoring.mutants_near import near, notices
from fieldaid.authoring.mutants_run import Mutation, Shipped, Survivor, Trial, mutate, shipped
from fieldaid.authoring.prove_job import Bench
from fieldaid.authoring.situations import seeded
from fieldaid.errors import BrokenData
from fieldaid.guidance.pack import load_pack
from fieldaid.guidance.reference import Reference

HERE = Path(__file__).resolve().parent
HOUSE = HERE.parent / "rules" / "house"
BARN = HERE / "guidance" / "packs" / "barn"


@pytest.fixture(scope="module")
def house():
    return load_pack(HOUSE)


def says(house, rule_id: str) -> set[str]:
    return {one.says for one in mutants_of(house.rule(rule_id), house)}


def test_the_mutants_of_a_rule(house) -> None:
    """Each kind of fault, by hand, for three rules."""
    assert {"the rule is lost", "trigger said as a caution", "when: ways.usable below 2 read as below 1",
            "when: ways.usable below 2 read as below 3", "when: ways.usable below 2 read as at most 2",
            "when: ways.usable below 2 read as the other side"} == says(house, "WAYS-010")
    ready = says(house, "READY-040")
    assert {"unless is lost", "when: line.attack charged, flowing and interior.crew in place, read as any",
            "when: interior.crew in place dropped",
            "when: line.attack charged, flowing without flowing", "unless: water.on_fire no read as not"} <= ready
    need = says(house, "NEED-030")
    assert {"access aerial only", "reason hazard", "the need lost", "when: crew.count unknown read as known"} <= need
    look = says(house, "LOOK-030")
    assert {"when: deck.* solid by any basis", "when: deck.* solid not by struck"} <= look


def test_no_mutant_reads_the_same_as_its_rule_or_as_another(house) -> None:
    found: dict[str, set[str]] = {}
    for one in mutants(house):
        assert one.says not in found.setdefault(one.of, set()), one.key
        found[one.of].add(one.says)
        if one.rule is not None:
            sound = house.rule(one.of)
            assert (one.rule.when, one.rule.unless, one.rule.conclude) != (sound.when, sound.unless, sound.conclude)
    assert set(found) == {rule.id for rule in house.live_rules}


def test_what_a_mutant_changes_is_what_a_whole_run_says(house) -> None:
    """The short way (only where the faulty rule fires differently) against running the faulty pack whole."""
    bench = Bench(house, engine=False)
    situations = []
    for n in range(40):
        one = seeded(6, n)
        situations.append(Shipped(str(n), one, bench.see(one).computed, lambda outcome, computed: True))
    trial = Trial(house, situations)
    for mutant in list(mutants(house))[::37]:
        rules = tuple(mutant.rule if rule.id == mutant.of else rule for rule in house.rules
                      if mutant.rule is not None or rule.id != mutant.of)
        whole = Reference(replace(house, rules=rules))
        expected = {one.of.name: whole.run(one.of.situation, one.of.computed) for one in trial.ran}
        expected = {name: outcome for name, outcome in expected.items()
                    if outcome != next(one.outcome for one in trial.ran if one.of.name == name)}
        assert {one.of.name: after for one, after in trial.changed(mutant)} == expected, mutant.key


def test_a_fault_that_a_situation_looks_at_is_caught_and_one_that_none_looks_at_survives(house) -> None:
    lost = next(one for one in mutants_of(house.rule("STORM-010"), house) if one.rule is None)
    situations = shipped(HOUSE, house)
    assert Trial(house, situations).catches(lost) is not None
    others = [one for one in situations if "weather.lightning" not in one.situation.values]
    assert Trial(house, others).catches(lost) is None


def test_near_a_rule_there_are_situations_that_notice_its_mutants(house) -> None:
    for rule_id in ("FRAME-020", "SPOT-010", "DECK-010", "NEED-020"):
        rule = house.rule(rule_id)
        assert len(near(house, rule)) > 10
        found, left = notices(house, mutants_of(rule, house))
        assert len(left) <= 2, [one.key for one in left]
        assert all("fires" in one.expect or "silent" in one.expect for one in found)


def test_the_shares_count_what_they_say() -> None:
    mutant = Mutant("X-1", "rule removed", "the rule is lost", None)
    found = Mutation({"rule removed": 10}, {"rule removed": 7},
                     [Survivor(mutant, "changes nothing"), Survivor(mutant, "changes", seeded(1, 1)),
                      Survivor(mutant, "changes", seeded(1, 2))])
    assert found.share == 0.7 and found.share_of_real == 7 / 9


def options(**changes) -> argparse.Namespace:
    return argparse.Namespace(**{"workers": 0, "cluster": None, "keep": None, "stubs": False, "survivors": False,
                                 "least": 0.0, "json": False, **changes})


def test_the_command_on_a_small_pack() -> None:
    out = io.StringIO()
    assert mutants_room.show(BARN, [], options(json=True), out) == 0
    data = json.loads(out.getvalue())
    assert sum(data["made"].values()) > 100 and 0 < data["share"] <= data["share_of_real"] <= 1
    assert sum(data["made"].values()) == sum(data["caught"].values()) + len(data["survivors"])
    assert all(one["reason"] for one in data["survivors"])
    out = io.StringIO()
    assert mutants_room.show(BARN, [], options(least=1.0, survivors=True), out) == 1
    assert "planted faults noticed" in out.getvalue()
    out = io.StringIO()
    mutants_room.show(BARN, [], options(stubs=True), out)
    assert yaml.safe_load(out.getvalue())["situations"]


def test_a_pack_whose_situations_fail_is_mended_first(tmp_path: Path, house, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Trial, "failing", lambda self: ["Soft deck", "Wet roof", "One", "Two"])
    with pytest.raises(BrokenData, match="Soft deck, Wet roof, One and 1 more.*fieldaid rules test"):
        mutants_room.run(BARN, workers=0)


@pytest.mark.slow
def test_the_shipped_situations_catch_ninety_nine_of_a_hundred_faults(house) -> None:
    trial = Trial(house, shipped(HOUSE, house))
    assert not trial.failing()
    every = list(mutants(house))
    missed = [one for one in every if trial.catches(one) is None]
    assert len(missed) / len(every) <= 0.01, [one.key for one in missed[:40]]


def test_which_situation_is_tried_first_decides_nothing_but_which_one_is_named() -> None:
    """A fault is caught exactly if a situation that comes out otherwise fails; one that names the rule comes first."""
    pack = load_pack(BARN)
    trial = Trial(pack, shipped(BARN, pack))
    named = {one.name: one.rules for one in shipped(BARN, pack)}
    for mutant in mutants(pack):
        failing = [one.of.name for one, after in trial.changed(mutant) if not one.of.passes(after, one.of.computed)]
        caught = trial.catches(mutant)
        assert (caught in failing) if failing else caught is None, mutant.key
        assert caught is None or mutant.of in named[caught] or not any(mutant.of in named[one] for one in failing)


def test_stretches_of_a_run_add_up_to_the_whole() -> None:
    pack = load_pack(BARN)
    trial, probe = Trial(pack, shipped(BARN, pack)), Trial(pack, [])
    whole = mutate(trial, probe)
    parts = [mutate(trial, probe, start, start + 40) for start in range(0, sum(whole.made.values()), 40)]
    assert sum(sum(one.made.values()) for one in parts) == sum(whole.made.values())
    assert [one.mutant.key for part in parts for one in part.survivors] == [one.mutant.key for one in whole.survivors]
