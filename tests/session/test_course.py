"""The course of a job in a session: tries for relief, roll calls, marks, exercise.

Published sources behind the checks, by row of the source list: the order of looking for relief is G21; benchmarks of
the roof crew S37; a count is of members seen S20, one short is a mayday S21. The house and all times are invented.
"""

from __future__ import annotations

from job_talk import OPEN, READY, Talk, texts

from fieldaid.session.doubt import HEARD_ONCE
from fieldaid.session.judging import judge
from fieldaid.session.marks import marks, marks_lines


def test_one_act_is_named_at_a_time_and_the_next_only_after_no_change(shared):
    talk = Talk(shared)
    talk.say(*OPEN)
    assert talk.acts() == {"RELIEF-110"}
    talk.say("ceiling pushed")
    assert talk.acts() == {"RELIEF-105"}
    talk.say("the hole shows pressure")
    assert talk.acts() == {"RELIEF-105"}
    talk.say("no change inside")
    assert talk.acts() == {"RELIEF-160"}


def test_two_failed_tries_bring_the_crew_down_and_name_no_third(shared):
    talk = Talk(shared)
    talk.say(*OPEN, "ceiling pushed", "no change inside", "extended the hole")
    assert talk.session.last_data["guidance"]["access"] == "no bar reported"
    answer = talk.say("no change inside")
    assert answer.data["guidance"]["access"] == "come down"
    assert answer.replies[0].text == "Come down. Tries failed, no relief." and answer.replies[0].kind == "stop"
    assert talk.acts() == set()


def test_relief_after_the_second_try_is_the_end_of_the_job_and_not_a_failure(shared):
    talk = Talk(shared)
    answer = talk.say(*OPEN, "ceiling pushed", "no change inside", "extended the hole", "interior says better")
    assert answer.data["guidance"]["access_reason"] == "done"


def test_worse_after_the_first_try_means_leave(shared):
    talk = Talk(shared)
    answer = talk.say(*OPEN, "ceiling pushed", "interior says worse")
    assert answer.data["guidance"]["access"] == "leave now" and talk.acts() == set()


def test_a_ceiling_pushed_before_anyone_missed_relief_is_no_try(shared):
    talk = Talk(shared)
    talk.say(*READY, "on the roof", "opening full", "ceiling pushed", "no change inside")
    assert "tried.ceiling" not in talk.session.state.picture.known(talk.at) and talk.acts() == {"RELIEF-165"}


def test_scratching_the_second_no_change_takes_the_failure_back(shared):
    talk = Talk(shared)
    talk.say(*OPEN, "ceiling pushed", "no change inside", "extended the hole", "no change inside", "scratch that")
    assert talk.session.last_data["guidance"]["access"] == "no bar reported" and talk.acts() == {"RELIEF-105"}


def test_a_failed_try_stays_failed_when_it_is_told_again(shared):
    talk = Talk(shared)
    talk.say(*OPEN, "ceiling pushed", "no change inside", "extended the hole", "no change inside")
    talk.session.line("extended the hole", at=talk.at)
    assert talk.session.last_data["guidance"]["access"] == "come down"


def test_time_does_not_take_failed_tries_away(shared):
    talk = Talk(shared)
    talk.say(*OPEN, "ceiling pushed", "no change inside", "extended the hole", "no change inside")
    assert talk.say("status", after=3 * 3600).data["guidance"]["access"] in ("come down", "leave now")


def test_a_roll_call_that_is_short_is_a_mayday_first(shared):
    answer = Talk(shared).say("three of us on air", "par of two")
    assert "Member missing: mayday first." in texts(answer) and answer.data["picture"]["crew.missing"] == "yes"


def test_a_full_roll_call_never_says_that_nobody_is_missing(shared):
    assert "crew.missing" not in Talk(shared).say("three of us on air", "par of three").data["picture"]
    missing = Talk(shared).say("three of us on air", "one member missing", "par of three")
    assert missing.data["picture"]["crew.missing"] == "yes"


def test_marks_keep_the_order_and_the_minutes(shared):
    talk = Talk(shared)
    talk.say(*READY)
    talk.say("on the roof", "first cut", "the roof is open", "ceiling pushed", "interior says better", "off the roof",
             "par of three", after=60)
    assert [one.called for one in marks(talk.session.state.picture)] == [
        "water on the fire", "up", "first cut", "open", "ceiling pushed", "relief", "off the roof", "roll call 3"]
    said = " ".join(texts(talk.say("marks", after=60)))
    assert "up 7," in said.replace(".", ",") and "roll call 3 1" in said
    assert all(len(line.split()) <= 10 for line in marks_lines(talk.session.state.picture, talk.at))


def test_a_scratched_mark_goes_and_one_that_waits_is_none(shared):
    talk = Talk(shared)
    talk.say("on the roof", "scratch that")
    assert marks(talk.session.state.picture) == []
    heard = Talk(shared, as_heard=True)
    heard.session.line("off the roof", at=1.0)
    assert marks(heard.session.state.picture) == [] and "crew.where" in heard.session.last_data["pending"]


def test_on_the_ground_from_the_start_is_not_off_the_roof(shared):
    talk = Talk(shared)
    talk.say("crew on the ground")
    assert marks(talk.session.state.picture) == []


def test_a_half_said_mark_is_asked(shared):
    session = Talk(shared).session
    assert texts(session.line("we're up", at=1.0))[-1] == "Crew: ground, ladder, aerial, or roof?"
    assert texts(session.line("open", at=2.0))[-1] == "Opening: none, inspection, part, or full?"


def test_no_play_ends_the_exercises_good_news_and_keeps_its_dangers(shared):
    talk = Talk(shared)
    talk.say("exercise, water on the fire", "exercise, soft on charlie")
    answer = talk.say("no play, no play")
    assert "Exercise good news no longer counts." in texts(answer)
    assert "water.on_fire" not in answer.data["picture"] and answer.data["picture"]["deck.C"] == "soft"


def test_what_was_real_before_the_exercise_is_there_again_after_it(shared):
    answer = Talk(shared).say("no water on the fire", "exercise, water on the fire", "no play")
    assert answer.data["picture"]["water.on_fire"] == "no"


def test_what_is_told_with_no_play_or_after_it_is_real(shared):
    talk = Talk(shared)
    talk.say("exercise, rafters seen", "no play", "water on the fire", "no play")
    assert talk.session.last_data["picture"]["water.on_fire"] == "yes"
    assert "roof.framing" not in talk.session.last_data["picture"]


def test_exercise_good_news_that_waits_is_dropped_by_no_play(shared):
    session = Talk(shared, as_heard=True).session
    session.line("exercise, water on the fire", at=1.0)
    assert session.last_data["pending"] == ["water.on_fire"]
    session.line("no play", at=2.0)
    assert session.last_data["pending"] == []


def test_an_exercise_fact_that_one_recogniser_heard_stays_heard_once(shared):
    from dataclasses import replace

    from fieldaid.session.dialogue import reduce
    from fieldaid.session.dialogue_state import State, Utterance

    parsed = shared[0].parse("exercise, pitch is six twelve")
    parsed = replace(parsed, readings=tuple(replace(one, who=HEARD_ONCE) for one in parsed.readings))
    state, _ = reduce(State(), Utterance(1, 0.0, parsed, spoken=True), lambda name, value, basis: name)
    told, = state.picture.tellings
    assert told.who == HEARD_ONCE and told.exercise
    assert [one.name for one in judge(shared[1], state, 0.0).unconfirmed] == ["roof.pitch"]


def test_a_spoken_second_failure_counts_before_it_is_affirmed(shared):
    talk = Talk(shared)
    talk.say(*OPEN, "ceiling pushed", "no change inside", "extended the hole")
    answer = talk.session.line("no change inside", spoken=True, at=talk.at + 1)
    assert answer.data["pending"] == ["interior.relief"] and answer.data["guidance"]["access"] == "come down"


def test_a_spoken_short_roll_call_is_a_mayday_before_it_is_affirmed(shared):
    talk = Talk(shared)
    talk.say("three of us on air, crew on the roof")
    answer = talk.session.line("par of two", spoken=True, at=talk.at + 1)
    assert "Member missing: mayday first." in texts(answer)
