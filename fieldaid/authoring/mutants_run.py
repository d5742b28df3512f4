"""Runs mutants against what ships with a pack: each rule's own situations and the situations of its tests.

A mutant changes one rule. What every shipped situation gives with the sound pack is kept with the view that its rules
saw; only where the faulty rule fires differently there is the situation run anew. That makes thousands of mutants a
matter of seconds.
"""

from __future__ import annotations

import copy
import itertools
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fieldaid.authoring.mutants import ADVISORY, Mutant, mutants
from fieldaid.authoring.test_files import came_out, read_tests, wrong_in
from fieldaid.errors import BrokenData
from fieldaid.facts.situation import Situation
from fieldaid.guidance.examples import situation_of
from fieldaid.guidance.outcome import Firing, Outcome
from fieldaid.guidance.pack import Pack
from fieldaid.guidance.reference import CompiledRule, Reference, View, compile_rule, fire

Computed = Mapping[str, Any]
Passes = Callable[[Outcome, Computed], bool]


@dataclass(frozen=True)
class Shipped:
    """One situation that ships with a pack, whether an outcome is what it expects, and the rules it expects it of."""

    name: str
    situation: Situation
    computed: Computed
    passes: Passes
    rules: frozenset[str] = frozenset()


@dataclass
class Ran:
    """A shipped situation as the sound pack gives it."""

    of: Shipped
    outcome: Outcome
    view: View
    fired: dict[str, tuple[Firing, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Survivor:
    """A mutant that no shipped situation noticed, and why that may be."""

    mutant: Mutant
    reason: str
    situation: Situation | None = None


@dataclass
class Mutation:
    """How many mutants there are by kind, how many were caught, and which survived."""

    made: dict[str, int] = field(default_factory=dict)
    caught: dict[str, int] = field(default_factory=dict)
    survivors: list[Survivor] = field(default_factory=list)

    @property
    def share(self) -> float:
        """Caught mutants of all; 1 when there are none."""
        return sum(self.caught.values()) / sum(self.made.values()) if self.made else 1.0

    @property
    def share_of_real(self) -> float:
        """Caught mutants of those that change an answer somewhere."""
        same = sum(1 for one in self.survivors if one.situation is None)
        real = sum(self.made.values()) - same
        return sum(self.caught.values()) / real if real else 1.0


def shipped(folder: Path, pack: Pack) -> list[Shipped]:
    """Every situation that ships with the pack in `folder`; under an overlay those of the overlay alone, because the
    base's presuppose the base's thresholds.

    Raises
    ------
    BrokenData : a file of situations is wrong
    """
    found = []
    for rule in pack.live_rules:
        if pack.overlays and not Path(rule.file).is_relative_to(folder):
            continue
        for must_fire, examples in ((True, rule.fires), (False, rule.silent)):
            for n, example in enumerate(examples, 1):
                found.append(Shipped(f"{rule.id} {'fires' if must_fire else 'silent'} {n}",
                                     *situation_of(example, pack), _fires(rule.id, must_fire),
                                     frozenset([rule.id])))
    tests, findings = read_tests(folder, pack)
    if findings:
        raise BrokenData("the situations of the pack cannot be read", findings,
                         next_step=f"mend what fieldaid rules test {folder}"
                                   f"{f' --on {pack.folder}' if pack.overlays else ''} lists")
    return [*found, *(Shipped(one.name, *situation_of(one.given, pack), _expects(one.expect), _named(one.expect))
                      for one in tests)]


def _named(expect: Mapping[str, Any]) -> frozenset[str]:
    return frozenset(rule for key in ("fires", "silent") if key in expect for rule in expect[key].items)


def _fires(rule: str, must: bool) -> Passes:
    return lambda outcome, computed: any(one.rule == rule for one in outcome.firings) == must


def _expects(expect: Mapping[str, Any]) -> Passes:
    return lambda outcome, computed: not any(wrong_in(key, expected, came_out(key, outcome, computed))
                                             for key, expected in expect.items())


class Trial:
    """The sound pack's answers on some situations, and what a faulty rule changes of them."""

    def __init__(self, pack: Pack, situations: Iterable[Shipped]) -> None:
        self.pack, self.reference = pack, Reference(pack)
        self.ran = [self._run(one) for one in situations]

    def _run(self, one: Shipped) -> Ran:
        outcome, view = self.reference.run_with_view(one.situation, one.computed)
        ran = Ran(one, outcome, view)
        for firing in outcome.firings:
            ran.fired[firing.rule] = (*ran.fired.get(firing.rule, ()), firing)
        return ran

    def failing(self) -> list[str]:
        """Situations that the sound pack itself fails."""
        return [one.of.name for one in self.ran if not one.of.passes(one.outcome, one.of.computed)]

    def changed(self, mutant: Mutant, among: Iterable[Ran] | None = None) -> Iterable[tuple[Ran, Outcome]]:
        """The situations, of some or of all, that come out otherwise with the mutant, with what comes out."""
        faulty = compile_rule(mutant.rule) if mutant.rule is not None else None
        sound = self.pack.rule(mutant.of)
        same_conclusion = mutant.rule is not None and mutant.rule.conclude == sound.conclude
        reference = self._with(mutant.of, faulty)
        for one in self.ran if among is None else among:
            before = one.fired.get(mutant.of, ())
            if faulty is None or not same_conclusion:
                touched = bool(before) if faulty is None else bool(before or _fire(faulty, one.view))
            else:
                touched = _fire(faulty, one.view) != before and _ran_at_all(sound.stratum, one.outcome)
            if touched:
                after = reference.run(one.of.situation, one.of.computed)
                if after != one.outcome:
                    yield one, after

    def fires_otherwise(self, mutant: Mutant) -> Iterable[int]:
        """The numbers of the situations in which the rule fires with the fault only, or without it only."""
        faulty = compile_rule(mutant.rule) if mutant.rule is not None else None
        stratum = self.pack.rule(mutant.of).stratum
        for n, one in enumerate(self.ran):
            after = bool(_fire(faulty, one.view)) if faulty is not None and _ran_at_all(stratum, one.outcome) else False
            if after != (mutant.of in one.fired):
                yield n

    def catches(self, mutant: Mutant) -> str | None:
        """A shipped situation that fails with the mutant; None if none does. Those that name the rule come first: most
        faults fail one of them, and then the others need not be run."""
        ordered = sorted(self.ran, key=lambda one: mutant.of not in one.of.rules)
        return next((one.of.name for one, after in self.changed(mutant, ordered)
                     if not one.of.passes(after, one.of.computed)), None)

    def _with(self, rule_id: str, faulty: CompiledRule | None) -> Reference:
        reference = copy.copy(self.reference)
        reference.strata = {
            stratum: [other for one in rules for other in ([one] if one.rule.id != rule_id
                                                           else [faulty] if faulty is not None else [])]
            for stratum, rules in self.reference.strata.items()}
        return reference


def _fire(rule: CompiledRule, view: View) -> tuple[Firing, ...]:
    return tuple(firing for _, firing in sorted(fire([rule], view), key=lambda one: one[1].where))


def _ran_at_all(stratum: str, outcome: Outcome) -> bool:
    return stratum != "placement" or outcome.gate != "no opening"


def mutate(trial: Trial, probe: Trial, start: int = 0, stop: int | None = None) -> Mutation:
    """Tries the mutants `start` to `stop` on the shipped situations of `trial`; a survivor is then tried on those of
    `probe`, which expect nothing, to tell a fault that goes unnoticed from one that changes no answer at all."""
    pack = trial.pack
    found = Mutation()
    for mutant in itertools.islice(mutants(pack), start, stop):
        found.made[mutant.kind] = found.made.get(mutant.kind, 0) + 1
        if trial.catches(mutant) is not None:
            found.caught[mutant.kind] = found.caught.get(mutant.kind, 0) + 1
        else:
            found.survivors.append(_survivor(mutant, trial, probe, pack))
    return found


def _survivor(mutant: Mutant, trial: Trial, probe: Trial, pack: Pack) -> Survivor:
    first: Situation | None = None
    for one, after in (*trial.changed(mutant), *probe.changed(mutant)):
        before = one.outcome
        if (before.access, before.gate, before.triggers, before.stops) != (
                after.access, after.gate, after.triggers, after.stops):
            return Survivor(mutant, "changes an answer that no shipped situation looks at", one.of.situation)
        first = first or one.of.situation
    if first is not None:
        stratum = pack.rule(mutant.of).stratum
        what = "advice or placement" if stratum in ADVISORY else "cautions, derived names or the list of rules"
        return Survivor(mutant, f"changes only {what}, in a situation that does not ship", first)
    return Survivor(mutant, f"changes nothing in {len(trial.ran) + len(probe.ran)} situations")
