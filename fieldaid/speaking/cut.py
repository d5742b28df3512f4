"""Cutting a spoken line short, from any thread, without losing the moment between two steps of it."""

from __future__ import annotations

import threading
from collections.abc import Callable

from fieldaid import clock


class Cut:
    """One line's switch. Whoever speaks the line waits here, so that a cut wakes them at once.

    `on_begin` is called once, with the moment on `clock.monotonic` at which the line's first sound leaves the device.
    """

    def __init__(self, on_begin: Callable[[float], None] | None = None) -> None:
        self._cut = False
        self._wake = threading.Event()
        self._on_begin = on_begin

    @property
    def is_cut(self) -> bool:
        return self._cut

    def cut(self) -> None:
        self._cut = True
        self._wake.set()

    def begin(self, at: float) -> None:
        """The line's sound begins at `at`; only the first call counts."""
        told, self._on_begin = self._on_begin, None
        if told is not None:
            told(at)

    def nudge(self) -> None:
        """Something that `wait_for` may be waiting for has happened."""
        self._wake.set()

    def wait_for(self, done: Callable[[], bool], timeout: float) -> bool:
        """Wait at most `timeout` [s] until `done()`. False when cut or out of time."""
        end = clock.monotonic() + timeout
        while True:
            # Cleared before looking, so that what happens between the look and the wait still wakes.
            self._wake.clear()
            if self._cut:
                return False
            if done():
                return True
            left = end - clock.monotonic()
            if left <= 0:
                return False
            self._wake.wait(left)
