"""The nearest change of facts that turns access or gate.

One fact changed is tried first, every one that matters; then two, of those that what bars or holds now hangs on; then
one step after another, each the one after which the fewest rules bar or hold.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from fieldaid.authoring.explain_tree import NOT_TOLD, Bench, concludes
from fieldaid.authoring.situations import values_of
from fieldaid.facts.picture import CANNOT_TELL
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import ACCESS, GATE, NO_GO, Pack

# Facts that are changed two at a time; the search over pairs grows with their square.
MOST_PAIRED = 14
MOST_STEPS = 14
Wanted = Callable[[Outcome], bool]


@dataclass(frozen=True)
class Change:
    """Facts to tell anew (or to take out: "not told"), what they turn, and whether fewer were proved not to do."""

    turns: str
    facts: tuple[tuple[str, Any], ...]
    access: str
    gate: str
    fewest: bool

    def to_data(self) -> dict[str, Any]:
        """The change as JSON data."""
        return {"turns": self.turns, "facts": dict(self.facts), "access": self.access, "gate": self.gate,
                "fewest": self.fewest}


def nearest(bench: Bench, situation: Situation, outcome: Outcome) -> Iterator[Change]:
    """The fewest facts that loosen access, tighten access, and turn the gate."""
    aims = [("access, looser", lambda out: ACCESS.index(out.access) > ACCESS.index(outcome.access))]
    aims.append(("access, stricter", lambda out: ACCESS.index(out.access) < ACCESS.index(outcome.access)))
    if outcome.access not in NO_GO:
        aims.append(("gate, looser", lambda out: GATE.index(out.gate) > GATE.index(outcome.gate)))
        aims.append(("gate, stricter", lambda out: GATE.index(out.gate) < GATE.index(outcome.gate)
                     and out.access == outcome.access))
    singles = [(pair, bench.run(_changed(situation, (pair,)))[1]) for pair in _moves(situation, _movable(bench.pack))]
    for turns, wanted in aims:
        found = next(((pair, out) for pair, out in singles if wanted(out)), None)
        if found is not None:
            yield Change(turns, (found[0],), found[1].access, found[1].gate, fewest=True)
        elif "looser" in turns:
            change = _two(bench, situation, turns, wanted) or _steps(bench, situation, turns, wanted)
            if change is not None:
                yield change


def _movable(pack: Pack) -> list[str]:
    """Facts that a rule looks at, and those that the workings of such rules read."""
    tested = {name for rule in pack.live_rules for condition in rule.conditions if condition.scope == "told"
              for name in condition.names}
    read = {name for name in FACTS if name.split(".")[0] in ("wind", "site", "crew", "roof", "window")}
    return [name for name in FACTS if name in tested | read and not name.startswith("smoke.")
            or name in ("smoke.ridge.volume", "smoke.any.volume", "smoke.deck.volume")]


def _moves(situation: Situation, names: Iterable[str]) -> Iterator[tuple[str, Any]]:
    for name in names:
        now = situation.values.get(name)
        if now is not None:
            yield name, NOT_TOLD
        for value in values_of(name):
            if value != now:
                yield name, value


def _changed(situation: Situation, pairs: Iterable[tuple[str, Any]]) -> Situation:
    values, basis, cannot = dict(situation.values), dict(situation.basis), set(situation.cannot_tell)
    for name, value in pairs:
        cannot.discard(name)
        values.pop(name, None)
        basis.pop(name, None)
        if value not in (NOT_TOLD, CANNOT_TELL):
            values[name], basis[name] = value, "told"
    return Situation(values, basis, frozenset(cannot), situation.section)


def _concerned(bench: Bench, situation: Situation) -> list[str]:
    """Facts that the rules that bar and hold now hang on, through what they derive from."""
    values, outcome = bench.run(situation)
    standing = {firing.rule for firing in outcome.firings}
    facts: dict[str, None] = dict.fromkeys(outcome.missing)

    def gather(rule_id: str, seen: frozenset[str]) -> None:
        for one in bench.reference.explain(rule_id, situation, values):
            for name in one.condition.names:
                if name in FACTS and (name in situation.values or not one.condition.members):
                    facts.setdefault(name)
            for rule in bench.pack.live_rules:
                if rule.id in standing and rule.id not in seen and concludes(rule, one.condition, one.value):
                    gather(rule.id, seen | {rule.id})

    for rule_id in (*outcome.access_rules, *outcome.gate_rules):
        gather(rule_id, frozenset({rule_id}))
    return list(facts)


def _two(bench: Bench, situation: Situation, turns: str, wanted: Wanted) -> Change | None:
    """Two facts changed that turn it; None when no two do."""
    names = _concerned(bench, situation)[:MOST_PAIRED]
    moves = {name: list(_moves(situation, [name])) for name in names}
    for one, other in itertools.combinations(names, 2):
        for pairs in itertools.product(moves[one], moves[other]):
            out = bench.run(_changed(situation, pairs))[1]
            if wanted(out):
                return Change(turns, pairs, out.access, out.gate, fewest=True)
    return None


def _steps(bench: Bench, situation: Situation, turns: str, wanted: Wanted) -> Change | None:
    """One change after another, each the one after which the fewest rules bar or hold."""
    facts: dict[str, Any] = {}
    for _ in range(MOST_STEPS):
        now = _changed(situation, facts.items())
        tried = [(pair, bench.run(_changed(now, (pair,)))[1]) for pair in _moves(now, _concerned(bench, now))
                 if pair[0] not in facts and pair[1] != NOT_TOLD]
        if not tried:
            return None
        (name, value), out = min(tried, key=lambda one: (not wanted(one[1]), *_bars(bench.pack, one[1])))
        facts[name] = value
        if wanted(out):
            return Change(turns, tuple(facts.items()), out.access, out.gate, fewest=False)
    return None


def _bars(pack: Pack, outcome: Outcome) -> tuple[int, int]:
    """How many triggers stand, and how many rules conclude something about access and gate that is not free."""
    rules = [pack.rule(one.rule) for one in outcome.firings]
    return len(outcome.triggers), sum(1 for rule in rules if rule.conclude.kind in ("access", "gate")
                                      and rule.conclude.name not in ("no bar reported", "no hold reported"))
