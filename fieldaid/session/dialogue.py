"""The dialogue: what one utterance does to the picture. A pure reducer: (state, utterance) -> (state, effects).

It knows nothing of rules, sound or time. Spoken facts that could loosen wait for "affirm" (`State.pending`); spoken
commands that would take something back wait too, because a misheard word must never remove a danger. Typed facts are
taken as typed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from fieldaid.facts import Telling
from fieldaid.grammar.model import Parsed
from fieldaid.session.dialogue_confirm import affirm, negative
from fieldaid.session.dialogue_facts import not_taken, take_facts
from fieldaid.session.dialogue_state import Effects, Phrase, RequestKind, State, Utterance, ask_waiting
from fieldaid.session.dialogue_undo import crew_change, forget, new_job, restore, scratch
from fieldaid.session.wording import called

TAKE_FACTS = ("correction", "exercise", "mayday", "no play", "clear")
"""The commands that take the facts of their line themselves."""


def reduce(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """The state after one utterance, and its effects. `phrase(name, value, basis)` words a fact for the read-back.

    What else a command's line tells counts too, after the command: "affirm, and soft on Charlie". An urgent command
    beside another one counts as well; a yes or no beside a command does not, and what waits for it is asked again.
    """
    first = Effects()
    for command in said.parsed.also:
        state, more = _reduced(state, replace(said, parsed=Parsed(said.parsed.line, command=command)), phrase)
        first = first.and_then(more)
    state, effects = _reduced(state, said, phrase)
    if said.parsed.command and said.parsed.answer and state.asked and not (effects.asked or state.mayday):
        state, ask = ask_waiting(state)
        effects = effects.and_then(Effects(replies=tuple(ask), asked=True))
    return state, first.and_then(effects) if said.parsed.also else effects


def _reduced(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """One command with what its line tells, an answer, or facts."""
    parsed = said.parsed
    if parsed.command in _COMMANDS:
        act = _COMMANDS[parsed.command]
    elif parsed.answer is not None:
        act = affirm if parsed.answer == "yes" else negative
    else:
        return take_facts(state, said, phrase)
    state, effects = act(state, said, phrase)
    if parsed.command in TAKE_FACTS:
        return state, effects
    if parsed.readings or parsed.asks:
        state, more = take_facts(state, said, phrase)
        return state, effects.and_then(more)
    if parsed.refused:
        return state, replace(effects, replies=(*effects.replies, not_taken(parsed)))
    return state, effects


def _cannot_tell(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """An answer too: it holds, and the fact is not asked for again until it is told."""
    name = said.parsed.command_fact or (state.question if state.question else None)
    if name is None:
        return state, Effects(replies=(("question", "Cannot tell what?"),), asked=True)
    picture = state.picture.tell(Telling(said.n, name, act="cannot tell", at=said.at))
    state = replace(state, picture=picture, done=(*state.done, said.n), changes=state.changes + 1,
                    question=None if state.question == name else state.question)
    return state, Effects({name: "cannot tell"}, (("readback", f"Cannot tell {called(name)}. It holds."),))


def _leaving(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """Ends the repeat of a leave-now, never the leave itself."""
    return replace(state, leaving=True), Effects(replies=(("readback", "Leaving heard. Say off the roof."),))


def _mayday(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    state, effects = _told_beside(replace(state, mayday=True), said, phrase)
    return state, replace(effects, understood=True, stop_voice=True,
                          replies=(*effects.replies, ("note", "Voice silent. You call the mayday.")),
                          requests=(("mayday", None),))


def _no_play(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """What is told from now on is real, and good news of the exercise counts no more; its dangers stay."""
    before = state.picture.known(said.at)
    waiting = tuple(one for one in state.pending if not any(told.exercise and told.loosens for told in one.tellings))
    state = replace(state, pending=waiting, asked=tuple(one for one in state.asked if one in waiting),
                    picture=state.picture.tell(Telling(said.n, "exercise", act="no play", at=said.at)))
    dropped = before != state.picture.known(said.at)
    state, effects = _told_beside(state, said, phrase)
    notes = ["No play. This is real."] + (["Exercise good news no longer counts."] if dropped else [])
    return state, replace(effects, understood=True, replies=(*effects.replies, *(("note", text) for text in notes)))


def _told_beside(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """What an urgent line tells besides; it asks nothing, but says what was not taken."""
    if said.parsed.readings:
        return take_facts(state, said, phrase)
    return state, Effects(replies=(not_taken(said.parsed),) if said.parsed.refused else ())


def _with_facts(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """A correction, or an exercise fact: facts that open with a command word."""
    if not said.parsed.readings and not said.parsed.asks:
        word = str(said.parsed.command).capitalize()
        return state, Effects(replies=(("question", f"{word}: which fact?"),), asked=True)
    return take_facts(state, said, phrase)


def _request(kind: RequestKind) -> Callable[[State, Utterance, Phrase], tuple[State, Effects]]:
    def answer(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
        return state, Effects(requests=((kind, said.parsed.about or said.parsed.command_fact),))
    return answer


def _set(replies: tuple[tuple[str, str], ...], stop_voice: bool = False, **changes: Any
         ) -> Callable[[State, Utterance, Phrase], tuple[State, Effects]]:
    def answer(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
        return replace(state, **changes), Effects(replies=replies, stop_voice=stop_voice)
    return answer


_COMMANDS: dict[str | None, Callable[[State, Utterance, Phrase], tuple[State, Effects]]] = {
    "affirm": affirm,
    "negative": negative,
    "scratch that": scratch,
    "restore": restore,
    "forget": forget,
    "crew change": crew_change,
    "cannot tell": _cannot_tell,
    "correction": _with_facts,
    "leaving": _leaving,
    "mayday": _mayday,
    "no play": _no_play,
    "exercise": _with_facts,
    "clear": new_job,
    "say again": _request("say again"),
    "why": _request("why"),
    "why not": _request("why not"),
    "status": _request("status"),
    "what do you need": _request("need"),
    "report": _request("report"),
    "roof report": _request("roof report"),
    "urgent call": _request("urgent call"),
    "handover": _request("handover"),
    "marks": _request("marks"),
    "help": _request("help"),
    "quiet": _set((("note", "Quiet. Dangers are still said."),), quiet=True),
    "resume speaking": _set((("note", "Speaking again."),), quiet=False, mayday=False),
    "stop talking": _set((), stop_voice=True),
}
