"""Forced scoring: how likely are these very texts for this sound, whatever else the grammar can say?

A text makes a small word network of its own, and the search of the recogniser walks it: so every written form of it
counts, as in the whole grammar.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldaid.grammar.network import Network
from fieldaid.hearing.likelihood.model import Encoded, SpeechModel
from fieldaid.hearing.likelihood.network import TokenNetwork
from fieldaid.hearing.likelihood.search import Costs, Row, search
from fieldaid.hearing.likelihood.written import WrittenForms

TOP = "text"
BEAM, DROP = 6, 8.0
"""Narrow: the hypotheses of one search differ only by how one text is written down."""
LONGEST = 96
_FREE = Costs(0.0, 0.0, 0.0)
CANNOT = -200.0
"""The score of a text that cannot be written."""


def score(model: SpeechModel, forms: WrittenForms, encoded: Encoded, texts: Sequence[str]) -> list[Row]:
    """A row for each text: its `score` sums its written forms [nat], the rest is of the likeliest one.

    Commas of the texts do not count: one may stand after any word. Costs of phrases are not taken off.
    """
    return [_one(model, forms, encoded, text) for text in texts]


def _one(model: SpeechModel, forms: WrittenForms, encoded: Encoded, text: str) -> Row:
    network = Network()
    network.add_words(TOP, [(" ".join(words(text)), 0)])
    found = search(model, TokenNetwork(network, TOP, model.tokenizer, forms), encoded, LONGEST, BEAM, DROP, _FREE)
    rows = [row for row in found.rows if words(row.text) == words(text)]
    if not rows:
        return Row(text, (), CANNOT, CANNOT, CANNOT)
    best = rows[0]
    return Row(text, best.tokens, float(np.logaddexp.reduce([row.score for row in rows])), best.worst, best.last)


def words(text: str) -> tuple[str, ...]:
    """The words of a text, without its commas."""
    return tuple(text.replace(",", " ").split())
