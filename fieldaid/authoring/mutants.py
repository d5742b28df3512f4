"""Mutants of rules: small faults planted one at a time, to see whether the shipped tests notice.

Kinds: a rule removed; a condition dropped, negated, with a value lost or swapped, its basis lost, its limit moved;
`all` read as `any` and `any` as `all`; `unless` lost; a conclusion loosened, its reason or need lost.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from fieldaid.authoring.provenance import own_of
from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.conditions import All, AnyOf, Bound, Conclude, Condition
from fieldaid.guidance.pack import ACCESS, GATE, Pack, Rule

ADVISORY = ("placement", "advice")


@dataclass(frozen=True)
class Mutant:
    """One planted fault. `rule` is the faulty rule, or None where the rule is lost."""

    of: str
    kind: str
    says: str
    rule: Rule | None

    @property
    def key(self) -> str:
        """What names it: the rule and the fault."""
        return f"{self.of}: {self.says}"


def mutants(pack: Pack) -> Iterator[Mutant]:
    """Every mutant of every live rule, in pack order; none that reads the same as its rule.

    Of a pack under an overlay: the mutants of the rules that the overlay adds, and the moved limits that it set.
    """
    own = own_of(pack)
    for rule in pack.live_rules:
        if own is None or rule.id in own.rules:
            yield from mutants_of(rule, pack)
        elif own.reads(rule):
            yield from (one for one in mutants_of(rule, pack) if _limits_moved(rule, one) & own.parameters)


def _limits_moved(rule: Rule, mutant: Mutant) -> set[str]:
    """The parameters whose limit the mutant moves."""
    if mutant.kind != "limit moved" or mutant.rule is None:
        return set()
    both = zip(rule.conditions, mutant.rule.conditions, strict=True)
    return {bound.parameter for old, new in both if old != new for bound in old.bounds}


def mutants_of(rule: Rule, pack: Pack) -> Iterator[Mutant]:
    """Every mutant of one rule."""
    yield Mutant(rule.id, "rule removed", "the rule is lost", None)
    seen: set[object] = {(rule.when, rule.unless, rule.conclude)}
    named: dict[str, int] = {}
    for kind, says, changed in _changes(rule, pack):
        key = (changed.when, changed.unless, changed.conclude)
        if key not in seen:
            seen.add(key)
            # The same words may stand in several alternatives.
            named[says] = named.get(says, 0) + 1
            yield Mutant(rule.id, kind, f"{says} ({named[says]})" if named[says] > 1 else says, changed)


def _changes(rule: Rule, pack: Pack) -> Iterator[tuple[str, str, Rule]]:
    for kind, says, when in _of_all(rule.when, pack, "when"):
        if when.parts:
            yield kind, says, replace(rule, when=when)
    if rule.unless is not None:
        yield "unless lost", "unless is lost", replace(rule, unless=None)
        for kind, says, unless in _of_all(rule.unless, pack, "unless"):
            if unless.parts:
                yield kind, says, replace(rule, unless=unless)
    for says, conclude in _loosened(rule.conclude):
        yield "conclusion loosened", says, replace(rule, conclude=conclude)


def _of_all(one: All, pack: Pack, where: str) -> Iterator[tuple[str, str, All]]:
    """Each way to spoil one thing in it."""
    parts = one.parts
    if len(parts) > 1:
        yield "all read as any", f"{where}: {show(one)}, read as any", All(
            (AnyOf(tuple(All((part,)) for part in parts)),))
    for i, part in enumerate(parts):
        rest = (*parts[:i], *parts[i + 1:])
        if isinstance(part, Condition):
            if rest:
                yield "condition dropped", f"{where}: {show(part)} dropped", All(rest)
            for kind, says, changed in _of_condition(part, pack):
                yield kind, f"{where}: {says}", All((*parts[:i], changed, *parts[i + 1:]))
            continue
        inside = tuple(inner for alternative in part.alternatives for inner in alternative.parts)
        if len(part.alternatives) > 1:
            yield "any read as all", f"{where}: {show(part)}, read as all", All(
                (*parts[:i], *inside, *parts[i + 1:]))
        if rest:
            yield "condition dropped", f"{where}: {show(part)} dropped", All(rest)
        for n, alternative in enumerate(part.alternatives):
            others = (*part.alternatives[:n], *part.alternatives[n + 1:])
            if others:
                yield "condition dropped", f"{where}: alternative {show(alternative)} dropped", All(
                    (*parts[:i], AnyOf(others), *parts[i + 1:]))
            for kind, says, changed in _of_all(alternative, pack, where):
                if changed.parts:
                    yield kind, says, All((*parts[:i], AnyOf((*part.alternatives[:n], changed,
                                                              *part.alternatives[n + 1:])), *parts[i + 1:]))


def _of_condition(one: Condition, pack: Pack) -> Iterator[tuple[str, str, Condition]]:
    shown = show(one)
    for says, changed in _negated(one):
        yield "condition negated", f"{shown} read as {says}", changed
    if len(one.values) > 1:
        for value in one.values:
            yield "value lost", f"{shown} without {value}", replace(
                one, values=tuple(other for other in one.values if other != value))
    if one.test in ("is", "has", "not") and one.values:
        others = [value for value in _values(one, pack) if value not in one.values]
        if others:
            yield "value swapped", f"{shown} with {others[0]} for {one.values[0]}", replace(
                one, values=(others[0], *one.values[1:]))
    if one.basis:
        yield "basis lost", f"{shown} by any basis", replace(one, basis=())
        for basis in one.basis:
            yield "basis lost", f"{shown} not by {basis}", replace(
                one, basis=tuple(other for other in one.basis if other != basis))
    for n, bound in enumerate(one.bounds):
        for says, moved in _moved(bound, one):
            yield "limit moved", f"{shown} read as {says}", replace(
                one, bounds=(*one.bounds[:n], moved, *one.bounds[n + 1:]))


def _negated(one: Condition) -> Iterator[tuple[str, Condition]]:
    if one.test == "is":
        yield "not", replace(one, test="not", basis=())
    elif one.test == "not":
        yield "is", replace(one, test="is")
    elif one.test == "known":
        yield "unknown", replace(one, test="unknown")
    elif one.test == "unknown":
        yield "known", replace(one, test="known")
    elif one.test == "some":
        yield "none", replace(one, test="is", values=("none",))
    elif one.test == "range":
        other: dict[str, str] = {"at_least": "below", "below": "at_least", "at_most": "above", "above": "at_most"}
        yield "the other side", replace(one, bounds=tuple(
            replace(bound, kind=other[bound.kind]) for bound in one.bounds))  # type: ignore[arg-type]


def _moved(bound: Bound, one: Condition) -> Iterator[tuple[str, Bound]]:
    """The limit itself in or out, and the limit one step up and down."""
    edge = {"at_least": "above", "above": "at_least", "at_most": "below", "below": "at_most"}[bound.kind]
    yield f"{edge.replace('_', ' ')} {bound.number:g}", replace(bound, kind=edge)  # type: ignore[arg-type]
    for step in (-1, 1):
        number = bound.number + step
        yield f"{bound.kind.replace('_', ' ')} {number:g}", replace(bound, number=number, parameter="")


def _values(one: Condition, pack: Pack) -> tuple[str | float, ...]:
    """The values that the name of a condition may have."""
    name = one.members[0][0] if one.members else one.key
    if one.key in ("trigger", "stop", "caution"):
        return tuple(dict.fromkeys(rule.conclude.name for rule in pack.rules if rule.conclude.kind == one.key))
    if one.key == "access":
        return ACCESS
    if one.key == "gate":
        return GATE
    if one.key in pack.derived:
        return pack.derived[one.key].values
    fact = FACTS.get(name) or pack.computed.get(name)
    if fact is None or fact.kind == "number":
        return (0.0, 1.0, 2.0, 3.0) if fact is not None else ()
    return ("none", *fact.values) if fact.kind == "places" and one.test == "is" else fact.values


def _loosened(one: Conclude) -> Iterator[tuple[str, Conclude]]:
    if one.kind in ("trigger", "stop"):
        yield f"{one.kind} said as a caution", replace(one, kind="caution")
    if one.kind == "access" and one.name != ACCESS[-1]:
        looser = ACCESS[ACCESS.index(one.name) + 1]
        yield f"access {looser}", replace(one, name=looser)
    if one.kind == "gate" and one.name not in ("no hold reported", "made"):
        looser = GATE[GATE.index(one.name) + 1]
        yield f"gate {looser}", replace(one, name=looser)
    if one.reason is not None:
        other = "not told" if one.reason != "not told" else "hazard"
        yield f"reason {other}", replace(one, reason=other)
    if one.need is not None:
        yield "the need lost", replace(one, need=None)
    for n, (name, value) in enumerate(one.derived):
        if len(one.derived) > 1:
            yield f"{name} {value} not derived", replace(one, derived=(*one.derived[:n], *one.derived[n + 1:]))
    for field in ("place", "opening", "size_ft"):
        if getattr(one, field) is not None and one.kind == "placement":
            left = replace(one, **{field: None})
            if left.place or left.opening or left.size_ft:
                yield f"{field} lost", left


def show(one: Condition | AnyOf | All) -> str:
    """A condition, or conditions, as the pack writes it, short."""
    if isinstance(one, All):
        return " and ".join(map(show, one.parts))
    if isinstance(one, AnyOf):
        return f"({' or '.join(map(show, one.alternatives))})"
    if one.test == "range":
        return f"{one.key} " + " ".join(f"{bound.kind.replace('_', ' ')} {bound.number:g}" for bound in one.bounds)
    words = ", ".join(str(value) for value in one.values)
    return f"{one.key} " + {"is": words, "not": f"not {words}", "has": f"has {words}"}.get(one.test, one.test)
