"""Makes the noises that the prior is taken on: `python -m fieldaid.hearing.likelihood.make_data`.

Each is a second and a half of made noise at a usual level, run through the encoder. The same model gives the same file.
"""

from __future__ import annotations

import numpy as np

from fieldaid.hearing.likelihood.model import SpeechModel
from fieldaid.hearing.likelihood.prior import DATA

RATE, SECONDS = 16_000, 1.5
SHAPES = {
    "hiss": lambda f: np.ones_like(f),
    "rumble": lambda f: 1.0 / (1.0 + (f / 80.0) ** 2) + 0.02 / (1.0 + (f / 900.0) ** 2),
    "machine": lambda f: (np.abs((f / 130.0) % 1.0) < 0.04) / np.sqrt(1.0 + f / 300.0) + 0.05,
}
"""Gain over frequency [Hz]: a quiet room's hiss, wind on a microphone, a machine that turns 130 times a second."""
LEVEL_DB = {"hiss": -55.0, "rumble": -32.0, "machine": -32.0}


def noise(kind: str) -> np.ndarray:
    """float32, SECONDS long."""
    rng = np.random.default_rng(1)
    n = int(RATE * SECONDS)
    spectrum = np.fft.rfft(rng.standard_normal(n)) * SHAPES[kind](np.fft.rfftfreq(n, 1 / RATE))
    sound = np.fft.irfft(spectrum, n)
    return (sound / sound.std() * 10 ** (LEVEL_DB[kind] / 20)).astype(np.float32)


def main() -> None:
    model = SpeechModel()
    DATA.parent.mkdir(exist_ok=True)
    np.savez_compressed(DATA, **{kind: model.encode(noise(kind)).hidden.astype(np.float16) for kind in SHAPES})
    print(f"{DATA}: {DATA.stat().st_size / 1024:.0f} KB")


if __name__ == "__main__":
    main()
