"""The recogniser "acoustic": the phrase of the grammar that a model trained for noise finds likeliest, or nothing."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fieldaid.clock import Stopwatch
from fieldaid.errors import BrokenData, WrongUse
from fieldaid.grammar.grammar import Grammar
from fieldaid.grammar.load import LINE
from fieldaid.hearing.acoustic.accept import Figures, Limits
from fieldaid.hearing.acoustic.ctc import align, log_likelihoods
from fieldaid.hearing.acoustic.letters import LetterTokenizer, PlainForms, greedy, heard, numbers
from fieldaid.hearing.acoustic.model import FILE, AcousticModel
from fieldaid.hearing.acoustic.search import BEAM, COSTS, DROP, Candidate, Costs, search
from fieldaid.hearing.gate import LONGEST_S, Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.likelihood.meanings import Meaning, gather, same_but_teens
from fieldaid.hearing.likelihood.network import TokenNetwork
from fieldaid.hearing.likelihood.search import Row
from fieldaid.hearing.likelihood.written import LOOSE
from fieldaid.hearing.sound import RATE

LIMITS = Path(__file__).parent / "data" / "limits.json"
SHORTEST_S, PADDED_S = 0.15, 0.6
"""A shorter segment is no word; one shorter than the second is padded: the model was not trained on such."""
QUIET_RMS = 10 ** (-70 / 20)
SCORED = 32
"""Texts that are scored exactly."""
SHOWN = 4
"""Meanings that are ranked against each other."""
NO_RIVAL = 30.0
"""The margin when nothing else was found."""


@dataclass(frozen=True)
class Measured:
    """One sound, measured: what is heard without grammar; meanings best first; None for `figures` when nothing of the
    grammar was found."""

    free: str
    meanings: list[Meaning]
    figures: Figures | None


class AcousticRecogniser:
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
        if grammar is None:
            raise WrongUse("the recogniser acoustic needs the grammar itself", why="only its text form was given",
                           next_step="pass grammar=load_grammar()")
        self._grammar = grammar
        self._model: AcousticModel | None = model if isinstance(model, AcousticModel) else AcousticModel(model, threads)
        self._network = TokenNetwork(grammar.network, LINE, LetterTokenizer(), PlainForms(),
                                     LOOSE.union(*grammar.loaded.poison.values()))
        self._beam, self._drop, self._costs = beam, drop, costs
        self.limits = limits if limits is not None else read_limits()
        self.notices: tuple[str, ...] = ()

    def hear(self, segment: Segment) -> Heard:
        """The phrase that the segment holds, or "" when none is accepted.

        Figures: see `accept`. Alternatives are the next meanings with their lag behind the best [nat]; of a text that
        was not accepted the best comes first, at 0.

        Raises
        ------
        SoundError : the model broke
        """
        watch = Stopwatch()
        at = {"recogniser": self.name, "start_s": segment.start_s, "end_s": segment.end_s}
        samples = usable(segment.samples)
        measured = self.measure(samples) if samples is not None else None
        if measured is None or measured.figures is None:
            return Heard("", ms={"decode": watch.ms()}, **at)
        figures, best = measured.figures, measured.meanings[0]
        accepted = best.states and figures.accepted(self.limits)
        shown = {name: value for name, value in asdict(figures).items() if value is not None}
        shown = {name: round(value, 2) for name, value in (shown | {"fit": figures.fit(self.limits)}).items()}
        others = tuple((one.row.text, round(self._rank(one) - self._rank(best), 2)) for one in measured.meanings)
        return Heard(best.row.text if accepted else "", figures=shown,
                     alternatives=others[1:] if accepted else others, ms={"decode": watch.ms()}, **at)

    def measure(self, samples: np.ndarray, without: Sequence[str] = ()) -> Measured:
        """Search and figures for samples that `usable` let through.

        Parameters
        ----------
        without : meanings (see `meaning_of`) that are passed over, to measure what would be heard if they could not be

        Raises
        ------
        SoundError : the model broke, or the recogniser was closed
        """
        log_probs = self._open().log_probs(samples)
        free = greedy(log_probs)
        rows = self._scored(log_probs, search(self._network, log_probs, self._beam, self._drop, self._costs))
        meanings = [one for one in gather(rows, self._grammar.parse) if one.key not in without]
        meanings = sorted(meanings, key=self._rank, reverse=True)[:SHOWN]
        if not meanings:
            return Measured(free, [], None)
        best, rest = meanings[0], meanings[1:]
        lead = {one.key: self._rank(best) - self._rank(one) for one in rest}
        teens = [lead[one.key] for one in rest if same_but_teens(best.row.text, one.row.text)]
        said, text = numbers(heard(best.row.text)), heard(best.row.text)
        exact, unbound, nothing = log_likelihoods(log_probs, [said, numbers(free), []])
        figures = Figures(llr=float(exact - unbound) / len(said), worst=worst_word(log_probs, text),
                          margin=min(lead.values(), default=NO_RIVAL), silence=float(exact - nothing) / len(said),
                          letters=len(said), number_margin=min(teens, default=None))
        return Measured(free, meanings, figures)

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

    def close(self) -> None:
        """Give back the model's memory."""
        self._model = None

    def _scored(self, log_probs: np.ndarray, found: list[Candidate]) -> list[Row]:
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

    def _rank(self, one: Meaning) -> float:
        return one.score - self.limits.refused * one.refused

    def _open(self) -> AcousticModel:
        if self._model is None:
            raise WrongUse("the recogniser was closed", next_step="make a new one")
        return self._model


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
    """Samples that the model can take, or None when there is nothing to hear in them: float32, finite, padded."""
    samples = np.nan_to_num(np.asarray(samples, np.float32).ravel(), nan=0.0, posinf=1.0, neginf=-1.0)
    samples = samples[:int(LONGEST_S * RATE) + RATE // 10]
    if len(samples) < SHORTEST_S * RATE or float(np.sqrt(np.mean(np.square(samples)))) < QUIET_RMS:
        return None
    samples = np.clip(samples, -1.0, 1.0)
    short = int(PADDED_S * RATE) - len(samples)
    return np.pad(samples, (short // 2, short - short // 2)) if short > 0 else samples


def read_limits(path: Path = LIMITS) -> Limits:
    """The calibrated limits.

    Raises
    ------
    BrokenData : the file is missing or broken
    """
    try:
        return Limits.of(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError, AttributeError) as exc:
        raise BrokenData("the limits of the acoustic recogniser cannot be read", where=str(path), why=str(exc),
                         next_step="install fieldaid again") from None
