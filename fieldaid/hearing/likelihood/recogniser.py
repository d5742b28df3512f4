"""The recogniser "likelihood": the phrase of the grammar that fits the sound best, or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from fieldaid import data
from fieldaid.clock import Stopwatch
from fieldaid.grammar.grammar import Grammar
from fieldaid.grammar.load import LINE
from fieldaid.grammar.network import Network
from fieldaid.hearing import measuring
from fieldaid.hearing.awaited import answers_to
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.likelihood.accept import Figures, Limits
from fieldaid.hearing.likelihood.counterparts import Pairs, lead_over, read_pairs
from fieldaid.hearing.likelihood.forced import score
from fieldaid.hearing.likelihood.meanings import Meaning, gather, meaning_of, states
from fieldaid.hearing.likelihood.model import Encoded, SpeechModel
from fieldaid.hearing.likelihood.network import TokenNetwork
from fieldaid.hearing.likelihood.prior import Prior
from fieldaid.hearing.likelihood.search import BEAM, COSTS, DROP, Costs, Found, search
from fieldaid.hearing.likelihood.written import LOOSE, WrittenForms
from fieldaid.hearing.measuring import NO_RIVAL, MeasuringRecogniser
from fieldaid.hearing.pauses import spoken_s
from fieldaid.hearing.sound import RATE

ALIKE = "sound_alikes.tsv"
LIMITS = Path(__file__).parent / "data" / "limits.json"
PADDED_S = 0.5
"""A shorter segment is padded, because the encoder needs some context."""
TOKENS_A_SECOND, TOKENS_MORE, TOKENS_MOST = 8.0, 8, 72
RANKED = 4
"""Meanings that are scored on noise and ranked against each other."""
PROPOSED = 2
"""Meanings of another recogniser that are scored beside the own ones; each costs a search of its own."""


@dataclass(frozen=True)
class Measured:
    """One sound, measured: meanings best first after the priors; None for `figures` when nothing was found. `spoken` is
    how long somebody spoke [s]."""

    found: Found
    meanings: list[Meaning]
    figures: Figures | None
    encoded: Encoded
    awaiting: str | None = None
    spoken: float | None = None


class LikelihoodRecogniser(MeasuringRecogniser[SpeechModel, Measured]):
    """Recognises segments of at most 12 s by the likelihood of the grammar's own phrases.

    Parameters
    ----------
    grammar : the loaded grammar; required
    model : the model's folder; None finds it in the installed package
    threads : for the model
    beam, drop, costs : see `search`
    limits : what is accepted; None takes the calibrated ones
    pairs : words that are easily heard for each other; None takes those of the grammars folder

    Raises
    ------
    WrongUse : there is no grammar, or the model is not installed
    BrokenData : a data file of the package is broken
    ImportError : onnxruntime is not installed
    """

    name = "likelihood"

    def __init__(self, grammar: Grammar | None = None, *, model: Path | SpeechModel | None = None, threads: int = 1,
                 beam: int = BEAM, drop: float = DROP, costs: Costs = COSTS, limits: Limits | None = None,
                 pairs: Pairs | None = None, **_: Any) -> None:
        super().__init__(grammar)
        self._model: SpeechModel | None = model if isinstance(model, SpeechModel) else SpeechModel(model, threads)
        self._forms = WrittenForms(self.grammar.loaded.written)
        self.narrow(self.grammar.network)
        self._prior = Prior(self._model)
        self._beam, self._drop, self._costs = beam, drop, costs
        self.limits = limits if limits is not None else read_limits()
        self.pairs = pairs if pairs is not None else read_pairs(data.folder("grammars") / ALIKE)

    def narrow(self, network: Network) -> None:
        """Hear the sentences of another network, of words that the grammar understands."""
        self._network = TokenNetwork(network, LINE, self._open().tokenizer, self._forms,
                                     LOOSE.union(*self.grammar.loaded.poison.values()))

    def hear(self, segment: Segment, awaiting: str | None = None) -> Heard:
        """The phrase that the segment holds, or "" when none is accepted.

        `awaiting` is the fact that was just asked for, or "affirm": its bare answers are heard too, beside all else.
        Figures: see `accept`; `tokens` is the length of the text, `free` the log-probability of unrestricted text.
        Alternatives are the next meanings with their lag behind the best [nat]; of a text that was not accepted the
        best comes first, at 0.

        Raises
        ------
        SoundError : the model broke
        """
        watch = Stopwatch()
        samples = usable(segment.samples)
        if samples is None:
            return self.told(None, False, segment, watch.ms())
        measured = self.with_alike(self.measure(samples, awaiting, spoken_s(segment)))
        return self.told(measured, self.accepts(measured), segment, watch.ms())

    def measure(self, samples: np.ndarray, awaiting: str | None = None, spoken: float | None = None) -> Measured:
        """Search, priors and figures for samples that `usable` let through; `spoken`: how long somebody spoke [s].

        Raises
        ------
        SoundError : the model broke, or the recogniser was closed
        """
        model = self._open()
        encoded = model.encode(samples)
        longest = min(TOKENS_MOST, TOKENS_MORE + int(TOKENS_A_SECOND * len(samples) / RATE))
        sub = answers_to(self.grammar, awaiting)
        found = search(model, self._network, encoded, longest, self._beam, self._drop, self._costs,
                       None if sub is None else self._network.answers(sub))
        meanings = gather(found.rows, self._parse(awaiting))[:RANKED]
        self._weigh(meanings)
        return self._measured(Measured(found, meanings, None, encoded, awaiting, spoken))

    def propose(self, measured: Measured, texts: Sequence[str]) -> Measured:
        """`measured` with the meanings of these texts put beside its own, where they are new.

        Only texts that the grammar understands whole count. A text is scored by itself, and set off by what the costs
        of the search take off the best meaning.
        """
        parse = self._parse(measured.awaiting)
        keys = {one.key for one in measured.meanings}
        new: dict[str, str] = {}
        for text in texts:
            parsed = parse(text)
            if states(parsed) and not parsed.refused and meaning_of(parsed) not in keys and len(new) < PROPOSED:
                new.setdefault(meaning_of(parsed), text)
        if not new:
            return measured
        old = measured.meanings[:1]
        rows = score(self._open(), self._forms, measured.encoded, [*(one.row.text for one in old), *new.values()])
        costs = min(0.0, old[0].score - rows[0].score) if old else 0.0
        meanings = []
        for key, row in zip(new, rows[len(old):], strict=True):
            parsed = parse(row.text)
            if row.tokens:
                row = replace(row, score=row.score + costs)
                meanings.append(Meaning(key, True, bool(parsed.refused), row, row.score))
        self._weigh(meanings)
        return self._measured(replace(measured, meanings=[*measured.meanings, *meanings]))

    def score(self, samples: np.ndarray, texts: Sequence[str]) -> list[float]:
        """Log-probability of each text for samples that `usable` let through, over all its written forms [nat]."""
        model = self._open()
        return [row.score for row in score(model, self._forms, model.encode(samples), texts)]

    def alike(self, measured: Measured, text: str) -> list[tuple[str, float]]:
        """The texts that `text`, a meaning that was measured, is easily confused with, and its lead over each, less
        the handicap of the pair [nat]."""
        parse = self._parse(measured.awaiting)
        key = meaning_of(parse(text))
        rows = [row for row in measured.found.rows if meaning_of(parse(row.text)) == key]
        rows = rows or [one.row for one in measured.meanings if one.key == key]
        found = []
        for swap in self.pairs.swaps(text):
            parsed = parse(swap.text)
            # Nobody says "ninety fifteen"; but an order says nothing either, and is heard as a report.
            said_by_nobody = swap.is_number and (parsed.refused or not states(parsed))
            if meaning_of(parsed) != key and not said_by_nobody:
                ahead = lead_over(self._open(), measured.encoded, rows, swap.words, swap.other)
                if ahead is not None:
                    found.append((swap.text, ahead - swap.handicap))
        return found

    def with_alike(self, measured: Measured) -> Measured:
        """With the lead of the best over the texts that it is easily confused with among its figures."""
        if measured.figures is None or not measured.meanings[0].states:
            return measured
        leads = [ahead for _, ahead in self.alike(measured, measured.meanings[0].row.text)]
        return replace(measured, figures=replace(measured.figures, alike_margin=min(leads, default=None)))

    def rank(self, one: Meaning) -> float:
        """What meanings are ordered by [nat]."""
        return one.score - self.limits.prior_weight * one.prior - self.limits.refused * one.refused

    def figures_of(self, measured: Measured, best: Meaning, margin: float) -> Figures:
        """The figures of one meaning, without the lead over what it is easily confused with."""
        rate = None
        if measured.spoken is not None:
            rate = sum(map(str.isalpha, best.row.text)) / measured.spoken
        return Figures(llr=best.score - measured.found.free_score, pmi=best.pmi, margin=margin, worst=best.row.worst,
                       last=best.row.last, tokens=len(best.row.tokens), rate=rate)

    def heard_by_other(self, measured: Measured) -> str:
        """What another model hears by itself, "" without one; see `two_models`."""
        return ""

    def _measured(self, measured: Measured) -> Measured:
        """With the meanings in order and the figures of the best."""
        if not measured.meanings:
            return replace(measured, figures=None)
        meanings = sorted(measured.meanings, key=self.rank, reverse=True)
        best, rest = meanings[0], meanings[1:]
        lead = min((self.rank(best) - self.rank(one) for one in rest), default=NO_RIVAL)
        return replace(measured, meanings=meanings, figures=self.figures_of(measured, best, lead))

    def _weigh(self, meanings: list[Meaning]) -> None:
        if meanings:
            for one, prior in zip(meanings, self._prior.of([one.row for one in meanings]), strict=True):
                one.prior = float(prior)

    def _figures(self, measured: Measured) -> dict[str, float]:
        return measured.figures.shown(self.limits, free=measured.found.free_score) if measured.figures else {}


def usable(samples: np.ndarray) -> np.ndarray | None:
    """See `measuring.usable`."""
    return measuring.usable(samples, PADDED_S)


def read_limits(path: Path = LIMITS) -> Limits:
    """The calibrated limits. Raises BrokenData when the file is missing or broken."""
    return Limits.read(path)
