"""How words sound: phones from the recogniser's dictionary and the grammar's additions, and how far apart they are.

Phones are ARPAbet, as in the CMU Pronouncing Dictionary. Classes of phones are the manners of articulation of any
phonetics handbook (from memory): stops, fricatives, affricates, nasals, liquids, glides, vowels.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Sequence

from fieldaid.errors import FieldaidError

_CLASSES = ("P B T D K G", "F V TH DH S Z SH ZH HH", "CH JH", "M N NG", "L R", "W Y",
            "AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW")
CLASS_OF = {phone: number for number, phones in enumerate(_CLASSES) for phone in phones.split()}
_ONE_CLASS = 0.5


@functools.cache
def _dictionary() -> dict[str, str]:
    """Every word of the recogniser's dictionary with its phones; empty when there is no dictionary."""
    found: dict[str, str] = {}
    try:
        import pocketsphinx

        path = pocketsphinx.get_model_path("en-us/cmudict-en-us.dict")
        with open(path, encoding="utf-8") as lines:
            for line in lines:
                word, _, said = line.partition(" ")
                found[word] = said
    except (ImportError, OSError):
        return {}
    return found


@functools.cache
def _additions() -> dict[str, list[str]]:
    from fieldaid import data
    from fieldaid.hearing.pronunciations import load

    try:
        return load(data.folder("grammars") / "pronunciations.tsv")
    except FieldaidError:
        return {}


def can_measure() -> bool:
    """Whether a dictionary is there at all; without one nothing is said of how words sound."""
    return bool(_dictionary())


@functools.lru_cache(maxsize=4096)
def sounds_of(word: str) -> tuple[str, ...]:
    """The phones of a word; nothing when no dictionary has it."""
    word = word.lower()
    said = _dictionary().get(word) or next(iter(_additions().get(word, [])), None)
    if said is None and word.endswith("'s"):
        return (*sounds_of(word[:-2]), "Z") if sounds_of(word[:-2]) else ()
    return tuple(said.split()) if said else ()


def phones(text: str) -> list[str]:
    """The phones of a text, those of a word that no dictionary has by its letters."""
    found: list[str] = []
    for word in re.findall(r"[a-z']+", text.lower()):
        found += sounds_of(word) or list(word.upper())
    return found


def difference(one: Sequence[str], other: Sequence[str], most: float = 1.0) -> float:
    """The share of sounds that differ, from 0 to 1; above `most` it may be given as 1.

    >>> difference(["B", "AE", "T"], ["P", "AE", "T"])
    0.16666666666666666
    """
    longest = max(len(one), len(other), 1)
    row = [float(n) for n in range(len(other) + 1)]
    for i, a in enumerate(one, 1):
        following = [float(i)]
        for j, b in enumerate(other, 1):
            following.append(min(row[j] + 1, following[-1] + 1, row[j - 1] + _cost(a, b)))
        row = following
        if min(row) / longest > most:
            return 1.0
    return row[-1] / longest


def close_pairs(texts: Sequence[Sequence[str]], most: float) -> list[tuple[int, int]]:
    """The pairs of texts that may differ in less than a share of `most`, found quickly: all others differ in more.

    A phone of a class that the other text has fewer of must be put in, taken out or changed into another class.
    """
    import numpy as np

    counts = np.zeros((len(texts), len(_CLASSES) + 1), dtype=np.int32)
    for n, text in enumerate(texts):
        for phone in text:
            counts[n, CLASS_OF.get(phone, -1)] += 1
    lengths = np.maximum(counts.sum(axis=1), 1)
    differ = counts[:, None, :] - counts[None, :, :]
    least = np.maximum(np.maximum(differ, 0).sum(axis=2), np.maximum(-differ, 0).sum(axis=2))
    close = np.triu(least / np.maximum(lengths[:, None], lengths[None, :]) < most, k=1)
    return [(int(one), int(other)) for one, other in zip(*np.nonzero(close), strict=True)]


def _cost(one: str, other: str) -> float:
    if one == other:
        return 0.0
    return _ONE_CLASS if CLASS_OF.get(one, -1) == CLASS_OF.get(other, -2) else 1.0
