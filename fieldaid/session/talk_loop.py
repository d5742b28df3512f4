"""The live loop: sound from the microphone to answers, while time passes.

Three threads. The ear takes blocks, finds the stretches of speech, and holds the voice back while somebody speaks; so
nothing that computes can make it miss sound. The keys are a thread of their own. The loop itself recognises, answers,
prints, and lets a standing leave-now be said again: in bursts, with a gap for the radio, until "leaving".
"""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol, TextIO

from fieldaid.clock import Stopwatch, monotonic, now
from fieldaid.errors import FieldaidError, JournalError, SoundError
from fieldaid.hearing.ear import Caught, Ear
from fieldaid.hearing.heard import Heard, Recogniser
from fieldaid.hearing.microphone import Block
from fieldaid.session.doubt import take
from fieldaid.session.glance import glance
from fieldaid.session.replies import Reply
from fieldaid.session.session import Answer, Session
from fieldaid.session.urgent import is_message
from fieldaid.speaking.speaker import Speaker

BURST_S = 8.0
"""From the beginning of one burst of a leave-now to the next."""
REMIND_S = 5.0
"""So often is looked whether a time notice is due, or a danger stands that time alone brought: a fire knocked down
counts as a fire again after a while."""
RADIO_GAP_S = 5.0
"""At least so long is the voice silent between two bursts."""
GIVE_WAY_S = 4.0
"""For so long at most a burst that is due waits for somebody who is speaking: it may be "leaving" that they say."""
LOOK_S = 0.25
RETRY_S = 1.0
LATE_S = 5.0
SILENT_BELOW, SILENT_AFTER_S = 1e-5, 5.0
MARKS = {"leave": "!! ", "stop": " ! ", "caution": " * "}


class Listens(Protocol):
    """The part of the microphone that the loop uses."""

    dropped: int

    def open(self) -> None: ...
    def blocks(self) -> Iterator[Block | None]: ...
    def close(self) -> None: ...


@dataclass(frozen=True)
class _Began:
    """The voice began to answer utterance `n`, at `at` on `clock.monotonic`."""

    n: int
    at: float


@dataclass(frozen=True)
class _Tell:
    """A sentence about the devices, from another thread."""

    text: str


_WAKE = _Tell("")


class Loop:
    """One live session.

    Parameters
    ----------
    session : answers; its speaker, if there is one, is told to hold while somebody speaks
    microphone : open already; opened again when it is lost
    out : the screen
    earpiece : the microphone does not hear the voice: everything is taken while it sounds, and it gives way
    talk_key : the microphone counts only while the key is down; see `key`
    """

    def __init__(self, session: Session, microphone: Listens, ear: Callable[[], Ear], recogniser: Recogniser,
                 speaker: Speaker | None, out: TextIO, *, earpiece: bool = False, talk_key: bool = False) -> None:
        self.session, self.microphone, self.recogniser = session, microphone, recogniser
        self.speaker, self.out, self.earpiece, self.talk_key = speaker, out, earpiece, talk_key
        self._new_ear = ear
        self._events: queue.Queue[Caught | _Began | _Tell] = queue.Queue()
        self._end_text: str | None = None
        self._ending = threading.Event()
        self._open = threading.Event()
        if not talk_key:
            self._open.set()
        self._listening = False
        self._late = False
        self._dropped = 0
        self._due: float | None = None
        self._remind_at = 0.0
        self._look_at = 0.0
        self._waiting: dict[int, tuple[float, float, dict[str, float]]] = {}
        if speaker is not None:
            speaker.on_begin = self._began

    # -- called from other threads -----------------------------------------------------------------------------------

    def end(self, text: str = "") -> None:
        """Ends the loop after the utterance at hand; `text` is the last thing printed."""
        self._end_text = text
        self._events.put(_WAKE)

    def key(self) -> None:
        """Enter: the talk key opens the microphone, or closes it, which ends what was being said; without a talk key
        the voice is silenced."""
        if not self.talk_key:
            if self.speaker is not None:
                self.speaker.stop(repeated=True)
            return
        (self._open.clear if self._open.is_set() else self._open.set)()
        self._events.put(_Tell("Microphone open." if self._open.is_set() else "Microphone closed."))

    def _began(self, name: str, kind: str, at: float) -> None:
        if name.isdigit():
            self._events.put(_Began(int(name), at))

    # -- the loop ----------------------------------------------------------------------------------------------------

    def run(self) -> None:
        """Runs until `end` is called. An utterance that cannot be written down does not count; that is said, and the
        loop goes on, because a standing leave-now must still be said."""
        ear = threading.Thread(target=self._listen, name="ear", daemon=True)
        ear.start()
        try:
            self._due = monotonic()
            while self._end_text is None:
                event = None
                with contextlib.suppress(queue.Empty):
                    event = self._events.get(timeout=LOOK_S)
                try:
                    self._work(event)
                except JournalError as error:
                    self._tell(str(error), "Not written down. Not taken.")
                    self._due = self._due or monotonic()
            self._print(self._end_text)
        finally:
            self._ending.set()
            if self.speaker is not None:
                self.speaker.on_begin = None
                self.speaker.mute(True, mayday=True)
            ear.join(5.0)
            with contextlib.suppress(JournalError):
                for n in list(self._waiting):
                    self._write_times(n)

    def _work(self, event: Caught | _Began | _Tell | None) -> None:
        if isinstance(event, Caught):
            self._answer(event)
        elif isinstance(event, _Began):
            if event.n == self.session.count:
                self.session.question_said(_wall(event.at))
            self._write_times(event.n, event.at)
        elif isinstance(event, _Tell):
            self._print(event.text)
        if self._due is None and monotonic() >= self._look_at:
            self._look_at = monotonic() + REMIND_S
            self._due = monotonic()
        if self._due is not None and self._burst_is_due():
            self._tick()
        elif self._due is None:
            self._remind()

    def _answer(self, caught: Caught) -> None:
        watch = Stopwatch()
        waited = monotonic() - caught.handed
        # When it was said counts, not when the recogniser came to it: a late one must not make an answer late.
        at = _wall(caught.began)
        try:
            heard = self.recogniser.hear(caught.segment, self.session.awaiting(at))
        except FieldaidError as error:
            self._tell(str(error), "The recogniser broke off. Say again.")
            return
        decoded = watch.lap()
        if waited > LATE_S and not self._late:
            self._late = True
            self._tell(f"The recogniser is {waited:.0f} s late: this machine is too busy.")
        addressed = bool(heard.text) or self._addressed(heard, caught, at)
        if not addressed:
            self._print("(not understood)" if not caught.over else "")
            return
        for n in list(self._waiting):
            self._write_times(n)
        answer = take(self.session, heard, at=at, over=caught.over, addressed=self.talk_key or not heard.text,
                      figures={"recogniser": heard.recogniser, **heard.figures, "over": list(caught.over)})
        ms = {"gate": (caught.handed - caught.ended) * 1000, "wait": waited * 1000, "decode": decoded,
              "guidance": answer.ms["parse"] + answer.ms["guidance"], "journal": answer.ms["journal"]}
        self._waiting[self.session.count] = (caught.ended, monotonic(), ms)
        self._show(heard.text, answer)
        if any(one.kind == "leave" for one in answer.replies):
            self._due = monotonic() + BURST_S
        if self.speaker is None:
            self._write_times(self.session.count)

    def _addressed(self, heard: Heard, caught: Caught, at: float) -> bool:
        """Whether something that was not understood was meant for the tool, so that it must ask."""
        if caught.over:
            return False
        if self.talk_key:
            return True
        best = heard.alternatives[0][0] if heard.alternatives else ""
        parsed = self.session.grammar.parse(best, expecting=self.session.state.expecting)
        return is_message(parsed, self.session.state, self.session.awaiting(at) is not None)

    def _write_times(self, n: int, began: float | None = None) -> None:
        """Journals the stages of utterance `n`; with `began` also when the voice began to answer it."""
        found = self._waiting.pop(n, None)
        if found is None:
            return
        ended, queued, ms = found
        if began is not None:
            ms = {**ms, "speech": (began - queued) * 1000, "end_to_speech": (began - ended) * 1000}
        self.session.times(n, ms)

    # -- a standing leave-now ----------------------------------------------------------------------------------------

    def _burst_is_due(self) -> bool:
        due = self._due or 0.0
        if self.speaker is not None:
            ended = self.speaker.sounding.last_end()
            due = max(due, (ended if ended is not None else due - RADIO_GAP_S) + RADIO_GAP_S)
            if self.speaker.busy:
                return False
        return monotonic() >= due + (GIVE_WAY_S if self._listening else 0.0)

    def _tick(self) -> None:
        self._due = monotonic() + BURST_S
        replies = self.session.tick()
        if not replies:
            self._due = None
        self._print_replies(replies)

    def _remind(self) -> None:
        """A time notice waits until nobody speaks, neither the crew nor the voice."""
        if monotonic() < self._remind_at or self._listening or self.speaker is not None and self.speaker.busy:
            return
        self._remind_at = monotonic() + REMIND_S
        self._print_replies(self.session.remind())

    # -- the ear's own thread ----------------------------------------------------------------------------------------

    def _listen(self) -> None:
        lost = False
        while not self._ending.is_set():
            try:
                if lost:
                    self.microphone.open()
                    self._tell("The microphone is back.", "The microphone is back.")
                lost = False
                self._hear()
            except SoundError as error:
                if not lost:
                    self._tell(f"Microphone lost: {error.why}. Nothing is heard until it is back; trying again.",
                               "Microphone lost. Nothing is heard.")
                lost = True
            except Exception as error:  # a loop that hears nothing must never look as if it did
                self.end(f"fieldaid: listening broke off: {type(error).__name__}: {error}. The journal is kept.")
                return
            finally:
                self.microphone.close()
                self._hold(False)
            if lost:
                self._ending.wait(RETRY_S)

    def _hear(self) -> None:
        ear = self._new_ear()
        loudest, since, told = 0.0, monotonic(), False
        opened = self._open.is_set()
        for block in self.microphone.blocks():
            if self._ending.is_set():
                return
            if self._open.is_set() != opened:
                opened = not opened
                if not opened:
                    self._caught(ear.cut())
                ear = self._new_ear()
            self._hold(opened and (self.talk_key or ear.listening))
            if block is None:
                continue
            loudest = max(loudest, float(abs(block.samples).max(initial=0.0)))
            if not told and loudest < SILENT_BELOW and monotonic() - since > SILENT_AFTER_S:
                told = True
                self._tell("The microphone gives nothing but silence. Is it muted?")
            if opened:
                self._caught(ear.push(block.samples, block.at))
            if self.microphone.dropped > self._dropped and not self._dropped:
                self._tell("Sound was lost: this machine is too busy. Something said may be missing.",
                           "Sound was lost. Say again.")
            self._dropped = self.microphone.dropped

    def _caught(self, found: list[Caught]) -> None:
        for one in found:
            self._events.put(one)

    def _hold(self, on: bool) -> None:
        if on == self._listening:
            return
        self._listening = on
        if self.speaker is not None:
            self.speaker.hold(on)
            if on and (self.earpiece or self.talk_key):
                self.speaker.give_way()

    def _tell(self, shown: str, said: str = "") -> None:
        self._events.put(_Tell(shown))
        if said and self.speaker is not None:
            self.speaker.say([("note", said)])

    # -- the screen --------------------------------------------------------------------------------------------------

    def _show(self, text: str, answer: Answer) -> None:
        self._print(f"heard: {text or '(not understood)'}")
        self._print_replies(answer.replies)
        if not answer.ignored:
            self._print(f"   [{glance(answer.data)}]")

    def _print_replies(self, replies: list[Reply]) -> None:
        for one in replies:
            self._print(f"{MARKS.get(one.kind, '   ')}{one.text}")

    def _print(self, text: str) -> None:
        if text:
            print(text, file=self.out, flush=True)


def _wall(moment: float) -> float:
    """A moment of `clock.monotonic` as wall time."""
    return now() - (monotonic() - moment)
