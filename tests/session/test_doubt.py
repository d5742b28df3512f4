"""What was heard in doubt: marked, asked or confirmed, and never the reason for a looser verdict."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from heard_session import heard_session

from fieldaid.hearing.heard import EVERY, Either, Heard
from fieldaid.session.doubt import take
from fieldaid.session.judging import HEARD_ONCE


@pytest.fixture
def session(tmp_path, monkeypatch):
    monkeypatch.setenv("FIELDAID_HOME", str(tmp_path))
    with heard_session(tmp_path) as made:
        yield made


def texts(answer) -> list[str]:
    return [one.text for one in answer.replies]


def test_a_number_on_one_word_is_read_back_and_confirmed(session):
    answer = take(session, Heard("built nineteen fifty eight", "x", once=frozenset({"building.built"})))
    assert answer.data["taken"] == {"building.built": 1958}
    assert answer.data["pending"] == ["building.built"]
    assert any(text.startswith("Heard: ") and text.endswith("Affirm?") for text in texts(answer))
    after = take(session, Heard("affirm", "x"))
    assert after.data["pending"] == [] and after.data["picture"]["building.built"] == 1958
    later = take(session, Heard("wind from the west", "x"))
    assert "building.built" not in later.data["pending"], "once is enough"


def test_a_number_that_is_denied_is_gone(session):
    take(session, Heard("built nineteen fifty eight", "x", once=frozenset({"building.built"})))
    answer = take(session, Heard("negative", "x"))
    assert "building.built" not in answer.data["picture"] and answer.data["pending"] == []


def test_a_number_heard_by_both_is_taken_without_a_question(session):
    answer = take(session, Heard("built nineteen fifty eight", "x"))
    assert answer.data["pending"] == [] and answer.data["taken"] == {"building.built": 1958}


def test_a_number_that_could_be_two_is_asked_with_both_and_answered_bare(session):
    answer = take(session, Heard("built nineteen fifteen, gable", "x",
                                 either=(Either("building.built", (1915, 1950)),)))
    assert answer.data["taken"] == {"roof.form": "gable"} and "building.built" not in answer.data["picture"]
    assert any("1915 or 1950?" in text for text in texts(answer))
    assert session.state.expecting == "building.built"
    after = take(session, Heard("nineteen fifty", "x"))
    assert after.data["picture"]["building.built"] == 1950


def test_the_answer_to_which_of_two_is_read_back_and_not_asked_again(session):
    either = (Either("building.built", (1915, 1950)),)
    take(session, Heard("built nineteen fifteen", "x", either=either))
    answer = take(session, Heard("nineteen fifty", "x", either=(Either("building.built", (1950, 1915)),)))
    assert not any("or" in text.split() for text in texts(answer))
    assert answer.data["pending"] == ["building.built"] and answer.data["picture"]["building.built"] == 1950


def test_when_one_hears_alone_every_fact_waits_and_a_danger_counts_at_once(session):
    answer = take(session, Heard("gable, soft on charlie", "x", once=EVERY))
    assert set(answer.data["pending"]) == {"roof.form", "deck.C"}
    assert answer.data["guidance"]["access"] in ("leave now", "stay off", "come down")
    assert any(one.kind in ("leave", "stop") for one in answer.replies)


def test_what_was_heard_once_never_loosens(session):
    """Access and gate with a fact that waits are never looser than without it."""
    from fieldaid.guidance.pack import ACCESS, GATE

    before = take(session, Heard("gable", "x")).data["guidance"]
    for line in ("pitch four in twelve", "built nineteen ninety", "one layer", "two story"):
        now = take(session, Heard(line, "x", once=EVERY)).data["guidance"]
        assert ACCESS.index(now["access"]) <= ACCESS.index(before["access"])
        assert GATE.index(now["opening"]["gate"]) <= GATE.index(before["opening"]["gate"])


def test_a_loosening_number_waits_once_and_not_twice(session):
    answer = take(session, Heard("three of us", "x", once=EVERY))
    assert answer.data["pending"] == ["crew.count"] and "crew.count" not in answer.data["picture"]
    after = take(session, Heard("affirm", "x"))
    assert after.data["picture"]["crew.count"] == 3 and after.data["pending"] == []


def test_the_mark_is_in_the_journal_and_a_resumed_session_still_asks(session, tmp_path, monkeypatch):
    take(session, Heard("built nineteen fifty eight", "x", once=frozenset({"building.built"})))
    told = [one for one in session.state.picture.tellings if one.name == "building.built"]
    assert [one.who for one in told] == [HEARD_ONCE]
    events = [event.body for event in session.journal.events() if event.kind == "line"]
    assert events[-1]["parsed"]["readings"][0]["who"] == HEARD_ONCE
