"""Faults for the engine's compiler, run and folding, planted inside the child process before it serves.

Each fault replaces one small named function. `plant` is called by the child itself, so that a fault that crashes the
engine takes no test with it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any


def plant(name: str) -> None:
    """Puts the fault called `name` into this process."""
    FAULTS[name]()


def _compile_faults() -> dict[str, Callable[[], None]]:
    from fieldaid.guidance import engine_compile as code

    whole_row, whole_bound, whole_key = code.compile_row, code.compile_bound, code.compile_key
    whole_one_of, whole_value, whole_any = code.one_of, code.compile_value, code.write_out_any
    whole_support = code._StageCompiler.support

    def put(name: str, function: Any) -> Callable[[], None]:
        return lambda: setattr(code, name, function)

    def put_support() -> None:
        code._StageCompiler.support = lambda self, into, patterns: whole_support(self, into, patterns[:1])

    return {
        "drops the second condition": put("compile_row", lambda positive, negated: whole_row(
            positive[:1] + positive[2:], negated)),
        "drops the last condition": put("compile_row", lambda positive, negated: whole_row(
            positive[:-1] or positive, negated)),
        "keeps only the first unless": put("compile_row", lambda positive, negated: whole_row(positive, negated[:1])),
        "no latch": put("latch", lambda negated: []),
        "at least read as above": put("compile_bound", lambda bound: whole_bound(
            replace(bound, kind="above" if bound.kind == "at_least" else bound.kind))),
        "below read as at most": put("compile_bound", lambda bound: whole_bound(
            replace(bound, kind="at_most" if bound.kind == "below" else bound.kind))),
        "above read as below": put("compile_bound", lambda bound: whole_bound(
            replace(bound, kind="below" if bound.kind == "above" else bound.kind))),
        "only the first limit of a range": put("compile_value", lambda one: whole_value(
            replace(one, bounds=one.bounds[:1]))),
        "unless ignored": put("compile_unless", lambda stage, unless: []),
        "an unless of several conditions keeps the first": put("negated_row", lambda stage, row: code.compile_pattern(
            row[0])),
        "any read as its first alternative": put("write_out_any", lambda one: whole_any(one)[:1]),
        "any read as all": put("write_out_any", lambda one: [[c for row in whole_any(one) for c in row]]),
        "a family read as its first member": put("compile_key", lambda one: (
            [{"k": one.members[0][0]}] if one.binds and one.test != "has" else whole_key(one))),
        "basis ignored": put("compile_basis", lambda one: []),
        "a list read as its first value": put("one_of", lambda attribute, values: whole_one_of(attribute, values[:1])),
        "not read as known": put("compile_not", lambda one: []),
        "not excludes only the first value": put("compile_not", lambda one: [
            {"$neq": {code.value_attribute(one): code.plain_value(one.values[0])}}]),
        "has read as known": put("compile_key", lambda one: [{"k": one.key}] if one.test == "has" else whole_key(one)),
        "unknown read as known": put("compile_key", lambda one: (
            [{"k": one.key}] if one.test == "unknown" and not one.family else whole_key(one))),
        "a part of many conditions keeps the first": put_support,
    }


def _run_faults() -> dict[str, Callable[[], None]]:
    from fieldaid.guidance import engine_fold as fold
    from fieldaid.guidance import engine_run as run

    whole_init = run.Facts.__init__
    kept: list[Any] = []

    def latch_first() -> None:
        run.with_latch_last = lambda facts: [run.LATCH_FACT, *facts]

    def stale() -> None:
        def init(self: Any, program: Any, values: dict, basis: dict) -> None:
            before = dict(kept[-1]) if kept else {}
            kept.append(values)
            whole_init(self, program, {**before, **values}, basis)
        run.Facts.__init__ = init  # type: ignore[method-assign]

    def unknown_never_said() -> None:
        def init(self: Any, program: Any, values: dict, basis: dict) -> None:
            whole_init(self, replace_watched(program), values, basis)
        run.Facts.__init__ = init  # type: ignore[method-assign]

    def replace_watched(program: Any) -> Any:
        return replace(program, watched={})

    def no_chaining() -> None:
        whole = run.Facts.stand

        def stand(self: Any, name: str, value: str = "") -> bool:
            return whole(self, name, value) and name.startswith("!")
        run.Facts.stand = stand  # type: ignore[method-assign]

    def whole_numbers() -> None:
        run.normal_number = lambda value: float(int(value))

    def excluded_never_said() -> None:
        run.Facts.note_not_derived = lambda self, derived: None  # type: ignore[method-assign]

    def last_match_only() -> None:
        whole = run.Runner.drain

        def drain(self: Any, rulesets: Any, facts: Any) -> list:
            return list({one.order: one for one in whole(self, rulesets, facts)}.values())
        run.Runner.drain = drain  # type: ignore[method-assign]

    def laxest_access() -> None:
        fold.ACCESS_FROM_STRICT = fold.ACCESS_FROM_STRICT[::-1]

    def weakest_reason() -> None:
        fold.REASONS_FROM_STRONG = fold.REASONS_FROM_STRONG[::-1]

    def two_strictest_swapped() -> None:
        order = fold.GATE_FROM_STRICT
        fold.GATE_FROM_STRICT = [*order[:2], order[3], order[2], *order[4:]]

    def gate_after_no_go() -> None:
        fold.BARRED = frozenset({"leave now", "come down"})

    def made_always() -> None:
        whole = fold.decide_gate
        fold.decide_gate = lambda fired, access, opening_made: whole(fired, access, "full")

    def needs_of_the_gate_first() -> None:
        whole = fold.collect_needs
        fold.collect_needs = lambda access, gate: whole(gate, access)

    return {one.__name__.replace("_", " "): one for one in (
        latch_first, stale, unknown_never_said, no_chaining, whole_numbers, excluded_never_said, last_match_only,
        laxest_access, weakest_reason, two_strictest_swapped, gate_after_no_go, made_always, needs_of_the_gate_first)}


FAULTS: dict[str, Callable[[], None]] = {**_compile_faults(), **_run_faults()}
