"""A lock between test processes: what listens to sound in real time runs in one of them only."""

from __future__ import annotations

import contextlib
import fcntl
import tempfile
from collections.abc import Iterator
from pathlib import Path


@contextlib.contextmanager
def sound_devices() -> Iterator[None]:
    """Waits until no other process of the tests has its virtual sound devices open, then keeps others from it."""
    with open(Path(tempfile.gettempdir()) / "fieldaid-tests-sound.lock", "a", encoding="utf-8") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield
