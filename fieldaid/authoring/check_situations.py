"""Finds a small situation that shows what a check claims.

The solver knows computed facts only as free values, so what it finds is tried on the reference channel with the real
workings. Candidates are the rules' own situations put together, and the solver's, mended step by step with a fixed
seed. What is shown is cut down until no fact can be left out.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from fieldaid.authoring.check_bench import Bench
from fieldaid.authoring.pack_form import written
from fieldaid.errors import FactError
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import COMPASS, CORNERS, FACTS, SIDES
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import Rule
from fieldaid.guidance.reference import Reference

SEED = 20_26
TRIES = 600
MOST_COMBINED = 24
# Facts that computed facts follow from, with values that between them give every computed value.
INPUTS: Mapping[str, tuple[Any, ...]] = {
    "building.built": (1910, 1930, 1948, 1958, 1975, 1985, 2005, "1940-1960"),
    "crew.air": ({"low": "yes"}, {"fraction": 0.9}),
    "crew.ladders": ([{"place": "A", "kind": "ground"}], [{"place": "A", "kind": "aerial"}],
                     [{"place": "A", "kind": "ground"}, {"place": "BC", "kind": "ground"}]),
    "crew.ways_off": (0, 1, 2, 3),
    "fire.side": (*SIDES, *CORNERS, "centre"),
    "roof.form": FACTS["roof.form"].values,
    "roof.ridge_runs": FACTS["roof.ridge_runs"].values,
    "roof.solar": (["A"], ["C"], ["A", "C"]),
    "site.a_faces": COMPASS,
    "wind.from": FACTS["wind.from"].values,
    "wind.mph": (0, 8, 30),
}
_OPAQUE = {"building.built": 1958, "crew.air": {"fraction": 0.9}, "crew.ladders": [{"place": "A", "kind": "ground"}]}

Wanted = Callable[[Outcome], bool]
Told = tuple[dict[str, Any], dict[str, str]]


def smallest(bench: Bench, wanted: Wanted, atoms: list[str], rules: Iterable[Rule]) -> str:
    """A situation of told facts in which `wanted` holds, in the form of a rule's own situations; "" for none found."""
    run = _Runner(bench)
    best: Told | None = None
    for candidate in itertools.chain(_from_examples(list(rules)), _from_solver(bench, run, atoms, wanted)):
        outcome = run(candidate)
        if outcome is not None and wanted(outcome):
            shorter = _cut_down(candidate, run, wanted)
            if best is None or len(shorter[0]) < len(best[0]):
                best = shorter
    return written(*best) if best else ""


class _Runner:
    """Runs told facts through the reference channel; None for facts that cannot be told."""

    def __init__(self, bench: Bench) -> None:
        from fieldaid.workings import compute

        self.reference, self.parameters, self.compute = Reference(bench.pack), bench.pack.parameter_values(), compute

    def computed(self, told: Told) -> dict[str, Any] | None:
        try:
            situation = Situation.of(*told)
        except FactError:
            return None
        return {name: one.value for name, one in self.compute(situation, self.parameters).items()}

    def __call__(self, told: Told) -> Outcome | None:
        computed = self.computed(told)
        return None if computed is None else self.reference.run(Situation.of(*told), computed)


def _from_examples(rules: list[Rule]) -> Iterator[Told]:
    """The rules' own situations put together, those of told facts alone."""
    told = [[one for one in rule.fires if not one.computed] for rule in rules[:4]]
    for chosen in itertools.islice(itertools.product(*(one for one in told if one)), MOST_COMBINED):
        facts: dict[str, Any] = {}
        basis: dict[str, str] = {}
        for example in chosen:
            facts |= example.facts
            basis |= example.basis
        yield facts, basis


def _from_solver(bench: Bench, run: _Runner, atoms: list[str], wanted: Wanted) -> Iterator[Told]:
    """The solver's situation, its inputs changed one at a time until the workings give what it assumed."""
    found = bench.logic.ask(atoms)
    if found is None:
        return
    facts = {name: _OPAQUE.get(name, value) for name, value in found.values.items() if name in FACTS}
    assumed = {name: value for name, value in found.values.items() if name not in FACTS}
    rng = random.Random(SEED)
    best, score = facts, -1
    for step in range(TRIES):
        trial = dict(best)
        for _ in range(rng.randint(1, 3) if step else 0):
            name = rng.choice(sorted(INPUTS))
            if rng.random() < 0.2:
                trial.pop(name, None)
            else:
                trial[name] = rng.choice(INPUTS[name])
        told = trial, {name: how for name, how in found.basis.items() if name in trial}
        computed = run.computed(told)
        if computed is None:
            continue
        reached = sum(1 for name, value in assumed.items() if _alike(computed.get(name), value))
        if reached >= score:
            best, score = trial, reached
            outcome = run(told)
            if outcome is not None and wanted(outcome):
                yield told
                return


def _alike(one: Any, other: Any) -> bool:
    return one == other or isinstance(one, (int, float)) and isinstance(other, (int, float)) and abs(one - other) < 1


def _cut_down(told: Told, run: _Runner, wanted: Wanted) -> Told:
    """`told` without every fact that is not needed."""
    facts, basis = dict(told[0]), {name: how for name, how in told[1].items() if name in told[0]}
    for name in sorted(facts, key=lambda one: -len(str(facts[one]))):
        fewer = {key: value for key, value in facts.items() if key != name}
        how = {key: value for key, value in basis.items() if key != name}
        outcome = run((fewer, how))
        if outcome is not None and wanted(outcome):
            facts, basis = fewer, how
    for name in list(basis):
        fewer_basis = {key: value for key, value in basis.items() if key != name}
        outcome = run((facts, fewer_basis))
        if outcome is not None and wanted(outcome):
            basis = fewer_basis
    return facts, basis
