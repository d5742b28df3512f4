"""What was heard in doubt, put to the session: numbers on one recogniser's word, numbers that sound alike.

A number that could be two is not read at all: it becomes a question that names both. Said again as the answer, it is
read back and confirmed: asking a second time would only be answered by the same two sounds. A fact that rests on one
recogniser's word is read, and marked as heard once: `judging` counts it only where it makes things stricter, and has it
confirmed. What loosens waits for a confirmation anyway.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fieldaid.facts import fact
from fieldaid.grammar import Ask, Grammar, Parsed, Reading
from fieldaid.hearing.heard import EVERY, Either, Heard
from fieldaid.session.judging import HEARD_ONCE
from fieldaid.session.session import Answer, Session


class Doubting:
    """A grammar that reads one line with the doubts of whoever heard it. Everything else is the grammar's own."""

    def __init__(self, grammar: Grammar) -> None:
        self._grammar = grammar
        self.heard: Heard | None = None

    def __getattr__(self, name: str) -> Any:
        return getattr(self._grammar, name)

    def parse(self, line: str, *, expecting: str | None = None) -> Parsed:
        """As the grammar reads it; of the line that was heard last, what is in doubt is marked or asked."""
        parsed = self._grammar.parse(line, expecting=expecting)
        if self.heard is None or self.heard.text != line:
            return parsed
        return doubted(parsed, self.heard, expecting)


def take(session: Session, heard: Heard, **more: Any) -> Answer:
    """Hands a heard line to the session with its doubts and notices; `more` goes to `Session.line`."""
    if not isinstance(session.grammar, Doubting):
        session.grammar = Doubting(session.grammar)  # type: ignore[assignment]
    session.grammar.heard = heard
    for text in heard.notices:
        session.notice(text)
    try:
        return session.line(heard.text, spoken=True, **more)
    finally:
        session.grammar.heard = None


def doubted(parsed: Parsed, heard: Heard, awaited: str | None = None) -> Parsed:
    """A parsed line with the doubts about it; `awaited` is the fact that was just asked for."""
    if not heard.once and not heard.either:
        return parsed
    again = frozenset(one.fact for one in heard.either if one.fact == awaited)
    told = {reading.name for reading in parsed.readings}
    open_ = [one for one in heard.either if one.fact not in again and one.fact in told]
    asked = {one.fact for one in open_}
    readings = tuple(_marked(one, heard.once | again) for one in parsed.readings if one.name not in asked)
    return replace(parsed, readings=readings, asks=(*parsed.asks, *map(_which, open_)))


def _marked(one: Reading, once: frozenset[str]) -> Reading:
    doubtful = one.name in once or once >= EVERY
    if not doubtful or one.who != "officer" or fact(one.name).is_loosening(one.value):
        return one
    return replace(one, who=HEARD_ONCE)


def _which(one: Either) -> Ask:
    called = fact(one.fact).called
    first, second = one.values
    return Ask(one.fact, "which", f"{called[:1].upper()}{called[1:]}: {first} or {second}?")
