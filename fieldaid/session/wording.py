"""Small work on words that the dialogue, the drafts and the marks share."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.errors import FactError
from fieldaid.facts import fact, split_section

LINE_WORDS = 10


def called(name: str | None) -> str:
    """What a fact is called, with its section."""
    if name is None:
        return "that"
    try:
        base, section = split_section(name)
        return f"{fact(base).called} {section.replace('_', ' ')}".strip()
    except FactError:
        return name


def upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def bare(text: str) -> str:
    """A worded fact without the name in front of it: "framing: trusses" -> "trusses"."""
    return text.split(": ", 1)[-1]


def short(text: str, most: int = 60) -> str:
    return text if len(text) <= most else text[: most - 3].rstrip() + "..."


def joined(words: Iterable[str], most: int = LINE_WORDS) -> list[str]:
    """Fragments joined into lines of at most `most` words, as far as single fragments allow.

    >>> joined(["Gable", "ridge B D"])
    ['Gable, ridge B D']
    """
    lines: list[str] = []
    for fragment in words:
        if lines and len(lines[-1].split()) + len(fragment.split()) <= most:
            lines[-1] += f", {fragment[:1].lower() + fragment[1:] if fragment[1:2].islower() else fragment}"
        else:
            lines.append(upper(fragment))
    return lines


def labelled(label: str, words: Iterable[str], otherwise: str = "") -> list[str]:
    """Lines of at most ten words under a label; with nothing to say, `otherwise`, or no line at all.

    >>> labelled("Crew", ["3 on the roof", "masks on"])
    ['Crew: 3 on the roof, masks on.']
    """
    fragments = list(dict.fromkeys(words)) or ([otherwise] if otherwise else [])
    lines = joined([f"{label}: {fragments[0]}", *fragments[1:]]) if fragments else []
    return [f"{line}." if not line.endswith((".", "?")) else line for line in lines]
