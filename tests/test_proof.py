"""The 33 safety invariants, each over a sample of situations and talks, and each broken by a planted fault.

The invariants and the sources behind them: rules/house/invariants.yaml and sources.yaml (NIOSH 2005-132 and reports, UL
FSRI, NIST, OSHA 29 CFR 1910.134, NFPA 1001 and 1407, as cited there). That a covering array covers is counted by
`missing`, and the array itself is compared with covertable, a library for the same job.
"""

from __future__ import annotations

import functools
import itertools
import json
from dataclasses import replace
from pathlib import Path

import covertable
import numpy as np
import pytest
from proof_faults import FAULTS, changed, values_lost

from fieldaid.authoring import commands, prove_job
from fieldaid.authoring.covering import covering_array, measured, missing
from fieldaid.authoring.properties_pack import PACK_PROPERTIES
from fieldaid.authoring.properties_session import TALKS
from fieldaid.authoring.properties_steps import STEPS
from fieldaid.authoring.prove import Extent, Proof, in_words, last_full, never_asked, prove, stale
from fieldaid.authoring.prove_job import CHANNELS, MARKS, ORDER, WORSE, Bench, Tally, pairs, prove_one
from fieldaid.authoring.prove_room import extent_of
from fieldaid.authoring.situations import STARTS, picture_of, seeded, stream
from fieldaid.authoring.situations_gate import GATE_FACTS, LEVELS, levels_of, situation_of_row
from fieldaid.cli import CAUTION
from fieldaid.errors import BrokenData, WrongUse
from fieldaid.facts.picture import CANNOT_TELL, Picture
from fieldaid.facts.values import check_value
from fieldaid.guidance.conditions import All, Condition
from fieldaid.guidance.engine import is_installed
from fieldaid.guidance.guide import Guide
from fieldaid.guidance.pack import load_pack
from fieldaid.guidance.reference import Reference

pytestmark = pytest.mark.slow

HOUSE = Path(__file__).resolve().parents[1] / "rules" / "house"
NUMBERS = [pytest.param(number, id=f"{number:02d}") for number in range(1, 34)]


@functools.cache
def house():
    return load_pack(HOUSE)


@pytest.fixture(scope="module")
def proof() -> Proof:
    """A sample: every two and three gate facts together, pairs of changes, seeded situations and talks."""
    return prove(HOUSE, Extent(strength=3, pairs=600, situations=1200, talks=25, seed=2024), workers=2)


# The invariants


@pytest.mark.parametrize("number", NUMBERS)
def test_an_invariant_holds(proof: Proof, number: int) -> None:
    asked = list(proof.of(number))
    assert asked
    assert not [one for one in asked if one[2]], proof.examples


@pytest.mark.parametrize("number", NUMBERS)
def test_a_planted_fault_breaks_the_invariant(number: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each property can fail: with this fault it does, on situations that nobody wrote for it."""
    fault = FAULTS[number]
    pack = fault.spoil(house(), monkeypatch)
    assert broken_by(number, pack, fault.facts, fault.talks), fault.says


def broken_by(number: int, pack, facts: tuple[str, ...], talks: bool) -> list[str]:
    """The properties of an invariant that break on pairs of changes of these gate facts, or in talks."""
    key = f"{number:02d} "
    if talks:
        guide = Guide(pack, engine=False)
        return [says for n in range(12) for talk in TALKS for invariant, says, held, _ in talk(guide, 7, n)
                if invariant == number and not held]
    wrong = [one.says for one in PACK_PROPERTIES if one.number == number and list(one.check(pack))]
    steps = [n for n, step in enumerate(STEPS) if step.number == number] or [0]
    bench = Bench(pack, engine=False)
    for n, row in enumerate(rows_changing(facts)):
        if wrong:
            return wrong
        tally = Tally()
        prove_one(bench, situation_of_row(row, stream(3, n)), stream(4, n), steps[n % len(steps)], tally)
        wrong = [one for one in tally.broken if one.startswith(key)]
    return wrong


def rows_changing(facts: tuple[str, ...]) -> list[tuple[int, ...]]:
    """Pairs of changes in which one of these gate facts is not good."""
    places = [n for n, factor in enumerate(GATE_FACTS) if factor.name in facts]
    good = [prove_job.good_row(place) for place in prove_job.PLACES]
    return [row for row in pairs() if any(all(row[n] != one[n] for one in good) for n in places)]


def test_the_tool_says_what_it_is_for() -> None:
    """Invariant 25: it is for training and practice until a department adopts it."""
    assert "training and practice" in CAUTION and "command" in CAUTION and "Nothing it says means safe" in CAUTION
    assert "training and practice" in house().about


def test_nothing_else_broke_and_everything_was_asked(proof: Proof) -> None:
    assert proof.holds, proof.examples
    assert not proof.broken
    # What comes up only where many facts meet is left to the full proof.
    assert len(never_asked(proof)) <= 2, never_asked(proof)
    for answer in ("leave now", "come down", "stay off", "aerial only", "ladder tip only", "no bar reported",
                   "gate no opening", "gate inspection only", "gate hold", "gate no hold reported", "gate made"):
        assert proof.answers.get(answer, 0) > 0, answer


@pytest.mark.skipif(not is_installed(), reason="durable-rules is not installed")
def test_both_channels_were_compared_on_every_situation(proof: Proof) -> None:
    assert proof.both_channels
    assert proof.applied[CHANNELS] == proof.counts["array"] + proof.counts["pairs"] + proof.counts["seeded"]


# The general properties can fail too


def first_broken(bench: Bench, key: str, facts: tuple[str, ...]) -> bool:
    for turn in range(4):  # which fact is made worse, and how a level is told, is drawn anew each turn
        for n, row in enumerate(rows_changing(facts)):
            tally = Tally()
            prove_one(bench, situation_of_row(row, stream(3 + turn, n)), stream(14 + turn, n), n, tally)
            if tally.broken[key]:
                return True
    return False


def test_a_worse_fact_that_loosens_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Snow is marked worse than a tank; without it the rule lets a roof under snow go."""
    pack = values_lost("LOAD-110", "roof.load", "snow")(house(), monkeypatch)
    assert first_broken(Bench(pack, engine=False), WORSE, ("roof.load",))


def test_a_mark_that_is_missing_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A rule silenced by a fact that nobody marked as loosening."""
    quiet = All((Condition("smoke.window.volume", "told", "known",
                           members=tuple((f"smoke.window{side}.volume", "") for side in ("", ".A", ".B", ".C", ".D"))),
                 ))
    pack = changed("STORM-010", lambda rule: replace(rule, unless=quiet))(house(), monkeypatch)
    bench, tally = Bench(pack, engine=False), Tally()
    lightning = seeded_with("weather.lightning", "yes")
    for n in range(400):
        prove_one(bench, lightning, stream(5, n), n, tally)
        if tally.broken[MARKS]:
            return
    pytest.fail("no telling loosened anything")


def seeded_with(name: str, value: str):
    good = situation_of_row(prove_job.good_row("ground"), stream(1, 1))
    return replace(good, values={**good.values, name: value})


def test_a_channel_that_hangs_on_the_order_of_facts_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = Reference.run

    def hasty(self, situation, computed):
        outcome = whole(self, situation, computed)
        return replace(outcome, gate="hold") if next(iter(situation.values), "").startswith("crew") else outcome

    monkeypatch.setattr(Reference, "run", hasty)
    assert first_broken(Bench(house(), engine=False), ORDER, ("roof.load",))


@pytest.mark.skipif(not is_installed(), reason="durable-rules is not installed")
def test_channels_that_differ_are_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench(house(), engine=True)
    try:
        bench.reference = Reference(FAULTS[28].spoil(house(), monkeypatch))
        assert first_broken(bench, CHANNELS, ("weather.lightning",))
    finally:
        bench.close()


def test_an_undo_that_forgets_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Picture, "cancel", lambda self, n: self)
    guide = Guide(house(), engine=False)
    assert any(not held for n in range(20) for invariant, _, held, _ in TALKS[0](guide, 1, n) if invariant == "undo")


# Situations and gate facts


def test_every_fact_that_access_or_gate_may_hang_on_is_a_gate_fact() -> None:
    """What the rules of access and gate test, through what they derive from, stands in the table of gate facts."""
    pack = house()
    wanted = {rule.id for rule in pack.live_rules if rule.stratum in ("access", "gate")
              or rule.conclude.kind in ("trigger", "stop")}
    names = {one.key for rule in pack.live_rules if rule.id in wanted for one in conditions(rule)}
    while True:
        more = {rule.id for rule in pack.live_rules if any(name in names for name, _ in rule.conclude.derived)}
        if more <= wanted:
            break
        wanted |= more
        names = {one.key for rule in pack.live_rules if rule.id in wanted for one in conditions(rule)}
    told = [one for rule in pack.live_rules if rule.id in wanted for one in conditions(rule) if one.scope == "told"]
    facts = {fact for factor in GATE_FACTS for fact in factor.facts}
    lacking = {one.key for one in told if not ({name for name, _ in one.members} or {one.key}) & facts}
    # The skylight decides the kind of an opening only; the deck's material likewise.
    assert lacking <= {"roof.skylight", "roof.deck"}, lacking


def conditions(rule) -> list[Condition]:
    return [*rule.when.conditions(), *(rule.unless.conditions() if rule.unless else ())]


def test_every_way_to_tell_a_level_is_in_the_vocabulary_and_is_found_again() -> None:
    for factor in GATE_FACTS:
        for level in factor.levels:
            for facts, _ in level.ways:
                for name, value in facts.items():
                    assert value == CANNOT_TELL or check_value(name, value) == value
    for n in range(200):
        row = [stream(1, n, name).randrange(size) for name, size in zip(map(str, range(len(LEVELS))), LEVELS,
                                                                         strict=True)]
        assert levels_of(situation_of_row(row, stream(2, n))) == row


def test_everything_good_is_free() -> None:
    for place in prove_job.PLACES:
        seen = Bench(house(), engine=False).see(situation_of_row(prove_job.good_row(place), stream(1, 0)))
        assert (seen.out.access, seen.out.gate) == ("no bar reported", "no hold reported")


def test_a_seeded_situation_is_made_again_from_its_number() -> None:
    assert [seeded(9, n) for n in range(50)] == [seeded(9, n) for n in range(50)]
    assert len({str(seeded(9, n).values) for n in range(50)}) > 45
    assert seeded(9, 3) != seeded(10, 3)


def test_a_situation_comes_back_whole_from_its_picture() -> None:
    for n in range(3 * len(STARTS)):
        one = seeded(4, n)
        again = picture_of(one).situation(0.0)
        assert (again.values, again.basis, again.cannot_tell) == (one.values, one.basis, one.cannot_tell)


# Covering arrays


@pytest.mark.parametrize(("levels", "strength"), [
    ([2] * 8, 2), ([3] * 10, 2), ([4, 3, 3, 2, 2, 2, 5], 3), ([3, 3, 2, 2, 2, 4], 4), ([2, 3], 2), ([3, 1, 2], 2),
])
def test_a_covering_array_covers_and_is_no_longer_than_need_be(levels: list[int], strength: int) -> None:
    array = covering_array(levels, strength)
    for group in itertools.combinations(range(len(levels)), strength):
        wanted = set(itertools.product(*(range(levels[i]) for i in group)))
        assert {tuple(row) for row in array[:, group].tolist()} == wanted
    assert missing(array, levels, strength) == 0
    others = covertable.make([[f"{i}.{level}" for level in range(size)] for i, size in enumerate(levels)],
                             strength=strength)
    assert len(array) <= 1.35 * len(others) + 2


def test_a_combination_that_is_missing_is_counted() -> None:
    levels = [3, 2, 2, 3]
    array = covering_array(levels, 4)
    assert len(array) == 36 and missing(array, levels, 4) == 0
    assert missing(array[1:], levels, 4) == 1
    assert measured(array[1:], levels, 4) == (35, 36)
    outside = np.concatenate([array[1:], np.array([[255, 0, 0, 0]], dtype=np.uint8)])
    assert measured(outside, levels, 4) == (35, 36)


def test_three_gate_facts_at_a_time_are_covered() -> None:
    assert missing(covering_array(LEVELS, 3), LEVELS, 3) == 0


# What is kept and what is said


def test_a_proof_is_kept_whole_and_says_when_it_is_out_of_date(proof: Proof, tmp_path: Path) -> None:
    file = tmp_path / "proof.json"
    file.write_text(json.dumps(proof.to_data()))
    again = last_full(file)
    assert again is not None and again.to_data() == proof.to_data()
    assert stale(again, house()) == ""
    assert "rules have changed" in stale(again, replace(house(), digest="other"))
    assert "code" in stale(replace(again, code="other"), house())
    assert last_full(tmp_path / "none.json") is None
    file.write_text("{}")
    with pytest.raises(BrokenData, match="prove --full"):
        last_full(file)


def test_a_broken_proof_says_what_broke(proof: Proof) -> None:
    wrong = replace(proof, broken={"06 water": 3}, examples=["06 water: stay off on {}"])
    assert not wrong.holds
    assert "3 answers broke 1 properties" in in_words(wrong) and "stay off on {}" in in_words(wrong)
    assert "Nothing broke." in in_words(proof)


def options(*words: str):
    import argparse

    parser = argparse.ArgumentParser()
    commands.add_parsers(parser)
    return parser.parse_args(["prove", *words])


def test_the_extent_follows_the_options() -> None:
    assert extent_of(options("--full")) == Extent(4, None, 100_000, 3_000)
    assert extent_of(options("--situations", "5", "--seed", "9")).situations == 5
    for words in (("--strength", "0"), ("--strength", "9"), ("--situations", "-1")):
        with pytest.raises(WrongUse):
            extent_of(options(*words))
