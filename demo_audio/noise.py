"""Synthetic saw and wind, and mixing at a stated signal-to-noise ratio.

The ratio is the speech-active level of the voice over the power of the noise, in dB: pauses do not count.
"""

from __future__ import annotations

import numpy as np

RATE = 16_000


def active_level_db(speech: np.ndarray) -> float:
    """Level of the frames of 20 ms that hold speech [dB of full scale]: those within 25 dB of the loudest.

    A short form of the active speech level of ITU-T P.56, which sets its threshold 15.9 dB below that level.
    """
    frame = RATE // 50
    whole = speech[: len(speech) // frame * frame].astype(np.float64)
    power = np.square(whole).reshape(-1, frame).mean(axis=1)
    active = power[power > power.max() * 10**-2.5]
    return float(10 * np.log10(active.mean() + 1e-20))


def saw(seconds: float, seed: int) -> np.ndarray:
    """A two-stroke cut-off saw: firing harmonics of an unsteady 110 to 150 Hz, and a hiss of teeth and exhaust.

    An invented model: it is not measured from any machine.
    """
    rng = np.random.default_rng(seed)
    n = int(seconds * RATE)
    time = np.arange(n) / RATE
    load = 130 + 12 * np.sin(2 * np.pi * 0.7 * time + rng.uniform(0, 6)) + 8 * np.sin(2 * np.pi * 0.23 * time)
    phase = 2 * np.pi * np.cumsum(load + 2.5 * _slow(rng, n, 6.0)) / RATE
    tone = np.zeros(n)
    for k in range(1, 41):
        tone += np.cos(k * phase + rng.uniform(0, 2 * np.pi)) / k**0.9
    hiss = _shaped(rng, n, lambda f: 1.0 / np.sqrt(1.0 + ((f - 2500.0) / 1500.0) ** 2))
    sound = tone / tone.std() + 0.6 * hiss / hiss.std()
    return (sound / sound.std()).astype(np.float32)


def wind(seconds: float, seed: int) -> np.ndarray:
    """Wind on a microphone: noise falling 12 dB an octave above 80 Hz, in gusts of about a second."""
    rng = np.random.default_rng(seed)
    n = int(seconds * RATE)
    rumble = _shaped(rng, n, lambda f: 1.0 / (1.0 + (f / 80.0) ** 2))
    hiss = _shaped(rng, n, lambda f: 1.0 / (1.0 + (f / 900.0) ** 2))
    gust = np.exp(0.5 * _slow(rng, n, 1.0))
    sound = gust * (rumble / rumble.std() + 0.25 * hiss / hiss.std())
    return (sound / sound.std()).astype(np.float32)


KINDS = {"saw": saw, "wind": wind}


def mix(speech: np.ndarray, kind: str, ratio_db: float, seed: int) -> np.ndarray:
    """`speech` with noise `ratio_db` below its speech-active level, turned down if it would clip."""
    noise = KINDS[kind](len(speech) / RATE + 0.01, seed)[: len(speech)]
    level = 10 ** ((active_level_db(speech) - ratio_db) / 20)
    mixed = speech + noise * np.float32(level)
    return (mixed * np.float32(min(1.0, 0.95 / np.abs(mixed).max()))).astype(np.float32)


def _shaped(rng: np.random.Generator, n: int, gain) -> np.ndarray:
    spectrum = np.fft.rfft(rng.standard_normal(n))
    return np.fft.irfft(spectrum * gain(np.fft.rfftfreq(n, 1 / RATE)), n)


def _slow(rng: np.random.Generator, n: int, hz: float) -> np.ndarray:
    """Unit noise that changes about `hz` times a second."""
    points = max(4, int(n / RATE * hz) + 2)
    return np.interp(np.linspace(0, points - 1, n), np.arange(points), rng.standard_normal(points))
