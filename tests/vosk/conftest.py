"""A home without Vosk models for every test of Vosk."""

from __future__ import annotations

import pytest

from fieldaid.hearing import vosk_models


@pytest.fixture(autouse=True)
def own_home(tmp_path, monkeypatch):
    """A home without models, and no variable of the machine's own."""
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    for name in (vosk_models.VARIABLE, "VOSK_MODEL_PATH", "FIELDAID_VOSK_MIRROR", "XDG_CONFIG_HOME"):
        monkeypatch.delenv(name, raising=False)
