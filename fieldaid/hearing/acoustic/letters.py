"""Words as rows of letters."""

from __future__ import annotations

import re

LETTERS = " 'abcdefghijklmnopqrstuvwxyz"
BLANK = 0
SPACE = 1
"""Output 0 of the model is CTC's blank, output i + 1 is LETTERS[i]."""
_NUMBER = {letter: number for number, letter in enumerate(LETTERS + ",.", start=1)}


class LetterTokenizer:
    """Text to letters, in the form that `TokenNetwork` takes. Comma and full stop have numbers that no sound makes."""

    def encode(self, text: str) -> tuple[int, ...]:
        return tuple(_NUMBER[letter] for letter in text)


class PlainForms:
    """A word is written as it is spelled."""

    def word(self, word: str, opening: bool) -> list[str]:
        return [f" {word}"] if heard(word) == word else []

    def rows(self, first: str) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
        return []


def heard(text: str) -> str:
    """Text as the model writes it: small letters and apostrophes, single spaces, no punctuation."""
    return " ".join(re.sub(r"[^a-z' ]+", " ", text.lower().replace("’", "'")).split())


def numbers(text: str) -> list[int]:
    """The model's outputs for a text that `heard` gave."""
    return [_NUMBER[letter] for letter in text]


def greedy(log_probs) -> str:
    """The likeliest letter at each frame, repeats and blanks taken away: what is heard without any grammar."""
    best = log_probs.argmax(1)
    kept = best[(best != BLANK) & (best != [-1, *best[:-1]])]
    return " ".join("".join(LETTERS[one - 1] for one in kept).split())
