"""Time and air notices in a session, by rows S17 and S18 of the source list. All times are invented."""

from __future__ import annotations

from pathlib import Path

from job_talk import READY, Talk

from fieldaid.facts import Picture, Telling
from fieldaid.guidance.pack import load_pack
from fieldaid.session.journal import Journal
from fieldaid.session.judging import judge
from fieldaid.session.notices import Reminders, air_notice
from fieldaid.session.session import Session


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
