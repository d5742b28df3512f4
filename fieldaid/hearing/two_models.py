"""The likelihood recogniser with a second model beside it: each scores the meanings of both, and the scores are added.

The speech model of the likelihood recogniser knows much English and was never trained for noise; the acoustic model was
trained for noise and knows only letters. They err on different clips. On 95 calibration clips (see
tests/bench/calibrate_hearing.py) the best meaning was right in .958 by the sum and in .905 by the speech model alone.
"""

from __future__ import annotations

import concurrent.futures
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldaid.grammar.grammar import Grammar
from fieldaid.hearing.acoustic import recogniser as acoustic
from fieldaid.hearing.acoustic.ctc import log_likelihoods
from fieldaid.hearing.acoustic.letters import heard, numbers
from fieldaid.hearing.likelihood.accept import Figures
from fieldaid.hearing.likelihood.meanings import Meaning
from fieldaid.hearing.likelihood.recogniser import LikelihoodRecogniser, Measured

WEIGHT = 0.5
"""How much a nat of the acoustic model counts against one of the speech model."""
MOST_BEHIND = 40.0
"""As far as a meaning may lie behind the best of the acoustic model [nat]: it never decides alone."""
WORST_WORDS = -50.0
"""As low as `Figures.words` goes, also where the sound is too short for the text."""
PROPOSED = 4
"""Meanings of the acoustic recogniser that are put beside those of the other."""


@dataclass(frozen=True)
class MeasuredByBoth(Measured):
    """One sound, measured by both; `other` is what the acoustic recogniser measured."""

    other: acoustic.Measured | None = None


class TwoModels(LikelihoodRecogniser):
    """Recognises like the likelihood recogniser, with the acoustic model's score of each meaning added to its own.

    Parameters
    ----------
    grammar : the loaded grammar; required
    other : None makes the acoustic recogniser
    weight : how much its score counts

    Raises
    ------
    WrongUse, BrokenData, ImportError : as the two recognisers do
    """

    name = "likelihood and acoustic"

    def __init__(self, grammar: Grammar | None = None, *, other: acoustic.AcousticRecogniser | None = None,
                 weight: float = WEIGHT) -> None:
        super().__init__(grammar)
        self.other = other if other is not None else acoustic.AcousticRecogniser(grammar)
        self.weight = weight
        self._thread = concurrent.futures.ThreadPoolExecutor(1, "acoustic")

    def measure(self, samples: np.ndarray, awaiting: str | None = None, spoken: float | None = None) -> Measured:
        """As `LikelihoodRecogniser.measure`, the meanings of both ranked together.

        Raises
        ------
        SoundError : a model broke, or the recogniser was closed
        """
        asked = self._thread.submit(self.other.measure, samples, awaiting)
        own = super().measure(samples, awaiting, spoken)
        other = asked.result()
        measured = MeasuredByBoth(own.found, own.meanings, own.figures, own.encoded, awaiting, spoken, other)
        return self.propose(measured, [one.row.text for one in other.meanings[:PROPOSED]])

    def propose(self, measured: Measured, texts: Sequence[str]) -> Measured:
        """As `LikelihoodRecogniser.propose`; the new ones are scored by both."""
        return self._scored(super().propose(measured, texts))

    def rank(self, one: Meaning) -> float:
        """What meanings are ordered by [nat]."""
        return super().rank(one) + self.weight * one.beside

    def figures_of(self, measured: Measured, best: Meaning, margin: float) -> Figures:
        """As `LikelihoodRecogniser.figures_of`, with what the acoustic model would rather hear of any words."""
        figures = super().figures_of(measured, best, margin)
        if not isinstance(measured, MeasuredByBoth) or measured.other is None:
            return figures
        text = numbers(heard(best.row.text))
        behind = float(log_likelihoods(measured.other.log_probs, [text])[0]) - measured.other.words_score
        return replace(figures, words=max(min(behind, 0.0) / math.sqrt(max(1, len(text))), WORST_WORDS))

    def heard_by_other(self, measured: Measured) -> str:
        """The text that the acoustic recogniser finds likeliest by itself, "" when it finds none."""
        other = measured.other if isinstance(measured, MeasuredByBoth) else None
        return other.meanings[0].row.text if other is not None and other.meanings else ""

    def close(self) -> None:
        """Close both."""
        self._thread.shutdown(wait=True, cancel_futures=True)
        self.other.close()
        super().close()

    def _scored(self, measured: Measured) -> Measured:
        if not isinstance(measured, MeasuredByBoth) or measured.other is None or not measured.meanings:
            return measured
        rows = [numbers(heard(one.row.text)) for one in measured.meanings]
        scores = log_likelihoods(measured.other.log_probs, rows)
        scores = np.maximum(scores - scores.max(), -MOST_BEHIND)
        meanings = [replace(one, beside=float(score))
                    for one, score in zip(measured.meanings, scores, strict=True)]
        return self._measured(replace(measured, meanings=meanings))
