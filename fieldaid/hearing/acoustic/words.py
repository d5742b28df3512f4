"""What is heard when any English words may stand in any order: the rival that a sentence of the grammar must not fall
behind.

The letters that fit best are no fair rival in noise, because they spell nothing; a row of words does. Where "good
relief" was said, "no relief" is the best that the grammar has, and "good relief" is the better row of words.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

from fieldaid.errors import BrokenData
from fieldaid.grammar.network import Network
from fieldaid.hearing.acoustic.ctc import log_likelihoods
from fieldaid.hearing.acoustic.letters import LetterTokenizer, PlainForms, heard, numbers
from fieldaid.hearing.acoustic.search import COSTS, search
from fieldaid.hearing.likelihood.network import TokenNetwork

FILE = Path(__file__).parent / "data" / "words.txt"
"""Common English words, one a line."""
WORD_COST = 1.0
BEAM, DROP = 48, 12.0
SCORED = 6


class AnyWords:
    """A loop of words.

    Parameters
    ----------
    words : of the grammar
    path : words beside them

    Raises
    ------
    BrokenData : the file is missing or broken
    """

    def __init__(self, words: Iterable[str], path: Path = FILE) -> None:
        try:
            common = path.read_text(encoding="ascii").split()
        except (OSError, UnicodeDecodeError) as exc:
            raise BrokenData("the common words of the acoustic recogniser cannot be read", where=str(path),
                             why=str(exc), next_step="install fieldaid again") from None
        loop = Network()
        loop.add_words("word", [(word, 0) for word in sorted({*words, *common}) if heard(word) == word])
        self._network = TokenNetwork(loop, "word", LetterTokenizer(), PlainForms())

    def best(self, log_probs: np.ndarray) -> tuple[str, float]:
        """The likeliest row of words, and its log-probability, nothing taken off for its length; ("", of silence) when
        there is none."""
        found = search(self._network, log_probs, BEAM, DROP, replace(COSTS, phrase=WORD_COST))[:SCORED]
        texts = ["", *(heard(one.text) for one in found)]
        scores = log_likelihoods(log_probs, [numbers(text) for text in texts])
        at = int(scores.argmax())
        return texts[at], float(scores[at])
