"""Which of the facts that are not told to ask for first.

For each of them every answer that the rules tell apart is tried through the second channel. Asked first is the fact
whose answer is likeliest to settle the matter: a bar found early saves all the other questions. An answer settles it
when it bars the roof, or when it leaves nothing to ask. Every answer counts alike, because nobody has counted how often
each is given on a real roof.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from fieldaid.facts.fact import Fact
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import fact
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import ACCESS, GATE, NO_GO, Pack
from fieldaid.guidance.reference import Reference

MOST_ASKED = 10
"""Facts that are ranked; the rest keep the pack's order behind them, so that a long list costs no more time."""
Compute = Callable[[Situation], Mapping[str, Any]]


@dataclass(frozen=True)
class Question:
    """A fact to ask for.

    Attributes
    ----------
    fact : its name
    settles : share of its answers after which nothing more need be asked, 0 to 1
    moves : mean change of access, gate and the dangers over its answers, in steps
    """

    fact: str
    settles: float
    moves: float


class NextQuestion:
    """Ranks what is missing. A function of the situation: it keeps nothing but the answers that are worth trying.

    Parameters
    ----------
    reference : the second channel
    compute : the plain computed facts of a situation; a quick one, without placement
    """

    def __init__(self, reference: Reference, compute: Compute) -> None:
        self._reference, self._compute = reference, compute
        self._limits = _limits(reference.pack)
        self._answers: dict[str, tuple[Any, ...]] = {}

    def order(self, situation: Situation, missing: Iterable[str]) -> tuple[str, ...]:
        """`missing`, the most decisive first; facts that are equal keep their order."""
        names = tuple(missing)
        ranked = sorted(self.questions(situation, names[:MOST_ASKED]), key=lambda one: (-one.settles, -one.moves))
        return (*(one.fact for one in ranked), *names[MOST_ASKED:])

    def questions(self, situation: Situation, missing: Iterable[str]) -> list[Question]:
        """What asking for each fact would bring, in the order given."""
        before = self._run(situation)
        return [self._question(situation, name, before) for name in missing]

    def _question(self, situation: Situation, name: str, before: Outcome) -> Question:
        answers = self.answers(name)
        settled = moved = 0
        for value in answers:
            after = self._run(replace(situation, values={**situation.values, name: value},
                                      basis={**situation.basis, name: "told"},
                                      cannot_tell=situation.cannot_tell - {name}))
            settled += is_settled(after)
            moved += _distance(before, after)
        return Question(name, settled / len(answers), moved / len(answers))

    def answers(self, name: str) -> tuple[Any, ...]:
        """Answers that the rules may tell apart: all of a choice, of a number one in each interval."""
        found = self._answers.get(name)
        if found is None:
            found = self._answers[name] = tuple(_answers(fact(name), self._limits.get(name, ())))
        return found

    def _run(self, situation: Situation) -> Outcome:
        return self._reference.run(situation, self._compute(situation))


def is_settled(outcome: Outcome) -> bool:
    """Whether nothing more need be asked: the roof is barred for a reason that was told, or nothing is missing."""
    return not outcome.missing or (outcome.access in NO_GO and outcome.access_reason != "not told")


def _distance(one: Outcome, other: Outcome) -> int:
    return (abs(ACCESS.index(one.access) - ACCESS.index(other.access))
            + abs(GATE.index(one.gate) - GATE.index(other.gate))
            + len(set(one.triggers) ^ set(other.triggers)) + len(set(one.stops) ^ set(other.stops)))


def _answers(one: Fact, limits: tuple[float, ...]) -> Iterator[Any]:
    if one.kind == "choice":
        yield from one.values
    elif one.kind == "number":
        yield from _numbers(one, limits)
    elif one.kind == "places":
        yield from ("none", ["unsaid"] if "unsaid" in one.values else [one.values[0]])
    elif one.kind == "air":
        yield from ({"low": "yes"}, {"low": "no"})
    elif one.kind == "ladders":
        first = {"place": "A", "kind": "ground", "usable": "yes"}
        yield from ([first], [first, {**first, "place": "BC"}])
    else:
        yield from (1948, 2005)


def _numbers(one: Fact, limits: tuple[float, ...]) -> Iterator[float]:
    low = one.low if one.low is not None else 0.0
    high = one.high if one.high is not None else max((*limits, low)) + 1
    edges = [limit for limit in sorted(set(limits)) if low < limit <= high]
    yield low
    yield from edges
    if high not in edges:
        yield high


def _limits(pack: Pack) -> dict[str, tuple[float, ...]]:
    """The numbers that the rules hold each fact against."""
    found: dict[str, set[float]] = {}
    for rule in pack.live_rules:
        for one in rule.conditions:
            for name in one.names:
                found.setdefault(name, set()).update(bound.number for bound in one.bounds)
    return {name: tuple(sorted(numbers)) for name, numbers in found.items() if numbers}
