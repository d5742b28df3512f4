"""A kept session told again: its events run through the dialogue once more, to the state that they lead to.

Nothing is judged and nothing is said. Whoever reads a journal needs the picture alone; a session that goes on with one
knows from the kept answers what it has said.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from fieldaid.errors import JournalError
from fieldaid.grammar.model import Ask, Parsed, Reading
from fieldaid.session.dialogue import reduce
from fieldaid.session.dialogue_confirm import ask_to_confirm
from fieldaid.session.dialogue_state import Phrase, State, Utterance
from fieldaid.session.journal import Event


def retold(events: Iterable[Event], phrase: Phrase | None = None) -> State:
    """The dialogue at the end of one session's `events`, in their order; `phrase` words what it waits for.

    Raises
    ------
    JournalError : a line was written in another form
    FactError : it tells a fact or value that the vocabulary no longer has
    """
    state = State()
    for event in events:
        state = told_once_more(state, event, phrase or _name)
    return state


def told_once_more(state: State, event: Event, phrase: Phrase) -> State:
    """The dialogue after one journaled event: a line or a question for confirmation changes it, no other does.

    Raises
    ------
    JournalError, FactError : as in `retold`
    """
    if event.kind == "line" and not event.body.get("ignored"):
        said = Utterance(event.body["u"], event.at, _parsed_line(event.body["parsed"]), event.body["spoken"])
        return reduce(state, said, phrase)[0]
    if event.kind == "confirm":
        return ask_to_confirm(state, tuple(event.body["names"]), event.at, phrase)[0]
    return state


def _name(name: str, value: object, basis: str) -> str:
    """The wording of a fact where nobody hears it."""
    return name


def _parsed_line(data: dict[str, Any]) -> Parsed:
    """A parsed line as it was journaled.

    Raises
    ------
    JournalError : the journal holds something else
    """
    try:
        return Parsed(**{**data, "readings": tuple(Reading(**one) for one in data["readings"]),
                         "asks": tuple(Ask(**one) for one in data["asks"]), "refused": tuple(data["refused"]),
                         "also": tuple(data.get("also", ()))})
    except (TypeError, KeyError) as error:
        raise JournalError("a line of the journal cannot be read", why=str(error),
                           next_step="it was written by another version of fieldaid; begin a new journal") from error
