"""The only reader of time. Everything else is given a time, so that a journal can be replayed."""

from __future__ import annotations

import time
from datetime import UTC, datetime


def now() -> float:
    """Wall time in seconds since 1970-01-01 UTC."""
    return time.time()


def monotonic() -> float:
    """Seconds on a clock that never steps back; only differences mean anything."""
    return time.perf_counter()


def stamp(seconds: float) -> str:
    """`seconds` of wall time as ISO 8601 in UTC, whole seconds: 2031-05-04T13:22:07Z."""
    return datetime.fromtimestamp(seconds, tz=UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


class Stopwatch:
    """Milliseconds since it was made or last read with `lap`."""

    def __init__(self) -> None:
        self._start = monotonic()

    def ms(self) -> float:
        return (monotonic() - self._start) * 1000.0

    def lap(self) -> float:
        passed = self.ms()
        self._start = monotonic()
        return passed
