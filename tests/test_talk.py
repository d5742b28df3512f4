"""The live loop without sound devices: a scripted microphone, a recogniser told what it hears, a voice on paper.

What the loop must do is the product's own rule (design: Speech); the word limits and trade facts are tested elsewhere.
"""

from __future__ import annotations

import io
import queue
import threading
import time

import numpy as np
import pytest

from fieldaid import data
from fieldaid.clock import monotonic
from fieldaid.errors import JournalError, SoundError
from fieldaid.grammar import load_grammar
from fieldaid.guidance.guide import Guide
from fieldaid.guidance.pack import load_pack
from fieldaid.hearing.ear import Caught
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.microphone import Block
from fieldaid.session import talk_loop
from fieldaid.session.journal import Journal, read_only
from fieldaid.session.session import Session
from fieldaid.session.talk_loop import Loop
from fieldaid.speaking.sounding import Sounding

LEAVE = "Leave now. Soft deck, C."


@pytest.fixture(scope="module")
def grammar():
    return load_grammar(None)


@pytest.fixture(scope="module")
def guide():
    with Guide(load_pack(data.folder("rules") / "house"), engine=False) as made:
        yield made


def until(done, seconds=10.0):
    end = monotonic() + seconds
    while not done():
        assert monotonic() < end, "it did not come to that"
        time.sleep(0.005)


class Room:
    """A microphone and an ear in one: what is said into it comes out as a stretch of speech, number by number."""

    def __init__(self):
        self.dropped, self.opened, self.fault = 0, 0, None
        self.said: queue.Queue = queue.Queue()
        self.stretches: list[tuple[str, tuple[str, ...]]] = []
        self.open_speech = False
        self.lag = 0.0

    # the microphone
    def open(self):
        if self.fault:
            raise self.fault
        self.opened += 1

    def blocks(self):
        while True:
            if self.fault:
                raise self.fault
            try:
                number = self.said.get(timeout=0.01)
            except queue.Empty:
                yield None if self.said.empty() and not self.open_speech else Block(np.full(8, 0.1), monotonic())
                continue
            yield Block(np.full(512, number + 1.0), monotonic())

    def close(self):
        pass

    # the ear
    @property
    def listening(self):
        return self.open_speech

    def push(self, samples, at):
        if len(samples) < 512:
            return []
        number = int(samples[0]) - 1
        segment = Segment(float(number), number + 1.0, samples)
        return [Caught(segment, at - self.lag, at - self.lag, at, self.stretches[number][1])]

    def cut(self):
        return []

    # the recogniser
    name, notices = "told", ()

    def hear(self, segment, awaiting=None):
        text = self.stretches[int(segment.start_s)][0]
        if text.startswith("?"):
            return Heard("", self.name, alternatives=((text[1:], 0.0),))
        return Heard(text, self.name)


class PaperSpeaker:
    """Writes down what it is told; "speaks" each line at once."""

    def __init__(self):
        self.lines, self.calls, self.notices = [], [], []
        self.sounding, self.on_begin, self.busy, self.held = Sounding(), None, False, False
        self.silent = False

    def say(self, lines, name=""):
        if self.silent:
            lines = []
        self.lines += [text for _, text in lines]
        if lines:
            self.sounding.begin(lines[0][1])
            self.sounding.end()
            if self.on_begin:
                self.on_begin(name, lines[0][0], monotonic())
        return 0.0

    def stop(self, repeated=False):
        self.calls.append(("stop", repeated))

    def mute(self, on, mayday=False):
        self.silent = on and mayday

    def hold(self, on):
        self.held = on

    def give_way(self):
        self.calls.append("give way")


class Talk:
    """A running loop."""

    def __init__(self, grammar, guide, path, **options):
        self.path, self.room, self.speaker, self.out = path, Room(), PaperSpeaker(), io.StringIO()
        talk_key = options.get("talk_key", False)
        self.session = Session(grammar, guide, Journal(path), speaker=self.speaker, mode="talk", as_heard=True,
                               call_sign=not talk_key, repeats=True)
        self.session.begin()
        self.loop = Loop(self.session, self.room, lambda: self.room, self.room, self.speaker, self.out, **options)
        self.thread = threading.Thread(target=self.loop.run)
        self.thread.start()

    def say(self, text, over=()):
        """Says a line; returns what the screen and the voice added once it was worked through."""
        shown, spoken = len(self.out.getvalue()), len(self.speaker.lines)
        self.room.stretches.append((text, tuple(over)))
        self.room.said.put(len(self.room.stretches) - 1)
        self.loop_is_idle()
        return self.out.getvalue()[shown:], self.speaker.lines[spoken:]

    def loop_is_idle(self):
        until(self.room.said.empty)
        # A sentence put behind it is printed after it.
        mark = f"mark {len(self.out.getvalue())}"
        time.sleep(0.05)
        self.loop._events.put(talk_loop._Tell(mark))
        until(lambda: mark in self.out.getvalue())

    def end(self, close=True):
        self.loop.end("Stopped.")
        self.thread.join(10)
        assert not self.thread.is_alive()
        if close:
            self.session.close()

    def events(self, kind):
        journal = read_only(self.path)
        try:
            return [event.body for event in journal.events(1) if event.kind == kind]
        finally:
            journal.close()

    @property
    def picture(self):
        return {name: one.value for name, one in self.session.state.picture.known(0).items()}


@pytest.fixture
def talk(grammar, guide, tmp_path):
    made = []

    def make(**options):
        made.append(Talk(grammar, guide, options.pop("path", tmp_path / "t.journal"), **options))
        return made[-1]

    yield make
    for one in made:
        if one.thread.is_alive():
            one.end()


# --- the call sign ---


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


# --- the tool's own voice ---


def test_its_own_voice_never_confirms_and_never_tells_a_fact(talk):
    one = talk()
    one.say("field aid rafters")
    for heard in ("affirm", "yes", "heard framing rafters affirm", "rafters", "negative", "say again"):
        one.say(heard, over=["Heard: framing: rafters. Affirm?"])
    assert one.picture == {} and [pending.names for pending in one.session.state.pending] == [("roof.framing",)]
    assert all(body["ignored"] for body in one.events("line")[1:])


def test_over_the_voice_stop_talking_and_mayday_are_heard_unless_the_voice_says_so_itself(talk):
    one = talk()
    one.say("no play", over=["No play. This is real."])
    one.say("mayday", over=["Member missing: mayday first."])
    assert all(body["ignored"] for body in one.events("line")) and not one.session.state.mayday
    one.say("stop talking", over=["Wind west. Stay off: attic not told."])
    assert ("stop", True) in one.speaker.calls
    one.say("mayday mayday mayday", over=["Member missing: mayday first."])
    assert one.session.state.mayday


@pytest.mark.parametrize(("heard", "said"), [
    ("soft deck charlie", "Leave now. Soft deck, Charlie."),
    ("leave now, soft back charlie", "Leave now. Soft deck, Charlie."),
    ("leave out, sagging back delta", "Leave now. Sagging deck, Delta.")])
def test_its_own_report_of_a_danger_is_none_however_it_is_misheard(talk, heard, said):
    """The last two are what a recogniser made of the voice."""
    one = talk()
    _, spoken = one.say(heard, over=[said])
    assert one.picture == {} and spoken == [] and one.speaker.calls == []


def test_a_danger_over_the_voice_silences_it_and_is_asked_for_again(talk):
    one = talk()
    _, spoken = one.say("soft on charlie", over=["Wind west. Stay off: attic not told."])
    assert one.picture == {} and spoken == ["Danger? Say again."] and one.speaker.calls == [("stop", True)]
    one.say("soft on charlie")
    assert one.picture == {"deck.C": "soft"}


def test_leaving_over_the_burst_silences_it_and_is_asked_for_again(talk):
    """It is the natural answer to "Leave now", and the word that the voice's own is likeliest misheard as."""
    one = talk()
    one.say("soft on charlie")
    assert one.say("leaving", over=["Leave now. Soft deck, Charlie."])[1] == ["Leaving? Say again."]
    assert not one.session.state.leaving and one.speaker.calls == [("stop", True)]
    one.say("leaving")
    assert one.session.state.leaving


def test_a_message_over_the_voice_is_not_lost_without_a_word(talk):
    one = talk()
    _, spoken = one.say("field aid wind from the west", over=["Stay off: attic not told."])
    assert spoken == ["Talked over. Say again."] and one.picture == {}


def test_no_line_that_the_voice_says_counts_when_it_is_heard_word_for_word(grammar):
    """Every line of the rule pack and of the dialogue's own replies, heard perfectly by the tool's own microphone."""
    from fieldaid.session.urgent import counts_over_voice, danger_over_voice
    from fieldaid.speaking.spoken import spoken_form

    said = [f"Leave now. {text}" for text in ("Soft deck, C.", "Sagging deck, D.", "Smoking deck, ridge.")]
    said += ["Heard: deck solid, C. Affirm?", "No play. This is real.", "Deck soft, C.", "Talked over. Say again.",
             "Not understood. Nothing taken. Say again?", "Quiet. Dangers are still said.", "Affirmed."]
    for rule in load_pack(data.folder("rules") / "house").rules:
        said.append(str(getattr(rule, "say", "") or ""))
    for line in filter(None, said):
        heard = spoken_form(line).lower()
        parts = [heard, *heard.replace("?", ".").replace(":", ".").split(".")]
        for part in map(grammar.parse, parts):
            assert not counts_over_voice(part, [spoken_form(line)]), line
            assert not danger_over_voice(part, [spoken_form(line)]), line


# --- silence ---


def test_stop_talking_is_answered_with_silence_and_a_leave_comes_again(talk, monkeypatch):
    monkeypatch.setattr(talk_loop, "BURST_S", 0.4)
    monkeypatch.setattr(talk_loop, "RADIO_GAP_S", 0.1)
    monkeypatch.setattr(talk_loop, "LOOK_S", 0.02)
    one = talk()
    one.say("soft on charlie")
    assert one.speaker.lines[0] == LEAVE
    one.loop._due = monotonic() + 60
    assert one.say("stop talking")[1] == [] and one.speaker.calls[-1] == ("stop", True)
    until(lambda: one.speaker.lines.count(LEAVE) >= 2)


def test_a_mayday_leaves_the_voice_silent_whatever_comes(talk, monkeypatch):
    monkeypatch.setattr(talk_loop, "BURST_S", 0.1)
    monkeypatch.setattr(talk_loop, "RADIO_GAP_S", 0.0)
    monkeypatch.setattr(talk_loop, "LOOK_S", 0.02)
    one = talk()
    one.say("mayday mayday mayday")
    shown, spoken = one.say("soft on charlie")
    assert LEAVE in shown and spoken == []
    until(lambda: len(one.events("tick")) >= 2)
    assert LEAVE not in one.speaker.lines


def test_the_voice_is_held_while_somebody_speaks(talk):
    one = talk()
    one.room.open_speech = True
    until(lambda: one.speaker.held)
    one.room.open_speech = False
    one.say("field aid wind from the west")
    until(lambda: not one.speaker.held)
    assert "give way" not in one.speaker.calls, "over a loudspeaker the ear cannot know whose voice it is"


def test_with_an_earpiece_the_voice_gives_way(talk):
    one = talk(earpiece=True)
    one.room.open_speech = True
    until(lambda: "give way" in one.speaker.calls)


def test_enter_silences_the_voice_where_there_is_no_talk_key(talk):
    one = talk()
    one.loop.key()
    assert one.speaker.calls == [("stop", True)] and one.out.getvalue() == ""


# --- a standing leave-now ---


def test_a_leave_is_said_in_bursts_until_leaving(talk, monkeypatch):
    monkeypatch.setattr(talk_loop, "BURST_S", 0.2)
    monkeypatch.setattr(talk_loop, "RADIO_GAP_S", 0.05)
    monkeypatch.setattr(talk_loop, "LOOK_S", 0.02)
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
    monkeypatch.setattr(talk_loop, "BURST_S", 0.0)
    monkeypatch.setattr(talk_loop, "RADIO_GAP_S", 0.5)
    monkeypatch.setattr(talk_loop, "GIVE_WAY_S", 60.0)
    monkeypatch.setattr(talk_loop, "LOOK_S", 0.02)
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


# --- devices ---


def test_a_lost_microphone_is_said_once_and_tried_again_while_the_leave_goes_on(talk, monkeypatch):
    monkeypatch.setattr(talk_loop, "RETRY_S", 0.02)
    monkeypatch.setattr(talk_loop, "BURST_S", 0.1)
    monkeypatch.setattr(talk_loop, "RADIO_GAP_S", 0.0)
    monkeypatch.setattr(talk_loop, "LOOK_S", 0.02)
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
    monkeypatch.setattr(talk_loop, "BURST_S", 0.1)
    monkeypatch.setattr(talk_loop, "RADIO_GAP_S", 0.0)
    monkeypatch.setattr(talk_loop, "LOOK_S", 0.02)
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


# --- the talk key ---


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
