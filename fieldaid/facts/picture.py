"""The immutable picture: a row of tellings, and what they add up to at a moment.

A telling is one fact of one utterance. Nothing is ever deleted: an utterance that was cancelled is left out of the
sum, and put back when the cancelling is cancelled. `Picture.known` adds the tellings up; `Picture.situation` is what
guidance sees of one section.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from fieldaid.facts.situation import Situation
from fieldaid.facts.tries import implied
from fieldaid.facts.values import check_value, same_value
from fieldaid.facts.vocabulary import SECTIONS, Fact, fact, split_section

CANNOT_TELL = "cannot tell"
ATTIC_FIRES = ("fire.attic", "fire.cockloft", "fire.knee_wall", "fire.eaves")
Act = Literal["tell", "correct", "withdraw", "cannot tell", "expire", "no play", "new job"]


@dataclass(frozen=True)
class Telling:
    """One fact of utterance `n`, told at `at` seconds. With `expire` the name is a prefix such as "crew.". Two acts
    name no fact: "no play" ends an exercise, and `exercise` facts told before it that could loosen count no more;
    after "new job" nothing told before it counts."""

    n: int
    name: str
    value: Any = None
    act: Act = "tell"
    basis: str = "told"
    who: str = "officer"
    at: float = 0.0
    confirmed: bool = True
    exercise: bool = False

    @property
    def loosens(self) -> bool:
        return self.act in ("tell", "correct") and fact(self.name).is_loosening(self.value)


@dataclass(frozen=True)
class Known:
    """What is known of one fact. `contested` holds the values that contradict each other, oldest first; `value` is
    then the worse one, or None where there is no worse. `stale` is as good as unknown."""

    name: str
    value: Any
    basis: str = "told"
    who: str = "officer"
    at: float = 0.0
    n: int = 0
    confirmed: bool = True
    stale: bool = False
    contested: tuple[Any, ...] = ()
    exercise: bool = False

    @property
    def counts(self) -> bool:
        """Whether guidance may use the value."""
        return self.value is not None and self.value != CANNOT_TELL and not self.stale


@dataclass(frozen=True)
class Picture:
    """All tellings in order, and the utterances that are cancelled."""

    tellings: tuple[Telling, ...] = ()
    cancelled: frozenset[int] = frozenset()

    def tell(self, *new: Telling) -> Picture:
        """A picture with these tellings added, each checked against the vocabulary.

        Raises
        ------
        FactError : a fact or value is not in the vocabulary
        """
        checked = []
        for one in new:
            if one.act in ("tell", "correct"):
                one = replace(one, value=check_value(one.name, one.value))
            elif one.act not in ("expire", "no play", "new job"):
                fact(one.name)
            checked.append(one)
        return replace(self, tellings=(*self.tellings, *checked))

    def cancel(self, n: int) -> Picture:
        return replace(self, cancelled=self.cancelled | {n})

    def restore(self, n: int) -> Picture:
        return replace(self, cancelled=self.cancelled - {n})

    def known(self, now: float, *, confirmed_only: bool = False) -> dict[str, Known]:
        """What is known at `now` seconds, by fact name, in the order of the first telling.

        `confirmed_only` leaves out what was spoken and not yet confirmed.
        """
        found: dict[str, Known] = {}
        played = max((place for place, one in enumerate(self.tellings) if one.act == "no play"), default=0)
        for place, one in enumerate(self.tellings):
            if one.n in self.cancelled or one.act == "no play" or (confirmed_only and not one.confirmed):
                continue
            if place < played and one.exercise and one.loosens:
                continue
            if one.act == "new job":
                found.clear()
                continue
            if one.act == "expire":
                for name in [name for name in found if name.startswith(one.name)]:
                    if found[name].value is not None and not fact(name).lasts(found[name].value):
                        del found[name]
                continue
            also = _implied(one, found)
            for told in (one, *also):
                after = _add(fact(told.name), found.get(told.name), told)
                if after is None:
                    found.pop(told.name, None)
                else:
                    found[told.name] = after
        return {name: _aged(known, now) for name, known in found.items()}

    def sections(self) -> tuple[str, ...]:
        """The sections that something was told about, in the vocabulary's order."""
        told: set[str] = set()
        for one in self.tellings:
            if one.n not in self.cancelled:
                told = set() if one.act == "new job" else told | {split_section(one.name)[1]}
        return tuple(section for section in SECTIONS if section in told)

    def situation(self, now: float, section: str = "", *, confirmed_only: bool = False) -> Situation:
        """What guidance sees of one section. A section inherits the main roof's hazards, never its good news."""
        values: dict[str, Any] = {}
        basis: dict[str, str] = {}
        cannot: set[str] = set()
        known = self.known(now, confirmed_only=confirmed_only)
        for name, one in known.items():
            base, of = split_section(name)
            if of != section and not (section and not of):
                continue
            spec = fact(base)
            inherited = bool(section) and not of and spec.section
            if inherited and (f"{base}@{section}" in known or spec.is_loosening(one.value) or spec.placing):
                continue
            if one.counts:
                values[base], basis[base] = one.value, one.basis
            elif one.value == CANNOT_TELL:
                cannot.add(base)
        return Situation(values=values, basis=basis, cannot_tell=frozenset(cannot), section=section,
                         attics_beside=_attics_beside(known, section))


def _attics_beside(known: Mapping[str, Known], section: str) -> tuple[str, ...]:
    """The other sections in whose attic or voids fire is or was told."""
    found = set()
    for name, one in known.items():
        base, of = split_section(name)
        if of != section and base in ATTIC_FIRES and one.counts and one.value != "not seen":
            found.add(of or "main")
    return tuple(sorted(found))


def _implied(one: Telling, found: Mapping[str, Known]) -> tuple[Telling, ...]:
    """The tries for relief that a telling adds or ends, as tellings of the same utterance."""
    if one.act not in ("tell", "correct"):
        return ()
    before = {name: known.value for name, known in found.items()}
    return tuple(replace(one, name=name, value=value, act="tell")
                 for name, value in implied(one.name, one.value, before).items())


def _add(spec: Fact, before: Known | None, one: Telling) -> Known | None:
    """What is known of one fact after one more telling."""
    if one.act == "withdraw":
        return None
    if one.act == "cannot tell":
        if before is not None and before.value not in (None, CANNOT_TELL) and spec.lasts(before.value):
            later = dict(spec.ages_to).get(before.value) if isinstance(before.value, str) else None
            return before if later is None else replace(before, value=later, n=one.n, at=one.at)
        return Known(one.name, CANNOT_TELL, one.basis, one.who, one.at, one.n, one.confirmed, exercise=one.exercise)
    fresh = Known(one.name, one.value, one.basis, one.who, one.at, one.n, one.confirmed, exercise=one.exercise)
    if spec.kind == "ladders" and before is not None and one.act == "tell" and isinstance(before.value, list):
        return replace(fresh, value=_more_ladders(before.value, one.value))
    if before is None or before.value == CANNOT_TELL or one.act == "correct":
        return fresh
    if spec.settled:
        return _contest(spec, before, fresh)
    if spec.only_worse:
        return fresh if spec.worse.index(one.value) >= spec.worse.index(before.value) else before
    if (one.value, before.value) in spec.not_over:
        return before
    return fresh


def _more_ladders(before: list[dict], new: list[dict]) -> list[dict]:
    """Ladders told now replace those at the same place; a ladder lost at a place not said puts all in doubt. A roof
    ladder hooked above a ladder's place leaves that ladder where it is."""
    if any(ladder["place"] == "unsaid" and ladder["usable"] == "no" for ladder in new):
        before = [{**ladder, "usable": "no"} for ladder in before]
        return before
    told = {(ladder["place"], ladder["kind"] == "roof") for ladder in new}
    return [ladder for ladder in before if (ladder["place"], ladder["kind"] == "roof") not in told] + new


def _contest(spec: Fact, before: Known, fresh: Known) -> Known:
    """A settled fact given another value: the worse counts, and all stay known until one is corrected."""
    told = before.contested or (before.value,)
    if any(same_value(spec, value, fresh.value) for value in told):
        if len(told) == 1:
            narrower = spec.kind == "years" and isinstance(before.value, str) and not isinstance(fresh.value, str)
            return fresh if narrower or fresh.value == before.value else before
        return before
    told = (*told, fresh.value)
    return replace(fresh, value=worst(spec, told), contested=told, confirmed=before.confirmed or fresh.confirmed)


def worst(spec: Fact, values: tuple[Any, ...]) -> Any:
    """The worst of several values of one fact, or None where the vocabulary knows no order."""
    if spec.kind == "places":
        places = {place for value in values if value != "none" for place in value}
        return sorted(places, key=spec.values.index) or "none"
    if spec.worse_end == "high":
        return max(values)
    if spec.worse and all(value in spec.worse for value in values):
        return max(values, key=spec.worse.index)
    return None


def _aged(known: Known, now: float) -> Known:
    """Good news goes stale, or turns into what it leaves behind; a danger stays as it was told."""
    spec = fact(known.name)
    if spec.stale_s is None or known.value in (None, CANNOT_TELL) or now - known.at <= spec.stale_s:
        return known
    later = dict(spec.ages_to).get(known.value) if isinstance(known.value, str) else None
    if later is not None:
        return replace(known, value=later)
    return replace(known, stale=True) if spec.placing or not spec.lasts(known.value) else known


def told_values(known: Mapping[str, Known]) -> dict[str, Any]:
    """The values for a person or a script: {fact: value}, without what was contested away."""
    return {name: one.value for name, one in known.items() if one.value is not None}
