"""The recogniser "likelihood": the phrase of the grammar that fits the sound best, or nothing."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fieldaid.clock import Stopwatch
from fieldaid.errors import BrokenData, WrongUse
from fieldaid.grammar.grammar import Grammar
from fieldaid.grammar.load import LINE
from fieldaid.hearing.gate import LONGEST_S, Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.likelihood.accept import Figures, Limits
from fieldaid.hearing.likelihood.meanings import Meaning, gather, same_but_teens
from fieldaid.hearing.likelihood.model import SpeechModel
from fieldaid.hearing.likelihood.network import TokenNetwork
from fieldaid.hearing.likelihood.prior import Prior
from fieldaid.hearing.likelihood.search import BEAM, COSTS, DROP, Costs, Found, search
from fieldaid.hearing.likelihood.written import LOOSE, WrittenForms
from fieldaid.hearing.sound import RATE

LIMITS = Path(__file__).parent / "data" / "limits.json"
SHORTEST_S, PADDED_S = 0.15, 0.5
"""A shorter segment is no word; a segment is padded to the second, because the encoder needs some context."""
QUIET_RMS = 10 ** (-70 / 20)
TOKENS_A_SECOND, TOKENS_MORE, TOKENS_MOST = 8.0, 8, 72
RANKED = 4
"""Meanings that are scored on noise and ranked against each other."""
NO_RIVAL = 30.0
"""The margin when nothing else was found."""


@dataclass(frozen=True)
class Measured:
    """One sound, measured: meanings best first after the priors; None for `figures` when nothing was found."""

    found: Found
    meanings: list[Meaning]
    figures: Figures | None


class LikelihoodRecogniser:
    """Recognises segments of at most 12 s by the likelihood of the grammar's own phrases.

    Parameters
    ----------
    grammar : the loaded grammar; required
    model : the model's folder; None finds it in the installed package
    threads : for the model
    beam, drop, costs : see `search`
    limits : what is accepted; None takes the calibrated ones

    Raises
    ------
    WrongUse : there is no grammar, or the model is not installed
    BrokenData : a data file of the package is broken
    ImportError : onnxruntime is not installed
    """

    name = "likelihood"

    def __init__(self, grammar: Grammar | None = None, *, model: Path | SpeechModel | None = None, threads: int = 1,
                 beam: int = BEAM, drop: float = DROP, costs: Costs = COSTS, limits: Limits | None = None,
                 **_: Any) -> None:
        if grammar is None:
            raise WrongUse("the recogniser likelihood needs the grammar itself", why="only its text form was given",
                           next_step="pass grammar=load_grammar()")
        self._grammar = grammar
        self._model: SpeechModel | None = model if isinstance(model, SpeechModel) else SpeechModel(model, threads)
        self._network = TokenNetwork(grammar.network, LINE, self._model.tokenizer,
                                     WrittenForms(grammar.loaded.written),
                                     LOOSE.union(*grammar.loaded.poison.values()))
        self._prior = Prior(self._model)
        self._beam, self._drop, self._costs = beam, drop, costs
        self.limits = limits if limits is not None else read_limits()
        self.notices: tuple[str, ...] = ()

    def hear(self, segment: Segment) -> Heard:
        """The phrase that the segment holds, or "" when none is accepted.

        Figures: see `accept`; `tokens` is the length of the text, `free` the log-probability of unrestricted text.
        Alternatives are the next meanings with their lag behind the best [nat]; of a text that was not accepted the
        best comes first, at 0.

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
        shown |= {"fit": figures.fit(self.limits), "free": measured.found.free_score}
        others = tuple((one.row.text, round(self._rank(one) - self._rank(best), 2)) for one in measured.meanings)
        shown = {name: round(value, 2) for name, value in shown.items()}
        return Heard(best.row.text if accepted else "", figures=shown,
                     alternatives=others[1:] if accepted else others, ms={"decode": watch.ms()}, **at)

    def measure(self, samples: np.ndarray) -> Measured:
        """Search, priors and figures for samples that `usable` let through.

        Raises
        ------
        SoundError : the model broke, or the recogniser was closed
        """
        model = self._open()
        encoded = model.encode(samples)
        longest = min(TOKENS_MOST, TOKENS_MORE + int(TOKENS_A_SECOND * len(samples) / RATE))
        found = search(model, self._network, encoded, longest, self._beam, self._drop, self._costs)
        meanings = gather(found.rows, self._grammar.parse)[:RANKED]
        if not meanings:
            return Measured(found, [], None)
        for one, prior in zip(meanings, self._prior.of([one.row for one in meanings]), strict=True):
            one.prior = float(prior)
        meanings.sort(key=self._rank, reverse=True)
        best, rest = meanings[0], meanings[1:]
        lead = {one.key: self._rank(best) - self._rank(one) for one in rest}
        teens = [lead[one.key] for one in rest if same_but_teens(best.row.text, one.row.text)]
        figures = Figures(llr=best.score - found.free_score, pmi=best.pmi, margin=min(lead.values(), default=NO_RIVAL),
                          worst=best.row.worst, last=best.row.last, tokens=len(best.row.tokens),
                          number_margin=min(teens, default=None))
        return Measured(found, meanings, figures)

    def close(self) -> None:
        """Give back the model's memory."""
        self._model = None

    def _rank(self, one: Meaning) -> float:
        return one.score - self.limits.prior_weight * one.prior - self.limits.refused * one.refused

    def _open(self) -> SpeechModel:
        if self._model is None:
            raise WrongUse("the recogniser was closed", next_step="make a new one")
        return self._model


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
        raise BrokenData("the limits of the phrase recogniser cannot be read", where=str(path), why=str(exc),
                         next_step="install fieldaid again") from None
