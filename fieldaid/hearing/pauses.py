"""Pauses inside a segment, and how long somebody really spoke.

The voice gate bridges pauses of half a second, because people breathe in the middle of a line. A speech model may take
such a pause for the end and ignore what follows; the pause is where the segment can be cut and both parts be heard.
"""

from __future__ import annotations

import numpy as np

from fieldaid.hearing.gate import HANGOVER_S, PRE_ROLL_S, Segment
from fieldaid.hearing.sound import RATE

FRAME_S = 0.02
BAND_HZ = (300.0, 3400.0)
LEAST_RANGE_DB = 9.0
"""Between the quiet and the loud tenth of the frames; with less the level tells nothing of pauses."""
DEPTH = 0.35
"""A pause lies in the lowest part of that range: so much of it."""
SHORTEST_S = 0.18
LEAST_PART_S = 0.35
"""Speech before and after a pause that is worth hearing by itself."""
LEAST_SPOKEN_S = 0.2


def pauses(segment: Segment) -> list[tuple[float, float]]:
    """The quiet stretches between the first and the last word, as (from, to) [s from the start of the segment]."""
    begin, end = speech(segment)
    size = int(FRAME_S * RATE)
    whole = len(segment.samples) // size
    if whole < 2 * LEAST_PART_S / FRAME_S:
        return []
    spectra = np.fft.rfft(segment.samples[:whole * size].reshape(whole, size) * np.hanning(size), axis=1)
    hz = np.fft.rfftfreq(size, 1 / RATE)
    power = np.square(np.abs(spectra[:, (hz >= BAND_HZ[0]) & (hz <= BAND_HZ[1])])).sum(axis=1) + 1e-10
    level = 10 * np.log10(np.convolve(power, np.ones(3) / 3, mode="same"))
    low, high = np.percentile(level, [10, 90])
    if high - low < LEAST_RANGE_DB:
        return []
    quiet = level < low + DEPTH * (high - low)
    found, start = [], None
    for frame, one in enumerate([*quiet, False]):
        if one and start is None:
            start = frame
        elif not one and start is not None:
            a, b = start * FRAME_S, frame * FRAME_S
            if b - a >= SHORTEST_S and a >= begin + LEAST_PART_S and b <= end - LEAST_PART_S:
                found.append((round(a, 3), round(b, 3)))
            start = None
    return found


def speech(segment: Segment) -> tuple[float, float]:
    """Where the first word begins and the last one ends [s from the start of the segment]."""
    lasts = len(segment.samples) / RATE
    if segment.speech_s is not None:
        return max(0.0, segment.speech_s[0] - segment.start_s), min(lasts, segment.speech_s[1] - segment.start_s)
    if lasts < PRE_ROLL_S + HANGOVER_S + LEAST_SPOKEN_S:
        return 0.0, lasts
    return PRE_ROLL_S, lasts - HANGOVER_S


def spoken_s(segment: Segment) -> float:
    """How long somebody spoke, pauses left out [s]."""
    begin, end = speech(segment)
    return max(LEAST_SPOKEN_S, end - begin - sum(b - a for a, b in pauses(segment)))


def parts(segment: Segment) -> list[Segment]:
    """The segment cut in the middle of its longest pause; one part where there is none."""
    found = pauses(segment)
    if not found:
        return [segment]
    a, b = max(found, key=lambda one: one[1] - one[0])
    at = int((a + b) / 2 * RATE)
    middle = segment.start_s + at / RATE
    begin, end = (segment.start_s + one for one in speech(segment))
    return [Segment(segment.start_s, middle, segment.samples[:at], True, (begin, segment.start_s + a)),
            Segment(middle, segment.end_s, segment.samples[at:], segment.cut, (segment.start_s + b, end))]
