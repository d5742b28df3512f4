"""What the voice said when, so that a microphone which hears it too can be told."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass

from fieldaid.clock import monotonic

KEPT = 64  # lines; more than fit into the longest stretch of sound that is heard at once


@dataclass
class _Stretch:
    words: str
    begin: float
    end: float | None = None


class Sounding:
    """The stretches of time in which the loudspeaker is in use. Times are those of `clock.monotonic`."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._stretches: deque[_Stretch] = deque(maxlen=KEPT)

    def begin(self, words: str) -> None:
        with self._lock:
            self._stretches.append(_Stretch(words, monotonic()))

    def end(self) -> None:
        with self._lock:
            if self._stretches and self._stretches[-1].end is None:
                self._stretches[-1].end = monotonic()

    def during(self, since: float, until: float) -> tuple[str, ...]:
        """The words of every line that sounded at any moment from `since` to `until`."""
        with self._lock:
            return tuple(one.words for one in self._stretches
                         if one.begin <= until and (one.end is None or one.end >= since))

    def last_end(self) -> float | None:
        """When the newest line ended; None while one sounds or before the first."""
        with self._lock:
            return self._stretches[-1].end if self._stretches else None
