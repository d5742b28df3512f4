"""Crew change, handover, and the drafts of reports and of the urgent call, by rows R03, S32 and R09."""

from __future__ import annotations

import pytest
from job_talk import OPEN, READY, Talk, texts

from fieldaid.session.journal import Journal
from fieldaid.session.session import Session


def test_a_crew_change_forgets_the_order_and_names_what_stands(shared):
    talk = Talk(shared)
    answer = talk.say(*READY, "air low", "crew change")
    known = talk.session.state.picture.known(talk.at)
    assert not {"crew.count", "crew.masks", "command.roof"} & set(known) and "crew.air" in known
    assert "Stands from before:" in " ".join(texts(answer)) and "air low" in " ".join(texts(answer)).lower()
    talk.say("scratch that")
    assert {"crew.count", "crew.masks", "command.roof"} <= set(talk.session.state.picture.known(talk.at))


def test_an_order_to_come_off_outlives_a_crew_change(shared):
    answer = Talk(shared).say("command orders us off the roof", "crew change")
    assert answer.data["guidance"]["access"] == "leave now" and answer.data["guidance"]["access_reason"] == "ordered"


def test_a_handover_says_what_stands_what_is_told_and_what_is_not(shared):
    talk = Talk(shared)
    talk.say(*OPEN, "soft on charlie")
    lines = texts(talk.say("handover"))
    assert lines[0].startswith("Leave now.")
    said = "\n".join(lines)
    for part in ("Draft handover, not sent.", "Stands: Soft deck", "Roof: Gable", "Water and interior:", "Opening: ",
                 "Ways off:", "roll call not told", "Minutes ago:", "crew change."):
        assert part.lower() in said.lower(), part
    assert all(len(line.split()) <= 12 for line in lines), [line for line in lines if len(line.split()) > 12]


def test_a_handover_of_nothing_says_not_told(shared):
    said = "\n".join(texts(Talk(shared).say("handover")))
    assert said.count("not told") > 5 and "Stands: no danger told." in said


@pytest.mark.parametrize("ask", ["draft report", "roof report", "urgent call", "handover"])
def test_a_draft_says_that_it_is_one_and_carries_place_and_crew(shared, ask):
    talk = Talk(shared)
    talk.say(*OPEN, "water is lost")
    said = "\n".join(texts(talk.say(ask)))
    assert "not sent. You send it." in said
    for part in ("fire C", "3", "on the roof", "roll call not told", "Come down"):
        assert part.lower() in said.lower(), (ask, part)


def test_a_report_names_conditions_actions_and_needs(shared):
    talk = Talk(shared)
    talk.say(*OPEN, "interior lost water", "saw failed")
    said = texts(talk.say("report"))
    assert [line.split(":")[0] for line in said if line.split(":")[0] in ("Conditions", "Actions", "Needs")] == [
        "Conditions", "Actions", "Needs"]
    assert any(line.startswith("Needs: water on the fire") for line in said)


def test_a_roof_report_says_not_told_of_walls_and_loads(shared):
    said = "\n".join(texts(Talk(shared).say("gable roof", "roof report"))).lower()
    assert "party wall not told" in said and "loads not told" in said and "ways off not told" in said


def test_an_urgent_call_needs_a_danger(shared):
    assert texts(Talk(shared).say(*READY, "urgent call"))[-1] == "No danger told to call. You decide."


def test_the_mayday_form_gives_air_in_words(shared):
    talk = Talk(shared)
    talk.session.line("crew on the roof, air at forty percent, fire on charlie", at=1.0)
    said = "\n".join(texts(talk.session.line("mayday", at=2.0)))
    assert "Air: 40 percent" in said and "Location: roof, fire C" in said


def test_an_urgent_call_names_dangers_and_not_what_is_not_told(shared):
    """What is sent at once are the dangers [R17]."""
    session = Session(*shared, Journal(":memory:"))
    session.begin()
    session.line("crew on the ground, frost on the roof, wires on alpha", at=1000.0)
    said = [one.text for one in session.line("urgent call", at=1001.0).replies]
    assert "Urgent, roof: frost on the roof, wires in reach." in said
    assert not any("ttic not told" in line or "masks not told" in line for line in said), said
