"""Two packs held against each other: in which situations does the answer change, and how.

Compared is what a person meets: access, gate, placement, dangers, what is missing, and every line that may be said.
Situations come from three places: the examples of both packs' own rules with the numbers around every limit, a covering
array of the gate facts, and seeded situations. Each change is shown by its smallest situation.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fieldaid.authoring import mass
from fieldaid.authoring.covering import covering_array
from fieldaid.authoring.situations import GOOD, seeded, stream
from fieldaid.authoring.situations_gate import LEVELS, situation_of_row
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.guide import conclude
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import ACCESS, GATE, Pack, Rule, load_pack
from fieldaid.guidance.reference import Reference
from fieldaid.workings.computed import compute

DANGERS = ("triggers", "stops", "cautions")
STRENGTH = 2
LOW_MINUTES, LOW_FRACTION = "air_low_minutes", "air_low_fraction"
Answers = dict[str, Any]


@dataclass(frozen=True, order=True)
class Change:
    """One way in which an answer changes. `before` and `after` are texts; "" where there was or is nothing."""

    field: str
    before: str
    after: str

    @property
    def looser(self) -> bool:
        """Whether it allows more, or warns of less."""
        if self.field in ("access", "gate"):
            order = ACCESS if self.field == "access" else GATE
            return order.index(self.after) > order.index(self.before)
        return self.field in ("triggers", "stops", "cautions", "missing") and not self.after


@dataclass(frozen=True)
class Found:
    """A change, in how many situations it was met, the smallest one, and what the new pack answers to that."""

    change: Change
    count: int
    situation: Situation
    answers: Answers


class Answering:
    """A pack that answers."""

    def __init__(self, pack: Pack) -> None:
        self.pack = pack
        self._reference = Reference(pack)
        self._parameters = pack.parameter_values()

    def answers(self, situation: Situation) -> Answers:
        """What a person meets, by field: texts for what is single, sets of texts for the rest, and what each rule that
        speaks would say."""
        computed = compute(situation, self._parameters)
        outcome = self._reference.run(situation, {name: one.value for name, one in computed.items()})
        return answers_of(self.pack, situation, computed, outcome)


def answers_of(pack: Pack, situation: Situation, computed: Mapping[str, Any], outcome: Outcome) -> Answers:
    """The answers that an outcome amounts to; see `Answering`."""
    found = conclude(pack, situation, computed, outcome, None, ())
    lines = (*found.triggers, *found.stops, *found.cautions, *found.advice, *found.access_says, *found.gate_says)
    return {"access": outcome.access, "reason": outcome.access_reason or "", "gate": outcome.gate,
            "placement": "; ".join(filter(None, map(_text, (outcome.place, outcome.kind, outcome.size_ft)))),
            **{name: frozenset(getattr(outcome, name)) for name in (*DANGERS, "advice", "missing")},
            "derived": frozenset(f"{name} {value}" for name, value in outcome.derived),
            "said": {rule: _said(pack.rule(rule)) for line in lines for rule in line.rules}}


def _said(rule: Rule) -> str:
    return rule.say if rule.said == "at once" else f"{rule.say} ({rule.said})"


def changes(before: Answers, after: Answers) -> set[Change]:
    """Every change from one set of answers to another that is not merely what another change brings along: another
    access brings another gate, which brings another placement and other advice."""
    found = {Change(name, one, "") for name in DANGERS for one in before[name] - after[name]}
    found |= {Change(name, "", one) for name in DANGERS for one in after[name] - before[name]}
    said = before["said"].keys() & after["said"].keys()
    found |= {Change("said", before["said"][rule], after["said"][rule]) for rule in said
              if before["said"][rule] != after["said"][rule]}
    for fields in (("access",), ("gate",), ("reason", "placement", "advice", "missing"), ("derived",)):
        further = set().union(*(_differences(name, before[name], after[name]) for name in fields))
        if further and not (fields == ("derived",) and found):
            return found | further
    return found


def _differences(name: str, before: Any, after: Any) -> set[Change]:
    if isinstance(before, str):
        return {Change(name, before, after)} if before != after else set()
    return {Change(name, one, "") for one in before - after} | {Change(name, "", one) for one in after - before}


class Situations:
    """The situations that two packs are compared on, by number.

    Parameters
    ----------
    seeded : how many seeded ones come after the examples and the covering array
    """

    def __init__(self, old: Pack, new: Pack, seeded: int, seed: int) -> None:
        self.examples = list(_examples(old, new))
        self.rows = _rows()
        self.seed = seed
        self.count = len(self.examples) + len(self.rows) + seeded

    def __getitem__(self, number: int) -> Situation:
        if number < len(self.examples):
            return self.examples[number]
        number -= len(self.examples)
        if number < len(self.rows):
            return situation_of_row(self.rows[number], stream(self.seed, number, "row"))
        return seeded(self.seed, number - len(self.rows))


def compare(old: Sequence[Path], new: Sequence[Path], *, count: int = 5000, seed: int = 1, workers: int | None = None,
            progress: mass.Progress | None = None) -> tuple[list[Found], int]:
    """Every change between two packs, each with its smallest situation, and how many situations were tried.

    Parameters
    ----------
    old, new : each the folder of a pack and of its overlays
    count : seeded situations
    workers : processes; 0 for this one alone

    Raises
    ------
    BrokenData : a pack is broken
    """
    packs = [load_pack(one[0], one[1:]) for one in (old, new)]
    situations = Situations(*packs, count, seed)
    args = {"old": [str(one) for one in old], "new": [str(one) for one in new], "count": count, "seed": seed}
    results = mass.run(mass.Work("fieldaid.authoring.compare:compare_numbers", args, situations.count), workers=workers,
                       progress=progress)
    counts: dict[Change, int] = {}
    first: dict[Change, int] = {}
    for result in results:
        for change_text, (number, times) in result.items():
            change = Change(*change_text.split("\t"))
            counts[change] = counts.get(change, 0) + times
            first.setdefault(change, number)
    one, other = map(Answering, packs)
    found = []
    for change in sorted(counts):
        situation = smallest(situations[first[change]], _still(one, other, change))
        found.append(Found(change, counts[change], situation, other.answers(situation)))
    return sorted(found, key=lambda one: (not one.change.looser, one.change)), situations.count


def compare_numbers(args: Mapping[str, Any], start: int, stop: int) -> dict[str, list[int]]:
    """The changes among the situations with these numbers: change -> its first number, and how often it was met."""
    one, other, situations = _loaded(tuple(args["old"]), tuple(args["new"]), args["count"], args["seed"])
    found: dict[str, list[int]] = {}
    for number in range(start, stop):
        situation = situations[number]
        for change in changes(one.answers(situation), other.answers(situation)):
            met = found.setdefault("\t".join((change.field, change.before, change.after)), [number, 0])
            met[1] += 1
    return found


@functools.lru_cache(maxsize=2)
def _loaded(old: tuple[str, ...], new: tuple[str, ...], count: int,
            seed: int) -> tuple[Answering, Answering, Situations]:
    packs = [load_pack(Path(one[0]), [Path(path) for path in one[1:]]) for one in (old, new)]
    return Answering(packs[0]), Answering(packs[1]), Situations(*packs, count, seed)


def _still(one: Answering, other: Answering, change: Change) -> Callable[[Situation], bool]:
    return lambda situation: change in changes(one.answers(situation), other.answers(situation))


def smallest(situation: Situation, still: Callable[[Situation], bool]) -> Situation:
    """The situation without every fact that `still` does not need; no single further fact can be left out."""
    again = True
    while again:
        again = False
        for name in sorted({*situation.values, *situation.cannot_tell}):
            less = _without(situation, name)
            if still(less):
                situation, again = less, True
    plain = replace(situation, basis=dict.fromkeys(situation.values, "told"))
    return plain if still(plain) else situation


def _without(situation: Situation, name: str) -> Situation:
    return replace(situation, values={one: value for one, value in situation.values.items() if one != name},
                   basis={one: basis for one, basis in situation.basis.items() if one != name},
                   cannot_tell=situation.cannot_tell - {name})


@functools.lru_cache(maxsize=1)
def _rows() -> list[list[int]]:
    return covering_array(LEVELS, STRENGTH).tolist()


def _examples(old: Pack, new: Pack) -> Iterator[Situation]:
    """The examples of every rule of either pack, alone and with everything else told and good, and with their numbers
    at and around each limit."""
    seen: set[str] = set()
    limits = _limits(old, new)
    for pack in (old, new):
        for rule in pack.rules:
            for example in (*rule.fires, *rule.silent):
                situation = Situation.of(example.facts, example.basis)
                for variant in (situation, *_around(situation, limits), _beside_good(situation)):
                    key = repr((sorted(variant.values.items(), key=repr), sorted(variant.basis.items()),
                                sorted(variant.cannot_tell)))
                    if key not in seen:
                        seen.add(key)
                        yield variant


def _beside_good(situation: Situation) -> Situation:
    """A bar shows only where nothing else bars."""
    good = {name: value for name, value in GOOD.items() if name not in situation.cannot_tell}
    return replace(situation, values={**good, **situation.values},
                   basis={**dict.fromkeys(good, "told"), **situation.basis})


def _around(situation: Situation, limits: Mapping[str, set[float]]) -> Iterator[Situation]:
    """The situation with each of its numbers put at, below and above every limit."""
    for name, value in situation.values.items():
        if isinstance(value, (int, float)):
            for number in _near(limits.get(name, ()), 1, FACTS[name].low, FACTS[name].high):
                yield replace(situation, values={**situation.values, name: number})
        elif FACTS[name].kind == "air":
            for part, step, high in (("minutes", 1.0, None), ("fraction", 0.05, 1.0)):
                for number in _near(limits.get(part, ()), step, 0, high):
                    yield replace(situation, values={**situation.values, name: {part: number}})


def _near(limits: Iterable[float], step: float, low: float | None, high: float | None) -> Iterator[float]:
    for limit in sorted(limits):
        for number in (limit - step, limit, limit + step):
            if (low is None or number >= low) and (high is None or number <= high):
                yield round(number, 4)


def _limits(*packs: Pack) -> dict[str, set[float]]:
    """The numbers that the rules hold each fact against, and those that the air calculation uses."""
    found: dict[str, set[float]] = {"minutes": set(), "fraction": set()}
    for pack in packs:
        found["minutes"].add(pack.parameter_values().get(LOW_MINUTES, 0.0))
        found["fraction"].add(pack.parameter_values().get(LOW_FRACTION, 0.0))
        for rule in pack.rules:
            for one in rule.conditions:
                for name in one.names:
                    if name in FACTS and one.bounds:
                        found.setdefault(name, set()).update(bound.number for bound in one.bounds)
    return found


def _text(value: Any) -> str:
    if isinstance(value, tuple):
        return " ".join(f"{one:g}" if isinstance(one, float) else str(one) for one in value)
    return "" if value is None else str(value)
