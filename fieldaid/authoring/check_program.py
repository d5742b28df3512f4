"""Writes a pack as an answer-set program over the finite values of its facts.

A number falls into cells: each threshold that a rule tests, and the open ranges between them; within a cell no rule
can tell two numbers apart. "Not told" is a value. Computed facts may take any value that `LINKS` does not exclude.
Answer-set programs have the semantics of strata and of chained derive rules built in.

Atoms: v(fact, cell), with cell -1 for not told; has(fact, place); b(fact, basis); part(rule, n) and fires(rule);
d(name, value) of derive rules; s(kind, name) of triggers, stops and cautions; access, gate and reason by rank;
decides(rule); placing.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from fieldaid.authoring.pack_form import show
from fieldaid.facts.vocabulary import BASES, FACTS
from fieldaid.guidance.conditions import All, AnyOf, Bound, Condition
from fieldaid.guidance.pack import ACCESS, GATE, NO_GO, REASONS, Pack, Rule

SETS = ("trigger", "stop", "caution")
# What the workings guarantee: a computed fact is known only if one of these told facts is.
LINKS: dict[str, tuple[str, ...]] = {
    "built.first": ("building.built",), "built.last": ("building.built",), "air.low": ("crew.air",),
    "ways.aerial": ("crew.ladders",), "ways.over_window": ("crew.ladders",), "ways.shared": ("crew.ladders",),
    "ways.roof_ladder": ("crew.ladders",),
    "ways.usable": ("crew.ladders", "crew.ways_off"),
    "place.face": ("place.found",), "place.why_not": ("place.found",), "place.over": ("place.found",),
    "place.worked": ("place.found",), "place.kind": ("place.worked",), "place.size": ("place.kind",),
    "place.second": ("place.kind",), "place.kerf_ft": ("place.kind",), "place.ladder_told": ("place.kind",),
    **{f"place.bar.{side}": ("place.worked",) for side in "ABCD"},
    "place.found": ("fire.side",), "fire.windward": ("fire.side",),
    **{f"face.{side}": ("roof.form",) for side in "ABCD"}, **{f"over.{side}": ("fire.side",) for side in "ABCD"},
    **{f"wind.on.{side}": ("wind.from", "wind.mph") for side in "ABCD"},
}
# (computed fact, value it needs): known only with that value of the other.
_TOGETHER = (("place.face", "place.found", "yes"), ("place.over", "place.found", "yes"),
             ("place.why_not", "place.found", "no"), ("place.kind", "place.found", "yes"),
             ("place.kind", "place.worked", "yes"),
             *((f"place.bar.{side}", "place.worked", "yes") for side in "ABCD"))


@dataclass(frozen=True)
class Cell:
    """One value of a fact that no rule can tell from its neighbours. `low` and `high` bound an open range."""

    value: str | float
    low: float | None = None
    high: float | None = None

    def sample(self, whole: bool = True) -> str | float:
        """A value of the cell, whole where the range has a whole number."""
        if self.low is None or self.high is None:
            return self.value
        middle = round((self.low + self.high) / 2, 3)
        return round(middle) if whole and self.low < round(middle) < self.high else middle


@dataclass(frozen=True)
class Part:
    """One thing a rule needs: a condition or an `any` of its `when`, its `unless`, or what its stratum needs."""

    text: str
    line: int
    column: int
    body: Condition | AnyOf | All | None
    negated: bool = False


class Program:
    """The program of a pack, line by line. Retired rules are left out; drafts conclude nothing."""

    def __init__(self, pack: Pack) -> None:
        self.pack = pack
        self.rules = [rule for rule in pack.rules if rule.status != "retired"]
        self.lines: list[str] = []
        self.conditions: dict[Condition, int] = {}
        self.facts: dict[str, int] = {}
        self.cells: dict[str, list[Cell]] = {}
        self.with_basis: set[str] = set()
        self.bodies = 0
        self.parts: dict[str, list[Part]] = {}
        self._collect()
        self._write()

    def number(self, rule: Rule) -> int:
        """The number that a rule has in the program."""
        return self._numbers[rule.id, rule.order]

    def cell_of(self, name: str, value: Any) -> int:
        """The number of the cell that a fact's value lies in."""
        kind = self._fact(name).kind
        if kind == "places":
            return 1 if isinstance(value, list) else 0
        if kind not in ("choice", "number"):
            return 0
        if kind == "number":
            value = round(float(value), 4)
        return next(n for n, cell in enumerate(self.cells[name])
                    if cell.value == value or cell.low is not None and cell.low < value < cell.high)

    def places(self, name: str) -> tuple[str, ...]:
        """The places that a fact may list."""
        return self._fact(name).values

    def _collect(self) -> None:
        """Numbers the facts, and finds the cells of each from every condition on it."""
        self._numbers = {(rule.id, rule.order): n for n, rule in enumerate(self.rules)}
        tests: dict[str, list[Condition]] = {}
        for one in (one for rule in self.rules for one in rule.conditions):
            if one.scope in ("told", "computed"):
                for name in one.names:
                    tests.setdefault(name, []).append(one)
        needed = [name for names in LINKS.values() for name in names]
        for name in [*tests, "opening.made"]:
            for linked in LINKS.get(name, ()):
                tests.setdefault(linked, [])
        for name in [one for one in [*needed, "opening.made"] if one not in tests]:
            tests[name] = []
        for name, conditions in tests.items():
            self.facts[name] = len(self.facts)
            self.cells[name] = self._cells_of(name, conditions)
            if any(one.basis for one in conditions):
                self.with_basis.add(name)

    def _fact(self, name: str):
        return FACTS.get(name) or self.pack.computed[name]

    def _cells_of(self, name: str, conditions: list[Condition]) -> list[Cell]:
        fact = self._fact(name)
        if fact.kind == "choice":
            return [Cell(value) for value in fact.values]
        if fact.kind == "places":
            return [Cell("none"), Cell("some")]
        if fact.kind != "number":
            return [Cell("known")]
        points = {round(bound.number, 4) for one in conditions for bound in one.bounds}
        points |= {round(float(value), 4) for one in conditions for value in one.values}
        low, high = float(fact.low), float(fact.high)
        edges = sorted({low, high, *(point for point in points if low <= point <= high)})
        cells = [Cell(edge) for edge in edges]
        cells += [Cell(f"{a:g}-{b:g}", a, b) for a, b in itertools.pairwise(edges) if b - a > 0.0001]
        return cells

    def _write(self) -> None:
        add = self.lines.append
        for name, number in self.facts.items():
            add(f"{{v({number},-1..{len(self.cells[name]) - 1})}} = 1.")
            if name in self.with_basis:
                add(f"{{b({number},0..{len(BASES) - 1})}} = 1.")
            if self._fact(name).kind == "places":
                add(f"1 {{has({number},0..{len(self.places(name)) - 1})}} :- v({number},1).")
        for name, needs in LINKS.items():
            if name in self.facts:
                add(f":- not v({self.facts[name]},-1), "
                    + ", ".join(f"v({self.facts[one]},-1)" for one in needs) + ".")
        for name, other, value in _TOGETHER:
            if name in self.facts and other in self.facts:
                add(f":- not v({self.facts[name]},-1), not {self._is(other, value)}.")
        if {"built.first", "built.last"} <= set(self.facts):
            self._order_years()
        for rule in self.rules:
            self._rule(rule)
        self._fold()

    def _is(self, name: str, value: str) -> str:
        cell = next(n for n, one in enumerate(self.cells[name]) if one.value == value)
        return f"v({self.facts[name]},{cell})"

    def _order_years(self) -> None:
        """Both years are known together, and the first is not after the last."""
        first, last = self.facts["built.first"], self.facts["built.last"]
        self.lines += [f":- v({first},-1), not v({last},-1).", f":- v({last},-1), not v({first},-1)."]
        for a, one in enumerate(self.cells["built.first"]):
            for b, other in enumerate(self.cells["built.last"]):
                if (one.value if one.low is None else one.low) >= (other.value if other.high is None else other.high):
                    if one.low is None and other.low is None and one.value == other.value:
                        continue
                    self.lines.append(f":- v({first},{a}), v({last},{b}).")

    def _rule(self, rule: Rule) -> None:
        number = self.number(rule)
        parts = self.parts[rule.id] = list(_parts(rule))
        for n, part in enumerate(parts):
            if part.body is None:
                self.lines.append(f"part({number},{n}) :- placing.")
            elif part.negated:
                self.lines.append(f"part({number},{n}) :- not {self._all(part.body)}.")
            else:
                self.lines.append(f"part({number},{n}) :- {self._part(part.body)}.")
        self.lines.append(f"fires({number}) :- " + ", ".join(f"part({number},{n})" for n in range(len(parts))) + ".")
        if rule.live:
            self._conclude(rule, number)

    def _conclude(self, rule: Rule, number: int) -> None:
        one, add = rule.conclude, self.lines.append
        for name, value in one.derived:
            binding = rule.when.binding or rule.when.first
            if value in ("{where}", "{value}") and isinstance(binding, Condition):
                for place, told, holds in self._matches(binding):
                    add(f'd({_quoted(name)},{_quoted(place if value == "{where}" else told)}) '
                        f":- fires({number}), {holds}.")
            else:
                add(f"d({_quoted(name)},{_quoted(value)}) :- fires({number}).")
        if one.kind in SETS:
            add(f"s({_quoted(one.kind)},{_quoted(one.name)}) :- fires({number}).")
        elif one.kind in ("access", "gate"):
            rank = (ACCESS if one.kind == "access" else GATE).index(one.name)
            add(f"{one.kind}_said({rank}) :- fires({number}).")
            add(f"decides({number}) :- fires({number}), {one.kind}({rank}).")
            if one.reason is not None and one.kind == "access":
                add(f"reason_said({REASONS.index(one.reason)}) :- decides({number}).")

    def _matches(self, one: Condition) -> Iterator[tuple[str, str, str]]:
        """Each place and value at which a condition can hold, with what then holds."""
        for name, place in one.members or ((one.key, ""),):
            for cell, holds in self._cells_passing(one, name):
                yield place, str(self.cells[name][cell].value), holds

    def _fold(self) -> None:
        add = self.lines.append
        for kind, order in (("access", ACCESS), ("gate", GATE)):
            for rank in range(len(order)):
                stricter = "".join(f", not {kind}_kept({one})" for one in range(rank))
                add(f"{kind}_best({rank}) :- {kind}_kept({rank}){stricter}.")
            add(f"{kind}_any :- {kind}_kept(_).")
        add("access_kept(R) :- access_said(R).")
        add("access(R) :- access_best(R).")
        add(f"access({ACCESS.index('stay off')}) :- not access_any.")
        for rank in range(len(REASONS)):
            nearer = "".join(f", not reason_said({n})" for n in range(rank))
            add(f"reason({rank}) :- reason_said({rank}){nearer}.")
        add(f"reason({REASONS.index('not told')}) :- not access_any.")
        made, no_opening = GATE.index("made"), GATE.index("no opening")
        add(f"gate_kept(R) :- gate_said(R), R != {made}.")
        for word in NO_GO:
            add(f"no_go :- access({ACCESS.index(word)}).")
        add(f"made :- gate_said({made}), {self._is('opening.made', 'full')}, "
            f"not gate_said({no_opening}), not gate_said({GATE.index('other means')}), not no_go.")
        add(f"gate({no_opening}) :- no_go.")
        add(f"gate({made}) :- made.")
        add("gate(R) :- gate_best(R), not made, not no_go.")
        add(f"gate({GATE.index('hold')}) :- not gate_any, not made, not no_go.")
        add(f"placing :- not gate({no_opening}).")

    # Conditions

    def _part(self, one: Condition | AnyOf | All) -> str:
        if isinstance(one, All):
            return self._all(one)
        return self._any(one) if isinstance(one, AnyOf) else self._condition(one)

    def _all(self, one: All) -> str:
        return self._named([[self._part(part) for part in one.parts]])

    def _any(self, one: AnyOf) -> str:
        return self._named([[self._all(alternative)] for alternative in one.alternatives])

    def _named(self, bodies: list[list[str]]) -> str:
        self.bodies += 1
        self.lines += [f"h({self.bodies}) :- {', '.join(body)}." for body in bodies]
        return f"h({self.bodies})"

    def _condition(self, one: Condition) -> str:
        if one not in self.conditions:
            name = self._named(list(self._ways_to_hold(one)))
            self.conditions[one] = self.bodies
            return name
        return f"h({self.conditions[one]})"

    def _ways_to_hold(self, one: Condition) -> Iterator[list[str]]:
        if one.scope in ("derived", "concluded"):
            yield from self._concluded(one)
        elif one.test == "unknown":
            yield [f"v({self.facts[name]},-1)" for name in one.names]
        else:
            for name in one.names:
                yield from ([holds] for _, holds in self._cells_passing(one, name))

    def _cells_passing(self, one: Condition, name: str) -> Iterator[tuple[int, str]]:
        """The cells of a fact that pass a test, each with the body that says so."""
        fact = self.facts[name]
        for n, cell in enumerate(self.cells[name]):
            for extra in self._passes(one, name, cell):
                if one.basis:
                    for how in one.basis:
                        yield n, f"v({fact},{n}), b({fact},{BASES.index(how)}){extra}"
                else:
                    yield n, f"v({fact},{n}){extra}"

    def _passes(self, one: Condition, name: str, cell: Cell) -> Iterator[str]:
        """Nothing when the cell fails; else what else must hold, once for each way."""
        if one.test == "has":
            if cell.value == "some":
                yield from (f", has({self.facts[name]},{self.places(name).index(str(place))})" for place in one.values)
            return
        if one.test == "some":
            passes = cell.value == "some"
        elif one.test == "range":
            passes = all(_within(cell, bound) for bound in one.bounds)
        elif one.test == "known":
            passes = True
        else:
            listed = cell.low is None and any(
                value == cell.value or isinstance(value, float) and round(value, 4) == cell.value
                for value in one.values)
            passes = listed == (one.test == "is")
        if passes:
            yield ""

    def _concluded(self, one: Condition) -> Iterator[list[str]]:
        if one.key in ("access", "gate"):
            order = ACCESS if one.key == "access" else GATE
            yield from self._single(one, one.key, order)
        elif one.key == "access_reason":
            yield from self._single(one, "reason", REASONS)
        else:
            atom = "s" if one.scope == "concluded" else "d"
            named = [f"{atom}({_quoted(one.key)},{_quoted(str(value))})" for value in one.values]
            some = f"{atom}({_quoted(one.key)},_)"
            match one.test:
                case "is":
                    yield from ([name] for name in named)
                case "not":
                    yield [some, *(f"not {name}" for name in named)]
                case "known":
                    yield [some]
                case _:
                    yield [f"not {some}"]

    def _single(self, one: Condition, atom: str, order: tuple[str, ...]) -> Iterator[list[str]]:
        for rank, word in enumerate(order):
            if one.test == "known" or (word in one.values) == (one.test == "is") and one.test in ("is", "not"):
                yield [f"{atom}({rank})"]
        if one.test == "unknown":
            yield [f"not {atom}(_)"]


def _parts(rule: Rule) -> Iterator[Part]:
    for part in rule.when.parts:
        first = part if isinstance(part, Condition) else next(part.alternatives[0].conditions())
        yield Part(show(part), first.line, first.column, part)
    if rule.unless is not None:
        first = next(rule.unless.conditions())
        yield Part(f"unless {show(rule.unless)}", first.line, first.column, rule.unless, negated=True)
    if rule.stratum == "placement":
        yield Part("a gate other than no opening", rule.line, rule.column, None)


def _within(cell: Cell, bound: Bound) -> bool:
    """Whether all of a cell keeps within a limit: the limits are edges of cells, so a cell never straddles one."""
    limit = round(bound.number, 4)
    low, high = (cell.value, cell.value) if cell.low is None else (cell.low, cell.high)
    match bound.kind:
        case "at_least":
            return low >= limit  # type: ignore[operator]
        case "at_most":
            return high <= limit  # type: ignore[operator]
        case "above":
            return low > limit or cell.low is not None and low >= limit  # type: ignore[operator]
        case _:
            return high < limit or cell.low is not None and high <= limit  # type: ignore[operator]


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'
