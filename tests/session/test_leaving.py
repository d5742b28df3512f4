"""Leave-nows and waiting dangers over a whole session: none is silenced, and "status" tells them all."""

from __future__ import annotations

import pytest
from job_talk import Talk, texts

from fieldaid.session.glance import glance
from fieldaid.session.journal import Journal
from fieldaid.session.session import Session


def leaves(answer):
    return [one.text for one in answer.replies if one.kind == "leave"]


@pytest.mark.parametrize("spoken", [False, True])
def test_a_leave_is_said_again_to_a_crew_that_goes_back_up(shared, spoken):
    """Invariant 12: a bad deck under a crew means leave; "leaving" was said by a crew that has left since."""
    session = Session(*shared, Journal(":memory:"), as_heard=spoken)
    session.begin()

    def say(line):
        answer = session.line(line, at=1000.0)
        return session.line("affirm", at=1000.0) if session.state.asked else answer

    assert leaves(say("crew on the roof, soft on charlie")) == ["Leave now. Soft deck, C."]
    assert leaves(say("coming down")) == []
    assert leaves(say("status")) == [], "the leave stands, its repeat has ended"
    say("off the roof")
    assert leaves(say("back on the roof")) == ["Leave now. Soft deck, C."]
    say("leaving")
    assert leaves(say("crew change")) == ["Leave now. Soft deck, C."]


def test_a_bare_answer_is_understood_while_something_else_waits_for_affirm(shared):
    session = Session(*shared, Journal(":memory:"), as_heard=True)
    session.begin()
    session.line("attic fire", at=1000.0)
    asked = session.line("we're up", at=1001.0)
    assert "Crew: ground, ladder, aerial, or roof?" in [one.text for one in asked.replies]
    assert session.line("roof", at=1002.0).data["taken"] == {"crew.where": "roof"}
    answer = session.line("yes, soft on bravo", at=1003.0)
    assert answer.data["taken"] == {"fire.attic": "confirmed", "deck.B": "soft"}


def test_leaving_a_section_answers_no_danger_of_the_main_roof(shared):
    talk = Talk(shared)
    talk.say("on the roof", "garage soft on alpha", "leaving")
    answer = talk.say("soft on alpha")
    assert [one.text for one in answer.replies if one.kind == "leave"] == ["Leave now. Soft deck, A."]
    talk.say("leaving")
    assert not [one for one in talk.say("garage roof is gable").replies if one.kind == "leave"]


def test_an_order_off_the_main_roof_is_said_after_a_section_was_left(shared):
    talk = Talk(shared)
    talk.say("on the roof", "garage soft on alpha", "leaving")
    answer = talk.say("command says come off")
    assert "Leave now. Ordered off." in [one.text for one in answer.replies if one.kind == "leave"]


@pytest.mark.parametrize(("lines", "access"), [
    (("on the roof", "no way down", "on the ground"), "leave now"),
    (("on the roof", "correction attic fire", "truss roof", "attic clear seen"), "leave now"),
    (("three of us", "affirm", "on the roof", "roll call two", "roll call three"), "come down"),
    (("three of us", "affirm", "on the roof", "roll call two", "scratch that"), "come down"),
    (("on the roof", "correction soft on charlie", "scratch that"), "leave now"),
    (("on the roof", "ladder on the BC corner, aerial on alpha", "both ladders are on charlie", "on the ground"),
     "leave now"),
    (("on the roof", "both ladders are on charlie", "ladders bravo charlie corner and alpha"), "leave now"),
    (("on the roof", "new job", "soft on charlie", "affirm"), "leave now")])
def test_no_spoken_word_takes_a_waiting_danger_away_without_an_affirm(shared, lines, access):
    session = Talk(shared, as_heard=True).session
    for at, line in enumerate(lines, 1000):
        answer = session.line(line, at=float(at))
    assert answer.data["guidance"]["access"] == access


def test_status_tells_every_danger_and_the_other_parts_of_the_roof(shared):
    talk = Talk(shared)
    talk.say("on the roof", "garage soft on alpha", "leaving")
    status = talk.say("status")
    assert "Garage: leave now. Soft deck, A." in texts(status)
    assert "| GARAGE leave now |" in f"{glance(status.data)} |"
    talk.say("soft on charlie", "low on air", "leaving")
    status = talk.say("status")
    assert texts(status)[:2] == ["Leave now. Soft deck, C.", "Low air."]
    assert "GARAGE" not in glance(status.data)


def test_a_danger_of_the_main_roof_is_not_called_as_one_of_the_garage(shared):
    talk = Talk(shared)
    talk.say("on the roof", "soft on charlie", "garage roof is gable", "garage sagging on alpha", "leaving")
    stands = " ".join(texts(talk.say("handover")))
    assert "Soft deck, C" in stands and "garage sagging deck, A" in stands and "garage soft" not in stands


def test_dangers_that_were_shown_in_silence_are_said_after_a_mayday(shared):
    """The voice gives way to the radio while a mayday is called; what came up then was heard by nobody."""
    talk = Talk(shared)
    talk.say("three of us", "on the ground", "mayday", "soft on charlie", "roll call two")
    assert not {"Stay off. Soft deck, C.", "Member missing: mayday first."} & set(texts(talk.say("metal roof")))
    again = texts(talk.say("resume speaking"))
    assert {"Stay off. Soft deck, C.", "Member missing: mayday first."} <= set(again)
    assert not {"Stay off. Soft deck, C.", "Member missing: mayday first."} & set(texts(talk.say("quiet")))
    assert "Stay off. Soft deck, C." not in texts(talk.say("resume speaking"))
