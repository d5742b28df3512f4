"""A library in a process of its own: orders out, answers in; it may die or hang without harm to the caller.

Orders are lines of JSON, the sound of an order follows it as that many bytes; the start and each order are answered by
one line of JSON, {"failed": why} when something went wrong. Messages of the library go to the child's standard error.
"""

from __future__ import annotations

import contextlib
import json
import re
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from fieldaid.errors import GoneError, SoundError

RESTARTS = 2
"""How many times in a row a process that broke off is replaced."""


class Child:
    """A process that answers orders.

    Parameters
    ----------
    script : run by its path with the bare interpreter
    arguments : of the script
    called, where, next_step : for the error when it breaks off

    Raises
    ------
    SoundError : the process cannot be started
    """

    def __init__(self, script: Path, arguments: Sequence[str], called: str, where: str, next_step: str) -> None:
        self._called, self._where, self._next_step = called, where, next_step
        # A file, because a pipe that nobody reads would fill up and hold the child.
        self._messages = tempfile.TemporaryFile()
        try:
            self._process = subprocess.Popen([sys.executable, "-P", str(script), *arguments],
                                             stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._messages)
        except OSError as error:
            self._messages.close()
            raise self._broken(f"its process cannot be started: {error}") from None

    def close(self) -> None:
        """End the process. Closing twice does no harm."""
        for stream in (self._process.stdin, self._process.stdout):
            with contextlib.suppress(OSError):
                stream.close()  # type: ignore[union-attr]
        try:
            self._process.wait(2.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._messages.close()

    def answer(self, order: dict[str, Any] | None, limit_s: float, sound: bytes = b"") -> dict[str, Any]:
        """Send an order, wait for its answer.

        Raises
        ------
        SoundError : it died, took too long, or says that it failed
        """
        late = threading.Timer(limit_s, self._process.kill)
        late.daemon = True
        late.start()
        line = b""
        try:
            if order is not None:
                self._process.stdin.write(json.dumps(order).encode() + b"\n" + sound)  # type: ignore[union-attr]
                self._process.stdin.flush()  # type: ignore[union-attr]
            line = self._process.stdout.readline()  # type: ignore[union-attr]
        except (OSError, ValueError):
            pass
        finally:
            expired = not late.is_alive()
            late.cancel()
        if not line.endswith(b"\n"):
            raise self._broken(f"it did not answer within {limit_s:.0f} s" if expired else self._how_it_died())
        answer = json.loads(line)
        if "failed" in answer:
            raise self._broken(f"{answer['failed']}{self._last_message()}")
        return answer

    def _how_it_died(self) -> str:
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(2.0)
        code = self._process.poll()
        if code is None:
            return "it was closed"
        if code < 0:
            return f"the library was ended by {signal.Signals(-code).name}{self._last_message()}"
        return f"it ended with {code}{self._last_message()}"

    def _last_message(self) -> str:
        """The library's last word, without its own file names and line numbers; "" when it was silent."""
        if self._messages.closed:
            return ""
        self._messages.seek(0)
        lines = self._messages.read().decode("utf-8", "replace").splitlines()
        told = [line for line in lines if line.startswith(("ERROR", "ASSERTION_FAILED", "FATAL"))] or lines[-1:]
        return f": {re.sub(r'^[A-Z_]+(: | [(][^ ]+ )', '', told[0])}" if told else ""

    def _broken(self, why: str) -> SoundError:
        return SoundError(f"{self._called} broke off", where=self._where, why=why, next_step=self._next_step)


class Restarts:
    """Counts how often in a row a child broke off, and says when it is gone for good.

    Parameters
    ----------
    called, where, next_step : for the error when it is gone
    """

    def __init__(self, called: str, where: str, next_step: str) -> None:
        self._called, self._where, self._next_step = called, where, next_step
        self._failures = 0

    def check(self) -> None:
        """Before a child is started anew. Raises GoneError when it is gone."""
        if self._failures > RESTARTS:
            raise GoneError(f"{self._called} is closed", where=self._where,
                            why="it was closed, or broke off too often", next_step=self._next_step)

    def broke_off(self, error: SoundError) -> SoundError:
        """Count a failure; the error to raise: a GoneError when it was the last one."""
        self._failures += 1
        if self._failures <= RESTARTS or isinstance(error, GoneError):
            return error
        return GoneError(error.what, where=error.where, why=error.why, next_step=self._next_step)

    def worked(self) -> None:
        """It answered: what was before counts no more."""
        if self._failures <= RESTARTS:
            self._failures = 0

    def end(self) -> None:
        """It was closed."""
        self._failures = RESTARTS + 1
