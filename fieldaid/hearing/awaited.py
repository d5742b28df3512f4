"""What a bare answer could be while the session waits for one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldaid.facts import FACTS
from fieldaid.grammar.outputs import base_of

if TYPE_CHECKING:
    from fieldaid.grammar import Grammar
    from fieldaid.grammar.model import Parsed

AFFIRM = "affirm"
"""Awaited when a read-back waits for "affirm" or "negative"; else the name of a fact is."""


def answers_to(grammar: Grammar, awaiting: str | None) -> str | None:
    """The sub-network that reads bare answers to what is awaited; None where there is none ("affirm" is a phrase)."""
    if awaiting is None or awaiting == AFFIRM:
        return None
    base = base_of(awaiting)
    group = FACTS[base].group if base in FACTS else base
    names = (f"answer {name}" for name in (awaiting, base, group))
    return next((name for name in names if name in grammar.network.start), None)


def is_answer(parsed: Parsed, awaiting: str | None) -> bool:
    """Whether a line answers what is awaited, and says nothing else. "Yes" and "no" are too short to count: the speech
    model writes "yeah" for noise."""
    if awaiting is None or parsed.asks or parsed.refused:
        return False
    if parsed.answer is not None or parsed.command in ("affirm", "negative"):
        return not parsed.readings and any(word in parsed.line for word in ("affirm", "negative"))
    if parsed.command is not None or awaiting == AFFIRM:
        return False
    bases = {base_of(one.name) for one in parsed.readings}
    wanted = base_of(awaiting)
    return bool(bases) and all(base == wanted or base.startswith(f"{wanted}.") for base in bases)
