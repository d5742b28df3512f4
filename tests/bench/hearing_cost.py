"""What hearing costs: processor time and memory, of this process and of those that it started."""

from __future__ import annotations

import os
import resource
import time
from collections.abc import Iterator
from pathlib import Path

_TICK = os.sysconf("SC_CLK_TCK") if hasattr(os, "sysconf") else 100
_PROC = Path("/proc")


def children(pid: int | None = None) -> Iterator[int]:
    """The processes that this one started, and theirs; none where there is no /proc."""
    try:
        tasks = list((_PROC / str(pid or os.getpid()) / "task").iterdir())
    except OSError:
        return
    for task in tasks:
        try:
            found = [int(one) for one in (task / "children").read_text().split()]
        except OSError:
            continue
        for child in found:
            yield child
            yield from children(child)


def cpu_seconds() -> float:
    """Processor time so far, all threads, with children that live or have ended [s]; a child counts in steps of its
    tick, 10 ms as a rule."""
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    seconds = time.process_time() + ended.ru_utime + ended.ru_stime
    for child in children():
        try:
            fields = (_PROC / str(child) / "stat").read_text().rpartition(")")[2].split()
            seconds += (int(fields[11]) + int(fields[12])) / _TICK
        except (OSError, IndexError, ValueError):
            continue
    return seconds


def memory_mb(but: frozenset[int] = frozenset()) -> float:
    """The most memory that this process held so far, and its living children at their most, without those in `but`."""
    total = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    for child in set(children()) - but:
        try:
            lines = (_PROC / str(child) / "status").read_text().splitlines()
            total += next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024
        except (OSError, StopIteration, IndexError, ValueError):
            continue
    return total
