"""What several tests of the voice measure and wait for."""

from __future__ import annotations

import threading
from pathlib import Path

import numpy as np

from fieldaid import clock


def rms(samples: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(samples))))


def running(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state not in "ZX"


def within(seconds: float, done) -> bool:
    pause, end = threading.Event(), clock.monotonic() + seconds
    while not done():
        if clock.monotonic() > end:
            return False
        pause.wait(0.01)
    return True
