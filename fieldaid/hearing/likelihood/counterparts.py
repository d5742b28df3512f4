"""The texts that a text is easily confused with, scored beside it: "fifty" for "fifteen", "charge" for "charged".

A search gives up a text that falls behind, so that a missing rival says nothing about its distance. Here the rival is
written out, in the same written forms as the rows that were found, and both are scored in one pass.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fieldaid.errors import BrokenData, Finding
from fieldaid.hearing.likelihood.meanings import TEENS
from fieldaid.hearing.likelihood.model import Encoded, SpeechModel
from fieldaid.hearing.likelihood.search import Row
from fieldaid.hearing.likelihood.tokens import EOS

_TENS = {ty: teen for teen, ty in TEENS.items()}
_FIGURES = {str(13 + n): str(30 + 10 * n) for n in range(7)}
MOST_ROWS = 6


@dataclass(frozen=True)
class Swap:
    """A text as it could have been instead: `words` of it stand for `other`. `handicap` is taken off its lead [nat]."""

    words: str
    other: str
    text: str
    handicap: float = 0.0

    @property
    def is_number(self) -> bool:
        """Whether a teen stands for a ten, or the other way round."""
        return self.other in (TEENS.get(self.words), _TENS.get(self.words))


@dataclass(frozen=True)
class Pairs:
    """What rows of words could have been instead: {words heard: ((others, handicap), ...)}. Teens and tens stand for
    each other always. The handicap is for pairs that the model favours one side of, whatever was said."""

    others: Mapping[str, tuple[tuple[str, float], ...]]

    @classmethod
    def of(cls, pairs: Iterable[tuple[str, str, float]]) -> Pairs:
        """From (heard, could be, handicap)."""
        found: dict[str, list[tuple[str, float]]] = {}
        teens = [*TEENS.items(), *_TENS.items()]
        for heard, other, handicap in [*((one, two, 0.0) for one, two in teens), *pairs]:
            found.setdefault(heard, []).append((other, handicap))
        return cls({words: tuple(dict.fromkeys(others)) for words, others in found.items()})

    def swaps(self, text: str) -> list[Swap]:
        """One for each place of `text` where other words could have been said."""
        found = []
        for words, others in self.others.items():
            for match in re.finditer(rf"(?<![\w']){re.escape(words)}(?![\w'])", text):
                found += [Swap(words, other, f"{text[:match.start()]}{other}{text[match.end():]}", handicap)
                          for other, handicap in others]
        return found


def read_pairs(path: Path) -> Pairs:
    """The pairs of a file: on a line what is heard, a tab, what it could have been, and if wanted a tab and the
    handicap [nat]; `#` starts a comment.

    Raises
    ------
    BrokenData : it cannot be read, or a line holds something else; all are listed
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as exc:
        raise BrokenData("the sound-alikes cannot be read", where=str(path), why=str(exc),
                         next_step="put the file back, or name another grammar") from None
    pairs, findings = [], []
    for number, line in enumerate(lines, start=1):
        if not line.strip() or line.startswith("#"):
            continue
        heard, other, handicap = (" ".join(part.split()) for part in f"{line}\t\t".split("\t")[:3])
        good = all(re.fullmatch(r"[a-z' ]+", part) for part in (heard, other)) and heard != other
        if not good or not re.fullmatch(r"(\d+(\.\d+)?)?", handicap) or line.count("\t") > 2:
            findings.append(Finding(str(path), number, 1, "ALIKE-001", "a line is some words, a tab, other words, and "
                                    "if wanted a tab and a number", "fifteen<tab>fifty"))
        else:
            pairs.append((heard, other, float(handicap or 0.0)))
    if findings:
        raise BrokenData("the sound-alikes cannot be used", findings)
    return Pairs.of(pairs)


def lead_over(model: SpeechModel, encoded: Encoded, rows: Sequence[Row], words: str, other: str) -> float | None:
    """How far the rows, which say `words`, are likelier than the same with `other` [nat]; None when none of them can be
    written with `other`."""
    own: list[tuple[int, ...]] = []
    swapped: list[tuple[int, ...]] = []
    for row in rows[:MOST_ROWS]:
        written = model.tokenizer.decode(list(row.tokens[:-1]))
        changed = rewritten(written, words, other)
        if changed is not None:
            own.append(row.tokens)
            swapped.append((*model.tokenizer.encode(f" {changed}"), EOS))
    if not own:
        return None
    scores = model.texts(encoded, [*own, *swapped])
    return float(np.logaddexp.reduce(scores[:len(own)]) - np.logaddexp.reduce(scores[len(own):]))


def rewritten(written: str, words: str, other: str) -> str | None:
    """A written text with `words` put as `other`, as words or as figures; None when it does not hold them."""
    pattern = re.compile(rf"(?<![\w']){re.escape(words)}(?![\w'])".replace(r"\ ", "[ -]"), re.IGNORECASE)
    match = pattern.search(written)
    if match:
        put = other.capitalize() if match[0][:1].isupper() and match.start() == 0 else other
        return f"{written[:match.start()]}{put}{written[match.end():]}"
    figures = _figures_of(words, other)
    if figures:
        match = re.search(rf"{figures[0]}(?!\d|s)", written)
        if match:
            return f"{written[:match.start()]}{figures[1]}{written[match.end():]}"
    return None


def _figures_of(words: str, other: str) -> tuple[str, str] | None:
    if TEENS.get(words) == other:
        number = list(TEENS).index(words)
        return str(13 + number), _FIGURES[str(13 + number)]
    if TEENS.get(other) == words:
        number = list(TEENS).index(other)
        return _FIGURES[str(13 + number)], str(13 + number)
    return None
