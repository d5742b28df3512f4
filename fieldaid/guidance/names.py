"""What a rule may name: told facts, computed facts, families, derived names and earlier conclusions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from fieldaid.facts.vocabulary import FACTS, Fact
from fieldaid.guidance.conditions import Scope
from fieldaid.guidance.pack import ACCESS, GATE, REASONS, STRATA, Derived, Stratum

Shape = Literal["choice", "number", "places", "opaque", "set"]
_SHAPES: dict[str, Shape] = {"choice": "choice", "number": "number", "places": "places"}


@dataclass(frozen=True, slots=True)
class Name:
    """One name a condition may test.

    shape : which tests fit: choice, number, list of places, opaque (only known and unknown), or a set of names
    since : the stratum that concludes it; None for what was told or computed
    """

    key: str
    scope: Scope
    shape: Shape
    values: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    unit: str = ""
    members: tuple[tuple[str, str], ...] = ()
    since: Stratum | None = None

    @property
    def rank(self) -> int:
        """-1 for told and computed facts, else the place of the stratum that concludes it."""
        return -1 if self.since is None else STRATA.index(self.since)


def fact_names(computed: Mapping[str, Fact]) -> dict[str, Name]:
    """Told and computed facts and their families by the key that a rule writes."""
    found: dict[str, Name] = {}
    for scope, facts in (("told", FACTS), ("computed", computed)):
        families: dict[str, list[Fact]] = {}
        for fact in facts.values():
            found[fact.name] = _name(fact.name, scope, fact)
            for key in _family_keys(fact):
                families.setdefault(key, []).append(fact)
        for key, members in families.items():
            pairs = tuple((fact.name, fact.place) for fact in members)
            found[key] = _name(key, scope, members[0], pairs)
    return found


def concluded_names(derived: Mapping[str, Derived], concluded: Mapping[str, tuple[str, ...]]) -> dict[str, Name]:
    """Derived names and earlier conclusions; `concluded` holds the triggers, stops and cautions of the pack."""
    found = {one.id: Name(one.id, "derived", "set", one.values, since="derive") for one in derived.values()}
    for kind in ("trigger", "stop", "caution"):
        found[kind] = Name(kind, "concluded", "set", concluded.get(kind, ()), since="hazards")
    found["access"] = Name("access", "concluded", "choice", ACCESS, since="access")
    found["access_reason"] = Name("access_reason", "concluded", "choice", REASONS, since="access")
    found["gate"] = Name("gate", "concluded", "choice", GATE, since="gate")
    return found


def _name(key: str, scope: Scope, fact: Fact, members: tuple[tuple[str, str], ...] = ()) -> Name:
    return Name(key, scope, _SHAPES.get(fact.kind, "opaque"), fact.values, fact.low, fact.high, fact.unit, members)


def _family_keys(fact: Fact) -> list[str]:
    """`smoke.gable.C.push` belongs to `smoke.*.push` and to `smoke.gable.push` (the gable with or without a side)."""
    if not fact.group or not fact.place:
        return []
    prefix, _, suffix = fact.name.partition(f".{fact.place}")
    keys = [f"{prefix}.*{suffix}"]
    if fact.group.startswith("smoke."):
        keys.append(f"{prefix}.{fact.place.partition('.')[0]}{suffix}")
    return keys
