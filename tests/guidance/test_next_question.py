"""What is asked for first. The orders are held against exhaustive counting; the situations are invented."""

from __future__ import annotations

import random
from dataclasses import replace

import house
import pytest

from fieldaid.authoring.situations import GOOD
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.guide import Guide
from fieldaid.guidance.next_question import MOST_ASKED, NextQuestion, is_settled


@pytest.fixture(scope="module")
def questions() -> NextQuestion:
    return NextQuestion(house.reference(), house.plain_computed)


def _with(situation: Situation, name: str, value: object) -> Situation:
    return replace(situation, values={**situation.values, name: value}, basis={**situation.basis, name: "told"})


def test_the_order_loses_and_invents_nothing(questions: NextQuestion) -> None:
    rng = random.Random(7)
    for _ in range(25):
        situation = house.situation_of(house.random_facts(rng, GOOD, 6))
        missing = house.run(situation).missing
        assert sorted(questions.order(situation, missing)) == sorted(missing)


def test_the_share_that_settles_is_that_of_every_value_tried(questions: NextQuestion) -> None:
    facts = {name: value for name, value in GOOD.items() if name not in ("crew.masks", "roof.surface")}
    situation = house.situation_of(facts)
    for one in questions.questions(situation, house.run(situation).missing):
        if FACTS[one.fact].kind != "choice":
            continue
        values = FACTS[one.fact].values
        settled = sum(is_settled(house.run(_with(situation, one.fact, value))) for value in values)
        assert one.settles == settled / len(values)


def test_the_last_missing_fact_settles_whatever_the_answer(questions: NextQuestion) -> None:
    facts = {name: value for name, value in GOOD.items() if name != "roof.surface"}
    situation = house.situation_of(facts)
    assert house.run(situation).missing == ("roof.surface",)
    assert [one.settles for one in questions.questions(situation, ("roof.surface",))] == [1.0]


def test_a_fact_that_can_bar_the_roof_comes_before_one_that_cannot(questions: NextQuestion) -> None:
    """Any wire overhead bars the roof; whether the interior knows of the cut only holds it."""
    facts = {name: value for name, value in GOOD.items() if name not in ("roof.wires", "interior.answers")}
    situation = house.situation_of(facts)
    assert questions.order(situation, ("interior.answers", "roof.wires")) == ("roof.wires", "interior.answers")


def test_every_number_that_the_rules_compare_with_is_tried(questions: NextQuestion) -> None:
    assert {0, 1, 2} & set(questions.answers("crew.count")) and len(questions.answers("crew.count")) >= 2
    outcomes = {house.run(house.situation_of(dict(GOOD) | {"crew.count": count})).access
                for count in questions.answers("crew.count") if count >= FACTS["crew.count"].low}
    everything = {house.run(house.situation_of(dict(GOOD) | {"crew.count": count})).access
                  for count in range(int(FACTS["crew.count"].low or 0), 8)}
    assert outcomes == everything


def test_a_long_list_keeps_the_packs_order_behind_the_ranked_ones(questions: NextQuestion) -> None:
    missing = house.run(Situation()).missing
    assert len(missing) > MOST_ASKED
    assert questions.order(Situation(), missing)[MOST_ASKED:] == missing[MOST_ASKED:]


def test_the_guide_puts_the_most_decisive_first() -> None:
    guide = Guide(house.house(), engine=False)
    facts = {name: value for name, value in GOOD.items() if name not in ("roof.wires", "interior.answers")}
    found = guide.evaluate(house.situation_of(facts))
    ranked = guide.most_decisive_first(replace(found, missing=("interior.answers", "roof.wires")))
    assert ranked.missing == ("roof.wires", "interior.answers")
    assert replace(ranked, missing=()) == replace(found, missing=())
