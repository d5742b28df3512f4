"""Rules in plain words, for the rule book and for what is printed about a rule."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldaid.facts.fact import Fact
from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.conditions import All, AnyOf, Bound, Conclude, Condition
from fieldaid.guidance.pack import Example
from fieldaid.guidance.words import spoken_value

_KINDS = {"trigger": "a danger that means leave", "stop": "a stop", "caution": "a caution"}
_BOUNDS = {"at_least": "at least", "at_most": "at most", "above": "above", "below": "below"}


def condition_in_words(one: Condition, computed: Mapping[str, Fact]) -> str:
    """A condition as a clause: "the deck, at any place, is soft or sagging"."""
    if one.key in _KINDS:
        return _concluded(one, _KINDS[one.key])
    if one.scope == "derived":
        return _concluded(one, f"“{one.key.replace('_', ' ')}”")
    name = _name(one, computed)
    if one.test == "unknown":
        return f"{name} is not told"
    if one.test == "known":
        return f"{name} is told"
    if one.test == "range":
        words = " and ".join(_bound(bound) for bound in one.bounds)
        unit = _unit(one, computed)
        text = f"{name} is {words}{' ' + unit if unit else ''}"
    else:
        values = " or ".join(spoken_value(value) for value in one.values)
        text = {"is": f"{name} is {values}", "not": f"{name} is told and is not {values}",
                "has": f"{name}: one of them is {values}", "some": f"{name}: some are told",
                "none": f"{name}: none"}.get(one.test, f"{name} {one.test} {values}".strip())
    return f"{text} (known by: {' or '.join(one.basis)})" if one.basis else text


def all_in_words(one: All, computed: Mapping[str, Fact]) -> list[str | list[list[str]]]:
    """Each part of a `when` or `unless`: a clause, or a list of alternatives of clauses."""
    return [condition_in_words(part, computed) if isinstance(part, Condition) else _alternatives(part, computed)
            for part in one.parts]


def conclusion_in_words(one: Conclude) -> str:
    """What a rule concludes."""
    if one.kind == "derive":
        return "; ".join(f"{name.replace('_', ' ')}: {value}" for name, value in one.derived)
    if one.kind == "placement":
        parts = [one.place and f"place: {one.place}", one.opening and f"kind: {one.opening}",
                 one.size_ft and f"size: {one.size_ft[0]:g} by {one.size_ft[1]:g} ft"]
        return "; ".join(part for part in parts if part)
    word = "danger, leave" if one.kind == "trigger" else one.kind
    text = f"{word}: {one.name}"
    if one.reason:
        text += f" (reason: {one.reason})"
    return text + (f"; to be told: {one.need}" if one.need else "")


def example_in_words(one: Example) -> str:
    """A situation in one line."""
    parts = [f"{name} = {_value(value)}" + (f" ({one.basis[name]})" if one.basis.get(name, "told") != "told" else "")
             for name, value in one.facts.items()]
    parts += [f"{name} = {_value(value)} (computed)" for name, value in one.computed.items()]
    return ", ".join(parts) or "nothing told"


def _alternatives(one: AnyOf, computed: Mapping[str, Fact]) -> list[list[str]]:
    return [[_flat(part) for part in all_in_words(alternative, computed)] for alternative in one.alternatives]


def _flat(part: str | list[list[str]]) -> str:
    if isinstance(part, str):
        return part
    return "(" + " or ".join(" and ".join(alternative) for alternative in part) + ")"


def _concluded(one: Condition, what: str) -> str:
    values = " or ".join(str(value) for value in one.values)
    return {"is": f"{what} stands: {values}", "not": f"{what} stands other than {values}",
            "unknown": f"{what} does not stand"}.get(one.test, f"{what} stands")


def _name(one: Condition, computed: Mapping[str, Fact]) -> str:
    if one.family:
        words = [part for part in one.key.replace("_", " ").split(".") if part != "*"]
        return f"{' '.join(words)}, at any place,"
    found = FACTS.get(one.key) or computed.get(one.key)
    called = found.called if found is not None else one.key
    return called.replace(".", " ").replace("_", " ")


def _unit(one: Condition, computed: Mapping[str, Fact]) -> str:
    first = one.members[0][0] if one.members else one.key
    found = FACTS.get(first) or computed.get(first)
    return found.unit if found is not None and found.unit != "year" else ""


def _bound(bound: Bound) -> str:
    return f"{_BOUNDS[bound.kind]} {bound.number:g}" + (f" (${bound.parameter})" if bound.parameter else "")


def _value(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(_value(one) for one in value)
    if isinstance(value, dict):
        return " ".join(f"{one}" for one in value.values())
    return spoken_value(value)
