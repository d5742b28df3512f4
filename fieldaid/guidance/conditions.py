"""The parsed form of `when` and `unless`: data only, shared by the loader and both channels.

    All(parts)            every part holds
    AnyOf(alternatives)   at least one `All` holds
    Condition(key, …)     one test of one fact, computed fact, derived name or earlier conclusion

What the tests mean. A value is a text, a number, or a list of places.
    is        the value is one of `values`
    not       it is known and none of `values`
    known     it is known
    unknown   it is not known: not told, cannot tell, stale, not computed, nothing concluded
    some      a list of places that is not "none"
    has       a list of places that holds one of `values`
    range     a number within all `bounds`; numbers are compared after rounding to four decimals
`basis` narrows is, known, some, has and range to values known in one of these ways. A condition on a family
(`deck.*`) holds if a member passes the test; `unknown` on a family means that no member is known. A name that may
have several values at once (derived, trigger, stop, caution) passes `is` if one of them does, and `not` if it has a
value and none of them is listed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Literal

Scope = Literal["told", "computed", "derived", "concluded"]
TestKind = Literal["is", "not", "known", "unknown", "some", "has", "range"]
BoundKind = Literal["at_least", "at_most", "above", "below"]


@dataclass(frozen=True, slots=True)
class Bound:
    """One limit of a range. `parameter` names where the number came from, or is ""."""

    kind: BoundKind
    number: float
    parameter: str = ""


@dataclass(frozen=True, slots=True)
class Condition:
    """One test. `members` holds the places of a family by fact name, and is empty for a single name."""

    key: str
    scope: Scope
    test: TestKind
    values: tuple[str | float, ...] = ()
    bounds: tuple[Bound, ...] = ()
    basis: tuple[str, ...] = ()
    members: tuple[tuple[str, str], ...] = ()
    line: int = field(default=0, compare=False)
    column: int = field(default=0, compare=False)

    @property
    def family(self) -> bool:
        return bool(self.members)

    @property
    def names(self) -> tuple[str, ...]:
        """The names that it looks at: those of a family's members, or its own."""
        return tuple(name for name, _ in self.members) or (self.key,)

    @property
    def binds(self) -> bool:
        """Whether a match gives a place: a family, and not the test that nothing of it is known."""
        return self.family and self.test != "unknown"

    @property
    def negative(self) -> bool:
        """Whether it can hold because something is absent."""
        return self.test in ("not", "unknown")


@dataclass(frozen=True, slots=True)
class AnyOf:
    alternatives: tuple[All, ...]


@dataclass(frozen=True, slots=True)
class All:
    parts: tuple[Condition | AnyOf, ...]

    def conditions(self) -> Iterator[Condition]:
        """Every condition in it, in the order written."""
        for part in self.parts:
            if isinstance(part, Condition):
                yield part
            else:
                for one in part.alternatives:
                    yield from one.conditions()

    @property
    def binding(self) -> Condition | None:
        """The first family condition outside any `any`: the rule fires once for each of its matches."""
        return next((part for part in self.parts if isinstance(part, Condition) and part.binds), None)

    @property
    def first(self) -> Condition | None:
        """The first condition, if it is not an `any`."""
        return self.parts[0] if self.parts and isinstance(self.parts[0], Condition) else None


@dataclass(frozen=True, slots=True)
class Conclude:
    """What a rule concludes. `kind` is the conclusion's own word; `name` is the trigger, stop, caution, advice,
    access or gate concluded. A derived value or place may hold {where} or {value}."""

    kind: Literal["derive", "trigger", "stop", "caution", "access", "gate", "placement", "advice"]
    name: str = ""
    reason: str | None = None
    need: str | None = None
    derived: tuple[tuple[str, str], ...] = ()
    place: str | None = None
    opening: str | None = None
    size_ft: tuple[float, float] | None = None


def all_to_data(one: All) -> list[Any]:
    """`All` as JSON data."""
    return [_condition_to_data(part) if isinstance(part, Condition)
            else {"any": [all_to_data(alternative) for alternative in part.alternatives]} for part in one.parts]


def all_from_data(data: list[Any]) -> All:
    """The `All` that `all_to_data` wrote."""
    return All(tuple(
        AnyOf(tuple(all_from_data(one) for one in part["any"])) if "any" in part else _condition_from_data(part)
        for part in data))


def _condition_to_data(one: Condition) -> dict[str, Any]:
    return {"key": one.key, "scope": one.scope, "test": one.test, "values": list(one.values),
            "bounds": [[bound.kind, bound.number, bound.parameter] for bound in one.bounds],
            "basis": list(one.basis), "members": [list(pair) for pair in one.members]}


def _condition_from_data(data: dict[str, Any]) -> Condition:
    return Condition(
        key=data["key"], scope=data["scope"], test=data["test"], values=tuple(data["values"]),
        bounds=tuple(Bound(kind, number, parameter) for kind, number, parameter in data["bounds"]),
        basis=tuple(data["basis"]), members=tuple((name, place) for name, place in data["members"]))
