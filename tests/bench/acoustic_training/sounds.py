"""Noises, rooms, microphones and masks for training, every figure drawn at random: `python sounds.py BANK.npz`

They are models of our own, measured from no machine, and share nothing with the noises that the tests use
(demo_audio/noise.py and tests/bench): those must stay unheard.
"""

from __future__ import annotations

import sys

import numpy as np

RATE = 16_000
BANK_S = 8.0
Rng = np.random.Generator


def unit(x: np.ndarray) -> np.ndarray:
    return (x / (x.std() + 1e-9)).astype(np.float32)


def between(rng: Rng, low: float, high: float) -> float:
    """Log-uniform."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def wander(rng: Rng, n: int, hz: float) -> np.ndarray:
    """A random curve of unit spread with about `hz` bends a second."""
    knots = max(4, int(n / RATE * hz) + 3)
    return np.interp(np.linspace(0, knots - 1, n), np.arange(knots), rng.standard_normal(knots)).astype(np.float32)


def equaliser(rng: Rng, n: int, depth: float = 12.0) -> np.ndarray:
    """A gain over frequency for rfft of n samples: a few peaks and notches, and a tilt."""
    octave = _octaves(n)
    db = np.zeros_like(octave)
    for _ in range(rng.integers(1, 5)):
        centre, width = np.log2(between(rng, 120, 7000)), rng.uniform(0.1, 0.8)
        db += rng.uniform(-depth, depth) * np.exp(-np.square((octave - centre) / width))
    db += rng.uniform(-4, 4) * (octave - np.log2(1000.0))
    return _gain(db)


def band(rng: Rng, n: int, low: tuple[float, float] = (40, 500),
         high: tuple[float, float] = (1800, 7800)) -> np.ndarray:
    """A gain that takes away below one frequency and above another, 6 to 30 dB an octave."""
    octave = _octaves(n)
    slope = rng.uniform(6, 30)
    below, above = np.log2(between(rng, *low)), np.log2(between(rng, *high))
    return _gain(-slope * (np.maximum(0, below - octave) + np.maximum(0, octave - above)))


def _octaves(n: int) -> np.ndarray:
    return np.log2(np.maximum(np.fft.rfftfreq(n, 1 / RATE), 15.0)).astype(np.float32)


def _gain(db: np.ndarray) -> np.ndarray:
    return np.power(10.0, np.clip(db, -70, 30) / 20).astype(np.float32)


def filtered(x: np.ndarray, gain: np.ndarray) -> np.ndarray:
    return np.fft.irfft(np.fft.rfft(x) * gain, len(x)).astype(np.float32)


# ---- noises, BANK_S long, unit spread


def coloured(rng: Rng, n: int, low: float = -2.5, high: float = 1.0) -> np.ndarray:
    """Noise whose power goes with a random power of the frequency."""
    f = np.maximum(np.fft.rfftfreq(n, 1 / RATE), 20.0)
    return unit(filtered(rng.standard_normal(n), f ** (rng.uniform(low, high) / 2) * equaliser(rng, n, 9)))


def motor(rng: Rng, n: int) -> np.ndarray:
    """An engine with blade or fan: harmonics of a wandering rate, some cylinders uneven, and broadband noise that
    beats with it; sometimes driven into saturation; revving up and down."""
    rate = between(rng, 20, 400) * np.exp(wander(rng, n, rng.uniform(0.3, 2.5)) * rng.uniform(0, 0.25)
                                          + wander(rng, n, 25) * rng.uniform(0, 0.03))
    phase = 2 * np.pi * np.cumsum(rate) / RATE + np.cumsum(rng.standard_normal(n)) * rng.uniform(0, 0.012)
    phase = phase.astype(np.float32)
    roll, top = rng.uniform(0.2, 1.5), float(rate.max())
    sound = np.zeros(n, np.float32)
    for k in range(1, int(min(45, 7800 / top)) + 1):
        sound += np.cos(k * phase + np.float32(rng.uniform(0, 6.28))) * np.float32(between(rng, 0.2, 1.8) * k**-roll)
    if rng.random() < 0.4:
        sound += np.cos(phase / 2) * np.float32(between(rng, 0.1, 1))
    sound = unit(filtered(sound, equaliser(rng, n)))
    rush = coloured(rng, n, -1.2, 1.0) * np.maximum(0, 1 + rng.uniform(0, 0.9) * np.cos(phase))
    sound = unit(sound + rng.uniform(0, 1.6) * unit(rush))
    if rng.random() < 0.3:
        sound = unit(np.tanh(sound * between(rng, 0.5, 4)))
    return unit(sound * np.exp(0.35 * wander(rng, n, rng.uniform(0.3, 2))))


def gusts(rng: Rng, n: int) -> np.ndarray:
    """Wind over a microphone: rumble and turbulence whose levels wander apart."""
    rumble = coloured(rng, n, -5, -1.8) * np.exp(wander(rng, n, between(rng, 0.5, 5)) * rng.uniform(0.2, 1.0))
    hiss = coloured(rng, n, -2, 0) * np.exp(wander(rng, n, between(rng, 1, 8)) * rng.uniform(0.2, 0.9))
    flutter = coloured(rng, n, -4, -2) * np.maximum(0, wander(rng, n, between(rng, 8, 30)))
    return unit(unit(rumble) + between(rng, 0.02, 0.8) * unit(hiss) + rng.uniform(0, 0.6) * unit(flutter))


def blows(rng: Rng, n: int) -> np.ndarray:
    """Axes, tools, debris: ringing strokes at random times."""
    sound = np.zeros(n, np.float32)
    hits = rng.random(n) < between(rng, 1.5, 40) / RATE
    sound[hits] = rng.standard_normal(int(hits.sum()))
    t = np.arange(4000) / RATE
    ring = (np.cos(2 * np.pi * between(rng, 150, 5000) * t) * np.exp(-t / between(rng, 0.002, 0.06))
            + rng.uniform(0, 2) * rng.standard_normal(4000) * np.exp(-t / between(rng, 0.001, 0.04)))
    return unit(np.fft.irfft(np.fft.rfft(sound, n + 4000) * np.fft.rfft(ring, n + 4000), n + 4000)[:n])


def alarm(rng: Rng, n: int) -> np.ndarray:
    """Beeps, sweeps or a siren."""
    t = np.arange(n) / RATE
    swing = rng.uniform(0, 0.5) * np.sin(2 * np.pi * between(rng, 0.2, 8) * t)
    phase = 2 * np.pi * np.cumsum(between(rng, 500, 3500) * np.exp(swing)) / RATE
    tone = np.sin(phase) + rng.uniform(0, 0.7) * np.sin(2 * phase) + rng.uniform(0, 0.5) * np.sin(3 * phase)
    if rng.random() < 0.6:
        tone = tone * (((t * between(rng, 0.8, 8)) % 1) < rng.uniform(0.2, 0.8))
    return unit(tone)


def breath(rng: Rng, n: int) -> np.ndarray:
    """Air in a mask: hiss in and out, a regulator's click."""
    t = np.arange(n) / RATE
    way = np.sin(2 * np.pi * between(rng, 0.3, 1.0) * t + rng.uniform(0, 6))
    return unit(filtered(coloured(rng, n, -1, 1) * np.maximum(0.02, way) ** rng.uniform(0.5, 2)
                         + coloured(rng, n, -2, 0) * 0.5 * np.maximum(0, -way), band(rng, n)))


NOISES = {"motor": (motor, 120), "coloured": (coloured, 40), "gusts": (gusts, 60), "blows": (blows, 20),
          "alarm": (alarm, 14), "breath": (breath, 20)}
SHARES = {"motor": 0.42, "coloured": 0.18, "gusts": 0.26, "blows": 0.06, "alarm": 0.03, "breath": 0.05}


def bank(seed: int = 7) -> dict[str, np.ndarray]:
    """Kind -> (count, samples) float16, unit spread."""
    rng, n = np.random.default_rng(seed), int(BANK_S * RATE)
    return {kind: np.stack([np.clip(make(rng, n), -20, 20) for _ in range(count)]).astype(np.float16)
            for kind, (make, count) in NOISES.items()}


# ---- what a clip goes through


def stretched(rng: Rng, x: np.ndarray, low: float, high: float) -> np.ndarray:
    """Played at another speed, pitch and all."""
    speed = rng.uniform(low, high)
    n = int(len(x) / speed)
    at = np.arange(n, dtype=np.float32) * np.float32(speed)
    whole = np.minimum(at.astype(np.int32), len(x) - 2)
    part = at - whole
    return x[whole] * (1 - part) + x[whole + 1] * part


def room(rng: Rng, n: int) -> np.ndarray:
    """The spectrum (for rfft of n) of a short diffuse echo."""
    t = np.arange(6400) / RATE
    ring = rng.standard_normal(6400) * np.exp(-t / between(rng, 0.01, 0.12)) * between(rng, 0.003, 0.1)
    ring[0] = 1
    return np.fft.rfft(ring.astype(np.float32), n)


def cover(rng: Rng, x: np.ndarray) -> np.ndarray:
    """Speech from behind a face piece, a hood or a radio: dull, boxy, with a cup's echo, sometimes driven too hard."""
    n = len(x)
    gain = band(rng, n, (60, 500), (900, 5000)).astype(np.complex64)
    f = np.fft.rfftfreq(n, 1 / RATE).astype(np.float32)
    for _ in range(rng.integers(0, 4)):
        centre, width = between(rng, 250, 3500), between(rng, 50, 350)
        gain *= 1 + rng.uniform(0.3, 3) / (1 + np.square((f - centre) / width))
    if rng.random() < 0.6:
        gain *= 1 / (1 - rng.uniform(0.1, 0.6) * np.exp(-2j * np.pi * f * rng.uniform(0.0003, 0.004)))
    if rng.random() < 0.4:
        gain *= room(rng, n) if rng.random() < 0.5 else equaliser(rng, n, 8)
    y = filtered(x, gain)
    y = y / (np.abs(y).max() + 1e-9)
    if rng.random() < 0.5:
        drive = between(rng, 0.5, 7)
        y = np.tanh(drive * y) / np.tanh(drive)
    return y.astype(np.float32)


if __name__ == "__main__":
    np.savez(sys.argv[1], **bank())
