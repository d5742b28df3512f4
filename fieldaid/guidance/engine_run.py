"""Runs a compiled program with durable-rules, stage by stage. Runs inside the child process.

Only the C module is used: its `Host` brings threads that crash. Every evaluation asserts all facts of a stage with
the latch last, drains the agenda, feeds back what was derived, and deletes the state.
"""

from __future__ import annotations

import functools
import itertools
import json
from collections.abc import Iterable, Iterator
from typing import Any

import durable_rules_engine as rules_engine

from fieldaid.guidance import engine_fold as fold
from fieldaid.guidance.engine_compile import Effect, Program, Ruleset, Stage, family_attribute
from fieldaid.guidance.engine_fold import Fired

SESSION = "1"
# Assertion: handled, or nothing looked at some of it. Anything else means that facts were lost.
HANDLED = (0, 1)
_names = itertools.count()
# A text as JSON. The same names and words come up in every evaluation.
_quoted = functools.lru_cache(maxsize=8192)(json.JSONEncoder(ensure_ascii=False).encode)
_decoded = json.JSONDecoder().raw_decode


class EngineBroken(Exception):
    """The engine cut a batch short or returned an error; its state cannot be trusted, so the process must end."""


class LoadedRuleset:
    """One ruleset in the engine. Its session lives from the first `assert_and_drain` to `end`."""

    def __init__(self, number: int, ruleset: Ruleset) -> None:
        self.number, self.effects = number, ruleset.effects
        # A name registered twice is an error, so each ruleset of the process has its own.
        self.handle = rules_engine.create_ruleset(f"rules{next(_names)}", ruleset.definition())
        self.active = False
        self.begin([])
        self.end()

    def begin(self, facts: list[str]) -> list[tuple[Effect, dict[str, dict]]]:
        """Asserts the first facts and the latch; the rows that fired.

        Raises
        ------
        EngineBroken : the boot rule did not fire, so that facts may be lost
        """
        fired = list(self.assert_and_drain(with_latch_last(facts)))
        if not any(name == "boot" for name, _ in fired):
            raise EngineBroken("the boot rule did not fire")
        self.active = True
        return [(self.effects[name], matched) for name, matched in fired if name != "boot"]

    def feed(self, facts: list[str]) -> list[tuple[Effect, dict[str, dict]]]:
        """Asserts facts that rows concluded; the rows that fired then."""
        return [(self.effects[name], matched) for name, matched in self.assert_and_drain(facts)]

    def assert_and_drain(self, facts: list[str]) -> Iterator[tuple[str, dict[str, dict]]]:
        """Asserts facts; the name and the matched messages of each row that fires. Raises EngineBroken."""
        code, state = rules_engine.assert_facts(self.handle, f"[{','.join(facts)}]")
        if code not in HANDLED:
            raise EngineBroken(f"the engine refused facts with code {code}")
        started = rules_engine.start_action_for_state(self.handle, state)
        result = started[1] if started else None
        while result:
            ((name, matched),) = _decoded(result)[0].items()
            yield name, matched
            result = rules_engine.complete_and_start_action(self.handle, state)

    def end(self) -> None:
        """Ends the session, if one was begun."""
        # Deleting a state in which no action ran is a crash.
        if self.active:
            self.active = False
            rules_engine.delete_state(self.handle, SESSION)


def with_latch_last(facts: list[str]) -> list[str]:
    """The facts with the latch behind them: what is negated is looked at when all the rest stands."""
    return [*facts, LATCH_FACT]


LATCH_FACT = json.dumps({"id": "go", "sid": SESSION, "k": "go"})


class Facts:
    """The messages of one evaluation, each waiting for the rulesets that look at its key or its family's."""

    def __init__(self, program: Program, values: dict[str, Any], basis: dict[str, str]) -> None:
        self.program, self.values, self.basis = program, values, basis
        self.count = 0
        self.waiting: list[list[str]] = [[] for _ in program.rulesets]
        self.standing: set[tuple[str, str]] = set()
        for name, value in values.items():
            self.add_value(name, value)
        for key, scope in program.watched.items():
            if scope in ("told", "computed") and program.families.get(key, {key: ""}).keys().isdisjoint(values):
                self.add(f"?{key}")

    def add_value(self, name: str, value: Any) -> None:
        """A told or computed fact; a list of places also stands as one message for each place."""
        known = f',"b":{_quoted(self.basis.get(name, "told"))}'
        if isinstance(value, str):
            self.add(name, f'{known},"s":{_quoted(value)}')
        elif isinstance(value, (int, float)):
            self.add(name, f'{known},"n":{normal_number(value)!r}')
        elif isinstance(value, list) and all(isinstance(place, str) for place in value):
            for place in value:
                self.add(f"{name}@{place}", known)
            self.add(name, f'{known},"s":"some"')
        else:
            self.add(name, known)

    def add(self, key: str, more: str = "") -> None:
        """A message about `key`; `more` holds its further members as JSON, each after a comma."""
        address = self.program.addresses.get(key)
        if address is None:
            address = self.program.addresses[key] = address_of(self.program, key)
        marks, seen_by = address
        if seen_by:
            text = f'{{"id":"f{self.count}",{marks}{more}}}'
            self.count += 1
            for number in seen_by:
                self.waiting[number].append(text)

    def add_word(self, key: str, word: str) -> None:
        self.add(key, f',"s":{_quoted(word)}')

    def stand(self, name: str, value: str = "") -> bool:
        """Adds a fact that a row concluded, once; whether it is new."""
        if (name, value) in self.standing:
            return False
        self.standing.add((name, value))
        if value:
            self.add_word(name, value)
        else:
            self.add(name)
        return True

    def conclude(self, name: str, values: Iterable[str]) -> None:
        """What a stage concluded, for the stages after it."""
        standing = [value for value in values if value]
        for value in standing:
            self.add_word(name, value)
        if not standing and name in self.program.watched:
            self.add(f"?{name}")

    def note_not_derived(self, derived: list[tuple[str, str]]) -> None:
        """Says what the derive stage did not conclude, once it is over."""
        known = {name for name, _ in derived}
        for name, scope in self.program.watched.items():
            if scope == "derived" and name not in known:
                self.add(f"?{name}")
        for name in known & self.program.excluded.keys():
            for value in self.program.excluded[name]:
                if (name, value) not in derived:
                    self.add_word(f"~{name}", value)

    def take_waiting(self, number: int) -> list[str]:
        """What a ruleset has not been given yet, oldest first."""
        found, self.waiting[number] = self.waiting[number], []
        return found


def address_of(program: Program, key: str) -> tuple[str, tuple[int, ...]]:
    """The members of a message that follow from its key, as JSON, and the numbers of the rulesets that look at it."""
    families = families_of(program, key)
    keys = {key, *families.values()}
    marks = {"sid": SESSION, "k": key, **families}
    return (",".join(f"{_quoted(name)}:{_quoted(text)}" for name, text in marks.items()),
            tuple(n for n, one in enumerate(program.rulesets) if not keys.isdisjoint(one.keys)))


def families_of(program: Program, name: str) -> dict[str, str]:
    return {family_attribute(key): key for key, members in program.families.items() if name in members}


def normal_number(value: float) -> float:
    """A float that JSON writes without an exponent: one with it loses the rest of the batch.

    Raises
    ------
    ValueError : not finite, or too large
    """
    number = round(float(value), 4) + 0.0
    if not abs(number) < 1e12:
        raise ValueError(f"{value} cannot be given to the engine")
    return number


class Runner:
    """A program loaded into the engine. Not safe for several threads: the child has one."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.stages = {stage.stratum: stage for stage in program.stages}
        loaded = iter([LoadedRuleset(n, one) for n, one in enumerate(program.rulesets)])
        self.loaded = {stage.stratum: ([next(loaded) for _ in stage.blockers], [next(loaded) for _ in stage.main])
                       for stage in program.stages}

    def run(self, values: dict[str, Any], basis: dict[str, str]) -> dict[str, Any]:
        """The outcome, as the data of `Outcome`, of known values by name.

        Raises
        ------
        EngineBroken : the process must end
        ValueError : a number cannot be given to the engine
        """
        facts = Facts(self.program, values, basis)
        stages = self.stages
        derive = self.run_stage(stages["derive"], facts)
        derived = conclude_derived(derive)
        facts.note_not_derived(derived)
        hazards = self.run_stage(stages["hazards"], facts)
        sets = {kind: fold.names(hazards, kind) for kind in ("trigger", "stop", "caution")}
        for kind, standing in sets.items():
            facts.conclude(kind, standing)
        access_fired = self.run_stage(stages["access"], facts)
        access = fold.decide_access(access_fired)
        facts.conclude("access", [access["access"]])
        facts.conclude("access_reason", [access["access_reason"]])
        gate_fired = self.run_stage(stages["gate"], facts)
        gate = fold.decide_gate(gate_fired, access, values.get("opening.made"))
        facts.conclude("gate", [gate["gate"]])
        placement = self.run_stage(stages["placement"], facts) if gate["gate"] != "no opening" else []
        advice = self.run_stage(stages["advice"], facts)
        everything = sorted([*derive, *hazards, *access_fired, *gate_fired, *placement, *advice],
                            key=lambda one: (one.order, one.where))
        return {
            **access, **gate, "triggers": sets["trigger"], "stops": sets["stop"], "cautions": sets["caution"],
            "advice": fold.names(advice, "advice"), **fold.decide_placement(placement), "derived": sorted(derived),
            "missing": fold.collect_needs(access_fired, gate_fired),
            "firings": [[one.rule.id, one.where, one.value] for one in everything],
        }

    def run_stage(self, stage: Stage, facts: Facts) -> list[Fired]:
        """The firings of one stratum. What the blockers conclude stands before the latch of the main rulesets."""
        blockers, main = self.loaded[stage.stratum]
        self.drain(blockers, facts)
        return self.drain(main, facts)

    def drain(self, rulesets: list[LoadedRuleset], facts: Facts) -> list[Fired]:
        """Runs rulesets over the facts until nothing new is concluded."""
        found: dict[tuple[int, str], Fired] = {}
        try:
            grown = True
            while grown:
                grown = False
                for one in rulesets:
                    new = facts.take_waiting(one.number)
                    if new:
                        rows = one.feed(new) if one.active else one.begin(new)
                        for effect, matched in rows:
                            grown = self.take(effect, matched, facts, found) or grown
        finally:
            for one in rulesets:
                one.end()
        return sorted(found.values(), key=lambda one: (one.order, one.where))

    def take(self, effect: Effect, matched: dict[str, dict], facts: Facts,
             found: dict[tuple[int, str], Fired]) -> bool:
        """Notes what a row means; whether it added a fact. The same row may fire for several matches."""
        if effect.rule is None:
            return facts.stand(effect.holds)
        rule = self.program.rules[effect.rule]
        name = matched[effect.bound]["k"].partition("@")[0] if effect.bound else ""
        where = self.program.families[effect.family][name] if effect.family else ""
        value = shown(facts.values.get(name)) if rule.speaks_value else None
        if (rule.order, where) in found:
            return False
        fired = found[rule.order, where] = Fired(rule.order, where, value, rule)
        grown = False
        for derived, text in rule.conclude["derived"]:
            grown = facts.stand(derived, bound_value(text, fired)) or grown
        return grown


def shown(value: Any) -> str | float | int | None:
    """A value as {value} shows it; None for one that has no short form."""
    if isinstance(value, (str, int, float)):
        return value
    return ", ".join(value) if isinstance(value, list) and all(isinstance(one, str) for one in value) else None


def conclude_derived(fired: list[Fired]) -> list[tuple[str, str]]:
    """The derived values that rules concluded, as (name, value), sorted."""
    return sorted({(name, bound_value(value, one)) for one in fired for name, value in one.rule.conclude["derived"]})


def bound_value(text: str, one: Fired) -> str:
    """A derived value with the place or the value of the match in it."""
    return {"{where}": one.where, "{value}": str(one.value)}.get(text, text)
