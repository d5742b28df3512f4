"""The prior: how likely the model finds a text when it hears nothing but noise.

A short stretch of noise is encoded once; the texts that a search found are scored against it, a few rows in one pass.
So the prior is exact for every sentence of the grammar, however many there are, and costs the same at any size.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from fieldaid.errors import BrokenData
from fieldaid.hearing.likelihood.model import SpeechModel
from fieldaid.hearing.likelihood.search import Row

DATA = Path(__file__).parent / "data" / "noise.npz"
"""Encoder outputs of noises, float16 (1, frames, 288) each; made by `make_data.py`."""


class Prior:
    """Log-probability of rows on noise alone: the mean over the noises.

    Parameters
    ----------
    path : the noises, see DATA
    use : names of the noises to use; None takes all

    Raises
    ------
    BrokenData : the file is missing or is not such a file
    """

    def __init__(self, model: SpeechModel, path: Path = DATA, use: Sequence[str] | None = None) -> None:
        self._model = model
        try:
            with np.load(path) as stored:
                names = sorted(stored.files) if use is None else use
                self._noises = [model.encoded(stored[name].astype(np.float32)) for name in names]
        except (OSError, ValueError, KeyError) as exc:
            raise BrokenData("the noises of the phrase recogniser cannot be used", where=str(path), why=str(exc),
                             next_step="install fieldaid again") from None

    def of(self, rows: Sequence[Row]) -> np.ndarray:
        """Shape (rows,) [nat]."""
        tokens = [row.tokens for row in rows]
        return np.mean([self._model.texts(noise, tokens) for noise in self._noises], axis=0)
