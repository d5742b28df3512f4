"""How alike recorded words and expected words sound, whatever the pauses between the words."""

from __future__ import annotations

import numpy as np
from virtual_sound import SPEAKER_RATE

FLOOR = 1e-4
"""Power that counts as silence: a sine of 0.2 % of full scale in the frame."""


def likeness(heard: np.ndarray, words: np.ndarray) -> float:
    """How alike the words and the best stretch of what was heard are, 1 at most.

    Levels in 24 bands are aligned in time first (Sakoe and Chiba, IEEE Trans. ASSP 26, 1978: slope between 1/2 and 2;
    any stretch may be the one), then correlated along the way, each less its mean. Without that, nothing compares:
    espeak-ng gives the same words other waveforms and longer pauses when it said other words before.

    Parameters
    ----------
    heard, words : mono at SPEAKER_RATE, in [-1, 1]; the words as loud as they are in what was heard
    """
    some, wanted = _bands(heard), _bands(words)
    squares = (some**2).sum(1)[:, None] + (wanted**2).sum(1)[None] - 2 * some @ wanted.T
    cost = np.sqrt(np.maximum(squares, 0.0))
    total = np.full(cost.T.shape, np.inf)
    way = np.zeros(cost.T.shape, int)
    total[0] = cost[:, 0]
    for at in range(1, len(wanted)):
        ways = np.full((3, len(some)), np.inf)
        ways[0, 1:] = total[at - 1, :-1] + cost[1:, at]
        ways[1, 2:] = total[at - 1, :-2] + (cost[1:-1, at] + cost[2:, at]) / 2
        if at > 1:
            ways[2, 1:] = total[at - 2, :-1] + cost[1:, at - 1] + cost[1:, at]
        way[at], total[at] = ways.argmin(0), ways.min(0)
    here, at, pairs = int(total[-1].argmin()), len(wanted) - 1, []
    while at > 0 and here > 0:
        pairs.append((here, at))
        if way[at, here] == 2:
            pairs.append((here, at - 1))
            here, at = here - 1, at - 2
        else:
            here, at = here - 1 - way[at, here], at - 1
    a, b = (side - side.mean(0) for side in (some[[one for one, _ in pairs]], wanted[[two for _, two in pairs]]))
    return float((a * b).sum() / (np.linalg.norm(a) * np.linalg.norm(b) + 1e-9))


def _bands(sound: np.ndarray) -> np.ndarray:
    """Level in 24 bands from 200 to 4,000 Hz every 10 ms, smoothed over 50 ms."""
    width, hop = round(0.025 * SPEAKER_RATE), round(0.01 * SPEAKER_RATE)
    frames = np.lib.stride_tricks.sliding_window_view(np.concatenate([sound, np.zeros(width)]), width)[::hop]
    power = np.abs(np.fft.rfft(frames * np.hanning(width))) ** 2
    edges = np.geomspace(200, 4000, 25) * width / SPEAKER_RATE
    levels = np.stack([power[:, int(low):max(int(low) + 1, int(high))].sum(1)
                       for low, high in zip(edges, edges[1:], strict=False)], axis=1)
    levels = np.log(levels + FLOOR * width)
    return np.apply_along_axis(lambda one: np.convolve(one, np.ones(5) / 5, "same"), 0, levels)
