"""Situations near a rule: its own ones, and each with one thing changed that the rule looks at.

A fault that goes unnoticed mostly lies in a value, a limit or an alternative that no shipped situation meets. Near a
rule's own situations there is nearly always one that meets it, and a small one.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fieldaid.authoring.mutants import Mutant
from fieldaid.authoring.mutants_run import Shipped, Trial
from fieldaid.authoring.situations import GOOD
from fieldaid.authoring.test_files import came_out
from fieldaid.errors import FactError
from fieldaid.facts.fact import BASES
from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.conditions import All, Condition
from fieldaid.guidance.examples import situation_of
from fieldaid.guidance.pack import Example, Pack, Rule

Facts = Mapping[str, Any]
MOST_ROWS, MOST_NEAR, AT_ONCE = 24, 1500, 120
# Computed facts that are known only beside another one.
ONLY = {"place.why_not": ("place.found", "no")}
# Units that are told whole.
COUNTED = ("year", "members", "ways", "layers", "stories")
# Beginnings that between them reach every answer of access and gate.
BEGINNINGS: tuple[Facts, ...] = (
    GOOD,
    {**GOOD, "crew.where": "roof"},
    {name: value for name, value in GOOD.items() if name != "water.on_fire"},
    {name: value for name, value in GOOD.items() if name != "roof.framing"},
    {**GOOD, "crew.where": "ladder", "fire.attic": "suspected"},
    {**GOOD, "crew.where": "aerial", "fire.attic": "suspected"},
    {**GOOD, "opening.made": "full"},
    {**GOOD, "job.kind": "smoke removal"},
    {**GOOD, "wind.from": "C", "roof.solar": ["A"]},
    {**GOOD, "weather.lightning": "yes"},
    {**GOOD, "weather.lightning": "yes", "crew.where": "roof"},
    {**GOOD, "deck.C": "soft", "crew.where": "roof"},
    {**GOOD, "fire.stage": "out", "crew.where": "roof"},
    {**GOOD, "fire.stage": "out"},
    {**GOOD, "crew.count": 1, "crew.where": "roof"},
    {},
)


@dataclass(frozen=True)
class Near:
    """A situation near a rule: told facts, how each is known, and computed facts given outright."""

    facts: Facts
    basis: Mapping[str, str]
    computed: Facts

    @property
    def size(self) -> int:
        """How many things a reader of it has to read."""
        return len(self.facts) + len(self.computed) + len(self.basis)

    def told(self, pack: Pack, name: str, value: Any, basis: str = "") -> Near:
        """With one name told anew, or taken out where `value` is None."""
        facts, computed, known = dict(self.facts), dict(self.computed), dict(self.basis)
        into = computed if name in pack.computed else facts
        into.pop(name, None)
        known.pop(name, None)
        if value is not None:
            into[name] = value
            if basis and basis != "told":
                known[name] = basis
        return Near(facts, known, computed)

    def shipped(self, pack: Pack) -> Shipped | None:
        """To be run; None when it cannot be told, or no working could give it."""
        if any(name in self.computed and self.computed.get(other) != value for name, (other, value) in ONLY.items()):
            return None
        try:
            example = Example(self.facts, self.basis, self.computed)
            return Shipped("", *situation_of(example, pack), lambda outcome, computed: True)
        except FactError:
            return None


def near(pack: Pack, rule: Rule) -> list[Near]:
    """Situations near a rule, each once: near its own situations first, then the smallest first."""
    own = len(rule.fires) + len(rule.silent)
    moves = list(_moves(pack, rule))
    found: dict[str, tuple[bool, Near]] = {}
    for n, start in enumerate(_starts(pack, rule)):
        for one in (start, *(start.told(pack, *move) for move in moves)):
            found.setdefault(repr((sorted(one.facts.items(), key=str), sorted(one.basis.items()),
                                   sorted(one.computed.items(), key=str))), (n >= own, one))
    ranked = sorted(found.values(), key=lambda pair: (pair[0], pair[1].size))
    return [one for _, one in ranked[:MOST_NEAR]]


def _starts(pack: Pack, rule: Rule) -> Iterator[Near]:
    own = [Near(one.facts, one.basis, one.computed) for one in (*rule.fires, *rule.silent)]
    yield from own
    rows = list(itertools.islice(_rows(rule.when), MOST_ROWS))
    blocked = list(itertools.islice(_rows(rule.unless), MOST_ROWS)) if rule.unless else []
    bases = [own[0], Near({}, {}, {})]
    if rule.stratum in ("access", "gate") or any(one.scope == "concluded" for one in rule.conditions):
        bases += [Near(one, {}, {}) for one in BEGINNINGS]
    drivers = [{}, *_drivers(pack, rule)]
    for base in bases:
        for row in (*rows, *blocked):
            for driver in drivers:
                one = base
                for name, value in driver.items():
                    one = one.told(pack, name, value)
                for condition in row:
                    for name, value in _holding(condition):
                        one = one.told(pack, name, value, condition.basis[0] if condition.basis else "")
                yield one


def _drivers(pack: Pack, rule: Rule) -> Iterator[Facts]:
    """Facts from which the derived names and dangers that the rule looks at follow."""
    names = {(one.key, str(value)) for one in rule.conditions for value in one.values}
    keys = {one.key for one in rule.conditions if one.scope in ("derived", "concluded")}
    for other in pack.live_rules:
        derived = any(name in keys for name, _ in other.conclude.derived)
        if derived or other.conclude.kind in keys and other.conclude.kind in ("trigger", "stop", "caution") and (
                (other.conclude.kind, other.conclude.name) in names or other.id in ("DECK-010", "WAYS-010")):
            yield from (one.facts for one in other.fires[:2] if not one.computed and not one.basis)


def _rows(one: All) -> Iterator[list[Condition]]:
    """Every way in which `one` can hold, each a row of conditions."""
    parts = [[[part]] if isinstance(part, Condition) else
             [row for alternative in part.alternatives for row in _rows(alternative)] for part in one.parts]
    for chosen in itertools.product(*parts):
        yield [condition for row in chosen for condition in row]


def _holding(one: Condition) -> Iterator[tuple[str, Any]]:
    """A telling under which a condition on a told or computed fact holds."""
    if one.scope not in ("told", "computed"):
        return
    name = one.members[0][0] if one.members else one.key
    values = list(_values(one))
    if one.test == "unknown":
        yield from ((member, None) for member, _ in one.members or ((one.key, ""),))
    elif values:
        yield name, values[0]


def _values(one: Condition) -> Iterator[Any]:
    """Values under which a condition holds, those at its limits first."""
    name = one.members[0][0] if one.members else one.key
    if one.test == "is":
        yield from one.values
    elif one.test == "has":
        yield from ([value] for value in one.values)
    elif one.test == "some":
        yield ["A"]
    elif one.test == "range":
        for bound in one.bounds:
            step = {"at_least": 0, "at_most": 0, "above": 1, "below": -1}[bound.kind]
            yield _whole(bound.number + step)
    elif one.test in ("known", "not"):
        fact = FACTS.get(name)
        yield from (value for value in (fact.values if fact is not None else ()) if value not in one.values)


def _moves(pack: Pack, rule: Rule) -> Iterator[tuple[str, Any, str]]:
    """Every telling that a condition of the rule may tell apart."""
    for driver in _drivers(pack, rule):
        yield from ((name, None, "") for name in driver)
    for one in rule.conditions:
        if one.scope not in ("told", "computed"):
            continue
        for name in dict.fromkeys(member for member, _ in one.members[:1] + one.members[-1:]) or (one.key,):
            fact = FACTS.get(name) or pack.computed.get(name)
            yield name, None, ""
            for value in (*_values(one), *_others(one, fact)):
                yield name, value, ""
                if one.basis:
                    yield from ((name, value, basis) for basis in BASES)


def _others(one: Condition, fact: Any) -> Iterator[Any]:
    """Values on the other side of a condition."""
    whole = fact is not None and fact.unit in COUNTED
    for bound in one.bounds:
        yield from (_whole(bound.number + step) for step in ((-1, 0, 1) if whole else (-1, -0.5, 0, 0.5, 1)))
    if fact is not None and fact.kind == "choice":
        yield from fact.values
    elif fact is not None and fact.kind == "places":
        yield from ("none", *([place] for place in fact.values))
    elif fact is not None and fact.kind == "number" and one.values:
        yield from (_whole(float(value) + step) for value in one.values for step in (-1, 1))


def _whole(value: float) -> float | int:
    return int(value) if float(value).is_integer() else value


@dataclass(frozen=True)
class Notice:
    """A situation that notices mutants of one rule; `expect` has the keys of a test's own."""

    near: Near
    expect: Mapping[str, Any]
    mutants: tuple[Mutant, ...]


def notices(pack: Pack, mutants: Iterable[Mutant]) -> tuple[list[Notice], list[Mutant]]:
    """Situations near a rule that notice the mutants of it, as few as a greedy choice finds, and the mutants that none
    notices. All mutants are of one rule."""
    left = list(mutants)
    if not left:
        return [], []
    rule = pack.rule(left[0].of)
    chosen: list[Notice] = []
    every = near(pack, rule)
    for start in range(0, len(every), AT_ONCE):
        chosen += _choose(pack, rule, every[start:start + AT_ONCE], left)
        if not left:
            break
    return chosen, left


def _choose(pack: Pack, rule: Rule, situations: Iterable[Near], left: list[Mutant]) -> Iterator[Notice]:
    """Situations of these that notice mutants which are left; they are then left no more."""
    pairs = [(one, shipped) for one in situations if (shipped := one.shipped(pack)) is not None]
    trial = Trial(pack, [shipped for _, shipped in pairs])
    seen: dict[tuple[int, str], list[Mutant]] = {}
    for mutant in left:
        for n, key in _noticed(trial, mutant, rule):
            seen.setdefault((n, key), []).append(mutant)
    while left:
        best = max(seen, key=lambda one: (sum(1 for mutant in seen[one] if mutant in left), -pairs[one[0]][0].size),
                   default=None)
        caught = [mutant for mutant in seen[best] if mutant in left] if best is not None else []
        if best is None or not caught:
            return
        yield Notice(pairs[best[0]][0], _expected(trial, best, rule), tuple(caught))
        for mutant in caught:
            left.remove(mutant)


def _noticed(trial: Trial, mutant: Mutant, rule: Rule) -> Iterator[tuple[int, str]]:
    """The situations in which the rule fires with the fault and not without it, or the other way round; for a fault in
    what it concludes, those in which that comes out otherwise."""
    if mutant.rule is None or mutant.rule.conclude == rule.conclude:
        for n in trial.fires_otherwise(mutant):
            yield n, "fires"
        return
    index = {id(one): n for n, one in enumerate(trial.ran)}
    for one, after in trial.changed(mutant):
        for key in _KEYS.get(rule.conclude.kind, ()):
            if came_out(key, one.outcome, one.of.computed) != came_out(key, after, one.of.computed):
                yield index[id(one)], key
                break


# What a fault in a conclusion is looked for in.
_KEYS = {"trigger": ("triggers",), "stop": ("stops",), "caution": ("cautions",), "advice": ("advice",),
         "access": ("access", "reason", "missing"), "gate": ("gate", "missing"), "derive": ("derived",),
         "placement": ("place", "kind", "size_ft")}


def _expected(trial: Trial, at: tuple[int, str], rule: Rule) -> dict[str, Any]:
    n, key = at
    one = trial.ran[n]
    if key == "fires":
        return {"fires" if rule.id in one.fired else "silent": [rule.id]}
    value = came_out(key, one.outcome, one.of.computed)
    if key in ("triggers", "stops", "cautions", "advice"):
        value = [rule.conclude.name]
    elif key == "derived":
        value = [f"{name} {derived}" for name, derived in rule.conclude.derived
                 if not {"{where}", "{value}"} & {derived}] or list(value)
    elif key == "missing":
        value = [rule.conclude.need]
    return {"fires": [rule.id], key: list(value) if isinstance(value, tuple) else value}
