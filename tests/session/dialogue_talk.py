"""A conversation with the reducer of the dialogue alone: no rules, no journal, no grammar."""

from __future__ import annotations

from fieldaid.grammar.model import Parsed, Reading
from fieldaid.session.dialogue import reduce
from fieldaid.session.dialogue_state import State, Utterance


def phrase(name, value, basis):
    return f"{name} {value}"


class Talk:
    """A conversation with numbered utterances."""

    def __init__(self, spoken=False):
        self.state, self.n, self.spoken = State(), 0, spoken

    def say(self, facts=None, *, at=0.0, **parsed):
        self.n += 1
        readings = tuple(Reading(name, *(value if isinstance(value, tuple) else (value,)))
                         for name, value in (facts or {}).items())
        said = Utterance(self.n, at, Parsed("", readings=readings, **parsed), self.spoken)
        self.state, effects = reduce(self.state, said, phrase)
        return effects

    @property
    def values(self):
        return {name: one.value for name, one in self.state.picture.known(0).items()}


def texts(effects, kind=None):
    return [text for of, text in effects.replies if kind in (None, of)]
