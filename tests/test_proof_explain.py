"""Explaining a situation: the sentence, the tree down to the facts, and the nearest change that turns the answer."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from fieldaid.authoring.explain import explain
from fieldaid.authoring.explain_room import in_words, is_situation, read_situation, show
from fieldaid.authoring.prove_job import Bench
from fieldaid.authoring.situations import GOOD, situation_of
from fieldaid.errors import BrokenData, WrongUse
from fieldaid.facts.situation import Situation
from fieldaid.guidance.pack import ACCESS, GATE, load_pack

HOUSE = Path(__file__).resolve().parents[1] / "rules" / "house"


@pytest.fixture(scope="module")
def house():
    return load_pack(HOUSE)


def branches(found):
    waiting = [*found.tree, *found.stands_in_the_way]
    while waiting:
        one = waiting.pop()
        yield one
        waiting += one.under


def after(house, facts, change):
    told = {name: value for name, value in {**facts, **dict(change.facts)}.items() if value != "not told"}
    return Bench(house, engine=False).see(situation_of(told)).out


def test_the_tree_leads_from_access_to_the_fact_that_was_told(house) -> None:
    found = explain(house, Situation.of({"deck.C": "soft", "crew.where": "roof"}))
    assert found.access == "leave now" and found.why.startswith("A spongy report must mean leaving")
    access = found.tree[0]
    assert access.text == "access: leave now (hazard)"
    (leave,) = access.under
    assert leave.rule == "ACCESS-010"
    trigger = next(one for one in leave.under if one.text.startswith("trigger"))
    assert [one.rule for one in trigger.under] == ["DECK-010"]
    assert "now C: soft" in trigger.under[0].under[0].text and trigger.under[0].under[0].holds
    assert found.tree[1].text == "gate: no opening, because access is leave now"


def test_what_stands_in_the_way_names_the_conditions_that_do_not_hold(house) -> None:
    facts = {name: value for name, value in GOOD.items() if name != "water.on_fire"}
    found = explain(house, situation_of(facts))
    assert (found.access, found.gate) == ("no bar reported", "hold")
    (way,) = found.stands_in_the_way
    assert way.rule == "GATE-900"
    assert any(one.text.startswith("water ready is yes") and not one.holds for one in way.under)


@pytest.mark.parametrize("changes", [
    {"deck.C": "soft", "crew.where": "roof"}, {"water.on_fire": None}, {"crew.count": None, "crew.masks": None}, {},
    {"weather.lightning": "yes", "roof.surface": "ice"},
])
def test_the_nearest_change_does_turn_the_answer(house, changes) -> None:
    """Each change told on top gives what is claimed, and is looser or stricter as it says."""
    facts = {name: value for name, value in {**GOOD, **changes}.items() if value is not None}
    found = explain(house, situation_of(facts))
    assert found.nearest
    for change in found.nearest:
        out = after(house, facts, change)
        assert (out.access, out.gate) == (change.access, change.gate)
        what, way = change.turns.split(", ")
        order, now, then = (ACCESS, found.access, out.access) if what == "access" else (GATE, found.gate, out.gate)
        assert (order.index(then) > order.index(now)) == (way == "looser")


def test_far_from_the_answer_the_change_is_found_step_by_step(house) -> None:
    found = explain(house, Situation.of({}))
    looser = next(one for one in found.nearest if one.turns == "access, looser")
    assert len(looser.facts) > 2 and not looser.fewest
    out = after(house, {}, looser)
    assert ACCESS.index(out.access) > ACCESS.index("stay off")


def test_a_rule_is_grown_once(house) -> None:
    facts = {**GOOD, "crew.where": "ladder", "fire.attic": "suspected"}
    del facts["roof.framing"]
    found = explain(house, situation_of(facts))
    grown = [one.rule for one in branches(found) if one.rule and one.under]
    assert len(grown) == len(set(grown))
    assert "(above)" in in_words(found)


def test_the_command_reads_words_and_files_and_writes_json(house, tmp_path: Path) -> None:
    file = tmp_path / "one.yaml"
    file.write_text("given: {deck.eave: solid, roof.solar: [A], basis: {deck.eave: struck}}\n")
    out = io.StringIO()
    assert show([str(file), "crew.count=3"], ["crew.count=seen"], HOUSE, None, True, out) == 0
    data = json.loads(out.getvalue())
    assert data["access"] == "stay off" and {"tree", "nearest", "why", "why_not", "fired"} <= set(data)
    facts, known, computed = read_situation(["place.found=no", "roof.solar=[A, C]", "roof.pitch=6", "light=not told"],
                                            house)
    assert computed == {"place.found": "no"} and facts == {"roof.solar": ["A", "C"], "roof.pitch": 6} and not known


def test_what_is_a_situation() -> None:
    assert is_situation(["deck.C=soft"]) and is_situation(["one.yaml"]) and is_situation(["a=b", "c=d"])
    assert not is_situation(["F306"]) and not is_situation([])


@pytest.mark.parametrize(("words", "basis", "error", "says"), [
    (["deck.X=soft"], [], WrongUse, "no fact is called 'deck.X'"),
    (["deck.C=sofft"], [], WrongUse, "did you mean soft"),
    (["deck.C=[soft"], [], WrongUse, "cannot be read"),
    (["none.yaml"], [], BrokenData, "cannot be read"),
    (["deck.C=soft"], ["deck.C=heard"], WrongUse, "how a fact is known is one of"),
    (["deck.C=soft"], ["deck.D=seen"], WrongUse, "add deck.D=value"),
])
def test_wrong_words_are_told_in_one_sentence(house, words, basis, error, says) -> None:
    with pytest.raises(error, match=says):
        show(words, basis, HOUSE, None, False, io.StringIO())
