"""Faults planted in either channel are each noticed by the other, on the situations of a pack and near them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from engine_faults import FAULTS as ENGINE_FAULTS
from guidance_situations import Case, case, example_cases, loaded, random_cases

from fieldaid.errors import EngineError
from fieldaid.guidance import engine as engine_module
from fieldaid.guidance import reference as code
from fieldaid.guidance.conditions import All, AnyOf, Condition
from fieldaid.guidance.engine import Engine, is_installed
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.reference import Reference

pytestmark = pytest.mark.skipif(not is_installed(), reason="durable-rules is not installed")

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def pack():
    return loaded("barn")


GOOD = {
    "roof.form": "gable", "deck.A": "solid", "fire.attic": "not seen", "crew.masks": "on", "crew.count": 3,
    "crew.ways_off": 2, "command.roof": "open", "roof.wires": "none", "roof.surface": "dry", "roof.solar": "none",
    "command.mode": "offensive", "crew.where": "ladder", "wind.mph": 5,
}
# What random situations hardly meet: nothing bars but one thing; two placement rules that contradict each other; an
# opening half made; two reasons at once.
RARE = [
    {**GOOD, "weather.lightning": "yes"},
    {**GOOD, "water.on_fire": "no"},
    {**GOOD, "roof.framing": "rafters", "opening.made": "part", "water.on_fire": "yes"},
    {"wind.mph": 40, "crew.where": "ground"},
]


@pytest.fixture(scope="module")
def cases(pack) -> list[Case]:
    return [*example_cases(pack), *(case(pack, one) for one in RARE), *random_cases(pack, 500, seed=23)]


@pytest.fixture(scope="module")
def healthy(pack, cases) -> list[Outcome]:
    """What the healthy engine says; the healthy reference says the same, as another test proves."""
    with Engine(pack) as engine:
        assert engine.wait_ready(10)
        outcomes = [engine.run(*one) for one in cases]
    assert outcomes == [Reference(pack).run(*one) for one in cases]
    return outcomes


@pytest.mark.parametrize("fault", sorted(ENGINE_FAULTS))
def test_a_fault_in_the_engine_is_noticed(fault, pack, cases, healthy, monkeypatch):
    plant = (f"import sys; sys.path[:0] = [{str(engine_module._ROOT)!r}, {str(HERE)!r}]; "
             f"import engine_faults; engine_faults.plant({json.dumps(fault)}); "
             "from fieldaid.guidance.engine_child import main; main()")
    monkeypatch.setattr(engine_module, "START", plant)
    with Engine(pack, restarts=0) as engine:
        assert engine.wait_ready(10)
        assert any(engine.run(*one) != expected for one, expected in zip(cases, healthy, strict=True))


# Faults in the reference: each replaces one function of its compiler or folding.

whole_matches, whole_bound, whole_range = code.compile_matches, code.compile_bound, code.compile_range
whole_any, whole_test, whole_value_test = code.compile_any, code.compile_test, code.compile_value_test
whole_condition, whole_family, whole_set = code.compile_condition, code.compile_family, code.compile_set
whole_gate, whole_strictest, whole_rule = code.fold_gate, code.strictest, code.compile_rule


def _without(when: All, index: int) -> All:
    parts = when.parts[:index] + when.parts[index:][1:]
    return All(parts or when.parts)


def _fired_once(rules: list, view: Any) -> list:
    fired = code.fire(rules, view)
    for rule, firing in fired:
        for name, value in rule.conclude.derived:
            view.sets.setdefault(name, set()).add(code.bound_text(value, firing))
    return fired


def _changed(one: Condition, when: bool, **changes: Any) -> Condition:
    return replace(one, **changes) if when else one


def _first_place(when: All) -> Any:
    """Every match at the place of the family's first member."""
    matches = whole_matches(when)
    binding = when.binding
    if binding is None:
        return matches
    return lambda view: [(binding.members[0][1], value) for _, value in matches(view)]


def _any_part(parts: list) -> Any:
    return lambda view: any(part(view) for part in parts)


def _gate_after_no_go(fired: list, access: str, rules: tuple, made: Any) -> Any:
    return whole_gate(fired, "aerial only" if access == "stay off" else access, rules, made)


def _laxest(fired: list, rank: Any) -> Any:
    return whole_strictest(fired, {word: -place for word, place in rank.items()})


REFERENCE_FAULTS: dict[str, tuple[str, Any]] = {
    "drops the second condition": ("compile_matches", lambda when: whole_matches(_without(when, 1))),
    "drops the last condition": ("compile_matches", lambda when: whole_matches(_without(when, len(when.parts) - 1))),
    "at least read as above": ("compile_bound", lambda bound: whole_bound(
        replace(bound, kind="above" if bound.kind == "at_least" else bound.kind))),
    "below read as at most": ("compile_bound", lambda bound: whole_bound(
        replace(bound, kind="at_most" if bound.kind == "below" else bound.kind))),
    "above read as below": ("compile_bound", lambda bound: whole_bound(
        replace(bound, kind="below" if bound.kind == "above" else bound.kind))),
    "only the first limit of a range": ("compile_range", lambda bounds: whole_range(bounds[:1])),
    "unless ignored": ("compile_unless", lambda unless: lambda view: False),
    "an unless of several conditions keeps the first": ("compile_unless", lambda unless: (
        code.compile_part(unless.parts[0]) if unless else lambda view: False)),
    "any read as its first alternative": ("compile_any", lambda one: whole_any(AnyOf(one.alternatives[:1]))),
    "any read as all": ("compile_any", lambda one: code.compile_all(All(tuple(
        part for alternative in one.alternatives for part in alternative.parts)))),
    "all read as any": ("compile_all", lambda one: _any_part([code.compile_part(part) for part in one.parts])),
    "a family read as its first member": ("compile_family", lambda one: whole_family(
        replace(one, members=one.members[:1]))),
    "a family matches at the wrong place": ("compile_matches", _first_place),
    "basis ignored": ("compile_test", lambda one: whole_test(replace(one, basis=()))),
    "a list read as its first value": ("compile_value_test", lambda one: whole_value_test(
        _changed(one, one.test == "is", values=one.values[:1]))),
    "not read as known": ("compile_value_test", lambda one: whole_value_test(
        _changed(one, one.test == "not", test="known"))),
    "has read as known": ("compile_value_test", lambda one: whole_value_test(
        _changed(one, one.test == "has", test="known"))),
    "unknown read as known": ("compile_condition", lambda one: whole_condition(
        _changed(one, one.test == "unknown" and not one.family, test="known"))),
    "unknown of a family read as its first member's": ("compile_family", lambda one: whole_family(
        _changed(one, one.test == "unknown", members=one.members[:1]))),
    "none of several derived values read as known": ("compile_set", lambda one: whole_set(
        _changed(one, one.test == "not", test="known"))),
    "no chaining": ("chain", _fired_once),
    "whole numbers": ("compile_range", lambda bounds: (lambda test: lambda value: test(
        int(value) if isinstance(value, float) else value))(whole_range(bounds))),
    "wrong order of folding": ("strictest", _laxest),
    "made always": ("fold_gate", lambda fired, access, rules, made: whole_gate(fired, access, rules, "full")),
    "gate after no go": ("fold_gate", _gate_after_no_go),
    "weakest reason": ("REASON_RANK", {word: -place for word, place in code.REASON_RANK.items()}),
    "first placement wins": ("fold_placement", lambda fired: (
        (None, None, None, ()) if not fired else (
            next((code.bound_place(*one) for one in fired if one[0].conclude.place), None),
            next((one[0].conclude.opening for one in fired if one[0].conclude.opening), None),
            next((one[0].conclude.size_ft for one in fired if one[0].conclude.size_ft), None),
            tuple(dict.fromkeys(one[0].id for one in fired))))),
}


@pytest.mark.parametrize("fault", sorted(REFERENCE_FAULTS))
def test_a_fault_in_the_reference_is_noticed(fault, pack, cases, healthy, monkeypatch):
    name, function = REFERENCE_FAULTS[fault]
    monkeypatch.setattr(code, name, function)
    faulty = Reference(pack)
    assert any(faulty.run(*one) != expected for one, expected in zip(cases, healthy, strict=True))


def test_at_least_twenty_faults_are_planted_in_each():
    assert len(REFERENCE_FAULTS) >= 20 and len(ENGINE_FAULTS) >= 20


def test_an_engine_that_loses_facts_is_lost_and_not_believed(pack, cases, monkeypatch):
    """A batch cut short: the boot rule does not fire, and the child ends instead of answering."""
    plant = (f"import sys; sys.path[:0] = [{str(engine_module._ROOT)!r}]; from fieldaid.guidance import engine_run; "
             "whole = engine_run.with_latch_last; loads = []; "
             "engine_run.with_latch_last = lambda facts: whole(facts) if not facts else facts; "
             "from fieldaid.guidance.engine_child import main; main()")
    monkeypatch.setattr(engine_module, "START", plant)
    with Engine(pack, restarts=0) as engine:
        assert engine.wait_ready(10)
        with pytest.raises(EngineError, match="boot rule"):
            engine.run(*cases[0])


