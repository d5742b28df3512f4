"""Where a dialogue stands: utterances, what waits for a confirmation, and what came of a line."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from fieldaid.facts import Picture, Telling, check_value, fact
from fieldaid.facts.tries import implied
from fieldaid.grammar.model import Parsed, Reading

CONFIRM_AT_ONCE = 3
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
        return tuple(one for one in self.parsed.readings if one.basis == "guess" and loosens(one))

    @property
    def meant(self) -> tuple[Reading, ...]:
        """Readings accepted. A guess at a danger is one of them: a person's word of danger counts."""
        return tuple(one for one in self.parsed.readings if one not in self.guesses)


@dataclass(frozen=True)
class Pending:
    """Something that waits for a confirmation: facts to take, an utterance to cancel or restore, or one whose waiting
    facts are to be dropped. `standing` facts are in the picture already, read back but never confirmed; a "negative"
    takes them out. `before` is what waited of the same facts until this was told: it waits again if this is denied."""

    text: str
    tellings: tuple[Telling, ...] = ()
    cancel: int | None = None
    restore: int | None = None
    drops: int | None = None
    standing: bool = False
    before: tuple[Pending, ...] = ()

    @property
    def n(self) -> int | None:
        """The utterance whose facts wait; None where something is to be taken back."""
        return self.tellings[0].n if self.tellings else None

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
        return (self.cancel is not None or self.restore is not None or self.drops is not None
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
            picture = applied(picture, one)
        return picture

    def with_waiting_dangers(self, before: bool = False) -> Picture:
        """The picture with what waits and may be a danger, and without the good news beside it, which could hide it.

        `before`: of a fact that was told anew counts what waited before, which the new telling may hide too.
        """
        tellings = [told for one in self.pending if not one.takes_back
                    for each in (before and one.before or (one,)) for told in each.tellings]
        return self.picture.tell(*(one for one in tellings if not _is_only_good(one)))

    def removes_danger(self, dropped: tuple[Pending, ...]) -> bool:
        """Whether some of what waits, if it were `dropped`, would take a danger along, or what a danger follows from:
        a roll call that is short."""
        tellings = [told for one in dropped if not one.takes_back for told in one.tellings]
        known = self.with_pending().known(max((one.at for one in tellings), default=0.0))
        values = {name: one.value for name, one in known.items()}
        return any(fact(one.name).lasts(check_value(one.name, one.value)) or implied(one.name, one.value, values)
                   for one in tellings)

    def done_with(self, n: int) -> tuple[int, ...]:
        """The utterances that can be scratched, with `n` as the last."""
        return self.done if self.done[-1:] == (n,) else (*self.done, n)

    def emptied(self) -> State:
        """What waited, was asked or was scratched belongs to the job before."""
        return replace(self, pending=(), asked=(), question=None, undone=(), leaving=False)


@dataclass(frozen=True)
class Effects:
    """What came of an utterance: facts taken, lines to say, and requests that need guidance to answer."""

    taken: dict[str, Any] = field(default_factory=dict)
    replies: tuple[tuple[str, str], ...] = ()
    requests: tuple[tuple[RequestKind, str | None], ...] = ()
    understood: bool = True
    asked: bool = False
    stop_voice: bool = False

    def and_then(self, more: Effects) -> Effects:
        """What came of a command, and then of the rest of its line."""
        return Effects(self.taken | more.taken, self.replies + more.replies, self.requests + more.requests,
                       asked=self.asked or more.asked, stop_voice=self.stop_voice or more.stop_voice)


def ask_waiting(state: State) -> tuple[State, list[tuple[str, str]]]:
    """Asks for the confirmation of at most three waiting things, the oldest first; of a taking back by itself."""
    batch = state.pending[:CONFIRM_AT_ONCE]
    alone = next((place for place, one in enumerate(batch) if one.takes_back), len(batch))
    batch = batch[:max(1, alone)]
    if not batch:
        return replace(state, asked=()), []
    text = "; ".join(one.text for one in batch)
    return replace(state, asked=batch), [("question", f"Heard: {text}. Affirm?")]


def applied(picture: Picture, one: Pending) -> Picture:
    """The picture after what waited has been confirmed."""
    if one.cancel is not None:
        return picture.cancel(one.cancel)
    if one.restore is not None:
        return picture.restore(one.restore)
    return picture.tell(*one.tellings)


def told_anew(pending: tuple[Pending, ...], new: list[Pending]) -> tuple[Pending, ...]:
    """What waits, and the `new` behind it, each in place of what waited of the same facts."""
    names = {name for one in new for name in one.names}
    gone = [one for one in pending if not one.starts_a_job and names & set(one.names)]
    kept = tuple(one for one in pending if one not in gone)
    return (*kept, *(replace(one, before=tuple(
        replace(old, before=()) for replaced in gone if set(one.names) & set(replaced.names)
        for old in (replaced, *replaced.before) if not old.standing and old.text != one.text)) for one in new))


def less(pending: tuple[Pending, ...], dropped: Iterable[Pending]) -> tuple[Pending, ...]:
    """What waits without what is dropped; what that stood in the place of waits again."""
    gone = list(dropped)
    return tuple(each for one in pending for each in (one.before if one in gone else (one,)))


def _is_only_good(one: Telling) -> bool:
    """Whether a telling can do nothing but loosen."""
    spec = fact(one.name)
    return spec.loosening != "any" and not spec.lasts(check_value(one.name, one.value))


def loosens(one: Reading) -> bool:
    """Whether what was read could lower access, the gate or a leave in any picture."""
    return fact(one.name).is_loosening(check_value(one.name, one.value))
