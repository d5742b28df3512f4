"""Situations to paste: one for each condition that nothing shipped shows, as small as it can be.

What is expected of a stub is what the rules give now; whether that is right is for the author to judge against the
source. A stub that comes out wrong has found a fault.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fieldaid.authoring.check_logic import Logic
from fieldaid.authoring.check_situations import smallest
from fieldaid.authoring.cover import WITH, Lack, Prover
from fieldaid.guidance.conditions import Conclude
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import Pack, Rule


@dataclass(frozen=True)
class _Bench:
    """What the search for a small situation looks at."""

    pack: Pack
    logic: Logic


def stubs(pack: Pack, lacks: Sequence[Lack]) -> Iterator[tuple[Lack, str]]:
    """Each lack with its situation as YAML, or with a comment where none was found that the workings can give."""
    prover = Prover(pack, lacks)
    # To be run, the forced rules take part in a stratum that changes nothing before it.
    seen = [replace(rule, status="trial", stratum=rule.stratum if rule.stratum == "placement" else "advice",
                    conclude=Conclude("advice", name=rule.id)) for rule in prover.extra]
    bench = _Bench(replace(pack, rules=(*pack.rules, *seen)), prover.logic)
    for one in prover.asked:
        atoms = prover.atoms(one)
        if atoms is None:
            continue
        wanted = _wanted(one.rule, one.forced, one.lack)
        given = smallest(bench, wanted, *_near(atoms, one.rule))  # type: ignore[arg-type]
        yield one.lack, _written(one.lack, given)


def _near(atoms: tuple[list[str], list[str]], rule: Rule) -> tuple[list[str], list[Rule]]:
    return atoms[0], [rule]


def _wanted(rule: Rule, forced: Rule | bool, lack: Lack):
    must = lack.way == WITH

    def wanted(outcome: Outcome) -> bool:
        fired = {one.rule for one in outcome.firings}
        other = forced if isinstance(forced, bool) else forced.id in fired
        return (rule.id in fired) == must and bool(other) != must

    return wanted


def _written(lack: Lack, given: str) -> str:
    rule = lack.leaf.rule
    name = lack.text.replace('"', "'")
    if not given:
        return f"# {name}: no situation was found that the workings can give\n"
    expect = f"fires: [{rule}]" if lack.way == WITH else f"silent: [{rule}]"
    return f'- name: "{name}"\n  given: {given}\n  expect: {{{expect}}}\n'
