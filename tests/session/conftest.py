"""The grammar and the shipped guidance, loaded once for the tests of a module."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from fieldaid.grammar import load_grammar
from fieldaid.guidance.guide import Guide

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "guidance"))


@pytest.fixture(scope="module")
def shared():
    import house

    return load_grammar(), Guide(house.house(), engine=False)
