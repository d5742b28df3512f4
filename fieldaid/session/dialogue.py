"""The dialogue: what one utterance does to the picture. A pure reducer: (state, utterance) -> (state, effects).

It knows nothing of rules, sound or time. Spoken facts that could loosen wait for "affirm" (`State.pending`); spoken
commands that would take something back wait too, because a misheard word must never remove a danger. Typed facts are
taken as typed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from fieldaid.facts import FACTS, Known, Picture, Telling, check_value, fact, same_value
from fieldaid.grammar.model import Parsed, Reading
from fieldaid.session.wording import bare, called, joined, labelled, short, upper

CONFIRM_AT_ONCE = 3
TAKE_FACTS = ("correction", "exercise", "mayday", "no play", "clear")
"""The commands that take the facts of their line themselves."""
CREW_BOUND = ("crew.", "command.roof")
"""What a change of crew makes unknown: the crew's own facts, and the order that sent that crew up."""

RequestKind = Literal["say again", "why", "why not", "status", "need", "report", "roof report", "urgent call",
                      "handover", "marks", "mayday", "help"]
Phrase = Callable[[str, Any, str], str]


@dataclass(frozen=True)
class Utterance:
    """One line, typed or heard, numbered `n` and parsed, at `at` seconds."""

    n: int
    at: float
    parsed: Parsed
    spoken: bool = False

    @property
    def exercise(self) -> bool:
        return self.parsed.command == "exercise"

    @property
    def guesses(self) -> tuple[Reading, ...]:
        """Readings below acceptance: a guess at something that could loosen is never used."""
        return tuple(one for one in self.parsed.readings if one.basis == "guess" and _loosens(one))

    @property
    def meant(self) -> tuple[Reading, ...]:
        """Readings accepted. A guess at a danger is one of them: a person's word of danger counts."""
        return tuple(one for one in self.parsed.readings if one not in self.guesses)


@dataclass(frozen=True)
class Pending:
    """Something that waits for a confirmation: facts to take, or an utterance to cancel or restore. `standing` facts
    are in the picture already, read back but never confirmed; a "negative" takes them out."""

    text: str
    tellings: tuple[Telling, ...] = ()
    cancel: int | None = None
    restore: int | None = None
    standing: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(one.name for one in self.tellings if one.name)

    @property
    def starts_a_job(self) -> bool:
        return any(one.act == "new job" for one in self.tellings)

    @property
    def takes_back(self) -> bool:
        """Whether it takes something back or puts it back: that is asked by itself, so that a yes to a fact that
        waits beside it removes nothing."""
        return (self.cancel is not None or self.restore is not None
                or any(one.act in ("withdraw", "new job") for one in self.tellings))


@dataclass(frozen=True)
class State:
    """Where the dialogue stands."""

    picture: Picture = field(default_factory=Picture)
    pending: tuple[Pending, ...] = ()
    asked: tuple[Pending, ...] = ()
    question: str | None = None
    done: tuple[int, ...] = ()
    undone: tuple[int, ...] = ()
    leaving: bool = False
    quiet: bool = False
    mayday: bool = False
    changes: int = 0

    @property
    def expecting(self) -> str | None:
        """What a bare answer would answer: "affirm", or the name of a fact."""
        return "affirm" if self.asked else self.question

    def with_pending(self) -> Picture:
        """The picture as it would be if all that waits were confirmed."""
        picture = self.picture
        for one in self.pending:
            picture = _apply(picture, one)
        return picture


@dataclass(frozen=True)
class Effects:
    """What came of an utterance: facts taken, lines to say, and requests that need guidance to answer."""

    taken: dict[str, Any] = field(default_factory=dict)
    replies: tuple[tuple[str, str], ...] = ()
    requests: tuple[tuple[RequestKind, str | None], ...] = ()
    understood: bool = True
    asked: bool = False
    stop_voice: bool = False


def reduce(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """The state after one utterance, and its effects. `phrase(name, value, basis)` words a fact for the read-back.

    What else a command's line tells counts too, after the command: "affirm, and soft on Charlie".
    """
    parsed = said.parsed
    if parsed.command in _COMMANDS:
        act = _COMMANDS[parsed.command]
    elif parsed.answer is not None:
        act = _affirm if parsed.answer == "yes" else _negative
    else:
        return _facts(state, said, phrase)
    state, effects = act(state, said, phrase)
    if parsed.command in TAKE_FACTS:
        return state, effects
    if parsed.readings or parsed.asks:
        state, more = _facts(state, said, phrase)
        return state, _together(effects, more)
    if parsed.refused:
        return state, replace(effects, replies=(*effects.replies, _not_taken(parsed)))
    return state, effects


def _together(first: Effects, then: Effects) -> Effects:
    return Effects(first.taken | then.taken, first.replies + then.replies, first.requests + then.requests,
                   asked=first.asked or then.asked, stop_voice=first.stop_voice or then.stop_voice)


def _not_taken(parsed: Parsed) -> tuple[str, str]:
    words = "".join(one if one.isprintable() else " " for one in "; ".join(parsed.refused))
    return "note", f"Not taken: {short(' '.join(words.split()))}."


def _done(state: State, n: int) -> tuple[int, ...]:
    """The utterances that can be scratched, with `n` as the last."""
    return state.done if state.done[-1:] == (n,) else (*state.done, n)


def _facts(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """Takes what was told: at once, or after a confirmation where it was spoken and could loosen."""
    taken: list[Telling] = []
    waiting: list[Pending] = []
    replies: list[tuple[str, str]] = []
    known = state.picture.known(said.at)
    for one in said.meant:
        telling = _telling(state, said, one, known)
        if said.spoken and (_loosens(one) or telling.act == "correct"):
            waiting.append(Pending(phrase(one.name, one.value, one.basis), (telling,)))
        else:
            taken.append(telling)
    state, read_back, refused = _take(state, said, taken, phrase)
    replies += read_back
    if waiting:
        state = replace(state, pending=(*_without(state.pending, waiting), *waiting))
    for guess in said.guesses:
        replies.append(("question", f"{upper(phrase(guess.name, guess.value, ''))} is a guess. Seen or told?"))
        state = replace(state, question=guess.name)
    parsed = said.parsed
    for ask in parsed.asks:
        replies.append(("question", ask.text))
        state = replace(state, question=ask.fact if ask.fact in FACTS else state.question)
    if waiting:
        state, ask = _ask(state)
        replies += ask
    understood = bool(parsed.readings or parsed.asks)
    if parsed.refused and understood:
        replies.append(_not_taken(parsed))
    if not understood:
        unread = [one for one in parsed.refused if one not in parsed.line]    # what was never read at all
        replies.append(("question", f"Not taken: {unread[0]}. Shorter lines?" if unread else
                        "Not understood. Nothing taken. Say again?"))
    asked = bool(waiting or parsed.asks or said.guesses or refused)
    return state, Effects({one.name: _now(state, one, said) for one in taken if one.name not in refused},
                          tuple(replies), understood=understood, asked=asked)


def _telling(state: State, said: Utterance, one: Reading, known: dict[str, Any]) -> Telling:
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
        otherwise = _otherwise(one, before, after, phrase)
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
    state = replace(state, picture=picture, done=_done(state, said.n), question=question, changes=state.changes + 1)
    return state, lines + replies, frozenset(stands)


def _otherwise(one: Telling, before: Mapping[str, Known], after: Mapping[str, Known], phrase: Phrase
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


def _ask(state: State) -> tuple[State, list[tuple[str, str]]]:
    """Asks for the confirmation of at most three waiting things, the oldest first; of a taking back by itself."""
    batch = state.pending[:CONFIRM_AT_ONCE]
    alone = next((place for place, one in enumerate(batch) if one.takes_back), len(batch))
    batch = batch[:max(1, alone)]
    if not batch:
        return replace(state, asked=()), []
    text = "; ".join(one.text for one in batch)
    return replace(state, asked=batch), [("question", f"Heard: {text}. Affirm?")]


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
    return _ask(replace(state, pending=(*_without(state.pending, list(waiting)), *waiting)))


def _affirm(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    if not state.asked:
        return state, Effects(replies=(("note", "Nothing waits for affirm."),))
    batch, picture, taken = state.asked, state.picture, {}
    told: list[Telling] = []
    for one in batch:
        one = replace(one, tellings=tuple(replace(t, n=said.n, at=said.at, confirmed=True) for t in one.tellings))
        picture = _apply(picture, one)
        told += one.tellings
        taken.update({t.name: t.value for t in one.tellings if t.act in ("tell", "correct")})
    before, after = state.picture.known(said.at), picture.known(said.at)
    if any(one.starts_a_job for one in batch):
        before = {}
    otherwise = {one.name: text for one in told if (text := _otherwise(one, before, after, phrase))}
    contested = [name for name, (kind, _) in otherwise.items() if kind == "question"]
    rest = tuple(one for one in state.pending if one not in batch)
    cancelled = tuple(one.cancel for one in batch if one.cancel is not None)
    restored = tuple(one.restore for one in batch if one.restore is not None)
    done = tuple(n for n in state.done if n not in cancelled) + restored
    undone = tuple(n for n in state.undone if n not in restored) + cancelled
    if any(one.tellings for one in batch):
        done = (*done, said.n)
    state = replace(state, picture=picture, pending=rest, asked=(), done=done, undone=undone,
                    changes=state.changes + 1)
    if any(one.starts_a_job for one in batch):
        state = _emptied(state)
    if contested:
        state = replace(state, question=contested[-1])
    state, more = _ask(state)
    return state, Effects(taken, (("readback", "Affirmed."), *otherwise.values(), *more),
                          asked=bool(more or contested))


def _negative(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    if not state.asked:
        return state, Effects(replies=(("note", "Nothing waits for an answer."),))
    dropped = "; ".join(one.text for one in state.asked)
    standing = [name for one in state.asked if one.standing for name in one.names]
    gone = [Telling(said.n, name, act="withdraw", at=said.at) for name in standing]
    if gone:
        state = replace(state, picture=state.picture.tell(*gone), done=(*state.done, said.n))
    state = replace(state, pending=tuple(one for one in state.pending if one not in state.asked), asked=())
    state, more = _ask(state)
    return state, Effects(replies=(("readback", f"Dropped: {short(dropped)}."), *more), asked=bool(more))


def _scratch(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """Takes the last utterance back. What still waits is dropped first: it never counted."""
    if state.pending:
        last = max((one.tellings[0].n if one.tellings else 0) for one in state.pending)
        keep = tuple(one for one in state.pending if not one.tellings or one.tellings[0].n != last)
        if last and (not state.done or last >= state.done[-1]):
            state = replace(state, pending=keep, asked=())
            state, more = _ask(state)
            return state, Effects(replies=(("readback", "Scratched what waited."), *more), asked=bool(more))
    if not state.done:
        return state, Effects(replies=(("note", "Nothing to scratch."),))
    n = state.done[-1]
    what = _tales(state, n, phrase)
    return _take_back(state, said, Pending(f"scratch {what}", cancel=n), f"Scratched: {what}.")


def _restore(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    if not state.undone:
        return state, Effects(replies=(("note", "Nothing was scratched."),))
    n = state.undone[-1]
    what = _tales(state, n, phrase)
    return _take_back(state, said, Pending(f"put back {what}", restore=n), f"Back: {what}.")


def _forget(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
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


def _crew_change(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """Another crew: what was good about the old one is unknown again; its dangers stay, and are named."""
    gone = (Telling(said.n, prefix, act="expire", at=said.at) for prefix in CREW_BOUND)
    state = replace(state, picture=state.picture.tell(*gone), done=(*state.done, said.n), changes=state.changes + 1,
                    leaving=False)
    left = state.picture.known(said.at)
    stands = [phrase(name, one.value, "") for name, one in left.items() if name.startswith("crew.") and one.counts]
    return state, Effects(replies=(("readback", "Crew change. Crew facts not told."),
                                   *(("note", line) for line in labelled("Stands from before", stands))))


def _new_job(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
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
        now = (*(one for one in told if not _loosens(one) and not fact(one.name).settled), *said.guesses)
    known = state.picture.known(said.at)
    new = Pending(text, (Telling(said.n, "", act="new job", at=said.at),
                         *(replace(_telling(state, said, one, known), act="tell") for one in told)))
    state, effects = _take_back(state, said, new, "New job. Nothing told.")
    state = state if effects.asked else _emptied(state)
    rest = replace(said, parsed=replace(parsed, command=None, readings=now))
    if now or parsed.asks:
        state, more = _facts(state, rest, phrase)
        return state, _together(effects, more)
    if parsed.refused:
        return state, replace(effects, replies=(*effects.replies, _not_taken(parsed)))
    return state, effects


def _emptied(state: State) -> State:
    """What waited or was asked belongs to the job before."""
    return replace(state, pending=(), asked=(), question=None, leaving=False)


def _take_back(state: State, said: Utterance, what: Pending, text: str) -> tuple[State, Effects]:
    """Does it at once when typed; asks first when spoken."""
    if said.spoken:
        state = replace(state, pending=(what, *state.pending))
        state, ask = _ask(state)
        return state, Effects(replies=tuple(ask), asked=True)
    picture = _apply(state.picture, what)
    done, undone = state.done, state.undone
    if what.cancel is not None:
        done, undone = done[:-1], (*undone, what.cancel)
    elif what.restore is not None:
        done, undone = (*done, what.restore), undone[:-1]
    else:
        done = (*done, said.n)
    state = replace(state, picture=picture, done=done, undone=undone, changes=state.changes + 1)
    return state, Effects(replies=(("readback", text),))


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
    waiting = tuple(one for one in state.pending if not any(told.exercise for told in one.tellings))
    state = replace(state, pending=waiting, asked=tuple(one for one in state.asked if one in waiting),
                    picture=state.picture.tell(Telling(said.n, "exercise", act="no play", at=said.at)))
    dropped = before != state.picture.known(said.at)
    state, effects = _told_beside(state, said, phrase)
    notes = ["No play. This is real."] + (["Exercise good news no longer counts."] if dropped else [])
    return state, replace(effects, understood=True, replies=(*effects.replies, *(("note", text) for text in notes)))


def _told_beside(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """What an urgent line tells besides; it asks nothing, but says what was not taken."""
    if said.parsed.readings:
        return _facts(state, said, phrase)
    return state, Effects(replies=(_not_taken(said.parsed),) if said.parsed.refused else ())


def _with_facts(state: State, said: Utterance, phrase: Phrase) -> tuple[State, Effects]:
    """A correction, or an exercise fact: facts that open with a command word."""
    if not said.parsed.readings and not said.parsed.asks:
        word = str(said.parsed.command).capitalize()
        return state, Effects(replies=(("question", f"{word}: which fact?"),), asked=True)
    return _facts(state, said, phrase)


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
    "affirm": _affirm,
    "negative": _negative,
    "scratch that": _scratch,
    "restore": _restore,
    "forget": _forget,
    "crew change": _crew_change,
    "cannot tell": _cannot_tell,
    "correction": _with_facts,
    "leaving": _leaving,
    "mayday": _mayday,
    "no play": _no_play,
    "exercise": _with_facts,
    "clear": _new_job,
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

def _apply(picture: Picture, one: Pending) -> Picture:
    if one.cancel is not None:
        return picture.cancel(one.cancel)
    if one.restore is not None:
        return picture.restore(one.restore)
    return picture.tell(*one.tellings)


def _without(pending: tuple[Pending, ...], new: list[Pending]) -> tuple[Pending, ...]:
    """What waits, less what is told anew."""
    names = {name for one in new for name in one.names}
    return tuple(one for one in pending if one.starts_a_job or not names & set(one.names))


def _loosens(one: Reading) -> bool:
    return fact(one.name).is_loosening(check_value(one.name, one.value))


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


def _tales(state: State, n: int, phrase: Phrase) -> str:
    """What utterance `n` told, in words."""
    told = [one for one in state.picture.tellings if one.n == n and one.act != "no play"]
    return short("; ".join(dict.fromkeys(_tale(one, phrase) for one in told)))


def _tale(one: Telling, phrase: Phrase) -> str:
    if one.act in ("tell", "correct"):
        return phrase(one.name, one.value, one.basis)
    named = {"expire": "crew change", "new job": "new job", "withdraw": f"forget {called(one.name)}"}
    return named.get(one.act) or f"{one.act} {called(one.name)}"
