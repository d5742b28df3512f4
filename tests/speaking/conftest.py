"""The real voice, shared by the tests that need speech; they are skipped where espeak-ng is missing."""

from __future__ import annotations

import pytest

from fieldaid.errors import SpeakingError
from fieldaid.speaking.voice import Voice


@pytest.fixture(scope="module")
def real_voice():
    voice = Voice()
    try:
        voice.start()
    except SpeakingError as error:
        pytest.skip(f"espeak-ng is not installed: {error}")
    yield voice
    voice.close()
