"""Situations to paste: for each condition that nothing shipped shows, the smallest one near its rule that does.

What is expected of a stub is what the rules give now; whether that is right is for the author to judge against the
source. A stub that comes out wrong has found a fault.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fieldaid.authoring.cover import WITH, Lack, deciding, leaves_of
from fieldaid.authoring.mutants_near import Near, near
from fieldaid.authoring.mutants_run import Trial
from fieldaid.authoring.pack_form import written
from fieldaid.guidance.pack import Pack
from fieldaid.guidance.reference import compile_condition


def stubs(pack: Pack, lacks: Sequence[Lack]) -> Iterator[tuple[Lack, str]]:
    """Each lack with its situation as YAML, or with a comment where none was found."""
    by_rule: dict[str, list[Lack]] = {}
    for one in lacks:
        by_rule.setdefault(one.leaf.rule, []).append(one)
    for rule_id, of in by_rule.items():
        found = _smallest(pack, rule_id)
        for lack in of:
            yield lack, _written(lack, found.get((lack.leaf.index, lack.way)))


def _smallest(pack: Pack, rule_id: str) -> dict[tuple[int, str], Near]:
    """For each condition of a rule and each way to decide, the smallest situation near the rule that shows it."""
    rule = pack.rule(rule_id)
    leaves = leaves_of(rule)
    tests = [compile_condition(leaf.condition) for leaf in leaves]
    pairs = [(one, shipped) for one in near(pack, rule) if (shipped := one.shipped(pack)) is not None]
    found: dict[tuple[int, str], Near] = {}
    for (one, _), ran in zip(pairs, Trial(pack, [shipped for _, shipped in pairs]).ran, strict=True):
        if rule.stratum == "placement" and ran.outcome.gate == "no opening":
            continue
        for leaf, way in deciding(rule, leaves, [test(ran.view) for test in tests]):
            found.setdefault((leaf.index, way), one)
    return found


def _written(lack: Lack, one: Near | None) -> str:
    rule, name = lack.leaf.rule, lack.text.replace('"', "'")
    if one is None:
        return f"# {name}: no situation near the rule shows it\n"
    expect = f"fires: [{rule}]" if lack.way == WITH else f"silent: [{rule}]"
    return f'- name: "{name}"\n  given: {written({**one.facts, **one.computed}, one.basis)}\n  expect: {{{expect}}}\n'
