"""Facts of a line into the picture: at once, or after a confirmation where they were spoken and could loosen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Literal

from fieldaid.facts import FACTS, Known, Telling, check_value, fact, same_value
from fieldaid.grammar.model import Parsed, Reading
from fieldaid.session.dialogue_state import Effects, Pending, Phrase, State, Utterance, ask_waiting, loosens, told_anew
from fieldaid.session.wording import bare, joined, short, upper


def take_facts(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """Takes what was told: at once, or after a confirmation where it was spoken and could loosen."""
    taken: list[Telling] = []
    waiting: list[Pending] = []
    replies: list[tuple[str, str]] = []
    known = state.picture.known(said.at)
    for one in said.meant:
        telling = telling_of(state, said, one, known)
        if said.spoken and (loosens(one) or telling.act == "correct"):
            waiting.append(Pending(phrase(one.name, one.value, one.basis), (telling,)))
        else:
            taken.append(telling)
    state, read_back, refused = _take(state, said, taken, phrase)
    replies += read_back
    if waiting:
        state = replace(state, pending=told_anew(state.pending, waiting))
    for guess in said.guesses:
        replies.append(("question", f"{upper(phrase(guess.name, guess.value, ''))} is a guess. Seen or told?"))
        state = replace(state, question=guess.name)
    parsed = said.parsed
    for ask in parsed.asks:
        replies.append(("question", ask.text))
        state = replace(state, question=ask.fact if ask.fact in FACTS else state.question)
    if waiting:
        state, ask = ask_waiting(state)
        replies += ask
    understood = bool(parsed.readings or parsed.asks)
    if parsed.refused and understood:
        replies.append(not_taken(parsed))
    if not understood:
        unread = [one for one in parsed.refused if one not in parsed.line]    # what was never read at all
        replies.append(("question", f"Not taken: {unread[0]}. Shorter lines?" if unread else
                        "Not understood. Nothing taken. Say again?"))
    asked = bool(waiting or parsed.asks or said.guesses or refused)
    return state, Effects({one.name: _now(state, one, said) for one in taken if one.name not in refused},
                          tuple(replies), understood=understood, asked=asked)


def telling_of(state: State, said: Utterance, one: Reading, known: dict[str, Any]) -> Telling:
    """A reading as a telling. Answering the question about a contradiction settles it."""
    act: Literal["tell", "correct"] = "tell"
    before = known.get(one.name)
    if said.parsed.command == "correction":
        act = "correct"
    elif before is not None and before.contested and state.question == one.name:
        act = "correct"
    return Telling(said.n, one.name, one.value, act, one.basis, one.who, said.at, exercise=said.exercise,
                   confirmed=not (said.spoken and fact(one.name).placing))


def _take(state: State, said: Utterance, taken: list[Telling], phrase: Phrase
          ) -> tuple[State, list[tuple[str, str]], frozenset[str]]:
    """Adds tellings to the picture; the read-back, the contradictions, and the facts whose old value stands."""
    if not taken:
        return state, [], frozenset()
    before = state.picture.known(said.at)
    picture = state.picture.tell(*taken)
    after = picture.known(said.at)
    replies: list[tuple[str, str]] = []
    stands: set[str] = set()
    question = state.question if state.question not in {one.name for one in taken} else None
    words = []
    for one in taken:
        otherwise = counts_otherwise(one, before, after, phrase)
        if otherwise is None:
            if not _placed_too(one, taken):
                words.append(phrase(one.name, one.value, one.basis))
            continue
        replies.append(otherwise)
        if otherwise[0] == "question":
            question = one.name
        else:
            stands.add(one.name)
    lines = [("readback", f"{line}.") for line in joined(words)]
    prefix = "Exercise. " if said.exercise else ""
    if prefix and lines:
        lines[0] = (lines[0][0], prefix + lines[0][1])
    state = replace(state, picture=picture, done=state.done_with(said.n), question=question, changes=state.changes + 1)
    return state, lines + replies, frozenset(stands)


def counts_otherwise(one: Telling, before: Mapping[str, Known], after: Mapping[str, Known], phrase: Phrase
                     ) -> tuple[str, str] | None:
    """What is said where a telling does not count as it was told: it contradicts another, or a worse one stands."""
    now = after.get(one.name)
    if one.act != "tell" or now is None:
        return None
    if now.contested and now != before.get(one.name):
        first, *others = (phrase(one.name, value, "") for value in now.contested)
        counts = f" {upper(bare(phrase(one.name, now.value, '')))} counts." if now.value is not None else ""
        return "question", f"{upper(' or '.join([first, *map(bare, others)]))}?{counts}"
    if _says(one, now.value):
        return None
    stands = upper(phrase(one.name, now.value, ""))
    if fact(one.name).is_loosening(check_value(one.name, one.value)):
        return "note", f"{stands} stands. Say correction to change it."
    return "note", f"{upper(phrase(one.name, one.value, ''))} too. {stands} counts."


def not_taken(parsed: Parsed) -> tuple[str, str]:
    """The line that names what was understood by nothing, fit for a screen."""
    words = "".join(one if one.isprintable() else " " for one in "; ".join(parsed.refused))
    return "note", f"Not taken: {short(' '.join(words.split()))}."


def _says(one: Telling, value: Any) -> bool:
    spec = fact(one.name)
    return spec.kind == "ladders" or value is not None and same_value(spec, check_value(one.name, one.value), value)


def _now(state: State, one: Telling, said: Utterance) -> Any:
    known = state.picture.known(said.at).get(one.name)
    return one.value if known is None or known.value is None else known.value


def _placed_too(one: Telling, taken: list[Telling]) -> bool:
    """Whether the same line tells this again with its place: "Soft! Soft on Charlie!" is read back once."""
    head, unsaid, tail = one.name.partition(".unsaid")
    return bool(unsaid) and any(other is not one and other.value == one.value and other.name.startswith(f"{head}.")
                                and other.name.partition("@")[2] == tail[1:] for other in taken)
