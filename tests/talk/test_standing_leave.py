"""Live: a leave-now is said in bursts, with gaps, until "leaving", and after a restart.

What the loop must do is the product's own rule (design: Speech); the word limits and trade facts are tested elsewhere.
"""

from __future__ import annotations

import time

from talk_room import LEAVE, hasten, until

from fieldaid.clock import monotonic, now
from fieldaid.session import session
from fieldaid.session.journal import read_only


def test_a_leave_is_said_in_bursts_until_leaving(talk, monkeypatch):
    hasten(monkeypatch, 0.2, 0.05)
    one = talk()
    one.say("soft on charlie")
    until(lambda: one.speaker.lines.count(LEAVE) >= 4)
    until(lambda: len(one.events("tick")) >= 3)
    one.say("leaving")
    before = one.speaker.lines.count(LEAVE)
    time.sleep(0.5)
    assert one.speaker.lines.count(LEAVE) == before
    assert one.session.last_data["guidance"]["access"] == "leave now", "the repeat ends, the leave does not"


def test_between_bursts_there_is_a_gap_for_the_radio_and_for_an_answer(talk, monkeypatch):
    hasten(monkeypatch, 0.0, 0.5, GIVE_WAY_S=60.0)
    one = talk()
    one.say("soft on charlie")
    first = monotonic()
    until(lambda: one.events("tick"))
    assert monotonic() - first > 0.2
    one.room.open_speech = True
    until(lambda: one.speaker.held)
    ticks = len(one.events("tick"))
    time.sleep(1.0)
    assert len(one.events("tick")) <= ticks + 1, "a burst waits while somebody may be saying leaving"


def test_a_danger_that_time_alone_brings_back_is_said(talk, monkeypatch):
    """A fire that was knocked down counts as suspected again after a while: a setting of ours."""
    hasten(monkeypatch, 0.1, 0.0, REMIND_S=0.1)
    one = talk()
    for line in ("rafters seen", "affirm", "cockloft knocked down", "affirm"):
        one.say(f"field aid {line}")
    assert not [line for line in one.speaker.lines if line.startswith("Leave now")]
    monkeypatch.setattr(session, "now", lambda: now() + 3600.0)
    until(lambda: "Leave now. Cockloft fire suspected." in one.speaker.lines)


def test_a_session_that_broke_off_says_its_leave_again_at_once(talk, tmp_path):
    one = talk()
    one.say("soft on charlie")
    one.end(close=False)
    one.session.journal.close()
    again = talk(path=tmp_path / "t.journal")
    until(lambda: LEAVE in again.speaker.lines)
    again.say("leaving")
    again.end()
    journal = read_only(tmp_path / "t.journal")
    assert [row.closed is not None for row in journal.sessions()] == [True]
    journal.close()
