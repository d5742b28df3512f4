"""The ear of the live loop: blocks of sound in, stretches of speech out, each with the moments it was said at.

A microphone near a loudspeaker hears the tool's own voice. The ear cannot take it out of the sound; it says of every
stretch what the voice was saying meanwhile, and cuts a stretch as soon as the voice is over, so that an answer given
right after it is a stretch of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fieldaid.clock import monotonic
from fieldaid.hearing.gate import Segment, Segmenter
from fieldaid.hearing.sound import RATE

TAIL_S = 0.4
"""For so long after the voice has ended its sound may still arrive: the buffers of both devices, and the room."""
PAUSE_S = 0.1
"""So much without speech, once the voice is over, ends a stretch in which it sounded."""
LONGEST_OVER_S = 2.5
"""A stretch in which the voice sounds is cut after so long: "stop talking" must not wait for the end of the reply."""

Voice = Callable[[float, float], tuple[str, ...]]
"""From and until when, on `clock.monotonic` [s], to the lines that the voice said at any moment of that time."""


@dataclass(frozen=True)
class Caught:
    """A stretch of speech. `began` and `ended`: its speech; `handed`: when the ear let go of it; all on
    `clock.monotonic` [s]. `over`: the lines that the tool's own voice said meanwhile."""

    segment: Segment
    began: float
    ended: float
    handed: float
    over: tuple[str, ...] = ()


class Ear:
    """Not safe for several threads at once.

    Parameters
    ----------
    segmenter : cuts the stretches
    voice : see `Voice`; None when the microphone cannot hear the voice: with an earpiece, or without a voice
    """

    def __init__(self, segmenter: Segmenter, voice: Voice | None = None) -> None:
        self._segmenter = segmenter
        self._voice = voice or (lambda since, until: ())
        self._seconds = 0.0
        self._start = 0.0

    @property
    def listening(self) -> bool:
        """Whether somebody is speaking, as far as it is not the tool's own voice."""
        return self._segmenter.open and not self._over(*self._speech())

    def push(self, samples: np.ndarray, at: float) -> list[Caught]:
        """Take the next samples; `at` is when the last of them arrived, on `clock.monotonic` [s]."""
        self._seconds += len(samples) / RATE
        self._start = at - self._seconds
        found = self._segmenter.push(samples)
        if self._segmenter.open:
            began, ended = self._speech()
            over = bool(self._over(began, ended))
            paused = at - ended >= PAUSE_S and not self._over(at, at)
            if over and (paused or at - began >= LONGEST_OVER_S):
                found += self._segmenter.cut()
        return [self._caught(one) for one in found]

    def cut(self) -> list[Caught]:
        """End the stretch being said: the talk key was released, or the microphone is gone."""
        return [self._caught(one) for one in self._segmenter.cut()]

    def _speech(self) -> tuple[float, float]:
        began, ended = self._segmenter.speech_s
        return self._start + began, self._start + ended

    def _caught(self, segment: Segment) -> Caught:
        began, ended = segment.speech_s or (segment.start_s, segment.end_s)
        began, ended = self._start + began, self._start + ended
        return Caught(segment, began, ended, monotonic(), self._over(began, ended))

    def _over(self, since: float, until: float) -> tuple[str, ...]:
        return self._voice(since - TAIL_S, until)
