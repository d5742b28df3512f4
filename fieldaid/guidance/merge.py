"""What counts when the two channels differ: the stricter access and gate, every danger, only agreed help."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.guidance.outcome import Firing, Outcome
from fieldaid.guidance.pack import ACCESS, GATE, REASONS, Pack

NO_GO = ("leave now", "come down", "stay off")
_DANGERS = ("trigger", "stop", "caution")


def merge(one: Outcome, other: Outcome, pack: Pack) -> Outcome:
    """One outcome of two. Access and gate: the stricter. Triggers, stops, cautions and needs: the union. Advice,
    placement and what was derived: what both say."""
    if one == other:
        return one
    access = _stricter(one.access, other.access, ACCESS)
    gate = "no opening" if access in NO_GO else _stricter(one.gate, other.gate, GATE)
    reasons = {told.access_reason for told in (one, other) if told.access == access}
    access_rules = _union(*(told.access_rules for told in (one, other) if told.access == access))
    gate_rules = access_rules if access in NO_GO else _union(
        *(told.gate_rules for told in (one, other) if told.gate == gate))
    placed = gate != "no opening"
    return Outcome(
        access=access, access_reason=next((reason for reason in REASONS if reason in reasons), None),
        access_rules=access_rules, gate=gate, gate_rules=gate_rules,
        triggers=tuple(sorted({*one.triggers, *other.triggers})), stops=tuple(sorted({*one.stops, *other.stops})),
        cautions=tuple(sorted({*one.cautions, *other.cautions})),
        advice=tuple(sorted({*one.advice} & {*other.advice})),
        place=one.place if placed and one.place == other.place else None,
        kind=one.kind if placed and one.kind == other.kind else None,
        size_ft=one.size_ft if placed and one.size_ft == other.size_ft else None,
        opening_rules=tuple(rule for rule in one.opening_rules if rule in other.opening_rules) if placed else (),
        derived=tuple(pair for pair in one.derived if pair in other.derived),
        missing=_union(one.missing, other.missing), firings=_firings(one, other, pack))


def _stricter(one: str, other: str, order: tuple[str, ...]) -> str:
    return min(one, other, key=order.index)


def _union(*parts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(item for part in parts for item in part))


def _firings(one: Outcome, other: Outcome, pack: Pack) -> tuple[Firing, ...]:
    """Firings that bar, hold or warn in either channel; the others only where both have them."""
    mine = {firing.key: firing for firing in one.firings}
    theirs = {firing.key: firing for firing in other.firings}
    either = {key: mine.get(key) or theirs[key] for key in [*mine, *theirs]}
    kept = [firing for key, firing in either.items()
            if key in mine and key in theirs or pack.rule(firing.rule).conclude.kind in (*_DANGERS, "access", "gate")]
    return tuple(sorted(kept, key=lambda firing: (pack.rule(firing.rule).order, firing.where)))
