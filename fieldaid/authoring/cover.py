"""What the shipped situations of a pack show: of its rules, of every condition, and of the gate facts together.

A rule is shown when one situation makes it fire and one leaves it silent. A condition is shown when it alone decided
both ways: once the rule fired and would have been silent without it, once the rule was silent only for want of it
(masking MC/DC, as for decisions in code). What is not shown is put to the solver, with the condition forced to hold and
forced to fail: either no situation makes it decide, which proves that it cannot flip the rule, or it is still to show.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from fieldaid.authoring.check_logic import Logic
from fieldaid.authoring.covering import measured
from fieldaid.authoring.mutants_run import Shipped, shipped
from fieldaid.authoring.pack_form import show as shown
from fieldaid.authoring.provenance import Own, own_of
from fieldaid.authoring.situations_gate import LEVELS, levels_of
from fieldaid.guidance.conditions import All, AnyOf, Condition
from fieldaid.guidance.pack import Pack, Rule
from fieldaid.guidance.reference import Reference, compile_condition

Way = str  # "with it" (the rule fires by it) or "for want of it" (it alone keeps the rule silent)
WITH, WANT = "with it", "for want of it"
_HERE = {(False, WITH): "the rule fires with it", (False, WANT): "it alone keeps the rule silent",
         (True, WITH): "the rule fires without it", (True, WANT): "it alone silences the rule"}


@dataclass(frozen=True)
class Leaf:
    """One condition of one rule. `index` counts the rule's conditions in the order written, `unless` last."""

    rule: str
    index: int
    condition: Condition
    negated: bool

    @property
    def text(self) -> str:
        """The condition as the pack writes it."""
        return f"{'unless ' if self.negated else ''}{shown(self.condition)}"


@dataclass(frozen=True)
class Lack:
    """One way in which a condition is not shown. `proved` says why it cannot be, or is empty: still to show."""

    leaf: Leaf
    way: Way
    proved: str = ""

    @property
    def text(self) -> str:
        """The rule, the condition, and in which way it is not shown."""
        return f"{self.leaf.rule} {self.leaf.text}: {_HERE[self.leaf.negated, self.way]}"


@dataclass
class Coverage:
    """How many rules and conditions there are, what is not shown of them, and the gate facts met t at a time."""

    rules: int
    leaves: int
    situations: int
    never_fires: list[str] = field(default_factory=list)
    never_silent: list[str] = field(default_factory=list)
    lacks: list[Lack] = field(default_factory=list)
    together: dict[int, tuple[int, int]] = field(default_factory=dict)

    @property
    def to_show(self) -> list[Lack]:
        """What is not shown and might be."""
        return [one for one in self.lacks if not one.proved]

    @property
    def proved(self) -> list[Lack]:
        """What is not shown and cannot be."""
        return [one for one in self.lacks if one.proved]

    @property
    def shown(self) -> int:
        """Conditions shown in every way that they can be."""
        return self.leaves - len({one.leaf for one in self.to_show})

    @property
    def whole(self) -> bool:
        """Whether nothing is left to show."""
        return not (self.never_fires or self.never_silent or self.to_show)


def leaves_of(rule: Rule) -> list[Leaf]:
    """Every condition of a rule."""
    found = [(one, False) for one in rule.when.conditions()]
    found += [(one, True) for one in (rule.unless.conditions() if rule.unless else ())]
    return [Leaf(rule.id, n, one, negated) for n, (one, negated) in enumerate(found)]


def cover(folder: Path, pack: Pack, strengths: Sequence[int] = (2, 3), prove: bool = True) -> Coverage:
    """What the situations that ship with the pack show. Under an overlay: what those of the overlay show of the rules
    that it adds, and of the conditions that read a threshold it sets.

    Raises
    ------
    BrokenData : a file of situations is wrong
    """
    situations = shipped(folder, pack)
    own = own_of(pack)
    live = [rule for rule in pack.live_rules if own is None or rule.id in own.rules]
    leaves = [leaf for rule in live for leaf in leaves_of(rule)]
    limits = [rule for rule in pack.live_rules if own is not None and rule.id not in own.rules and own.reads(rule)]
    leaves += [leaf for rule in limits for leaf in leaves_of(rule) if own is not None and _reads(leaf, own)]
    found = Coverage(len(live), len(leaves), len(situations))
    fired, silent, ways = _run(pack, [*live, *limits], situations)
    found.never_fires = [rule.id for rule in live if rule.id not in fired]
    found.never_silent = [rule.id for rule in live if rule.id not in silent]
    found.lacks = [Lack(leaf, way) for leaf in leaves for way in (WITH, WANT)
                   if (leaf.rule, leaf.index, way) not in ways]
    if prove and found.lacks:
        found.lacks = list(Prover(pack, found.lacks).proved())
    if own is not None:
        return found
    array = np.array([levels_of(one.situation) for one in situations], dtype=np.uint8)
    array = np.unique(array, axis=0) if len(array) else array.reshape(0, len(LEVELS))
    found.together = {strength: measured(array, LEVELS, strength) for strength in strengths}
    return found


def _reads(leaf: Leaf, own: Own) -> bool:
    return any(bound.parameter in own.parameters for bound in leaf.condition.bounds)


def _run(pack: Pack, live: list[Rule], situations: Sequence[Shipped]
         ) -> tuple[set[str], set[str], set[tuple[str, int, Way]]]:
    reference = Reference(pack)
    tests = [(rule, leaves_of(rule), [compile_condition(one.condition) for one in leaves_of(rule)]) for rule in live]
    fired: set[str] = set()
    silent: set[str] = set()
    ways: set[tuple[str, int, Way]] = set()
    for one in situations:
        outcome, view = reference.run_with_view(one.situation, one.computed)
        standing = {firing.rule for firing in outcome.firings}
        for rule, leaves, holds in tests:
            (fired if rule.id in standing else silent).add(rule.id)
            if rule.stratum == "placement" and outcome.gate == "no opening":
                continue
            truth = [test(view) for test in holds]
            ways.update((rule.id, leaf.index, way) for leaf, way in deciding(rule, leaves, truth))
    return fired, silent, ways


def deciding(rule: Rule, leaves: list[Leaf], truth: list[bool]) -> Iterator[tuple[Leaf, Way]]:
    """The conditions that alone decide, given which of them hold."""
    fires = holds(rule, truth)
    for leaf in leaves:
        turned = list(truth)
        turned[leaf.index] = not turned[leaf.index]
        if holds(rule, turned) != fires:
            yield leaf, WITH if fires else WANT


def holds(rule: Rule, truth: Sequence[bool]) -> bool:
    """Whether a rule fires when its conditions hold as `truth` says, in the order of `leaves_of`."""
    left = iter(truth)
    # Every condition takes its turn, also where the answer is clear already.
    when = _all_holds(rule.when, left)
    return when and not (rule.unless is not None and _all_holds(rule.unless, left))


def _all_holds(one: All, left: Iterator[bool]) -> bool:
    found = []
    for part in one.parts:
        if isinstance(part, Condition):
            found.append(next(left))
        else:
            alternatives = [_all_holds(alternative, left) for alternative in part.alternatives]
            found.append(any(alternatives))
    return all(found)


# Proof by the solver

Forced = All | bool
_ALWAYS = All((AnyOf(tuple(All((Condition("crew.where", "told", test),)) for test in ("known", "unknown"))),))


def force(one: All, index: int, value: bool) -> Forced:
    """`one` with its condition number `index` held true or false for good: what is left of it, or that it always or
    never holds.

    >>> day, dusk = (Condition("light", "told", "is", (one,)) for one in ("day", "dusk"))
    >>> force(All((day, dusk)), 0, True) == All((dusk,)), force(All((day, dusk)), 1, False)
    (True, False)
    """
    return _force(one, [index], value)


def _force(one: All, index: list[int], value: bool) -> Forced:
    # Once the condition was met the count runs below -1 and meets no other.
    parts: list[Condition | AnyOf] = []
    for part in one.parts:
        if isinstance(part, Condition):
            index[0] -= 1
            if index[0] != -1:
                parts.append(part)
            elif not value:
                return False
            continue
        left = [_force(alternative, index, value) for alternative in part.alternatives]
        if any(alternative is True for alternative in left):
            continue
        kept = tuple(alternative for alternative in left if isinstance(alternative, All))
        if not kept:
            return False
        parts.append(AnyOf(kept))
    return All(tuple(parts)) if parts else True


def forced_rule(rule: Rule, leaf: Leaf, value: bool) -> Rule | bool:
    """The rule with one condition forced; True where it then always fires, False where it never does."""
    count = sum(1 for _ in rule.when.conditions())
    if not leaf.negated:
        when = force(rule.when, leaf.index, value)
        if when is False:
            return False
        if when is True:
            return True if rule.unless is None else replace(rule, when=_ALWAYS)
        return replace(rule, when=when)
    assert rule.unless is not None
    unless = force(rule.unless, leaf.index - count, value)
    if unless is True:
        return False
    return replace(rule, unless=None if unless is False else unless)


@dataclass(frozen=True)
class Asked:
    """A lack as a question: the rule, and its forced form, one of which must fire while the other is silent."""

    lack: Lack
    rule: Rule
    forced: Rule | bool


class Prover:
    """Puts lacks to the solver. The forced rules are drafts beside the pack: they fire and conclude nothing."""

    def __init__(self, pack: Pack, lacks: Sequence[Lack]) -> None:
        self.pack = pack
        self.asked: list[Asked] = []
        extra: list[Rule] = []
        for n, lack in enumerate(lacks):
            rule = pack.rule(lack.leaf.rule)
            # To fire with it: without it the rule is silent. To be silent for want of it: with it the rule fires.
            value = (lack.way == WANT) != lack.leaf.negated
            forced = forced_rule(rule, lack.leaf, value)
            if isinstance(forced, Rule):
                forced = replace(forced, id=f"FORCED-{n}", status="draft", order=len(pack.rules) + n)
                extra.append(forced)
            self.asked.append(Asked(lack, rule, forced))
        self.extra = extra
        self.logic = Logic(replace(pack, rules=(*pack.rules, *extra)))

    def atoms(self, one: Asked) -> tuple[list[str], list[str]] | None:
        """What must hold and what must not for the condition to decide; None where it never can by its form."""
        fires = self.logic.fires(one.rule)
        if one.lack.way == WITH:
            if one.forced is True:
                return None
            return [fires], [] if one.forced is False else [self.logic.fires(one.forced)]
        if one.forced is False:
            return None
        return [] if one.forced is True else [self.logic.fires(one.forced)], [fires]

    def proved(self) -> Iterator[Lack]:
        """Every lack, with the proof where there is one."""
        for one in self.asked:
            atoms = self.atoms(one)
            if atoms is None:
                yield replace(one.lack, proved="the rule's own form leaves it nothing to decide")
            elif not self.logic.possible(*atoms):
                yield replace(one.lack, proved=self._why(one))
            else:
                yield one.lack

    def _why(self, one: Asked) -> str:
        if not self.logic.possible([self.logic.fires(one.rule)]):
            return "the rule itself can never fire"
        key = one.lack.leaf.condition.key
        others = [leaf.condition.key for leaf in leaves_of(one.rule) if leaf.index != one.lack.leaf.index]
        also = f", because {' or '.join(dict.fromkeys(others))} settles it each time" if others else ""
        return f"no situation lets {key} alone decide{also}"


def shares(found: Mapping[int, tuple[int, int]]) -> Iterator[str]:
    """A sentence for each strength: how many combinations of that many gate facts were met."""
    for strength, (met, of) in found.items():
        yield f"{met} of {of} combinations of {strength} gate facts ({100 * met / of:.1f} %)"
