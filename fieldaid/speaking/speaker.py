"""The queue in front of the voice: danger first, silence at once, never in the way of the one who speaks.

The rules, in one place:
- a leave line throws out every queued line that is not a leave, and cuts short the line being said unless
  that is a leave too; a stop line goes before routine lines and cuts a routine line short;
- a leave line that waits is thrown out by nothing but a mayday and `close`, and by `stop` from a caller that repeats
  it; `stop` ends one that is being said, and saying it again (from its beginning, MIL-STD-411F 5.3.6) is the caller's
  part;
- without a loudspeaker (`play=False`) nobody is interrupted: every line becomes a file, in the order given.
Losing the voice, the loudspeaker or the folder costs one notice each and never an exception.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np

from fieldaid.clock import Stopwatch, monotonic
from fieldaid.errors import SpeakingError, WrongUse
from fieldaid.speaking.cut import Cut
from fieldaid.speaking.player import Player
from fieldaid.speaking.recording import Recording
from fieldaid.speaking.sounding import Sounding
from fieldaid.speaking.spoken import DANGER, KINDS, spoken_form
from fieldaid.speaking.tone import attention
from fieldaid.speaking.voice import Voice

GAP = 0.1  # [s] between tone and words
LEVEL = 0.9  # peak of the words, the same for every line
REMEMBERED = 64  # lines whose sound is kept
LEAVE_WAIT = 1.0  # [s] after the tone that a leave line's own words may be late before "Leave now." is said
LAST_RESORT = "Leave now."
TRY_AGAIN = 5.0  # [s] after which routine lines try a loudspeaker again that was lost; danger tries it every time
AGAIN = ("caution", "advice")  # said again when talked over; a question or read-back that was answered early is not

Begun = Callable[[str, str, float], None]
"""Told the `name` given to `say`, the kind, and when the line's first sound leaves the device (`clock.monotonic`)."""


class MakesSpeech(Protocol):
    given_up: str

    def synthesise(self, text: str) -> tuple[np.ndarray, int]: ...
    def close(self) -> None: ...


class PlaysSound(Protocol):
    def play(self, samples: np.ndarray, rate: int, cut: Cut | None = None) -> bool: ...


@dataclass
class _Line:
    kind: str
    text: str
    spoken: str
    stem: str
    cut: Cut


class Speaker:
    """Says lines aloud, writes them as files, or both. Every method may be called from any thread.

    Parameters
    ----------
    say_to : a folder for the spoken replies as WAV files (see `recording`); None for none
    play : whether to use the loudspeaker
    voice, player : what makes and plays sound; a `Voice` and a `Player` unless given; `close` ends the voice
    device : the loudspeaker, a PortAudio name or number; the system's default unless given

    Attributes
    ----------
    on_begin : see `Begun`; called from threads of the sound system, so it must be quick
    sounding : what was said when, for whoever must tell the voice from a person

    Raises
    ------
    SpeakingError : `say_to` cannot be written to
    """

    def __init__(self, say_to: Path | None = None, play: bool = True, voice: MakesSpeech | None = None,
                 player: PlaysSound | None = None, device: str | int | None = None) -> None:
        self._recording = Recording(say_to) if say_to is not None else None
        self._player = (player or Player(device)) if play else None
        self._player_lost = False
        self._lost_at = 0.0
        self.on_begin: Begun | None = None
        self.sounding = Sounding()
        self._voice = voice or Voice()
        self._sounds: OrderedDict[str, tuple[np.ndarray, int]] = OrderedDict()
        self._last_resort: tuple[np.ndarray, int] | None = None
        self._rate = 22050
        self._changed = threading.Condition()
        self._queue: list[_Line] = []
        self._now: _Line | None = None
        self._muted = self._mayday = self._held = self._closing = False
        self._notices: list[str] = []
        self._noticed: set[str] = set()
        self._ready = threading.Event()
        self._maker = ThreadPoolExecutor(1, thread_name_prefix="voice")
        self._thread: threading.Thread | None = None
        if self._player or self._recording:
            self._maker.submit(self._warm_up)
            self._thread = threading.Thread(target=self._run, name="speaker", daemon=True)
            self._thread.start()
        else:
            self._ready.set()

    # --- what the rest of fieldaid calls ---

    def say(self, lines: Sequence[tuple[str, str]], name: str = "") -> float:
        """Queue `lines` of (kind, text), kinds as in `spoken.KINDS`; `name` begins the names of their files.

        Returns
        -------
        took : milliseconds, a fraction of one: nothing is spoken here

        Raises
        ------
        WrongUse : a kind is unknown
        """
        watch = Stopwatch()
        for kind, _ in lines:
            if kind not in KINDS:
                raise WrongUse(f"a line cannot be spoken as {kind!r}", why="that is no kind of reply",
                               next_step=f"Use one of {', '.join(KINDS)}")
        made = [_Line(kind, text, spoken_form(text), name, self._cut(kind, name)) for kind, text in lines
                if text.strip()]
        made.sort(key=_rank)
        with self._changed:
            if self._thread and not self._closing and not self._mayday:
                self._admit([line for line in made if line.kind in DANGER or not self._muted])
                self._changed.notify_all()
        return watch.ms()

    def stop(self, repeated: bool = False) -> None:
        """Silence at once, in the middle of a word. Waiting routine lines go, leave and stop lines stay; leave lines
        go too when they are `repeated` by the caller."""
        with self._changed:
            if self._player:
                self._throw_out(lambda line: line.kind not in DANGER or repeated and line.kind == "leave")
                if self._now:
                    self._now.cut.cut()
            self._changed.notify_all()

    def give_way(self) -> None:
        """Somebody begins to speak: a routine line that is being said ends. A caution or advice waits to be said again
        from its beginning."""
        with self._changed:
            line = self._now
            if not self._player or line is None or line.kind in DANGER or line.cut.is_cut:
                return
            line.cut.cut()
            if line.kind in AGAIN:
                self._queue.append(replace(line, cut=Cut()))
                self._queue.sort(key=_rank)
            self._changed.notify_all()

    def mute(self, on: bool, mayday: bool = False) -> None:
        """While on, routine lines are shown only, leave and stop lines are spoken; on a mayday nothing is."""
        with self._changed:
            self._muted, self._mayday = on, on and mayday
            if on and self._player:
                self._throw_out(lambda line: mayday or line.kind not in DANGER)
                if self._now and (mayday or self._now.kind not in DANGER):
                    self._now.cut.cut()
            self._changed.notify_all()

    def hold(self, on: bool) -> None:
        """Routine lines wait while on (somebody speaks, a saw runs); leave and stop lines do not."""
        with self._changed:
            self._held = on
            self._changed.notify_all()

    @property
    def busy(self) -> bool:
        """Whether a line is being said now."""
        return self._now is not None

    @property
    def notices(self) -> list[str]:
        """What the person should be told once, oldest first: "No voice: …; replies are shown only."."""
        with self._changed:
            return list(self._notices)

    def ready(self, timeout: float = 15.0) -> bool:
        """Wait until voice and loudspeaker have been tried and `notices` says what is missing; True if so."""
        return self._ready.wait(timeout)

    def wait(self, timeout: float = 30.0) -> bool:
        """Wait until nothing is left to say. False when `timeout` [s] passed first."""
        with self._changed:
            return self._changed.wait_for(lambda: not self._queue and self._now is None, timeout)

    def close(self, timeout: float = 10.0) -> None:
        """End: silence what is being said; with `play=False` first write what waits, for `timeout` [s]."""
        with self._changed:
            self._closing = True
            if self._player:
                self._throw_out(lambda line: True)
                if self._now:
                    self._now.cut.cut()
            self._changed.notify_all()
        if self._thread and not self._player:
            self._thread.join(timeout)
        with self._changed:
            self._throw_out(lambda line: True)
        self._voice.close()
        if self._thread:
            self._thread.join(2.0)
        self._maker.shutdown(wait=False, cancel_futures=True)

    def __enter__(self) -> Speaker:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    # --- the queue; the lock is held ---

    def _admit(self, lines: list[_Line]) -> None:
        if not self._player:
            self._queue.extend(lines)
            return
        most_urgent = min(map(_rank, lines), default=2)
        if most_urgent == 0:
            self._throw_out(lambda line: line.kind != "leave")
        if self._now and most_urgent < 2 and most_urgent < _rank(self._now):
            self._now.cut.cut()
        self._queue.extend(lines)
        self._queue.sort(key=_rank)

    def _cut(self, kind: str, name: str) -> Cut:
        told = self.on_begin
        return Cut((lambda at: told(name, kind, at)) if told else None)

    def _throw_out(self, unwanted: Callable[[_Line], bool]) -> None:
        self._queue = [line for line in self._queue if not unwanted(line)]

    def _next(self) -> _Line | None:
        for at, line in enumerate(self._queue):
            if not self._held or not self._player or line.kind in DANGER:
                return self._queue.pop(at)
        return None

    # --- the speaker's own thread ---

    def _run(self) -> None:
        while True:
            with self._changed:
                self._now = None
                self._changed.notify_all()
                while (line := self._next()) is None and not self._closing:
                    self._changed.wait()
                if line is None:
                    return
                self._now = line
            try:
                self._speak(line)
            except SpeakingError as error:
                self._notice("line", f"A reply was not spoken: {error.why or error.what}; it is shown only.")
            except Exception as error:  # this thread must outlive anything, or the next leave line is lost
                self._notice("unexpected", f"A reply was not spoken: {error}; it is shown only.")

    def _speak(self, line: _Line) -> None:
        tone = attention(line.kind, self._rate)
        tries = not self._player_lost or line.kind in DANGER or monotonic() - self._lost_at > TRY_AGAIN
        plays = self._player is not None and tries
        if not plays and not self._recording:
            return
        making = self._maker.submit(self._sound, line.spoken)
        making.add_done_callback(lambda _: line.cut.nudge())
        if plays and tone.size and not self._heard(line.spoken, tone, self._rate, line.cut):
            if line.cut.is_cut:
                return
            plays = False
        spoken, sound = self._words(line, making)
        if sound is None or line.cut.is_cut:
            return
        samples, rate = sound
        quiet = np.zeros(round(GAP * rate) if tone.size else 0, np.float32)
        if self._recording:
            whole = np.concatenate([attention(line.kind, rate), quiet, samples])
            self._written(line, spoken, whole, rate)
        if plays:
            self._heard(spoken, np.concatenate([quiet, samples]), rate, line.cut)

    def _words(self, line: _Line, making: Future) -> tuple[str, tuple[np.ndarray, int] | None]:
        """The line's own sound, or that of "Leave now." when a leave line's own is late or cannot be made."""
        last_resort = self._last_resort if line.kind == "leave" else None
        patience = LEAVE_WAIT if last_resort and self._player else 60.0
        if not line.cut.wait_for(making.done, patience):
            making.cancel()
            return LAST_RESORT, None if line.cut.is_cut else last_resort
        try:
            return line.spoken, making.result()
        except SpeakingError as error:
            self._voice_trouble(error)
            return LAST_RESORT, last_resort

    def _heard(self, spoken: str, samples: np.ndarray, rate: int, cut: Cut) -> bool:
        self.sounding.begin(spoken)
        try:
            whole = self._player.play(samples, rate, cut)
            self._player_lost = False
            return whole
        except SpeakingError as error:
            self._player_trouble(error)
            return False
        finally:
            self.sounding.end()

    def _written(self, line: _Line, spoken: str, samples: np.ndarray, rate: int) -> None:
        try:
            self._recording.add(line.kind, line.text, spoken, samples, rate, line.stem)
        except SpeakingError as error:
            self._notice("recording", f"Spoken replies are not written: {error.where}: {error.why}. "
                                      f"{error.next_step}.")

    # --- the voice's thread ---

    def _warm_up(self) -> None:
        """Finds out early what is missing, and keeps the one line that must never be missing."""
        try:
            self._last_resort = self._sound(LAST_RESORT)
        except SpeakingError as error:
            self._voice_trouble(error)
        except Exception as error:
            self._notice("unexpected", f"No voice: {error}; replies are shown only.")
        check = getattr(self._player, "check", None)
        if check:
            try:
                check()
            except SpeakingError as error:
                self._player_trouble(error)
        self._ready.set()

    def _sound(self, spoken: str) -> tuple[np.ndarray, int]:
        known = self._sounds.get(spoken)
        if known is None:
            samples, self._rate = self._voice.synthesise(spoken)
            peak = float(np.abs(samples).max(initial=0.0))
            known = (samples * (LEVEL / peak) if peak else samples, self._rate)
        self._sounds[spoken] = known
        self._sounds.move_to_end(spoken)
        if len(self._sounds) > REMEMBERED:
            self._sounds.popitem(last=False)
        return known

    def _voice_trouble(self, error: SpeakingError) -> None:
        if self._voice.given_up:
            tone = ", and a tone marks danger" if self._player and not self._player_lost else ""
            step = f" {error.next_step}." if error.next_step else ""
            self._notice("voice", f"No voice: {error.why}; replies are shown only{tone}.{step}")
        else:
            self._notice("line", f"A reply was not spoken: {error.why}; it is shown only.")

    def _player_trouble(self, error: SpeakingError) -> None:
        self._player_lost, self._lost_at = True, monotonic()
        self._notice("player", f"No loudspeaker: {error.why}; replies are shown only. {error.next_step}.")

    def _notice(self, about: str, sentence: str) -> None:
        with self._changed:
            if not self._closing and about not in self._noticed:
                self._noticed.add(about)
                self._notices.append(sentence)


def _rank(line: _Line) -> int:
    return DANGER.index(line.kind) if line.kind in DANGER else len(DANGER)
