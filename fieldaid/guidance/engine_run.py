"""Runs a compiled program with durable-rules, stage by stage. Runs inside the child process.

Only the C module is used: its `Host` brings threads that crash. Every evaluation asserts all facts of a stage with
the latch last, drains the agenda, feeds back what was derived, and deletes the state.
"""

from __future__ import annotations

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
_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


class EngineBroken(Exception):
    """The engine cut a batch short or returned an error; its state cannot be trusted, so the process must end."""


class LoadedRuleset:
    """One ruleset in the engine. Its session lives from the first `assert_and_drain` to `end`."""

    def __init__(self, ruleset: Ruleset) -> None:
        self.keys, self.effects = ruleset.keys, ruleset.effects
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
        code, state = rules_engine.assert_facts(self.handle, f"[{','.join(facts)}]")
        if code not in HANDLED:
            raise EngineBroken(f"the engine refused facts with code {code}")
        started = rules_engine.start_action_for_state(self.handle, state)
        result = started[1] if started else None
        while result:
            ((name, matched),) = json.loads(result).items()
            yield name, matched
            result = rules_engine.complete_and_start_action(self.handle, state)

    def end(self) -> None:
        # Deleting a state in which no action ran is a crash.
        if self.active:
            self.active = False
            rules_engine.delete_state(self.handle, SESSION)


def with_latch_last(facts: list[str]) -> list[str]:
    return [*facts, LATCH_FACT]


LATCH_FACT = json.dumps({"id": "go", "sid": SESSION, "k": "go"})


class Facts:
    """The messages of one evaluation, with the keys by which rulesets look at them."""

    def __init__(self, program: Program, values: dict[str, Any], basis: dict[str, str]) -> None:
        self.program, self.values, self.basis = program, values, basis
        self.messages: list[tuple[tuple[str, ...], str]] = []
        self.standing: set[tuple[str, str]] = set()
        for name, value in values.items():
            self.add_value(name, value)
        for key, scope in program.watched.items():
            if scope in ("told", "computed") and not any(name in values for name in program.families.get(key, (key,))):
                self.add(f"?{key}")

    def add_value(self, name: str, value: Any) -> None:
        """A told or computed fact; a list of places also stands as one message for each place."""
        marks = families_of(self.program, name)
        message: dict[str, Any] = {**marks, "b": self.basis.get(name, "told")}
        if isinstance(value, str):
            message["s"] = value
        elif isinstance(value, (int, float)):
            message["n"] = normal_number(value)
        elif isinstance(value, list) and all(isinstance(place, str) for place in value):
            message["s"] = "some"
            for place in value:
                self.add(f"{name}@{place}", {"b": message["b"]})
        self.add(name, message)

    def add(self, key: str, message: dict[str, Any] | None = None) -> None:
        message = message or {}
        keys = (key, *(message[one] for one in ("g", "f") if one in message))
        if self.program.keys.isdisjoint(keys):
            return
        text = _encode({"id": f"f{len(self.messages)}", "sid": SESSION, "k": key, **message})
        self.messages.append((keys, text))

    def stand(self, name: str, value: str = "") -> bool:
        """Adds a fact that a row concluded, once; whether it is new."""
        if (name, value) in self.standing:
            return False
        self.standing.add((name, value))
        self.add(name, {"s": value} if value else None)
        return True

    def conclude(self, name: str, values: Iterable[str]) -> None:
        """What a stage concluded, for the stages after it."""
        standing = [value for value in values if value]
        for value in standing:
            self.add(name, {"s": value})
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
                    self.add(f"~{name}", {"s": value})

    def seen_by(self, keys: set[str], since: int = 0) -> list[str]:
        return [text for marks, text in self.messages[since:] if not keys.isdisjoint(marks)]


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
        self.loaded = {stage.stratum: ([LoadedRuleset(one) for one in stage.blockers],
                                       [LoadedRuleset(one) for one in stage.main]) for stage in program.stages}

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
        given = [0] * len(rulesets)
        try:
            grown = True
            while grown:
                grown = False
                for i, one in enumerate(rulesets):
                    new, given[i] = facts.seen_by(one.keys, given[i]), len(facts.messages)
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
    return sorted({(name, bound_value(value, one)) for one in fired for name, value in one.rule.conclude["derived"]})


def bound_value(text: str, one: Fired) -> str:
    return {"{where}": one.where, "{value}": str(one.value)}.get(text, text)
