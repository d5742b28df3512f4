"""How words sound: phones from the recogniser's dictionary and the grammar's additions, and how far apart they are.

Phones are ARPAbet, as in the CMU Pronouncing Dictionary. Classes of phones are the manners of articulation of any
phonetics handbook (from memory): stops, fricatives, affricates, nasals, liquids, glides, vowels.
"""

from __future__ import annotations

import functools
import operator
import re
from collections import Counter
from collections.abc import Iterable, Sequence

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
    columns = [(phone, CLASS_OF.get(phone, -2)) for phone in other]
    row = [float(n) for n in range(len(other) + 1)]
    for i, phone in enumerate(one, 1):
        its_class = CLASS_OF.get(phone, -1)
        left = float(i)
        following = [left]
        for (heard, heard_class), before, above in zip(columns, row, row[1:], strict=False):
            cost = 0.0 if phone == heard else _ONE_CLASS if its_class == heard_class else 1.0
            left = min(above + 1, left + 1, before + cost)
            following.append(left)
        row = following
        if min(row) / longest > most:
            return 1.0
    return row[-1] / longest


def close_pairs(texts: Sequence[Sequence[str]], most: float) -> list[tuple[int, int]]:
    """The pairs of texts that may differ in less than a share of `most`, found quickly: all others differ in more."""
    counts = [Counter(text) for text in texts]
    in_classes = [_in_classes(text) for text in texts]
    by_length = sorted(range(len(texts)), key=lambda n: len(texts[n]))
    found = []
    for at, one in enumerate(by_length):
        for other in by_length[at + 1:]:
            longest, longer = max(len(texts[other]), 1), len(texts[other]) - len(texts[one])
            if longer / longest >= most:
                break
            # What the longer text has more of, class by class: half of all that differs and of what it is longer by.
            apart = sum(map(abs, map(operator.sub, in_classes[one], in_classes[other])))
            if (apart + longer) / 2 / longest < most and _least(counts[one], counts[other]) / longest < most:
                found.append((min(one, other), max(one, other)))
    return sorted(found)


def _in_classes(text: Iterable[str]) -> list[int]:
    found = [0] * (len(_CLASSES) + 1)
    for phone in text:
        found[CLASS_OF.get(phone, -1)] += 1
    return found


def _least(one: Counter[str], other: Counter[str]) -> float:
    """What two texts differ in at least, whatever the order of their phones: what one has more of than the other is
    changed into a phone of its class that the other has more of, or else into another one, put in, or taken out."""
    more, fewer = _in_classes((one - other).elements()), _in_classes((other - one).elements())
    within = [min(a, b) for a, b in zip(more, fewer, strict=True)]
    return max(sum(more), sum(fewer)) - sum(within) + _ONE_CLASS * sum(within)
