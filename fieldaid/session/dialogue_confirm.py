"""Confirming: what was asked is affirmed or denied, and what was only read back is asked for."""

from __future__ import annotations

from dataclasses import replace

from fieldaid.facts import Telling
from fieldaid.session.dialogue_facts import counts_otherwise
from fieldaid.session.dialogue_state import (
    Effects,
    Pending,
    Phrase,
    State,
    Utterance,
    applied,
    ask_waiting,
    less,
    told_anew,
)
from fieldaid.session.wording import short


def affirm(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """Takes what was asked, each thing as it was read back; what stands against it is asked or named."""
    if not state.asked:  # what waits beside something that was dropped was not asked for
        state, ask = ask_waiting(state)
        return state, Effects(replies=tuple(ask) or (("note", "Nothing waits for affirm."),), asked=bool(ask))
    batch, picture, taken = state.asked, state.picture, {}
    told: list[Telling] = []
    for one in batch:
        one = replace(one, tellings=tuple(replace(t, n=said.n, at=said.at, confirmed=True) for t in one.tellings))
        picture = applied(picture, one)
        told += one.tellings
        taken.update({t.name: t.value for t in one.tellings if t.act in ("tell", "correct")})
    before, after = state.picture.known(said.at), picture.known(said.at)
    job = next((one.n for one in batch if one.starts_a_job), None)
    if job is not None:
        before = {}
        # What was told since "new job" was said belongs to the new one.
        picture = picture.tell(*(replace(one, n=said.n) for one in state.picture.tellings
                                 if one.n > job and one.n not in picture.cancelled and not one.loosens))
    otherwise = {one.name: text for one in told if (text := counts_otherwise(one, before, after, phrase))}
    contested = [name for name, (kind, _) in otherwise.items() if kind == "question"]
    rest = tuple(one for one in state.pending if one not in batch)
    for one in batch:
        if one.drops is not None:
            rest = less(rest, [each for each in rest if each.n == one.drops])
    cancelled = tuple(one.cancel for one in batch if one.cancel is not None)
    restored = tuple(one.restore for one in batch if one.restore is not None)
    done = tuple(n for n in state.done if n not in cancelled) + restored
    undone = tuple(n for n in state.undone if n not in restored) + cancelled
    if any(one.tellings for one in batch):
        done = (*done, said.n)
    state = replace(state, picture=picture, pending=rest, asked=(), done=done, undone=undone,
                    changes=state.changes + 1)
    if job is not None:
        state = replace(state.emptied(), pending=tuple(one for one in rest if one.n is not None and one.n > job))
    if contested:
        state = replace(state, question=contested[-1])
    state, more = ask_waiting(state)
    return state, Effects(taken, (("readback", "Affirmed."), *otherwise.values(), *more),
                          asked=bool(more or contested))


def negative(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """Drops what was asked; what had only been read back is taken out."""
    if not state.asked:
        return state, Effects(replies=(("note", "Nothing waits for an answer."),))
    dropped = "; ".join(one.text for one in state.asked)
    standing = [name for one in state.asked if one.standing for name in one.names]
    gone = [Telling(said.n, name, act="withdraw", at=said.at) for name in standing]
    if gone:
        state = replace(state, picture=state.picture.tell(*gone), done=(*state.done, said.n))
    state = replace(state, pending=less(state.pending, state.asked), asked=())
    state, more = ask_waiting(state)
    return state, Effects(replies=(("readback", f"Dropped: {short(dropped)}."), *more), asked=bool(more))


def ask_to_confirm(state: State, names: tuple[str, ...], at: float, phrase: Phrase
                   ) -> tuple[State, list[tuple[str, str]]]:
    """Asks for the confirmation of facts that were only read back, because the gate now hangs on them."""
    known = state.picture.known(at)
    waiting = tuple(
        Pending(phrase(name, known[name].value, known[name].basis),
                (Telling(known[name].n, name, known[name].value, "correct", known[name].basis, known[name].who, at,
                         exercise=known[name].exercise),),
                standing=True)
        for name in names if name in known and known[name].value is not None)
    return ask_waiting(replace(state, pending=told_anew(state.pending, list(waiting))))
