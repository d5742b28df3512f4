"""The Vosk library in a process of its own: orders out, answers in; it may die or hang without harm to the caller."""

from __future__ import annotations

import contextlib
import json
import re
import signal
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from typing import Any

from fieldaid.clock import Stopwatch
from fieldaid.errors import SoundError

CHILD = Path(__file__).with_name("vosk_child.py")
LOAD_S = 120.0
"""The largest English models are over 2 GB and load slowly from a card."""
ORDER_S = 30.0


class VoskProcess:
    """One model, loaded. Loading goes on while the caller does something else: `wait_ready` waits for it.

    Parameters
    ----------
    folder : the model

    Attributes
    ----------
    load_ms : from the start of the process until `wait_ready` came back [ms]
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        # A file, because a pipe that nobody reads would fill up and hold the child.
        self._messages = tempfile.TemporaryFile()
        self._process = subprocess.Popen([sys.executable, "-P", str(CHILD), "recognise", str(folder)],
                                         stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._messages)
        self._watch, self.load_ms = Stopwatch(), 0.0

    def wait_ready(self) -> None:
        """Until the model is loaded.

        Raises
        ------
        SoundError : it cannot be loaded
        """
        self._answer(None, LOAD_S)
        self.load_ms = self._watch.ms()

    def known(self, words: list[str]) -> set[str]:
        """Those of the words that the model has."""
        return set(self._answer({"find": words}, ORDER_S)["known"])

    def listen_for(self, phrases: list[str] | None, rate: int) -> float:
        """Make the recogniser for sound at `rate` samples a second; None lets it hear any words. Returns the most
        memory used so far [MB]."""
        return float(self._answer({"phrases": phrases, "rate": rate}, ORDER_S)["memory_mb"])

    def hear(self, sound: bytes) -> list[dict[str, Any]]:
        """The finals of one utterance of 16-bit sound, each as Vosk gives it: text, and result by word."""
        return self._answer({"hear": len(sound)}, ORDER_S, sound)["finals"]

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

    def _answer(self, order: dict[str, Any] | None, limit_s: float, sound: bytes = b"") -> dict[str, Any]:
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
        return SoundError("the Vosk recogniser broke off", where=str(self.folder), why=why,
                          next_step=f"look at: fieldaid models check {self.folder}")
