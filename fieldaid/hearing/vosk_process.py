"""The Vosk library in a process of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fieldaid.clock import Stopwatch
from fieldaid.hearing.child import Child

CHILD = Path(__file__).with_name("vosk_child.py")
LOAD_S = 120.0
"""The largest English models are over 2 GB and load slowly from a card."""
ORDER_S = 30.0


class VoskProcess(Child):
    """One model, loaded. Loading goes on while the caller does something else: `wait_ready` waits for it.

    Parameters
    ----------
    folder : the model

    Attributes
    ----------
    load_ms : from the start of the process until `wait_ready` came back [ms]
    """

    def __init__(self, folder: Path) -> None:
        super().__init__(CHILD, ["recognise", str(folder)], "the Vosk recogniser", str(folder),
                         f"look at: fieldaid models check {folder}")
        self.folder = folder
        self._watch, self.load_ms = Stopwatch(), 0.0

    def wait_ready(self) -> None:
        """Until the model is loaded.

        Raises
        ------
        SoundError : it cannot be loaded
        """
        self.answer(None, LOAD_S)
        self.load_ms = self._watch.ms()

    def known(self, words: list[str]) -> set[str]:
        """Those of the words that the model has."""
        return set(self.answer({"find": words}, ORDER_S)["known"])

    def listen_for(self, phrases: list[str] | None, rate: int) -> float:
        """Make the recogniser for sound at `rate` samples a second; None lets it hear any words. Returns the most
        memory used so far [MB]."""
        return float(self.answer({"phrases": phrases, "rate": rate}, ORDER_S)["memory_mb"])

    def hear(self, sound: bytes) -> list[dict[str, Any]]:
        """The finals of one utterance of 16-bit sound, each as Vosk gives it: text, and result by word."""
        return self.answer({"hear": len(sound)}, ORDER_S, sound)["finals"]
