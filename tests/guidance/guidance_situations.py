"""Situations for the tests of guidance: a pack's own, and random ones drawn from the vocabulary. All invented."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from fieldaid.data import CHECKOUT
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import BASES, FACTS, Fact
from fieldaid.guidance.examples import situation_of
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import Pack, load_pack
from fieldaid.workings import compute

BARN = Path(__file__).parent / "packs" / "barn"
HOUSE = CHECKOUT / "rules" / "house"

Case = tuple[Situation, dict[str, Any]]


def loaded(name: str) -> Pack:
    """The pack `barn` of the tests, or the pack `house` that is shipped."""
    return load_pack({"barn": BARN, "house": HOUSE}[name])


def used_facts(pack: Pack) -> list[str]:
    """The told facts that live rules test, and those that computed facts come from."""
    found = {"wind.from", "site.a_faces", "fire.side", "roof.form", "roof.ridge_runs", "crew.ladders", "crew.ways_off",
             "crew.air", "building.built"}
    for rule in pack.live_rules:
        for one in [*rule.when.conditions(), *(rule.unless.conditions() if rule.unless else ())]:
            if one.scope == "told":
                found |= {name for name, _ in one.members} or {one.key}
    return sorted(found)


def values_of(fact: Fact) -> st.SearchStrategy[Any]:
    """Values that a fact may have."""
    if fact.kind == "number":
        low, high = int(fact.low or 0), int(fact.high or 0)
        return st.one_of(st.integers(low, high), st.integers(low * 10, high * 10).map(lambda n: n / 10),
                         st.integers(low, min(high, low + 12)))
    if fact.kind == "years":
        return st.one_of(st.integers(1880, 2030), st.integers(188, 203).map(lambda n: f"{n}0-{n}9"))
    if fact.kind == "places":
        return st.one_of(st.just("none"), st.lists(st.sampled_from(fact.values), min_size=1, max_size=3, unique=True))
    if fact.kind == "ladders":
        ladder = st.fixed_dictionaries({
            "place": st.sampled_from(fact.values), "kind": st.sampled_from(["ground", "aerial", "roof"]),
            "usable": st.sampled_from(["yes", "no"])})
        return st.lists(ladder, max_size=3)
    if fact.kind == "air":
        return st.one_of(st.just({"low": "yes"}), st.integers(0, 30).map(lambda n: {"minutes": n}),
                         st.integers(0, 20).map(lambda n: {"fraction": n / 20}))
    return st.sampled_from(fact.values)


def situations(pack: Pack) -> st.SearchStrategy[Case]:
    """Situations of up to 25 told facts, any basis, with their computed facts."""
    names = used_facts(pack)
    told = st.lists(st.sampled_from(names), max_size=25, unique=True).flatmap(
        lambda chosen: st.fixed_dictionaries({name: values_of(FACTS[name]) for name in chosen}))
    basis = st.dictionaries(st.sampled_from(names), st.sampled_from(BASES), max_size=6)
    return st.builds(lambda facts, how: case(pack, facts, how), told, basis)


def case(pack: Pack, facts: dict[str, Any], basis: dict[str, str] | None = None) -> Case:
    situation = Situation.of(facts, basis)
    return situation, {name: one.value for name, one in compute(situation, pack.parameter_values()).items()}


def _random_value(fact: Fact, rng: random.Random) -> Any:
    if fact.kind == "number":
        high = fact.high if rng.random() < 0.3 else min(fact.high or 0, (fact.low or 0) + 40)
        number = rng.uniform(fact.low or 0, high or 0)
        return round(number) if rng.random() < 0.7 else round(number, 1)
    if fact.kind == "years":
        return rng.randint(1880, 2030)
    if fact.kind == "places":
        return "none" if rng.random() < 0.5 else rng.sample(fact.values, rng.randint(1, 2))
    if fact.kind == "ladders":
        return [{"place": rng.choice(fact.values), "kind": rng.choice(["ground", "aerial", "roof"]),
                 "usable": rng.choice(["yes", "yes", "no"])} for _ in range(rng.randint(0, 3))]
    if fact.kind == "air":
        return rng.choice([{"low": "yes"}, {"minutes": rng.randint(0, 30)}, {"fraction": rng.randint(0, 20) / 20}])
    return rng.choice(fact.values)


def random_cases(pack: Pack, count: int, seed: int = 1) -> list[Case]:
    """Random situations, and each rule's firing situations with some facts changed, added or taken out: rules with
    many conditions hardly fire by chance."""
    rng = random.Random(seed)
    names = used_facts(pack)
    examples = [example for rule in pack.live_rules for example in (*rule.fires, *rule.silent)]
    found: list[Case] = []
    for n in range(count):
        facts: dict[str, Any] = {}
        basis: dict[str, str] = {}
        if n % 2:
            example = rng.choice(examples)
            facts, basis = dict(example.facts), dict(example.basis)
            for name in rng.sample(sorted(facts), min(len(facts), rng.choice([0, 1, 1, 2]))):
                del facts[name]
            facts = {name: value for name, value in facts.items() if value != "cannot tell"}
        for name in rng.sample(names, rng.randint(0, 4) if n % 2 else rng.randint(1, 25)):
            facts[name] = _random_value(FACTS[name], rng)
        for name in facts:
            if rng.random() < 0.2:
                basis[name] = rng.choice(BASES)
        found.append(case(pack, facts, basis))
    return found


def example_cases(pack: Pack) -> list[Case]:
    return [situation_of(example, pack) for rule in pack.live_rules for example in (*rule.fires, *rule.silent)]


def shuffled(one: Case, rng: random.Random) -> Case:
    """The same situation with its facts in another order."""
    situation, computed = one
    names = list(situation.values)
    rng.shuffle(names)
    return (Situation({name: situation.values[name] for name in names}, situation.basis, situation.cannot_tell),
            dict(rng.sample(sorted(computed.items()), len(computed))))


def described(one: Case, mine: Outcome, theirs: Outcome) -> str:
    """What a failed comparison shows."""
    differ = {name: (getattr(mine, name), getattr(theirs, name)) for name in mine.differences(theirs)}
    return f"{dict(one[0].values)} basis {dict(one[0].basis)} computed {one[1]}: {differ}"
