"""How the speech model may write down a spoken word, number or row of words.

The same meaning is heard through any of its written forms, and their probabilities add up. Every form begins with the
space before it, unless it is written onto the word before.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from fieldaid.grammar.numbers import DECADES, ONES, TENS, below_hundred, number_forms, year_forms

CAPITALS = frozenset("alpha alfa bravo charlie delta north south east west northeast northwest southeast southwest "
                     "i i've i'm".split())
"""Words that the model may write with a capital anywhere."""
CALL_SIGN = ("field", "aid")
CALL_SIGN_FORMS = (" Field aid", " Field-aid", " Field Aid", " field aid", " Fieldaid", " Field aide", " Field A",
                   " Field date", " Fielded", " Feel-aid", " Feel aid", " Feel the aid", " Feel dead", " Feel day",
                   " Feel A", " Feel date", " Feel they'd", " Healed it", " Feel-dade", " Feel Dade", " Field today",
                   " See the aid", " See the date", " See the day", " She'll date", " She'll aid")
"""How the model was seen to write the call sign. It carries no fact, so a generous list costs nothing."""
FILLER_FORMS = {
    ("be", "advised"): (" be advise", " the advised", " Be advised", " Be advise", " The advised"),
}
"""The same for filler."""
CONTRACTED = {"we're": "were", "they're": "there", "it's": "its", "there's": "theres"}
"""Words that sound the same and are written without their apostrophe."""
LOOSE = frozenset(
    "turn throw start stop close open get put call bring give take move check watch keep let tell ask send "
    "make go come charge knock clear vent hit use look wait pull push cut strike sound set raise lower lift "
    "drop shut find show leave need want think know see say he she it they you i we me him them this that "
    "these those who what where how which why there here my your his her their our somebody someone everybody "
    "anyone please can could did do does will would should if when before after because maybe not never "
    "always remember".split())
"""Words that other speech often begins with, and orders ("turn the fan off") that sound like facts ("turned the fan
off"). They may be heard before a phrase; the parser takes nothing from what follows them."""
LONGEST_ROW = 5


class WrittenForms:
    """Written forms of single words and of rows of words.

    Parameters
    ----------
    short : the grammar's table of written short forms, {written: spoken words}
    digits : whether numbers may be written in figures
    """

    def __init__(self, short: Mapping[str, str], digits: bool = True) -> None:
        self._singles: dict[str, list[str]] = {}
        self._rows: dict[str, list[tuple[tuple[str, ...], tuple[str, ...]]]] = {}
        for written, spoken in short.items():
            words = tuple(spoken.split())
            if len(words) == 1 and words[0] != written and len(written) > 1:
                self._singles.setdefault(words[0], []).append(f" {written}")
            elif 1 < len(words) <= LONGEST_ROW:
                forms = [f" {written}"]
                if all(len(word) == 1 for word in words):
                    forms = [f" {written.upper()}", *forms]
                self._row(words, forms)
        self._row(CALL_SIGN, CALL_SIGN_FORMS)
        for words, forms in FILLER_FORMS.items():
            self._row(words, forms)
        for word, written in CONTRACTED.items():
            self._singles.setdefault(word, []).append(f" {written}")
        if digits:
            for words, figures in _figures():
                if len(words) == 1:
                    self._singles.setdefault(words[0], []).append(f" {figures}")
                else:
                    self._row(words, [f" {figures}"])
            self._singles.setdefault("percent", []).append("%")

    def _row(self, words: tuple[str, ...], forms: Iterable[str]) -> None:
        self._rows.setdefault(words[0], []).append((words, tuple(forms)))

    def word(self, word: str, opening: bool) -> list[str]:
        """The forms of one word; `opening`: it opens a phrase, where a capital may stand."""
        forms = [f" {word}"]
        if opening or word in CAPITALS:
            forms.append(f" {word[0].upper()}{word[1:]}")
        if word in CAPITALS:
            forms.append(f"-{word}")
            forms.append(f"-{word[0].upper()}{word[1:]}")
        if word.endswith("'s"):
            forms += [form.replace("'s", "s") for form in forms]
        if len(word) == 1 and word not in ("a", "i"):
            forms.append(f" {word.upper()}")
        elif word == "a":
            forms.append(" A")
        forms += self._singles.get(word, ())
        return list(dict.fromkeys(forms))

    def rows(self, first: str) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
        """The rows of two and more words that begin with `first` and have forms of their own."""
        return self._rows.get(first, [])


def _figures() -> Iterable[tuple[tuple[str, ...], str]]:
    """(spoken words, figures) of numbers, years and decades, in the usual way of saying them."""
    for n in range(1000):
        yield tuple(number_forms(n)[0].split()), str(n)
    for year in range(1800, 2030):
        yield tuple(year_forms(year)[0].split()), str(year)
    for tens, decade in DECADES.items():
        yield (decade,), f"{tens}s"
        for century in (18, 19):
            yield (*below_hundred(century).split(), decade), f"{century}{tens}s"


NUMBER_WORDS = frozenset([*ONES, *TENS.values(), "oh", "hundred", "thousand", *DECADES.values()])
