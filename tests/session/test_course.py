"""The course of a job in a session: tries for relief, marks, notices, crew change, handover, drafts, exercise.

Published sources behind the checks, by row of the source list: the order of looking for relief is G21; benchmarks of
the roof crew S37; time notices S17 and S18; a count is of members seen S20, one short is a mayday S21; reports R03,
S32, R09. The house and all times are invented.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from fieldaid.facts import Picture, Telling
from fieldaid.grammar import load_grammar
from fieldaid.guidance.guide import Guide
from fieldaid.guidance.pack import load_pack
from fieldaid.session.doubt import HEARD_ONCE
from fieldaid.session.glance import glance
from fieldaid.session.journal import Journal
from fieldaid.session.judging import judge
from fieldaid.session.marks import marks, marks_lines
from fieldaid.session.notices import Reminders, air_notice
from fieldaid.session.session import Session

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "guidance"))

READY = (
    "gable roof, ridge bravo delta, alpha faces south, rafters seen",
    "fire on charlie, attic clear seen, wind from the west",
    "three of us on air, command sent us up",
    "ladders bravo charlie corner and alpha, eave sounds solid",
    "wires clear, no panels, dry",
    "water on the fire, interior wants it open, interior answers",
)
OPEN = (*READY, "on the roof", "opening full", "interior reports no change")
NEXT_ACTS = {"RELIEF-105", "RELIEF-110", "RELIEF-120", "RELIEF-130", "RELIEF-140", "RELIEF-150", "RELIEF-160",
             "RELIEF-165", "RELIEF-170", "RELIEF-175", "RELIEF-190"}


@pytest.fixture(scope="module")
def shared():
    import house

    return load_grammar(), Guide(house.house(), engine=False)


class Talk:
    """A session that is told lines at times of ours [s]."""

    def __init__(self, shared, journal=None, **options):
        self.session = Session(*shared, journal or Journal(":memory:"), **options)
        self.session.begin()
        self.at = 1000.0

    def say(self, *lines, after=1.0):
        for line in lines:
            self.at += after
            answer = self.session.line(line, at=self.at)
            assert answer.data["result"] in ("taken", "command"), (line, [one.text for one in answer.replies])
        return answer

    def acts(self):
        """The rules that name a next act now."""
        found = judge(self.session.guide, self.session.state, self.at).main
        return {rule for line in found.advice for rule in line.rules} & NEXT_ACTS


def texts(answer):
    return [one.text for one in answer.replies]


# ---- one try at a time [G21]


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


# ---- roll call [S20, S21]


def test_a_roll_call_that_is_short_is_a_mayday_first(shared):
    answer = Talk(shared).say("three of us on air", "par of two")
    assert "Member missing: mayday first." in texts(answer) and answer.data["picture"]["crew.missing"] == "yes"


def test_a_full_roll_call_never_says_that_nobody_is_missing(shared):
    assert "crew.missing" not in Talk(shared).say("three of us on air", "par of three").data["picture"]
    missing = Talk(shared).say("three of us on air", "one member missing", "par of three")
    assert missing.data["picture"]["crew.missing"] == "yes"


# ---- marks [S37, R16]


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


# ---- time and air notices [S17, S18; invariant 4]


def test_a_notice_comes_at_each_interval_once_and_asks_for_the_count(shared):
    talk = Talk(shared)
    talk.say(*READY, "on the roof")
    assert talk.session.remind(talk.at + 9 * 60) == []
    assert [one.text for one in talk.session.remind(talk.at + 10 * 60)] == [
        "10 minutes on the roof. Roll call and air?"]
    assert talk.session.remind(talk.at + 11 * 60) == []
    assert [one.kind for one in talk.session.remind(talk.at + 35 * 60)] == ["note"]
    assert talk.session.remind(talk.at + 36 * 60) == []


def test_a_notice_changes_no_answer_and_none_comes_off_the_roof(shared):
    talk = Talk(shared)
    talk.say(*READY, "on the roof")
    later = talk.at + 12 * 60
    before = judge(talk.session.guide, talk.session.state, later).main
    assert talk.session.remind(later)
    assert judge(talk.session.guide, talk.session.state, later).main == before
    talk.say("off the roof")
    assert talk.session.remind(talk.at + 3600) == []


def test_no_notice_while_a_danger_stands_or_in_quiet(shared):
    talk = Talk(shared)
    talk.say(*READY, "on the roof", "quiet")
    assert talk.session.remind(talk.at + 3600) == []
    talk.say("speak up again", "soft on charlie")
    assert talk.session.remind(talk.at + 3600) == []


def test_the_department_sets_the_interval():
    picture = Picture().tell(Telling(1, "crew.where", "roof", at=0.0))
    assert Reminders(15, None).due(picture, 14 * 60) == [] and Reminders(15, None).due(picture, 15 * 60)
    assert Reminders(None, None).due(picture, 3600) == []
    pack = load_pack(Path(__file__).resolve().parents[2] / "rules" / "house")
    assert pack.parameter_values()["notice_minutes"] == 10


def test_air_that_falls_fast_is_told_and_air_that_rises_gives_no_time():
    def air(*told):
        return Picture().tell(*(Telling(n, "crew.air", {"fraction": share}, at=at)
                                for n, (at, share) in enumerate(told, 1)))

    # 40 % in 8 minutes is 5 % a minute: 60 % is 27 % above a third, which lasts 5.4 minutes.
    assert air_notice(air((0, 1.0), (480, 0.6)), 480, 0.33, 10) == "At this rate air is low in 5 minutes."
    assert air_notice(air((0, 1.0), (480, 0.9)), 480, 0.33, 10) == ""  # 46 minutes: no notice, and no promise
    assert air_notice(air((0, 0.5), (480, 0.8)), 480, 0.33, 10) == ""
    assert air_notice(air((480, 0.6)), 480, 0.33, 10) == ""


def test_notices_given_are_not_given_again_after_a_crash(shared, tmp_path):
    path = tmp_path / "cut.journal"
    talk = Talk(shared, Journal(path))
    talk.say(*READY, "on the roof")
    assert talk.session.remind(talk.at + 10 * 60)
    talk.session.journal.close()
    again = Session(*shared, Journal(path))
    again.begin()
    assert again.remind(talk.at + 11 * 60) == [] and again.remind(talk.at + 20 * 60)


# ---- crew change and handover [invariant 29: common practice, no source]


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


# ---- drafts [R03, S32, R09, S20]


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


# ---- exercise [invariant 30]


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


def test_an_urgent_call_names_dangers_and_not_what_is_not_told(shared):
    """What is sent at once are the dangers [R17]."""
    session = Session(*shared, Journal(":memory:"))
    session.begin()
    session.line("crew on the ground, frost on the roof, wires on alpha", at=1000.0)
    said = [one.text for one in session.line("urgent call", at=1001.0).replies]
    assert "Urgent, roof: frost on the roof, wires in reach." in said
    assert not any("ttic not told" in line or "masks not told" in line for line in said), said


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
