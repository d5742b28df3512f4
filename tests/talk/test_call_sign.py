"""Live: which lines are messages, by the call sign, by their words, or by the talk key.

What the loop must do is the product's own rule (design: Speech); the word limits and trade facts are tested elsewhere.
"""

from __future__ import annotations

import pytest
from talk_room import until

from fieldaid.clock import monotonic


def test_a_message_is_read_back_and_said(talk):
    one = talk()
    shown, spoken = one.say("field aid wind from the west")
    assert "heard: field aid wind from the west" in shown and "Wind west." in spoken
    assert one.picture == {"wind.from": "west"}


def test_without_the_call_sign_talk_is_written_down_and_neither_taken_nor_answered(talk):
    one = talk()
    shown, spoken = one.say("wind from the west")
    assert "No call sign" in shown and spoken == [] and one.picture == {}
    assert [line["ignored"] for line in one.events("line")] == [True]
    assert one.say("say again")[1] != ["No call sign: not a message."]


@pytest.mark.parametrize(("line", "facts"), [
    ("soft on charlie", {"deck.C": "soft"}), ("say again", {}), ("stop talking", {}), ("mayday mayday mayday", {}),
    ("no play no play", {}), ("leaving", {})])
def test_urgent_words_need_no_call_sign(talk, line, facts):
    one = talk()
    shown, _ = one.say(line)
    assert "No call sign" not in shown and one.picture == facts
    assert [body["ignored"] for body in one.events("line")] == [False]


@pytest.mark.parametrize("line", ["affirm", "yes", "negative", "solid on charlie", "soft on charlie rafters",
                                  "rafters", "status", "quiet", "scratch that"])
def test_everything_else_does(talk, line):
    one = talk()
    one.say(line)
    assert one.picture == {} and [body["ignored"] for body in one.events("line")] == [True]


def test_an_awaited_answer_needs_none_for_a_short_while_only(talk):
    one = talk()
    one.say("field aid rafters")
    one.say("affirm")
    assert one.picture == {"roof.framing": "rafters"}
    one.say("field aid water on the fire")
    one.session._asked_at -= 31
    shown, _ = one.say("yes")
    assert "No call sign" in shown and "water.on_fire" not in one.picture
    one.say("field aid affirm")
    assert one.picture["water.on_fire"] == "yes"


def test_an_affirm_that_comes_too_late_has_the_question_asked_anew(talk):
    one = talk()
    one.say("field aid rafters")
    one.session._asked_at -= 31
    assert one.say("affirm")[1] == ["Heard: framing: rafters. Affirm?"] and one.picture == {}
    one.say("affirm")
    assert one.picture == {"roof.framing": "rafters"}


def test_what_was_said_before_the_question_does_not_answer_it(talk):
    one = talk()
    one.say("field aid rafters")
    one.room.lag = 5.0
    one.say("yes")
    assert one.picture == {}


def test_the_time_to_answer_begins_when_the_question_is_said(talk):
    one = talk()
    one.speaker.silent = True
    one.say("field aid rafters")
    one.session._asked_at -= 31
    assert one.session.awaiting(one.session._asked_at + 31) is None
    one.loop._began("0001", "question", monotonic())
    one.loop_is_idle()
    one.say("affirm")
    assert one.picture == {"roof.framing": "rafters"}


def test_what_was_not_understood_is_asked_only_if_it_was_for_the_tool(talk):
    one = talk()
    shown, spoken = one.say("?can you bring me some water")
    assert "(not understood)" in shown and spoken == [] and one.events("line") == []
    assert "Not understood. Nothing taken. Say again?" in one.say("?field aid bring water")[1]


def test_with_a_talk_key_what_is_said_while_it_is_down_counts_without_call_sign(talk):
    one = talk(talk_key=True)
    one.say("wind from the north")
    assert one.picture == {} and one.events("line") == [], "the microphone is closed"
    one.loop.key()
    until(lambda: "Microphone open." in one.out.getvalue() and one.speaker.held)
    one.say("wind from the west")
    assert one.picture == {"wind.from": "west"}
    assert "Say again?" in " ".join(one.say("?mumbling")[1])
    one.loop.key()
    until(lambda: not one.speaker.held)
