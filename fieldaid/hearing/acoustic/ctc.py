"""Connectionist temporal classification (Graves et al., ICML 2006): scores of texts and their place in the sound."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldaid.hearing.acoustic.letters import BLANK

NEVER = -1e30


def log_likelihoods(log_probs: np.ndarray, rows: Sequence[Sequence[int]]) -> np.ndarray:
    """Log-probability of each row of letters, summed over all ways to lie in the frames: the forward recursion.

    Parameters
    ----------
    log_probs : (frames, outputs)
    rows : letters as output numbers, no blanks; a row may be empty

    Returns
    -------
    (rows,), float64; NEVER or less for a row that has no room in the frames
    """
    states, ends, skips = _states(rows)
    log_probs = np.asarray(log_probs, np.float64)
    alpha = np.full(states.shape, NEVER)
    alpha[:, 0] = log_probs[0, BLANK]
    if states.shape[1] > 1:
        alpha[:, 1] = np.where(ends > 0, log_probs[0][states[:, 1]], NEVER)
    for frame in log_probs[1:]:
        alpha = _summed(*_steps(alpha, skips)) + frame[states]
    number = np.arange(len(rows))
    last = alpha[number, ends]
    return np.where(ends > 0, np.logaddexp(last, alpha[number, np.maximum(ends - 1, 0)]), last)


def align(log_probs: np.ndarray, row: Sequence[int]) -> np.ndarray:
    """The likeliest way of one row through the frames: for each frame 2k + 1 for letter k, 2k for the blank before it.

    Raises
    ------
    ValueError : the row has no room in the frames
    """
    states, ends, skips = _states([row])
    log_probs = np.asarray(log_probs, np.float64)
    best = np.full(states.shape[1], NEVER)
    best[:2] = log_probs[0][states[0, :2]]
    came = np.zeros((len(log_probs), states.shape[1]), np.int8)
    for at, frame in enumerate(log_probs[1:], start=1):
        ways = np.stack([way[0] for way in _steps(best[None], skips)])
        came[at] = ways.argmax(0)
        best = ways.max(0) + frame[states[0]]
    end = int(ends[0])
    state = end if end == 0 or best[end] >= best[end - 1] else end - 1
    if best[state] <= NEVER / 2:
        raise ValueError(f"{len(row)} letters have no room in {len(log_probs)} frames")
    path = np.empty(len(log_probs), np.int64)
    for at in range(len(log_probs) - 1, -1, -1):
        path[at] = state
        state -= int(came[at, state])
    return path


def _states(rows: Sequence[Sequence[int]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Each row with blanks around and between its letters, filled up with blanks; the number of its last state; and
    where a blank may be skipped: between letters that differ."""
    width = 2 * max(map(len, rows), default=0) + 1
    states = np.full((len(rows), width), BLANK)
    for number, row in enumerate(rows):
        states[number, 1:2 * len(row):2] = row
    skips = np.zeros(states.shape, bool)
    skips[:, 3::2] = states[:, 3::2] != states[:, 1:-2:2]
    return states, np.array([2 * len(row) for row in rows], np.int64), skips


def _steps(alpha: np.ndarray, skips: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Scores of staying, of coming from the state before, and of skipping a blank."""
    before, over = np.full_like(alpha, NEVER), np.full_like(alpha, NEVER)
    before[:, 1:] = alpha[:, :-1]
    over[:, 2:] = np.where(skips[:, 2:], alpha[:, :-2], NEVER)
    return alpha, before, over


def _summed(one: np.ndarray, two: np.ndarray, three: np.ndarray) -> np.ndarray:
    most = np.maximum(np.maximum(one, two), three)
    return most + np.log(np.exp(one - most) + np.exp(two - most) + np.exp(three - most))
