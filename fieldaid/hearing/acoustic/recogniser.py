"""The recogniser "acoustic": the phrase of the grammar that a model trained for noise finds likeliest, or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from fieldaid.clock import Stopwatch
from fieldaid.grammar.grammar import Grammar
from fieldaid.grammar.load import LINE
from fieldaid.hearing import measuring
from fieldaid.hearing.acoustic.accept import Figures, Limits
from fieldaid.hearing.acoustic.alike import swaps
from fieldaid.hearing.acoustic.ctc import align, log_likelihoods
from fieldaid.hearing.acoustic.letters import LetterTokenizer, PlainForms, greedy, heard, numbers
from fieldaid.hearing.acoustic.model import FILE, AcousticModel
from fieldaid.hearing.acoustic.search import BEAM, COSTS, DROP, Candidate, Costs, search
from fieldaid.hearing.acoustic.words import AnyWords
from fieldaid.hearing.awaited import answers_to
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.likelihood.meanings import Meaning, gather, meaning_of
from fieldaid.hearing.likelihood.network import TokenNetwork
from fieldaid.hearing.likelihood.search import Row
from fieldaid.hearing.likelihood.written import LOOSE
from fieldaid.hearing.measuring import NO_RIVAL, MeasuringRecogniser

LIMITS = Path(__file__).parent / "data" / "limits.json"
PADDED_S = 0.6
"""A shorter segment is padded: the model was not trained on such."""
SCORED = 32
"""Texts that are scored exactly."""
SHOWN = 4
"""Meanings that are told."""


@dataclass(frozen=True)
class Measured:
    """One sound, measured.

    Attributes
    ----------
    free : the letters that fit best
    words : the row of any English words that fits best
    words_score : its log-probability [nat]
    meanings : of the grammar, best first
    figures : of the best meaning; None when nothing of the grammar was found
    log_probs : what the model gave, (frames, 1 + letters)
    awaiting : see `AcousticRecogniser.hear`
    """

    free: str
    words: str
    words_score: float
    meanings: list[Meaning]
    figures: Figures | None
    log_probs: np.ndarray
    awaiting: str | None = None


class AcousticRecogniser(MeasuringRecogniser[AcousticModel, Measured]):
    """Recognises segments of at most 12 s.

    Parameters
    ----------
    grammar : the loaded grammar; required
    model : the model's file, or the model
    threads : for the model
    beam, drop, costs : see `search`
    limits : what is accepted; None takes the calibrated ones

    Raises
    ------
    WrongUse : there is no grammar
    BrokenData : a data file of the package is missing or broken
    ImportError : onnxruntime is not installed
    """

    name = "acoustic"

    def __init__(self, grammar: Grammar | None = None, *, model: Path | AcousticModel = FILE, threads: int = 1,
                 beam: int = BEAM, drop: float = DROP, costs: Costs = COSTS, limits: Limits | None = None,
                 **_: Any) -> None:
        super().__init__(grammar)
        self._model: AcousticModel | None = model if isinstance(model, AcousticModel) else AcousticModel(model, threads)
        self._network = TokenNetwork(self.grammar.network, LINE, LetterTokenizer(), PlainForms(),
                                     LOOSE.union(*self.grammar.loaded.poison.values()))
        self._any_words = AnyWords(self.grammar.words())
        self._beam, self._drop, self._costs = beam, drop, costs
        self.limits = limits if limits is not None else read_limits()

    def hear(self, segment: Segment, awaiting: str | None = None) -> Heard:
        """The phrase that the segment holds, or "" when none is accepted.

        `awaiting` is the fact that was just asked for, or "affirm": its bare answers are heard too, beside all else.
        Figures: see `accept`. Alternatives are the next meanings with their lag behind the best [nat]; of a text that
        was not accepted the best comes first, at 0.

        Raises
        ------
        SoundError : the model broke
        """
        watch = Stopwatch()
        samples = usable(segment.samples)
        measured = self.measure(samples, awaiting) if samples is not None else None
        return self.told(measured, measured is not None and self.accepts(measured), segment, watch.ms())

    def measure(self, samples: np.ndarray, awaiting: str | None = None) -> Measured:
        """Search and figures for samples that `usable` let through; `awaiting` as in `hear`.

        Raises
        ------
        SoundError : the model broke, or the recogniser was closed
        """
        log_probs = self._open().log_probs(samples)
        sub = answers_to(self.grammar, awaiting)
        found = search(self._network, log_probs, self._beam, self._drop, self._costs,
                       None if sub is None else self._network.answers(sub))
        meanings = sorted(gather(_scored(log_probs, found), self._parse(awaiting)), key=self.rank, reverse=True)
        measured = Measured(greedy(log_probs), *self._any_words.best(log_probs), meanings, None, log_probs, awaiting)
        return self._with_figures(measured, frozenset())

    def passing_over(self, measured: Measured, keys: frozenset[str]) -> Measured:
        """What would have been measured if these meanings (see `meaning_of`) could not be said."""
        left = [one for one in measured.meanings if one.key not in keys]
        return self._with_figures(replace(measured, meanings=left, figures=None), keys)

    def _with_figures(self, measured: Measured, without: frozenset[str]) -> Measured:
        if not measured.meanings:
            return measured
        best, log_probs, parse = measured.meanings[0], measured.log_probs, self._parse(measured.awaiting)
        text = heard(best.row.text)
        exact, unbound, nothing = log_likelihoods(log_probs, [numbers(text), numbers(measured.free), []])
        alike = [ahead for other, ahead in self.alike(measured, best.row.text)
                 if meaning_of(parse(other)) not in without] if best.states else []
        figures = Figures(llr=float(exact - unbound) / len(text), words=min(0.0, float(exact) - measured.words_score),
                          worst=worst_word(log_probs, text),
                          margin=min((self.rank(best) - self.rank(one) for one in measured.meanings[1:]),
                                     default=NO_RIVAL),
                          silence=float(exact - nothing) / len(text), letters=len(text),
                          alike_margin=min(alike, default=None))
        return replace(measured, figures=figures)

    def alike(self, measured: Measured, text: str) -> list[tuple[str, float]]:
        """The texts that `text` is easily confused with and that mean something else, each with its lag [nat]."""
        parse = self._parse(measured.awaiting)
        key = meaning_of(parse(text))
        others = [other for other in swaps(text) if meaning_of(parse(other)) != key]
        if not others:
            return []
        scores = log_likelihoods(measured.log_probs, [numbers(heard(one)) for one in (text, *others)])
        return [(other, float(scores[0] - score)) for other, score in zip(others, scores[1:], strict=True)]

    def score(self, samples: np.ndarray, texts: Sequence[str]) -> np.ndarray:
        """Log-probability of each text for the sound [nat], (texts,); -inf where the sound is too short for a text, or
        holds nothing. Only differences between texts of one sound mean something.

        Raises
        ------
        SoundError : the model broke, or the recogniser was closed
        """
        usable_samples = usable(samples)
        if usable_samples is None:
            return np.full(len(texts), -np.inf)
        found = log_likelihoods(self._open().log_probs(usable_samples), [numbers(heard(text)) for text in texts])
        return np.where(found < -1e6, -np.inf, found)

    def rank(self, one: Meaning) -> float:
        """What meanings are ordered by [nat]."""
        return one.score - self.limits.refused * one.refused

    def _shown(self, measured: Measured) -> Sequence[Meaning]:
        return measured.meanings[:SHOWN]


def _scored(log_probs: np.ndarray, found: list[Candidate]) -> list[Row]:
    """Candidates with exact scores, best first; each without its commas, and then with them."""
    found = found[:SCORED]
    if not found:
        return []
    exact = log_likelihoods(log_probs, [numbers(heard(one.text)) for one in found])
    rows = []
    for one, score in sorted(zip(found, exact, strict=True), key=lambda pair: pair[0].cost - pair[1]):
        plain = one.text.replace(",", "")
        rows.append(Row(plain, (), float(score) - one.cost, 0.0, 0.0))
        if plain != one.text:
            # Another reading of the same words, whose probability is counted already.
            rows.append(Row(one.text, (), -np.inf, 0.0, 0.0))
    return rows


def worst_word(log_probs: np.ndarray, text: str) -> float:
    """How far the likeliest way of the text falls behind the likeliest letters over the frames of the word where it
    falls behind most [nat, 0 at best]. The blanks before a word are the word's."""
    path = align(log_probs, numbers(text))
    letters = [0, *(one for letter in numbers(text) for one in (letter, 0))]
    lag = log_probs[np.arange(len(path)), np.array(letters)[path]] - log_probs.max(1)
    word_of_letter = np.cumsum([letter == " " for letter in text])
    words = word_of_letter[np.minimum(path // 2, len(text) - 1)]
    return float(np.bincount(words, lag).min())


def usable(samples: np.ndarray) -> np.ndarray | None:
    """See `measuring.usable`."""
    return measuring.usable(samples, PADDED_S)


def read_limits(path: Path = LIMITS) -> Limits:
    """The calibrated limits. Raises BrokenData when the file is missing or broken."""
    return Limits.read(path)
