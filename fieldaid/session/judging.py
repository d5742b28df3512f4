"""Guidance for a dialogue state: every section, and never on the strength of an unconfirmed word.

What was spoken and could loosen waits for "affirm". Guidance is therefore asked up to four times: with what counts
now; without the facts that nobody confirmed; with all that waits, since what waits may be a danger too; and with that
less the good news that waits beside it. The stricter access and gate stand, and every danger of any of them is kept.

Unconfirmed are placing facts, as long as access or gate hangs on them, and facts that one recogniser alone heard.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Protocol

from fieldaid.facts import Known, Picture, Situation, fact
from fieldaid.guidance.guide import Conclusions, without_place
from fieldaid.guidance.outcome import Line
from fieldaid.guidance.pack import ACCESS, GATE, NO_GO
from fieldaid.session.dialogue_state import State

HEARD_ONCE = "heard once"
"""Stands as who told a fact that one recogniser alone has heard: it is to be confirmed."""


class Advises(Protocol):
    """What guidance must offer; the guide of the guidance room does."""

    def evaluate(self, situation: Situation) -> Conclusions: ...


@dataclass(frozen=True)
class Judged:
    """Guidance on the main roof and on each section told about, and what is known at that moment.

    `unconfirmed` are facts that were spoken, read back and not confirmed, and should be: see the module.
    """

    main: Conclusions
    sections: dict[str, Conclusions] = field(default_factory=dict)
    known: dict[str, Known] = field(default_factory=dict)
    unconfirmed: tuple[Known, ...] = ()


def judge(guide: Advises, state: State, at: float) -> Judged:
    """Guidance for `state` at `at` seconds."""
    picture = state.picture
    known = picture.known(at)
    main = guide.evaluate(picture.situation(at))
    loosest = (main.access, main.gate)
    loose = tuple(one for one in known.values() if not one.confirmed and one.counts)
    half = _heard_once(picture, known)
    others: list[Conclusions] = []
    if loose:
        others.append(guide.evaluate(picture.situation(at, confirmed_only=True)))
    if half:
        others.append(guide.evaluate(_without(picture, half).situation(at)))
    if state.pending:
        others += [guide.evaluate(one.situation(at)) for one in _with_what_waits(state)]
    for other in others:
        main = stricter(main, other)
    sections = {name: _section(guide, state, picture, name, at) for name in picture.sections()}
    matters = (main.access, main.gate) != loosest and bool(loose)
    if matters and main.gate != loosest[1] and main.access == loosest[0]:
        # What is missing is a confirmation, not a telling.
        text = f"{fact(loose[0].name).called} not confirmed"
        line = Line("gate", text, main.gate_rules, f"not confirmed:{loose[0].name}", need=loose[0].name)
        main = replace(main, gate_says=(line,))
    wanted = {one.name: one for one in (*half, *(loose if matters else ()))}
    return Judged(main, sections, known, tuple(wanted.values()))


def _heard_once(picture: Picture, known: dict[str, Known]) -> tuple[Known, ...]:
    """What counts on one recogniser's word. A confirmation tells the fact again, as a correction."""
    told = {(one.n, one.name) for one in picture.tellings if one.who == HEARD_ONCE and one.act == "tell"}
    return tuple(one for one in known.values() if (one.n, one.name) in told and one.counts)


def _without(picture: Picture, some: tuple[Known, ...]) -> Picture:
    """The picture as if these had not been told."""
    gone = {(one.n, one.name) for one in some}
    return replace(picture, tellings=tuple(one for one in picture.tellings if (one.n, one.name) not in gone))


def _section(guide: Advises, state: State, picture: Picture, name: str, at: float) -> Conclusions:
    found = guide.evaluate(picture.situation(at, name))
    half = _heard_once(picture, picture.known(at))
    if half:
        found = stricter(found, guide.evaluate(_without(picture, half).situation(at, name)))
    if state.pending:
        for waiting in _with_what_waits(state):
            found = stricter(found, guide.evaluate(waiting.situation(at, name)))
    return found


def _with_what_waits(state: State) -> list[Picture]:
    """The picture with all that waits, and with its dangers alone where that is another one."""
    found = [state.with_pending()]
    for dangers in (state.with_waiting_dangers(), state.with_waiting_dangers(before=True)):
        if dangers != state.picture and dangers not in found:
            found.append(dangers)
    return found


def stricter(a: Conclusions, b: Conclusions) -> Conclusions:
    """`a`, with the stricter access and gate of the two, every danger of both, and only the placement and advice that
    both allow, or that is about the stricter access. Of two that are alike the one counts that a hazard or an order
    sets. One of them is barred where the result is, and advises then nothing about an opening."""
    access = min(a, b, key=lambda one: (ACCESS.index(one.access), one.access_reason not in ("hazard", "ordered")))
    gate = a if GATE.index(a.gate) <= GATE.index(b.gate) else b
    merged = replace(
        a,
        access=access.access, access_reason=access.access_reason, access_rules=access.access_rules,
        access_says=access.access_says, gate=gate.gate, gate_rules=gate.gate_rules, gate_says=gate.gate_says,
        triggers=_union(a.triggers, b.triggers), stops=_union(a.stops, b.stops),
        cautions=_union(a.cautions, b.cautions),
        advice=tuple(line for line in access.advice
                     if "access" in line.about or line.key in {other.key for other in a.advice}
                     and line.key in {other.key for other in b.advice}),
        channels_agree=None if a.channels_agree is None or b.channels_agree is None
        else a.channels_agree and b.channels_agree,
    )
    if merged.access in NO_GO:
        merged = replace(merged, slope=None, place=None, kind=None, size_ft=None, opening_rules=(),
                         computed=without_place(a.computed))
    elif a.slope != b.slope:
        merged = replace(merged, slope=None, place=None, opening_rules=(), computed=without_place(a.computed))
    return merged


def _union(a: tuple[Line, ...], b: tuple[Line, ...]) -> tuple[Line, ...]:
    keys = {line.key for line in a}
    return (*a, *(line for line in b if line.key not in keys))
