"""The tokenizer of the model: byte pair encoding with a sentencepiece vocabulary."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

BOS, EOS = 1, 2
SPACE = "▁"
_BYTES = 3
_FIRST_PIECE = 259
_NO_RANK = 1 << 30


class Tokenizer:
    """Text to tokens and back.

    Parameters
    ----------
    path : `tokenizer.bin`, a row of length-prefixed pieces; a length of 128 or more takes two bytes

    Raises
    ------
    ValueError, OSError : the file cannot be read as such
    """

    def __init__(self, path: Path) -> None:
        self.pieces = _read(path.read_bytes())
        self._rank = {
            piece: number
            for number, piece in reversed(list(enumerate(self.pieces)))
            if number >= _FIRST_PIECE
        }
        self.encode = lru_cache(maxsize=None)(self._encode)

    def _encode(self, text: str) -> tuple[int, ...]:
        """The tokens of `text`. A space begins a word and belongs to it: " roof" and "roof" differ.

        The pair of neighbours whose joined piece has the lowest number is joined first, as sentencepiece does.
        """
        parts = [char.encode() for char in text.replace(" ", SPACE)]
        while len(parts) > 1:
            rank, at = min(
                (self._rank.get(parts[i] + parts[i + 1], _NO_RANK), i) for i in range(len(parts) - 1)
            )
            if rank == _NO_RANK:
                break
            parts[at : at + 2] = [parts[at] + parts[at + 1]]
        found: list[int] = []
        for part in parts:
            number = self._rank.get(part)
            found += [number] if number is not None else [_BYTES + byte for byte in part]
        return tuple(found)

    def decode(self, tokens: list[int]) -> str:
        """The text of tokens; what is no UTF-8 is left out."""
        return (
            b"".join(self.pieces[token] for token in tokens if token >= _BYTES)
            .decode("utf8", "ignore")
            .replace(SPACE, " ")
            .strip()
        )


def _read(data: bytes) -> list[bytes]:
    pieces, at = [], 0
    while at < len(data):
        length = data[at]
        at += 1
        if length >= 128:
            if at >= len(data):
                raise ValueError("the tokenizer file breaks off")
            length = data[at] * 128 + length - 128
            at += 1
        if at + length > len(data):
            raise ValueError("the tokenizer file breaks off")
        pieces.append(data[at : at + length])
        at += length
    if len(pieces) <= _FIRST_PIECE:
        raise ValueError(f"the tokenizer file holds only {len(pieces)} pieces")
    return pieces
