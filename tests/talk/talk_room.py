"""A live loop without sound devices: a scripted microphone, a recogniser told what it hears, a voice on paper."""

from __future__ import annotations

import io
import queue
import threading
import time

import numpy as np

from fieldaid.clock import monotonic
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


def until(done, seconds=10.0):
    end = monotonic() + seconds
    while not done():
        assert monotonic() < end, "it did not come to that"
        time.sleep(0.005)


def hasten(monkeypatch, burst_s, gap_s, **more):
    """Bursts of a leave-now every `burst_s`, gaps of `gap_s`, a loop that looks often; `more` as in talk_loop."""
    for name, value in {"BURST_S": burst_s, "RADIO_GAP_S": gap_s, "LOOK_S": 0.02, **more}.items():
        monkeypatch.setattr(talk_loop, name, value)


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
