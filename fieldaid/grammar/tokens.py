"""A line as a row of spoken words, each with its place in the line and the punctuation before it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from fieldaid.grammar.numbers import figures_to_words

_PIECE = re.compile(
    r"\d+(?:[./:x]\d+)?(?:%|\"|'(?!\w)|'?s\b|[a-z]+)?"    # 12, 6/12, 1.5, 40ft, 50%, 16", 1950s
    r"|'\d\d(?:s\b)?"                                    # '58
    r"|[a-z]+(?:'[a-z]+)?"                                # words
    r"|[,;:.!?\n]|[^\s\w]+|\w+")
_QUOTES = str.maketrans({"\u2019": "'", "\u2018": "'", "\u201c": '"', "\u201d": '"'})
KEPT = frozenset("it's that's there's what's here's he's she's let's who's where's today's one's".split())
STOPS = frozenset(".!?;\n")


@dataclass(frozen=True)
class Token:
    """A spoken word; `start` and `end` are its characters in the line; `comma`: a comma or dash stands before it."""

    word: str
    start: int
    end: int
    comma: bool = False


@dataclass(frozen=True)
class Sentence:
    tokens: tuple[Token, ...]
    question: bool = False

    @property
    def words(self) -> tuple[str, ...]:
        return tuple(token.word for token in self.tokens)


def sentences_of(line: str, written: Mapping[str, str]) -> list[Sentence]:
    """The sentences of a line. `written` maps a written short form to the words it is said with."""
    text = line.translate(_QUOTES).lower()
    found: list[Sentence] = []
    row: list[Token] = []
    comma = False
    for match in _PIECE.finditer(text):
        piece = match.group()
        if piece in STOPS:
            if row:
                found.append(Sentence(tuple(row), piece == "?"))
            row, comma = [], False
            continue
        if not (piece[0].isalnum() or piece[0] == "'" and len(piece) > 1):
            comma = comma or piece in (",", ":", "--", "\u2013", "\u2014")
            continue
        if piece == "a" and row and line[match.start()] == "A" and line != line.upper():
            piece = "alpha"
        for word in _spoken_form(piece, written).split():
            if word in ("been", "got") and row and row[-1].word == "is" and text[:row[-1].end].endswith("'s"):
                row[-1] = replace(row[-1], word="has")
            row.append(Token(word, match.start(), match.end(), comma and bool(row)))
            comma = False
    if row:
        found.append(Sentence(tuple(row)))
    return found


def _spoken_form(piece: str, written: Mapping[str, str]) -> str:
    if piece[0].isdigit() or piece[0] == "'":
        said = figures_to_words(piece)
        if said is None:
            return piece
        return " ".join(written.get(word, word) for word in said.split())
    if piece.endswith("'s") and piece not in KEPT:
        return f"{written.get(piece[:-2], piece[:-2])} is"
    return written.get(piece, piece)
