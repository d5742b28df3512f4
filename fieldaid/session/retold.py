"""A kept session told again: its events run through the dialogue once more, to the state that they lead to.

Nothing is judged and nothing is said; whoever reads a journal needs the picture alone.
"""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.session.dialogue import State, Utterance, ask_to_confirm, reduce
from fieldaid.session.journal import Event
from fieldaid.session.session import _parsed as parsed_line


def retold(events: Iterable[Event]) -> State:
    """The dialogue at the end of one session's `events`, in their order.

    Raises
    ------
    JournalError : a line was written in another form
    FactError : it tells a fact or value that the vocabulary no longer has
    """
    state = State()
    for event in events:
        if event.kind == "line" and not event.body.get("ignored"):
            said = Utterance(event.body["u"], event.at, parsed_line(event.body["parsed"]), event.body["spoken"])
            state, _ = reduce(state, said, _name)
        elif event.kind == "confirm":
            state, _ = ask_to_confirm(state, tuple(event.body["names"]), event.at, _name)
    return state


def _name(name: str, value: object, basis: str) -> str:
    """The wording of a fact where nobody hears it."""
    return name
