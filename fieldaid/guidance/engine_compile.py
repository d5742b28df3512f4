"""Compiles a pack's rules into durable-rules rulesets. Runs inside the child process.

One stage per stratum. A stage has blocker rulesets, which turn each `unless` row of several conditions into one fact,
and main rulesets, in which the rules themselves fire. The facts asserted are flat messages:

    {"k": "deck.C", "g": "deck.*", "f": …, "s": "soft", "n": 3.0, "b": "struck"}     a told or computed fact
    {"k": "?roof.framing"}      nothing is known of it          {"k": "roof.solar@C"}   a list of places holds C
    {"k": "~stance", "s": "truss"}   a derived name has values, and this is none of them
    {"k": "!…"}                 a row of conditions holds       {"k": "go"}             the latch

What the engine needs to be harmless, all of it reproduced with 2.0.28: the latch stands first in each rule with a
negation and is asserted last; `$not` patterns stand last; `dist` is 0; nothing is retracted; a `boot` rule proves
that no batch was cut short; one test per key of a pattern; no empty list, text or null; numbers always floats; at
most 16 messages a rule, 200 rules and 400 patterns a ruleset, 60 patterns a key; no two names with one FNV-32 hash.
"""

from __future__ import annotations

import functools
import json
from dataclasses import dataclass, field
from typing import Any

from fieldaid.guidance.conditions import All, AnyOf, Bound, Condition, all_from_data

STAGES = ("derive", "hazards", "access", "gate", "placement", "advice")
MOST_RULES, MOST_PATTERNS, MOST_PATTERNS_PER_KEY, MOST_POSITIVE, MOST_NEGATED = 200, 400, 60, 7, 6
LATCH = {"k": "go"}
BOOT = {"all": [{"m": LATCH}], "pri": 65000}
_OPERATORS = {"at_least": "$gte", "at_most": "$lte", "above": "$gt", "below": "$lt"}

Pattern = dict[str, Any]


class CompileError(Exception):
    """The pack cannot be held by the engine."""


@dataclass(frozen=True)
class Effect:
    """What it means that a row of a ruleset fired: the rule `rule` fired, or the fact `holds` is to be asserted.
    The match is in the message called `bound`, or there is none; `family` is the family it is a member of."""

    rule: int | None = None
    bound: str = ""
    family: str = ""
    holds: str = ""


@dataclass
class Ruleset:
    """One ruleset: its definition, what each row means, and the keys that its patterns look at."""

    rows: dict[str, dict] = field(default_factory=dict)
    effects: dict[str, Effect] = field(default_factory=dict)
    keys: set[str] = field(default_factory=set)
    patterns: dict[str, set[str]] = field(default_factory=dict)

    def definition(self) -> str:
        """The ruleset as the JSON that durable-rules takes."""
        return json.dumps({"boot": BOOT, **self.rows}, ensure_ascii=False)

    def has_room_for(self, row: dict) -> bool:
        """Whether another row keeps within the engine's limits."""
        new = len(row["all"])
        if len(self.rows) >= MOST_RULES or sum(map(len, self.patterns.values())) + new > MOST_PATTERNS:
            return False
        return all(len(self.patterns.get(key, set()) | {text}) <= MOST_PATTERNS_PER_KEY
                   for key, text in _keyed_patterns(row))

    def add(self, row: dict, effect: Effect) -> None:
        """Adds a row and what it means that it fires."""
        name = f"r{len(self.rows)}"
        self.rows[name], self.effects[name] = row, effect
        for key, text in _keyed_patterns(row):
            self.patterns.setdefault(key, set()).add(text)
            self.keys.add(key)


@dataclass
class Stage:
    """The rulesets of one stratum."""

    stratum: str
    blockers: list[Ruleset] = field(default_factory=list)
    main: list[Ruleset] = field(default_factory=list)


@dataclass(frozen=True)
class RuleData:
    """What the child keeps of one rule."""

    order: int
    id: str
    stratum: str
    conclude: dict[str, Any]
    speaks_value: bool


@dataclass
class Program:
    """A compiled pack: rules by order, stages in the order they run, the members of each family with their places,
    what must be asserted when nothing is known of it, each with its scope, and the derived values that rules exclude.
    `addresses` keeps, by key, what `engine_run.address_of` found.
    """

    rules: dict[int, RuleData]
    stages: list[Stage]
    families: dict[str, dict[str, str]]
    watched: dict[str, str]
    excluded: dict[str, set[str]]
    addresses: dict[str, tuple[str, tuple[int, ...]]] = field(default_factory=dict)

    @functools.cached_property
    def rulesets(self) -> list[Ruleset]:
        """Every ruleset, in the order in which they run."""
        return [one for stage in self.stages for one in (*stage.blockers, *stage.main)]


# One condition


def compile_pattern(one: Condition) -> Pattern:
    """The pattern of one condition. Its first test is on a key, which the engine looks up by hash."""
    tests = [*compile_key(one), *compile_value(one), *compile_basis(one)]
    return tests[0] if len(tests) == 1 else {"$and": tests}


def compile_patterns(one: Condition) -> list[Pattern]:
    """The patterns of one condition: several when none of several derived values may stand."""
    if one.test == "not" and one.scope == "derived":
        return [{"$and": [{"k": f"~{one.key}"}, {"s": plain_value(value)}]} for value in one.values]
    return [compile_pattern(one)]


def compile_key(one: Condition) -> list[Pattern]:
    if one.test == "unknown":
        return [{"k": f"?{one.key}"}]
    if one.test == "has":
        return one_of("k", [f"{one.key}@{place}" for place in one.values])
    if one.family:
        return [{family_attribute(one.key): one.key}]
    return [{"k": one.key}]


def family_attribute(key: str) -> str:
    """`smoke.*.push` and `smoke.gable.push` may hold the same fact, so that they need attributes of their own."""
    return "g" if "*" in key else "f"


def compile_value(one: Condition) -> list[Pattern]:
    if one.test == "is":
        return compile_is(one)
    if one.test == "not":
        return compile_not(one)
    if one.test == "some":
        return [{"s": "some"}]
    if one.test == "range":
        return [compile_bound(bound) for bound in one.bounds]
    return []


def compile_is(one: Condition) -> list[Pattern]:
    return one_of(value_attribute(one), [plain_value(value) for value in one.values])


def compile_not(one: Condition) -> list[Pattern]:
    return [{"$neq": {value_attribute(one): plain_value(value)}} for value in one.values]


def compile_bound(bound: Bound) -> Pattern:
    return {_OPERATORS[bound.kind]: {"n": plain_value(bound.number)}}


def compile_basis(one: Condition) -> list[Pattern]:
    return one_of("b", list(one.basis)) if one.basis else []


def value_attribute(one: Condition) -> str:
    return "n" if one.values and all(isinstance(value, (int, float)) for value in one.values) else "s"


def plain_value(value: str | float) -> str | float:
    """A literal the engine compares rightly: text that is not empty, or a float that JSON writes without exponent."""
    if isinstance(value, str):
        if not value:
            raise CompileError("an empty text cannot be compared")
        return value
    number = round(float(value), 4) + 0.0
    if number != number or abs(number) >= 1e12:
        raise CompileError(f"{value} is outside what the engine compares rightly")
    return number


def one_of(attribute: str, values: list[str | float]) -> list[Pattern]:
    if not values:
        raise CompileError("a test without values always or never holds")
    return [{attribute: values[0]}] if len(values) == 1 else [{"$or": [{attribute: value} for value in values]}]


# Rows


def write_out(one: All) -> list[list[Condition]]:
    """Every way in which `one` can hold, each a row of conditions that all hold."""
    rows: list[list[Condition]] = [[]]
    for part in one.parts:
        more = [[part]] if isinstance(part, Condition) else write_out_any(part)
        rows = [[*row, *extra] for row in rows for extra in more]
    return rows


def write_out_any(one: AnyOf) -> list[list[Condition]]:
    return [row for alternative in one.alternatives for row in write_out(alternative)]


def compile_row(positive: list[Pattern], negated: list[Pattern]) -> dict:
    """Latch first where something is negated, positive patterns, then `$not` patterns."""
    parts = [*latch(negated), *({f"c{i}": pattern} for i, pattern in enumerate(positive)),
             *({f"n{i}$not": pattern} for i, pattern in enumerate(negated))]
    if not positive:
        raise CompileError("a row without a positive pattern")
    if len(parts) > 16:
        raise CompileError(f"a row of {len(parts)} messages; the engine holds 16")
    return {"all": parts, "dist": 0, "pri": 1}


def latch(negated: list[Pattern]) -> list[dict]:
    return [{"go": dict(LATCH)}] if negated else []


class _StageCompiler:
    """Builds the rulesets of one stratum."""

    def __init__(self, stratum: str) -> None:
        self.stage = Stage(stratum)
        self.count = 0

    def rule(self, order: int, when: All, unless: All | None) -> None:
        negated = compile_unless(self, unless) if unless is not None else []
        bound = bound_condition(when)
        effect = Effect(rule=order, bound="c0" if bound is not None else "",
                        family=bound.key if bound is not None and bound.binds else "")
        for row in write_out(when):
            place(self.stage.main, compile_row(self.positive(self.stage.main, row, bound), negated), effect)

    def positive(self, into: list[Ruleset], row: list[Condition], bound: Condition | None) -> list[Pattern]:
        """The patterns of a row, the bound one first. A family that is not bound, and what goes beyond the number of
        messages a row may have, becomes a fact of its own, so that a rule never multiplies its matches."""
        patterns: list[Pattern] = []
        if bound is not None:
            patterns.append(compile_pattern(bound))
        for one in row:
            if one is bound:
                continue
            found = compile_patterns(one)
            patterns += [self.support(into, found)] if one.binds and len(row) > 1 else found
        while len(patterns) > MOST_POSITIVE:
            tail = patterns[-MOST_POSITIVE:]
            patterns = [*patterns[:-MOST_POSITIVE], self.support(into, tail)]
        return patterns

    def support(self, into: list[Ruleset], patterns: list[Pattern]) -> Pattern:
        holds = self.name()
        place(into, compile_row(patterns, []), Effect(holds=holds))
        return {"k": holds}

    def name(self) -> str:
        self.count += 1
        return f"!{self.stage.stratum}{self.count}"


def bound_condition(when: All) -> Condition | None:
    """The condition whose match gives place and value: the binding family, or else the first condition."""
    if when.binding is not None:
        return when.binding
    first = when.first
    return first if first is not None and first.test != "unknown" and first.scope in ("told", "computed") else None


def compile_unless(stage: _StageCompiler, unless: All) -> list[Pattern]:
    """`$not` patterns: one for each row of `unless`, a row of several conditions standing as one fact."""
    rows = write_out(unless)
    if len(rows) <= MOST_NEGATED:
        return [negated_row(stage, row) for row in rows]
    return [blocker(stage, rows)]


def negated_row(stage: _StageCompiler, row: list[Condition]) -> Pattern:
    patterns = [pattern for one in row for pattern in compile_patterns(one)]
    return patterns[0] if len(patterns) == 1 else blocker(stage, [row])


def blocker(stage: _StageCompiler, rows: list[list[Condition]]) -> Pattern:
    """One fact that stands when any of the rows holds."""
    holds = stage.name()
    for row in rows:
        positive = stage.positive(stage.stage.blockers, row, None)
        place(stage.stage.blockers, compile_row(positive, []), Effect(holds=holds))
    return {"k": holds}


def place(into: list[Ruleset], row: dict, effect: Effect) -> None:
    """Adds a row to the last ruleset, or to a new one where a limit of the engine would be passed."""
    if not into or not into[-1].has_room_for(row):
        into.append(Ruleset())
    into[-1].add(row, effect)


def _keyed_patterns(row: dict) -> list[tuple[str, str]]:
    """Each pattern of a row as (key it looks at, pattern as text)."""
    found = []
    for part in row["all"]:
        (pattern,) = part.values()
        text = json.dumps(pattern, ensure_ascii=False, sort_keys=True)
        if pattern == LATCH:
            continue
        first = pattern["$and"][0] if "$and" in pattern else pattern
        for one in first.get("$or", [first]):
            (key,) = one.values()
            found.append((key, text))
    return found


# The pack


def compile_program(rules: list[dict[str, Any]]) -> Program:
    """The program of a pack's live rules, given as JSON data.

    Raises
    ------
    CompileError : a limit of the engine would be passed
    """
    compilers = {stratum: _StageCompiler(stratum) for stratum in STAGES}
    kept: dict[int, RuleData] = {}
    families: dict[str, dict[str, str]] = {}
    watched: dict[str, str] = {}
    excluded: dict[str, set[str]] = {}
    for data in rules:
        when = all_from_data(data["when"])
        unless = all_from_data(data["unless"]) if data["unless"] is not None else None
        kept[data["order"]] = RuleData(data["order"], data["id"], data["stratum"], data["conclude"], speaks_value(when))
        compilers[data["stratum"]].rule(data["order"], when, unless)
        for one in [*when.conditions(), *(unless.conditions() if unless else ())]:
            if one.family:
                families[one.key] = dict(one.members)
            if one.test == "unknown":
                watched[one.key] = one.scope
            if one.test == "not" and one.scope == "derived":
                excluded.setdefault(one.key, set()).update(str(value) for value in one.values)
    stages = [compiler.stage for compiler in compilers.values()]
    program = Program(kept, stages, families, watched, excluded)
    check_hashes(program)
    return program


def speaks_value(when: All) -> bool:
    """Whether the match of the bound condition has a value that may be said."""
    return bound_condition(when) is not None


def check_hashes(program: Program) -> None:
    """The engine knows names by a 32-bit hash and drops the second of two that collide."""
    names = {"k", "g", "f", "s", "n", "b", "id", "sid", "go", "boot"}
    for one in program.rulesets:
        names |= one.keys | set(one.rows)
    names |= {name for members in program.families.values() for name in members}
    seen: dict[int, str] = {}
    for name in sorted(names):
        other = seen.setdefault(fnv32(name), name)
        if other != name:
            raise CompileError(f"the names {other} and {name} have the same hash")


def fnv32(text: str) -> int:
    """FNV-1a, 32 bits, of the UTF-8 text."""
    value = 0x811C9DC5
    for byte in text.encode():
        value = (value ^ byte) * 0x01000193 & 0xFFFFFFFF
    return value
