"""The log-mel spectrum that Whisper's encoder takes (openai/whisper, audio.py), in numpy.

Frames of 25 ms every 10 ms under a Hann window, the clip mirrored at both ends; 80 triangular bands to 8 kHz on the
mel scale of Slaney's Auditory Toolbox, each of unit area; log10, cut 8 decades below the clip's loudest; (x + 4) / 4.
"""

from __future__ import annotations

import functools

import numpy as np

RATE, WINDOW, HOP, MELS = 16_000, 400, 160, 80
_LINEAR_STEP, _LOG_FROM, _LOG_STEP = 200.0 / 3, 1000.0, np.log(6.4) / 27
"""Slaney's scale: linear below 1 kHz, 27 steps for each factor of 6.4 above."""


def log_mel(samples: np.ndarray) -> np.ndarray:
    """(80, n // 160) float32 of n samples at 16 kHz; n at least 201."""
    samples = np.asarray(samples, np.float32)
    padded = np.pad(samples, WINDOW // 2, mode="reflect")
    frames = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[::HOP][:len(samples) // HOP]
    spectrum = np.fft.rfft(frames * _window(), axis=1)
    power = np.square(spectrum.real) + np.square(spectrum.imag)
    bands = np.log10(np.maximum(filters() @ power.T.astype(np.float32), 1e-10))
    return ((np.maximum(bands, bands.max() - 8.0) + 4.0) / 4.0).astype(np.float32)


@functools.cache
def _window() -> np.ndarray:
    return (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(WINDOW) / WINDOW)).astype(np.float32)


@functools.cache
def filters() -> np.ndarray:
    """(80, 201) float32: the weight of each frequency of the spectrum in each band."""
    edges = _hertz(np.linspace(0.0, _mel(RATE / 2), MELS + 2))
    frequencies = np.arange(WINDOW // 2 + 1) * (RATE / WINDOW)
    rising = (frequencies - edges[:-2, None]) / (edges[1:-1] - edges[:-2])[:, None]
    falling = (edges[2:, None] - frequencies) / (edges[2:] - edges[1:-1])[:, None]
    area = 2.0 / (edges[2:] - edges[:-2])
    return (np.maximum(0.0, np.minimum(rising, falling)) * area[:, None]).astype(np.float32)


def _mel(hertz: float) -> float:
    return float(hertz / _LINEAR_STEP if hertz < _LOG_FROM
                 else _LOG_FROM / _LINEAR_STEP + np.log(hertz / _LOG_FROM) / _LOG_STEP)


def _hertz(mel: np.ndarray) -> np.ndarray:
    turn = _LOG_FROM / _LINEAR_STEP
    return np.where(mel < turn, mel * _LINEAR_STEP, _LOG_FROM * np.exp(_LOG_STEP * (mel - turn)))
