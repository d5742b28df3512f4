"""Jobs for the tests of mass runs. They stand in a module of their own, so that other processes can import it."""

from __future__ import annotations

import os
import signal
from collections.abc import Mapping
from pathlib import Path
from threading import Event
from typing import Any


def squares(args: Mapping[str, Any], start: int, stop: int) -> dict[str, Any]:
    """Counts, adds squares, and lists what it was given; notes in a file that it ran."""
    _note(args, start)
    Event().wait(args.get("wait_s", 0.0))
    return {"count": stop - start, "sum": sum(n * n for n in range(start, stop)), "by": {"even": len(range(
        start + start % 2, stop, 2))}, "numbers": list(range(start, stop))}


def dies_once(args: Mapping[str, Any], start: int, stop: int) -> dict[str, Any]:
    """Kills its own process at one chunk, the first time."""
    marker = Path(args["marker"])
    if start <= args["at"] < stop and not marker.exists():
        marker.write_text("died")
        os.kill(os.getpid(), signal.SIGKILL)
    return squares(args, start, stop)


def always_dies(args: Mapping[str, Any], start: int, stop: int) -> dict[str, Any]:
    os.kill(os.getpid(), signal.SIGKILL)
    return {}


def _note(args: Mapping[str, Any], start: int) -> None:
    if "log" in args:
        with open(args["log"], "a", encoding="utf-8") as file:
            file.write(f"{start}\n")
