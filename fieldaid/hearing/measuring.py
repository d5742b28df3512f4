"""What recognisers share that measure how well each meaning of the grammar fits the sound: the limits that they keep,
the figures that they weigh, the sound that they take, and how they hand on what they measured."""

from __future__ import annotations

import functools
import json
from collections.abc import Sequence
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any, ClassVar, Generic, Protocol, TypeVar

import numpy as np

from fieldaid.errors import BrokenData, WrongUse
from fieldaid.grammar.grammar import Grammar
from fieldaid.hearing.gate import LONGEST_S, Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.likelihood.meanings import Meaning, Parse
from fieldaid.hearing.sound import RATE

SHORTEST_S = 0.15
"""A shorter segment is no word."""
QUIET_RMS = 10 ** (-70 / 20)
NO_RIVAL = 30.0
"""The margin when nothing else was found."""


class StoredLimits:
    """The least figures that are accepted and the weights of `fit`, kept in a file. Each recogniser's own are a frozen
    dataclass of numbers.

    Attributes
    ----------
    whose : the recogniser, for errors
    weights : in the order of `WeighedFigures.features`
    """

    whose: ClassVar[str]
    weights: tuple[float, ...]

    @classmethod
    def of(cls: type[LimitsT], stored: dict[str, float]) -> LimitsT:
        """From stored figures.

        Raises
        ------
        BrokenData : a figure is missing, unknown or not a number
        """
        names = {one.name for one in fields(cls)}  # type: ignore[arg-type]
        if set(stored) != names or not all(isinstance(value, (int, float)) for value in stored.values()):
            raise BrokenData(f"the limits of the {cls.whose} recogniser cannot be used",
                             why=f"they must be numbers for {', '.join(sorted(names))}",
                             next_step="install fieldaid again")
        return cls(**stored)

    @classmethod
    def read(cls: type[LimitsT], path: Path) -> LimitsT:
        """From a file.

        Raises
        ------
        BrokenData : the file is missing or broken
        """
        try:
            return cls.of(json.loads(path.read_text(encoding="utf-8")))
        except (OSError, ValueError, TypeError, AttributeError) as exc:
            raise BrokenData(f"the limits of the {cls.whose} recogniser cannot be read", where=str(path), why=str(exc),
                             next_step="install fieldaid again") from None

    def stored(self) -> dict[str, float]:
        return asdict(self)  # type: ignore[call-overload]


LimitsT = TypeVar("LimitsT", bound=StoredLimits)


class WeighedFigures:
    """What a verdict rests on. Each recogniser's own are a frozen dataclass; what was not measured is None.

    Attributes
    ----------
    features : what `fit` weighs, the first 1
    """

    features: tuple[float, ...]

    def fit(self, limits: StoredLimits) -> float:
        """The log-odds of being right, as far as the calibration goes."""
        return sum(weight * value for weight, value in zip(limits.weights, self.features, strict=True))

    def shown(self, limits: StoredLimits, **more: float) -> dict[str, float]:
        """What was measured, with `fit` and `more`, for `Heard.figures`."""
        found = {name: value for name, value in asdict(self).items() if value is not None}  # type: ignore[call-overload]
        return {name: round(value, 2) for name, value in (found | {"fit": self.fit(limits)} | more).items()}


class Measured(Protocol):
    """One sound, measured: `meanings` best first, the figures of the best; None when nothing was found."""

    @property
    def meanings(self) -> Sequence[Meaning]: ...
    @property
    def figures(self) -> Any: ...


ModelT = TypeVar("ModelT")
MeasuredT = TypeVar("MeasuredT", bound=Measured)


class MeasuringRecogniser(Generic[ModelT, MeasuredT]):
    """A recogniser that holds a model and measures meanings with it; a subclass says how.

    Parameters
    ----------
    grammar : the loaded grammar; required

    Raises
    ------
    WrongUse : there is no grammar
    """

    name: str
    limits: Any
    _model: ModelT | None = None

    def __init__(self, grammar: Grammar | None) -> None:
        if grammar is None:
            raise WrongUse(f"the recogniser {self.name} needs the grammar itself", why="only its text form was given",
                           next_step="pass grammar=load_grammar()")
        self.grammar = grammar
        self.notices: tuple[str, ...] = ()

    def told(self, measured: MeasuredT | None, accepted: bool, segment: Segment, ms: float) -> Heard:
        """What was measured, as it is handed on."""
        at = {"recogniser": self.name, "start_s": segment.start_s, "end_s": segment.end_s}
        if measured is None or measured.figures is None:
            return Heard("", ms={"decode": ms}, **at)
        best = measured.meanings[0]
        others = tuple((one.row.text, round(self.rank(one) - self.rank(best), 2)) for one in self._shown(measured))
        return Heard(best.row.text if accepted else "", figures=self._figures(measured),
                     alternatives=others[1:] if accepted else others, ms={"decode": ms}, **at)

    def accepts(self, measured: MeasuredT) -> bool:
        """Whether the best meaning is accepted on this recogniser's word alone."""
        return bool(measured.figures and measured.meanings[0].states and measured.figures.accepted(self.limits))

    def rank(self, one: Meaning) -> float:
        """What meanings are ordered by [nat]."""
        raise NotImplementedError

    def close(self) -> None:
        """Give back the model's memory."""
        self._model = None

    def _shown(self, measured: MeasuredT) -> Sequence[Meaning]:
        """The meanings that are told."""
        return measured.meanings

    def _figures(self, measured: MeasuredT) -> dict[str, float]:
        """The figures that are told."""
        return measured.figures.shown(self.limits)

    def _parse(self, awaiting: str | None) -> Parse:
        return functools.lru_cache(maxsize=256)(functools.partial(self.grammar.parse, expecting=awaiting))

    def _open(self) -> ModelT:
        if self._model is None:
            raise WrongUse("the recogniser was closed", next_step="make a new one")
        return self._model


def usable(samples: np.ndarray, padded_s: float) -> np.ndarray | None:
    """Samples that a model can take, or None when there is nothing to hear in them: float32, finite, padded to
    `padded_s`."""
    samples = np.nan_to_num(np.asarray(samples, np.float32).ravel(), nan=0.0, posinf=1.0, neginf=-1.0)
    samples = samples[:int(LONGEST_S * RATE) + RATE // 10]
    if len(samples) < SHORTEST_S * RATE or float(np.sqrt(np.mean(np.square(samples)))) < QUIET_RMS:
        return None
    samples = np.clip(samples, -1.0, 1.0)
    short = int(padded_s * RATE) - len(samples)
    return np.pad(samples, (short // 2, short - short // 2)) if short > 0 else samples
