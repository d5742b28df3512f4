"""Taking back: an utterance, a fact, what belonged to a crew, a whole job. Each is an event, and nothing is deleted.

Spoken, it waits for "affirm": a misheard word must never remove a danger.
"""

from __future__ import annotations

from dataclasses import replace

from fieldaid.facts import Telling, fact
from fieldaid.session.dialogue_facts import not_taken, take_facts, telling_of
from fieldaid.session.dialogue_state import (
    Effects,
    Pending,
    Phrase,
    State,
    Utterance,
    applied,
    ask_waiting,
    less,
    loosens,
)
from fieldaid.session.wording import called, joined, labelled, short, upper

CREW_BOUND = ("crew.", "command.roof")
"""What a change of crew makes unknown: the crew's own facts, and the order that sent that crew up."""


def scratch(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """Takes the last utterance back. What still waits is dropped first: it never counted, but a danger does."""
    if state.pending:
        last = max(one.n or 0 for one in state.pending)
        dropped = tuple(one for one in state.pending if one.n == last)
        if last and (not state.done or last >= state.done[-1]):
            if said.spoken and state.removes_danger(dropped):
                what = short("; ".join(one.text for one in dropped))
                return _take_back(state, said, Pending(f"scratch {what}", drops=last), "")
            state = replace(state, pending=less(state.pending, dropped), asked=())
            state, more = ask_waiting(state)
            return state, Effects(replies=(("readback", "Scratched what waited."), *more), asked=bool(more))
    if not state.done:
        return state, Effects(replies=(("note", "Nothing to scratch."),))
    n = state.done[-1]
    what = _tales(state, n, phrase)
    return _take_back(state, said, Pending(f"scratch {what}", cancel=n), f"Scratched: {what}.")


def restore(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """Puts back what was scratched last."""
    if not state.undone:
        return state, Effects(replies=(("note", "Nothing was scratched."),))
    n = state.undone[-1]
    what = _tales(state, n, phrase)
    return _take_back(state, said, Pending(f"put back {what}", restore=n), f"Back: {what}.")


def forget(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """Withdraws a fact: it is unknown again."""
    name = said.parsed.command_fact
    known = state.picture.known(said.at)
    if name is None or name not in known:
        group = name and fact(name).group
        told = [phrase(other, one.value, "") for other, one in known.items()
                if group and fact(other).group == group and one.value is not None]
        named = [f"Told: {line}." for line in joined(told)[:2]]
        return state, Effects(replies=tuple(("note", text) for text in (f"{upper(called(name))}: not told.", *named)))
    telling = Telling(said.n, name, act="withdraw", at=said.at)
    return _take_back(state, said, Pending(f"forget {called(name)}", (telling,)),
                      f"{upper(called(name))} withdrawn.")


def crew_change(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """Another crew: what was good about the old one is unknown again, and waits no more; its dangers stay, and are
    named."""
    gone = (Telling(said.n, prefix, act="expire", at=said.at) for prefix in CREW_BOUND)
    state = replace(state, picture=state.picture.tell(*gone), done=(*state.done, said.n), changes=state.changes + 1,
                    leaving=False)
    waiting = tuple(one for one in state.pending if not one.names or state.removes_danger((one,))
                    or not all(name.startswith(CREW_BOUND) for name in one.names))
    state = replace(state, pending=waiting, asked=tuple(one for one in state.asked if one in waiting))
    left = state.picture.known(said.at)
    stands = [phrase(name, one.value, "") for name, one in left.items() if name.startswith("crew.") and one.counts]
    return state, Effects(replies=(("readback", "Crew change. Crew facts not told."),
                                   *(("note", line) for line in labelled("Stands from before", stands))))


def new_job(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """Nothing that was told counts any more, dangers neither, until the line is scratched. The voice speaks again.

    What else the line tells belongs to the new job. Where that waits for a confirmation, the line's facts wait with
    it, and a danger counts already.
    """
    parsed, state = said.parsed, replace(state, quiet=False, mayday=False)
    told, text, now = tuple(said.meant), "new job, nothing told", parsed.readings
    if not said.spoken:
        told = ()
    elif told:
        text = f"new job, then {'; '.join(phrase(one.name, one.value, one.basis) for one in told)}"
        now = (*(one for one in told if not loosens(one) and not fact(one.name).settled), *said.guesses)
    known = state.picture.known(said.at)
    new = Pending(text, (Telling(said.n, "", act="new job", at=said.at),
                         *(replace(telling_of(state, said, one, known), act="tell") for one in told)))
    state, effects = _take_back(state, said, new, "New job. Nothing told.")
    state = state if effects.asked else state.emptied()
    rest = replace(said, parsed=replace(parsed, command=None, readings=now))
    if now or parsed.asks:
        state, more = take_facts(state, rest, phrase)
        return state, effects.and_then(more)
    if parsed.refused:
        return state, replace(effects, replies=(*effects.replies, not_taken(parsed)))
    return state, effects


def _take_back(state: State, said: Utterance, what: Pending, text: str) -> tuple[State, Effects]:
    """Does it at once when typed; asks first when spoken."""
    if said.spoken:
        state = replace(state, pending=(what, *(one for one in state.pending if one != what)))
        state, ask = ask_waiting(state)
        return state, Effects(replies=tuple(ask), asked=True)
    picture = applied(state.picture, what)
    done, undone = state.done, state.undone
    if what.cancel is not None:
        done, undone = done[:-1], (*undone, what.cancel)
    elif what.restore is not None:
        done, undone = (*done, what.restore), undone[:-1]
    else:
        done = (*done, said.n)
    state = replace(state, picture=picture, done=done, undone=undone, changes=state.changes + 1)
    return state, Effects(replies=(("readback", text),))


def _tales(state: State, n: int, phrase: Phrase) -> str:
    """What utterance `n` told, in words."""
    told = [one for one in state.picture.tellings if one.n == n and one.act != "no play"]
    return short("; ".join(dict.fromkeys(_tale(one, phrase) for one in told)))


def _tale(one: Telling, phrase: Phrase) -> str:
    if one.act in ("tell", "correct"):
        return phrase(one.name, one.value, one.basis)
    named = {"expire": "crew change", "new job": "new job", "withdraw": f"forget {called(one.name)}"}
    return named.get(one.act) or f"{one.act} {called(one.name)}"
