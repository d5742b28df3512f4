"""The synthetic voices of the demo sound. Every function returns float32, mono, 16 kHz, in [-1, 1].

Needs the `demo` extra (hibari-tts) and the system packages espeak-ng, flite, festival, festvox-kallpc16k
and festvox-us-slt-hts. Licences: README.md beside this file.
"""

from __future__ import annotations

import functools
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
import soxr

RATE = 16_000


def _run(command: list[str], stdin: str | None = None) -> None:
    subprocess.run(command, input=stdin, text=True, check=True, capture_output=True)


def _load(path: Path) -> np.ndarray:
    samples, rate = soundfile.read(path, dtype="float32")
    return samples if rate == RATE else soxr.resample(samples, rate, RATE).astype(np.float32)


def _by_file(write: Callable[[str, Path], None]) -> Callable[[str], np.ndarray]:
    def speak(text: str) -> np.ndarray:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "spoken.wav"
            write(text, path)
            return _load(path)

    return speak


def _flite(voice: str) -> Callable[[str], np.ndarray]:
    return _by_file(lambda text, path: _run(["flite", "-voice", voice, "-t", text, "-o", str(path)]))


def _festival(voice: str) -> Callable[[str], np.ndarray]:
    return _by_file(
        lambda text, path: _run(["text2wave", "-eval", f"(voice_{voice})", "-o", str(path)], text)
    )


def _espeak(voice: str, words_a_minute: int) -> Callable[[str], np.ndarray]:
    return _by_file(
        lambda text, path: _run(["espeak-ng", "-v", voice, "-s", str(words_a_minute), "-w", str(path), text])
    )


@functools.cache
def _neural():
    from hibari import Hibari

    return Hibari()


def _hibari(speed: float = 1.0, cents: int = 0) -> Callable[[str], np.ndarray]:
    """The voice "heart"; `cents` moves its pitch and with it the size of the speaker."""

    def speak(text: str) -> np.ndarray:
        ratio = 2 ** (cents / 1200)
        samples = np.asarray(_neural()(text, seed=0, speed=speed / ratio), np.float32)
        return soxr.resample(samples, 24_000 * ratio, RATE).astype(np.float32)

    return speak


VOICES: dict[str, Callable[[str], np.ndarray]] = {
    "heart": _hibari(),
    "heart-low": _hibari(1.05, -350),
    "heart-high": _hibari(1.0, 200),
    "flite-awb": _flite("awb"),
    "flite-rms": _flite("rms"),
    "flite-slt": _flite("slt"),
    "flite-kal": _flite("kal16"),
    "festival-kal": _festival("kal_diphone"),
    "festival-slt": _festival("cmu_us_slt_arctic_hts"),
    "espeak-us": _espeak("en-us", 155),
    "espeak-scotland": _espeak("en-gb-scotland", 150),
}


def speak(voice: str, text: str) -> np.ndarray:
    """`text` in `voice`, at a speech-active level of -23 dB of full scale, with 0.35 s of quiet at each end."""
    from noise import active_level_db

    spoken = VOICES[voice](text)
    spoken = spoken * np.float32(10 ** ((-23.0 - active_level_db(spoken)) / 20))
    peak = float(np.abs(spoken).max())
    if peak > 0.95:
        spoken = spoken * np.float32(0.95 / peak)
    quiet = np.zeros(int(0.35 * RATE), np.float32)
    return np.concatenate([quiet, spoken, quiet]).astype(np.float32)
