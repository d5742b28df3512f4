"""Live: a lost microphone, lost sound, a slow or broken recogniser, a full disk; and the times that are written down.

What the loop must do is the product's own rule (design: Speech); the word limits and trade facts are tested elsewhere.
"""

from __future__ import annotations

import threading

import pytest
from talk_room import LEAVE, hasten, until

from fieldaid.errors import JournalError, SoundError


def test_a_lost_microphone_is_said_once_and_tried_again_while_the_leave_goes_on(talk, monkeypatch):
    hasten(monkeypatch, 0.1, 0.0, RETRY_S=0.02)
    one = talk()
    one.say("soft on charlie")
    one.room.fault = SoundError("microphone lost", why="the device 'x' ended its sound")
    until(lambda: "Microphone lost: the device 'x' ended its sound. Nothing is heard until it is back; trying again."
          in one.out.getvalue())
    before = one.speaker.lines.count(LEAVE)
    until(lambda: one.speaker.lines.count(LEAVE) >= before + 2)
    assert one.out.getvalue().count("Microphone lost") == 1
    assert one.speaker.lines.count("Microphone lost. Nothing is heard.") == 1
    one.room.fault = None
    until(lambda: "The microphone is back." in one.out.getvalue())
    one.say("leaving")
    assert one.session.state.leaving


def test_lost_sound_is_said_once(talk):
    one = talk()
    one.room.dropped = 3
    one.say("field aid wind from the west")
    one.room.dropped = 9
    one.say("field aid top floor fire charlie")
    assert one.out.getvalue().count("Sound was lost") == 1
    assert one.speaker.lines.count("Sound was lost. Say again.") == 1


def test_a_slow_recogniser_does_not_keep_the_ear_from_listening(talk):
    one = talk()
    go = threading.Event()
    hear = one.room.hear
    one.room.hear = lambda segment, awaiting=None: (go.wait(10), hear(segment))[1]
    for text in ("field aid wind from the west", "field aid top floor fire charlie"):
        one.room.stretches.append((text, ()))
        one.room.said.put(len(one.room.stretches) - 1)
    until(one.room.said.empty)
    assert one.picture == {}
    go.set()
    until(lambda: one.picture.get("fire.side") == "C")


def test_a_fault_in_listening_ends_the_loop_in_one_sentence_and_keeps_the_journal(talk):
    one = talk()
    one.say("field aid wind from the west")
    one.room.fault = RuntimeError("a bug")
    one.thread.join(10)
    assert not one.thread.is_alive() and "listening broke off" in one.out.getvalue()
    assert len(one.events("line")) == 1


def test_what_cannot_be_written_down_is_not_taken_and_a_leave_is_still_said(talk, monkeypatch):
    hasten(monkeypatch, 0.1, 0.0)
    one = talk()
    one.say("soft on charlie")

    def full(*args, **kwargs):
        raise JournalError("the event cannot be written", why="the disk is full")

    monkeypatch.setattr(one.session.journal, "append", full)
    before = one.speaker.lines.count(LEAVE)
    one.say("field aid wind from the west")
    assert "wind.from" not in one.picture and "the disk is full" in one.out.getvalue()
    assert "Not written down. Not taken." in one.speaker.lines
    until(lambda: one.speaker.lines.count(LEAVE) >= before + 2)


def test_a_danger_whose_answer_cannot_be_written_down_is_said_all_the_same(talk, monkeypatch):
    """The line is kept, and the disk is full before its answer: nothing of the answer may count as said."""
    hasten(monkeypatch, 0.1, 0.0)
    one = talk()
    one.say("field aid three of us")
    one.say("affirm")
    append = one.session.journal.append

    def full(at, kind, body):
        if kind == "answer":
            raise JournalError("the event cannot be written", why="the disk is full")
        return append(at, kind, body)

    monkeypatch.setattr(one.session.journal, "append", full)
    one.say("field aid soft on charlie")
    until(lambda: LEAVE in one.speaker.lines)
    one.say("field aid member missing")
    assert "Member missing: mayday first." not in one.speaker.lines
    monkeypatch.setattr(one.session.journal, "append", append)
    one.say("field aid status")
    assert "Member missing: mayday first." in one.speaker.lines


def test_an_end_does_not_wait_for_what_is_still_to_be_heard(talk):
    one = talk()
    go, asked = threading.Event(), threading.Event()
    hear = one.room.hear
    one.room.hear = lambda segment, awaiting=None: (asked.set(), go.wait(10), hear(segment))[2]
    for text in ("field aid wind from the west", "field aid top floor fire charlie"):
        one.room.stretches.append((text, ()))
        one.room.said.put(len(one.room.stretches) - 1)
    assert asked.wait(10)
    one.loop.end("Stopped.")
    go.set()
    one.thread.join(10)
    assert one.picture == {"wind.from": "west"}, "the utterance at hand is answered, the next one is not"
    assert one.out.getvalue().endswith("Stopped.\n")


def test_a_recogniser_that_breaks_off_is_said_and_the_loop_goes_on(talk):
    one = talk()
    hear, broken = one.room.hear, SoundError("the recogniser broke off", why="its process ended")

    def breaks(segment, awaiting=None):
        raise broken

    one.room.hear = breaks
    assert "its process ended" in one.say("field aid wind from the west")[0] + one.say("x")[0]
    one.room.hear = hear
    one.say("field aid wind from the west")
    assert one.picture == {"wind.from": "west"}


# --- times ---


def test_the_stages_of_an_utterance_are_journaled(talk):
    one = talk()
    one.room.lag = 0.5
    one.say("field aid wind from the west")
    one.end()
    times, = one.events("times")
    assert times["u"] == 1
    assert set(times["ms"]) == {"gate", "wait", "decode", "guidance", "journal", "speech", "end_to_speech"}
    # The scripted ear lets go half a second after the speech ended.
    assert times["ms"]["gate"] == pytest.approx(500, abs=1)
    assert times["ms"]["end_to_speech"] >= times["ms"]["gate"] + times["ms"]["decode"]


def test_an_utterance_without_a_reply_has_its_times_too(talk):
    one = talk()
    one.say("wind from the west")
    one.end()
    times, = one.events("times")
    assert "speech" not in times["ms"] and "decode" in times["ms"]
