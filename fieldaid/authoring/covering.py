"""Covering arrays: few rows in which every t factors take every combination of their levels.

The method is in-parameter-order (Lei and others, IPOG, 2008, from memory): the first t factors take all their
combinations; each further factor gets, row by row, the level that covers most of what is still missing, and rows are
added for the rest. That the result covers is never taken from the method: `missing` counts it anew, by another way.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.uint8]
Progress = Callable[[int, int], None]


def covering_array(levels: Sequence[int], strength: int, seed: int = 1, progress: Progress | None = None) -> Array:
    """Rows that cover every combination of levels of every `strength` factors.

    Parameters
    ----------
    levels : number of levels of each factor, each at least 1
    strength : t, from 1 to the number of factors
    progress : called with factors done and factors in all

    Returns
    -------
    array, shape (rows, len(levels)): the level of each factor in each row, from 0

    Raises
    ------
    ValueError : `strength` is not between 1 and the number of factors, or a factor has no level

    >>> len(covering_array([2, 2, 2, 2], 2)) < 16
    True
    """
    if not 1 <= strength <= len(levels) or min(levels) < 1 or max(levels) > 255:
        raise ValueError("strength lies between 1 and the number of factors, and each factor has 1 to 255 levels")
    rng = np.random.default_rng(seed)
    order = sorted(range(len(levels)), key=lambda i: (-levels[i], i))
    sizes = np.array([levels[i] for i in order], dtype=np.int64)
    rows = np.array(list(itertools.product(*(range(size) for size in sizes[:strength]))), dtype=np.uint8)
    for k in range(strength, len(sizes)):
        rows = _extend(rows, sizes, k, strength, rng)
        if progress is not None:
            progress(k + 1, len(sizes))
    found = np.empty_like(rows)
    found[:, order] = rows
    return found


class _Wanted:
    """The combinations that a new factor k must still meet: one flag for each, in blocks by the other factors."""

    def __init__(self, sizes: NDArray[np.int64], k: int, strength: int) -> None:
        self.k, self.size = k, int(sizes[k])
        self.groups = np.array(list(itertools.combinations(range(k), strength - 1)), dtype=np.int64)
        within = sizes[self.groups]
        self.radix = np.concatenate([np.cumprod(within[:, ::-1], axis=1)[:, ::-1][:, 1:],
                                     np.ones((len(within), 1), dtype=np.int64)], axis=1)
        counts = within.prod(axis=1)
        self.starts = np.concatenate([[0], np.cumsum(counts)[:-1]]) * self.size
        self.open = np.ones(int(counts.sum()) * self.size, dtype=bool)

    def base(self, row: Array) -> NDArray[np.int64]:
        """Where the flags of the row's combinations begin; add the level of factor k."""
        return self.starts + (row[self.groups] * self.radix).sum(axis=1) * self.size

    def combinations(self) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """What is still open: the group of factors, their levels, and the level of factor k, one row for each."""
        flags = np.flatnonzero(self.open)
        group = np.searchsorted(self.starts, flags, side="right") - 1
        rest = flags - self.starts[group]
        levels, own = rest // self.size, rest % self.size
        radix = self.radix[group]
        within = (levels[:, None] // radix) % np.concatenate(
            [np.full((len(group), 1), np.iinfo(np.int64).max), radix[:, :-1] // radix[:, 1:]], axis=1)
        return self.groups[group], within, own


def _extend(rows: Array, sizes: NDArray[np.int64], k: int, strength: int, rng: np.random.Generator) -> Array:
    """The rows with factor k added, and further rows for what they could not cover."""
    wanted = _Wanted(sizes, k, strength)
    levels = np.arange(wanted.size)
    column = np.empty(len(rows), dtype=np.uint8)
    used = np.zeros(wanted.size, dtype=np.int64)
    for i, row in enumerate(rows):
        base = wanted.base(row)
        gains = wanted.open[base[:, None] + levels].sum(axis=0)
        best = np.flatnonzero(gains == gains.max())
        column[i] = best[np.argmin(used[best])]
        used[column[i]] += 1
        wanted.open[base + int(column[i])] = False
    rows = np.concatenate([rows, column[:, None]], axis=1)
    more = list(_rows_for(wanted, sizes, rng))
    return np.concatenate([rows, np.array(more, dtype=np.uint8)]) if more else rows


def _rows_for(wanted: _Wanted, sizes: NDArray[np.int64], rng: np.random.Generator) -> Iterator[Array]:
    """Rows of k + 1 levels that together cover what is open, each packed with as much of it as fits."""
    k = wanted.k
    while wanted.open.any():
        groups, within, own = wanted.combinations()
        row = np.full(k, -1, dtype=np.int64)
        level = int(own[0])
        fits = np.flatnonzero(own == level)
        fits = rng.permutation(fits)
        groups, within = groups[fits], within[fits]
        while len(groups):
            row[groups[0]] = within[0]
            there = row[groups]
            keep = ((there == -1) | (there == within)).all(axis=1) & (there == -1).any(axis=1)
            groups, within = groups[keep], within[keep]
        free = row == -1
        row[free] = rng.integers(0, sizes[:k][free])
        wanted.open[wanted.base(row.astype(np.uint8)) + level] = False
        yield np.append(row, level).astype(np.uint8)


def missing(array: Array, levels: Sequence[int], strength: int, progress: Progress | None = None) -> int:
    """How many combinations of levels of `strength` factors no row has: 0 for a covering array. Counts every one."""
    lacking = 0
    columns = [np.ascontiguousarray(array[:, i]).astype(np.int32) for i in range(array.shape[1])]
    total = math.comb(len(levels), strength)
    for n, group in enumerate(itertools.combinations(range(len(levels)), strength)):
        code = columns[group[0]]
        for i in group[1:]:
            code = code * levels[i] + columns[i]
        size = math.prod(levels[i] for i in group)
        lacking += size - int(np.count_nonzero(np.bincount(code, minlength=size)))
        if progress is not None and n % 20000 == 0:
            progress(n, total)
    return lacking


def measured(array: Array, levels: Sequence[int], strength: int) -> tuple[int, int]:
    """Combinations of `strength` factors that a set of rows has, and how many there are. A level of 255 in a row
    stands for a value outside the factor's levels and covers nothing."""
    lacking = all_ = 0
    for group in itertools.combinations(range(len(levels)), strength):
        size = math.prod(levels[i] for i in group)
        part = array[:, group]
        part = part[(part != 255).all(axis=1)].astype(np.int64)
        code = np.zeros(len(part), dtype=np.int64)
        for n, i in enumerate(group):
            code = code * levels[i] + part[:, n]
        lacking += size - len(np.unique(code))
        all_ += size
    return all_ - lacking, all_
