"""Rows of a search put together by what they mean."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fieldaid.grammar.model import Parsed
from fieldaid.hearing.likelihood.search import Row

Parse = Callable[[str], Parsed]
MOST_TEXTS = 30
"""Texts parsed for one sound: a parse costs about a millisecond, and what comes after these is far behind."""
TEENS = {"thirteen": "thirty", "fourteen": "forty", "fifteen": "fifty", "sixteen": "sixty", "seventeen": "seventy",
         "eighteen": "eighty", "nineteen": "ninety"}


@dataclass
class Meaning:
    """What some rows mean.

    Attributes
    ----------
    key : equal for texts that say the same, whatever filler or call sign stands around it
    states : whether it says anything at all: a fact, a question about one, a command, an answer
    refused : whether the parser leaves a part of it out
    row : the likeliest row; its text is the text of the meaning
    score : log of the summed probability of all rows that mean this
    prior : log-probability of `row` when there is only noise; see `prior`
    beside : log-probability of the row's text by another model, less that of its best [nat]; see `two_models`
    """

    key: str
    states: bool
    refused: bool
    row: Row
    score: float
    prior: float = 0.0
    beside: float = 0.0

    @property
    def pmi(self) -> float:
        """How much likelier the sound makes the row than noise does [nat]."""
        return self.row.score - self.prior


def gather(rows: list[Row], parse: Parse) -> list[Meaning]:
    """The meanings of the rows, likeliest first. Rows that differ by commas only are one reading of the words: the one
    of which the parser refuses nothing, if there is one."""
    by_words: dict[str, list[Row]] = {}
    for row in rows:
        by_words.setdefault(row.text.replace(",", ""), []).append(row)
    found: dict[str, tuple[Parsed, Row, list[float]]] = {}
    for same in list(by_words.values())[:MOST_TEXTS]:
        parsed, row = parse(same[0].text), same[0]
        if parsed.refused:
            for text in dict.fromkeys(other.text for other in same[1:]):
                again = parse(text)
                if not again.refused:
                    parsed, row = again, next(other for other in same if other.text == text)
                    break
        found.setdefault(meaning_of(parsed), (parsed, row, []))[2].extend(other.score for other in same)
    meanings = [Meaning(key, states(parsed), bool(parsed.refused), row, float(np.logaddexp.reduce(scores)))
                for key, (parsed, row, scores) in found.items()]
    return sorted(meanings, key=lambda one: -one.score)


def meaning_of(parsed: Parsed) -> str:
    """A key that is equal for equal meanings."""
    readings = sorted((one.name, json.dumps(one.value, sort_keys=True, default=str), one.basis, one.who)
                      for one in parsed.readings)
    asks = sorted((one.fact, one.missing) for one in parsed.asks)
    return json.dumps([readings, asks, parsed.command, parsed.command_fact, parsed.answer, bool(parsed.refused)])


def states(parsed: Parsed) -> bool:
    """Whether the line says anything."""
    return bool(parsed.readings or parsed.asks or parsed.command or parsed.answer)


def same_but_teens(text: str, other: str) -> bool:
    """Whether two texts differ, and only by a "-teen" in the place of a "-ty"."""
    one, two = text.replace(",", "").split(), other.replace(",", "").split()
    return one != two and [TEENS.get(word, word) for word in one] == [TEENS.get(word, word) for word in two]
