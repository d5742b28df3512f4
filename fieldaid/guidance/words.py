"""Fills {where} and {value} into what a rule says, and counts words."""

from __future__ import annotations

import re
from collections.abc import Iterable

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
KNOWN = ("where", "value")
# A place that was not said leaves no hole: "soft deck, {where}" becomes "soft deck".
CLEARING = frozenset("safe safely unsafe okay ok allowed permitted harmless".split())
_CLEARING = re.compile(r"\b(?:all clear|clear (?:to|for)|(?:you|we|crews?) (?:can|may)|(?:can|may) (?:walk|go|climb|"
                       r"cut|stand|enter|stay)|free to|good to go|go ahead|no (?:danger|risk|hazard)s?|is fine)\b",
                       re.IGNORECASE)
ORDERS = frozenset("cut go climb open step start enter return walk tell report ask check stand keep sound have take "
                   "use move make put pull push".split())
# What sends somebody somewhere is an order in any part of a line; "tell command" and "to report: open" are not.
_MOVES = frozenset("cut go climb step enter return walk stand".split())
_UNSAID = re.compile(r",?\s*(?:\b(?:on|at|in|near|from|over|by|above|side)\s+)*\{where\}")


def spoken_place(where: str) -> str:
    """`gable.C` -> "gable, C"; `roof_vent` -> "roof vent"; a place not said -> ""."""
    return "" if where in ("unsaid", "any") else where.removeprefix("any.").replace(".", ", ").replace("_", " ")


def spoken_value(value: str | float | int | None) -> str:
    """35.0 -> "35"; a text as it is."""
    if isinstance(value, float):
        return f"{value:g}"
    return "" if value is None else str(value)


def fill(text: str, where: str, value: str | float | int | None) -> str:
    """`text` with its placeholders filled.

    >>> fill("{value} deck, {where}", "C", "soft")
    'soft deck, C'
    >>> fill("{value} deck, {where}", "unsaid", "soft")
    'soft deck'
    """
    if "{" not in text:
        return text
    place = spoken_place(where)
    text = text.replace("{where}", place) if place else _UNSAID.sub("", text)
    return text.replace("{value}", spoken_value(value)).strip()


def sentence(text: str) -> str:
    """`text` with a capital and a full stop: "soft deck, C" -> "Soft deck, C."."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".") if text else text


def count(text: str) -> int:
    """Words of a text; figures and letters count as words, signs alone do not."""
    return sum(1 for word in text.split() if any(char.isalnum() for char in word))


def clearing(text: str) -> str:
    """The word or words of a line that call something safe or allow it; "" when it has none.

    >>> clearing("Barn is safe to walk on."), clearing("Low pitch clears nothing.")
    ('safe', '')
    """
    found = _CLEARING.search(text)
    return found[0] if found else next((word for word in _words(text) if word in CLEARING), "")


def order(text: str) -> str:
    """The word of a line that orders somebody; "" when it has none.

    >>> order("Climb the ladder now."), order("Barn: go up."), order("Row: tell command.")
    ('climb', 'go', '')
    """
    if "must" in _words(text):
        return "must"
    first, *later = [(_words(part) or [""])[0] for part in re.split(r"[:;.!?]\s", text)] or [""]
    return first if first in ORDERS else next((word for word in later if word in _MOVES), "")


def _words(text: str) -> list[str]:
    return re.findall(r"[a-z]+", text.lower())


def placeholders(text: str) -> set[str]:
    return set(PLACEHOLDER.findall(text))


def longest(text: str, places: Iterable[str], values: Iterable[str | float | int]) -> str:
    """`text` filled with the place and the value of the most words."""
    place = max((one for one in places), key=lambda one: count(spoken_place(one)), default="")
    value = max((one for one in values), key=lambda one: count(spoken_value(one)), default="")
    return fill(text, place, value)
