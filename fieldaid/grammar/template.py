"""The syntax of a template, `(this|that) [optional] {slot}`, read into a small tree.

    word            a spoken word, lower case
    (a|b c)         one of
    [a|b]           one of, or nothing
    {list}          a value of the list, or a whole number: {0-24}, or {year}, {half} (numbers.py)
    {list name}     the same, called `name` in the meaning
    {list+ name}    one or more values of the list, joined by the part <join>
    <part>          the words of a part, which carry no meaning
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

_TOKEN = re.compile(r"\s*([()\[\]|]|\{[^{}]*\}|<[^<>]*>|[^\s()\[\]|{}<>]+|[{}<>])")
_WORD = re.compile(r"[a-z]+(?:'[a-z]+)?")
_SLOT = re.compile(r"(\w+|\d+-\d+)(\+?)(?: (\w+))?")


@dataclass(frozen=True)
class Word:
    text: str


@dataclass(frozen=True)
class Slot:
    """A value of `source`, called `name`; `many`: one or more."""

    source: str
    name: str
    many: bool = False


@dataclass(frozen=True)
class Row:
    items: tuple[Tree, ...]


@dataclass(frozen=True)
class Choice:
    """One of `items`; with `optional`, or nothing."""

    items: tuple[Tree, ...]
    optional: bool = False


Tree = Word | Slot | Row | Choice


class TemplateError(ValueError):
    """A template cannot be read; `column` counts from 0 inside the template."""

    def __init__(self, code: str, column: int, message: str, hint: str) -> None:
        super().__init__(message)
        self.code, self.column, self.message, self.hint = code, column, message, hint


def read_template(text: str, parts: Mapping[str, Tree]) -> Tree:
    """The tree of a template.

    Raises
    ------
    TemplateError : a bracket without its partner, an empty alternative, a word or slot that cannot be, no such part
    """
    tokens = [(match.group(1), match.start(1)) for match in _TOKEN.finditer(text)]
    tree, at = _choice(tokens, 0, parts, None)
    if at < len(tokens):
        raise _unbalanced(tokens[at])
    return tree


def _unbalanced(token: tuple[str, int]) -> TemplateError:
    return TemplateError("BRACKET", token[1], f"the bracket {token[0]} has no partner", "close or remove it")


def _choice(tokens: list, at: int, parts: Mapping[str, Tree], opener: tuple[str, int] | None) -> tuple[Tree, int]:
    """Alternatives up to the closing bracket of `opener`, or to the end."""
    start = opener[1] if opener else 0
    closer = {"(": ")", "[": "]"}[opener[0]] if opener else None
    rows: list[Tree] = []
    items: list[Tree] = []
    while True:
        word, column = tokens[at] if at < len(tokens) else (None, start)
        if word and items and column and word[0] not in "|)]" and tokens[at - 1][1] + len(tokens[at - 1][0]) == column:
            raise TemplateError("GLUED", column, f"a space is missing before {word!r}",
                                "write apartment|apartments for one letter more; a bracket holds whole words")
        if word in (None, "|", ")", "]"):
            if not items:
                raise TemplateError("EMPTY", column, "an alternative is empty",
                                    "write [a|b] for words that may be left out")
            rows.append(items[0] if len(items) == 1 else Row(tuple(items)))
            items = []
            if word == "|":
                at += 1
                continue
            if word != closer:
                raise _unbalanced(opener if word is None else (word, column))
            break
        if word in "([":
            inner, at = _choice(tokens, at + 1, parts, (word, column))
            items.append(inner)
        else:
            items.append(_single(word, column, parts))
        at += 1
    optional = bool(opener) and opener[0] == "["
    if len(rows) == 1 and not optional:
        return rows[0], at
    return Choice(tuple(rows), optional), at


def _single(word: str, column: int, parts: Mapping[str, Tree]) -> Tree:
    if word[0] == "{" and len(word) > 1:
        match = _SLOT.fullmatch(word[1:-1])
        if not match:
            raise TemplateError("SLOT", column, f"{word} is not a slot", "write {list}, {list name} or {list+ name}")
        source, many, name = match.groups()
        return Slot(source, name or source, bool(many))
    if word[0] == "<" and len(word) > 1:
        if word[1:-1] not in parts:
            raise TemplateError("PART", column, f"no part is called {word}", "parts are listed under `parts:`")
        return parts[word[1:-1]]
    if word in "{}<>":
        raise _unbalanced((word, column))
    if not _WORD.fullmatch(word):
        raise TemplateError("WORD", column, f"{word!r} is not a spoken word",
                            "write words as they are said, in small letters: six, not 6; mph as miles an hour")
    return Word(word)


def slots(tree: Tree) -> list[Slot]:
    """Every slot of a tree, in order."""
    if isinstance(tree, Slot):
        return [tree]
    if isinstance(tree, Word):
        return []
    return [slot for item in tree.items for slot in slots(item)]
