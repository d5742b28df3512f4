"""How words are said: the recogniser's dictionary, a file of additions, and words made of known ones.

The file has one word a line: the word, a tab, its phones in ARPAbet; `#` starts a comment line.
"""

from __future__ import annotations

import importlib.util
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from fieldaid.errors import BrokenData, Finding

PHONES = frozenset(
    "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH".split()
)
_HISSING = frozenset("S Z SH ZH CH JH".split())
_VOICELESS = frozenset("P T K F TH".split())

Lookup = Callable[[str], str | None]
"""A word to its phones, or None when the dictionary lacks it."""


@dataclass(frozen=True)
class Vocabulary:
    """What is to be added to the recogniser's dictionary, and what cannot be heard.

    Attributes
    ----------
    added : (word, phones), a second way of saying a word as "word(2)"
    missing : words of which nobody knows how they are said
    """

    added: tuple[tuple[str, str], ...]
    missing: tuple[str, ...]


def load(path: Path) -> dict[str, list[str]]:
    """The pronunciations of a file, by word.

    Raises
    ------
    BrokenData : the file cannot be read, or a line has no tab, no word or a phone that is none; all are listed
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as exc:
        raise BrokenData(
            "the pronunciations cannot be read",
            where=str(path),
            why=str(exc),
            next_step="put the file back, or name another",
        ) from None
    found: dict[str, list[str]] = {}
    findings = []
    for number, line in enumerate(lines, start=1):
        if not line.strip() or line.startswith("#"):
            continue
        word, tab, said = line.partition("\t")
        phones = said.split()
        wrong = [phone for phone in phones if phone not in PHONES]
        if not tab or not phones or not re.fullmatch(r"[a-z][a-z'_-]*", word):
            findings.append(
                Finding(
                    str(path),
                    number,
                    1,
                    "SAID-001",
                    "a line is a word in small letters, a tab and phones",
                    "bowstring<tab>B OW S T R IH NG",
                )
            )
        elif wrong:
            findings.append(
                Finding(
                    str(path),
                    number,
                    len(word) + 2,
                    "SAID-002",
                    f"{' '.join(wrong)} is not a phone",
                    f"phones are {' '.join(sorted(PHONES))}",
                )
            )
        else:
            found.setdefault(word, []).append(" ".join(phones))
    if findings:
        raise BrokenData("the pronunciations cannot be used", findings)
    return found


def work_out(words: Iterable[str], lookup: Lookup, given: dict[str, list[str]]) -> Vocabulary:
    """What must be added so that all `words` can be heard; `given` is from `load`.

    A word with 's, or of parts joined by - or _, is put together from its parts.
    """
    added: list[tuple[str, str]] = []
    missing = []
    for word in sorted(set(words)):
        ways = given.get(word, [])
        if lookup(word) is None:
            ways = ways or [said for said in [_composed(word, lookup, given)] if said]
            if not ways:
                missing.append(word)
            else:
                added.append((word, ways[0]))
                ways = ways[1:]
        spare = (number for number in range(2, 20) if lookup(f"{word}({number})") is None)
        added += [(f"{word}({number})", said) for number, said in zip(spare, ways, strict=False)]
    return Vocabulary(tuple(added), tuple(missing))


def shipped(words: Iterable[str]) -> dict[str, list[str]]:
    """How pocketsphinx's own dictionary says these words, as far as it has them.

    Raises
    ------
    ImportError : the package is not installed
    """
    spec = importlib.util.find_spec("pocketsphinx")
    if spec is None or not spec.origin:
        raise ImportError("No module named 'pocketsphinx'")
    wanted = set(words)
    found: dict[str, list[str]] = {}
    path = Path(spec.origin).parent / "model" / "en-us" / "cmudict-en-us.dict"
    with path.open(encoding="utf-8") as file:
        for line in file:
            word, _, said = line.partition(" ")
            base = word.partition("(")[0]
            if base in wanted:
                found.setdefault(base, []).append(said.strip())
    return found


def dictionary(words: Iterable[str], given: dict[str, list[str]]) -> tuple[list[str], tuple[str, ...]]:
    """The lines of a dictionary of these words alone, and the words of which nobody knows how they are said; `given` is
    from `load`. Parts of words that are put together are looked up too."""
    words = sorted(set(words))
    parts = {part for word in words for part in [word.removesuffix("'s"), *re.split(r"[-_]", word.removesuffix("'s"))]}
    known = shipped({*words, *parts})
    made = work_out(words, lambda word: next(iter(known.get(word, [])), None), given)
    ways = {word: list(known.get(word, [])) for word in words}
    for name, said in made.added:
        ways[name.partition("(")[0]].append(said)
    lines = []
    for word, all_ways in ways.items():
        for number, said in enumerate(dict.fromkeys(all_ways), start=1):
            lines.append(f"{word if number == 1 else f'{word}({number})'} {said}")
    return lines, made.missing


def _composed(word: str, lookup: Lookup, given: dict[str, list[str]]) -> str | None:
    def said(part: str) -> str | None:
        return lookup(part) or next(iter(given.get(part, [])), None)

    if word.endswith("'s"):
        base = _composed(word[:-2], lookup, given) or said(word[:-2])
        return f"{base} {_possessive(base.split()[-1])}" if base else None
    parts = re.split(r"[-_]", word)
    if len(parts) > 1 and all(parts):
        sounds = [said(part) for part in parts]
        return " ".join(sounds) if all(sounds) else None
    return None


def _possessive(last: str) -> str:
    """The sound of 's after the phone `last` (regular English: after a hiss a vowel, after a voiceless phone S)."""
    if last in _HISSING:
        return "IH Z"
    return "S" if last in _VOICELESS else "Z"
