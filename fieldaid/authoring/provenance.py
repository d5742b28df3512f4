"""What each overlay changed in a pack: so that every value can say where it comes from."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fieldaid.guidance.pack import Pack, Rule, load_pack


@dataclass(frozen=True)
class Change:
    """A value before and after, and the name of the overlay that put it there last."""

    before: Any
    after: Any
    by: str


@dataclass(frozen=True)
class Origins:
    """What overlays changed, by id; `base` is the name of the pack below them."""

    base: str = ""
    parameters: dict[str, Change] = field(default_factory=dict)
    reworded: dict[str, Change] = field(default_factory=dict)
    retired: dict[str, str] = field(default_factory=dict)
    added: dict[str, str] = field(default_factory=dict)

    def value_from(self, parameter: str, pack: Pack) -> str:
        """Who set a parameter: the pack, or an overlay with the pack's own value."""
        change = self.parameters.get(parameter)
        if change is None:
            return self.base or pack.name
        return f"{change.by} (the pack has {change.before:g})"


@dataclass(frozen=True)
class Own:
    """What the last overlay of a pack brings: its folder, the rules it adds, and the parameters that it sets."""

    folder: Path
    rules: frozenset[str]
    parameters: frozenset[str]

    def reads(self, rule: Rule) -> bool:
        """Whether a rule of the base holds something against a parameter that the overlay sets."""
        return any(bound.parameter in self.parameters for one in rule.conditions for bound in one.bounds)


def own_of(pack: Pack) -> Own | None:
    """What the last overlay of a pack brings; None for a pack without one."""
    return _own(pack.folder, pack.overlays, pack.digest) if pack.overlays else None


@functools.lru_cache(maxsize=4)
def _own(folder: Path, overlays: tuple[str, ...], digest: str) -> Own:
    above = [Path(one) for one in overlays]
    before, after = load_pack(folder, above[:-1]), load_pack(folder, above)
    values = before.parameter_values()
    return Own(above[-1], frozenset(rule.id for rule in after.rules if rule.id not in before),
               frozenset(name for name, value in after.parameter_values().items() if values.get(name) != value))


def called(pack: Pack) -> str:
    """A pack's name and version, and the overlays that are laid over it: "house 1.0 under quillhaven"."""
    return " under ".join([f"{pack.name} {pack.version}", *(Path(one).resolve().name for one in pack.overlays)])


def load_with_origins(folder: Path, overlays: Sequence[Path] = ()) -> tuple[Pack, Origins]:
    """The pack with its overlays, and what each of them changed.

    Raises
    ------
    BrokenData : see `load_pack`
    """
    packs = [load_pack(folder, overlays[:count]) for count in range(len(overlays) + 1)]
    origins = Origins(base=packs[0].name)
    for overlay, before, after in zip(overlays, packs, packs[1:], strict=False):
        _compare(Path(overlay).name, packs[0], before, after, origins)
    return packs[-1], origins


def _compare(by: str, base: Pack, before: Pack, after: Pack, origins: Origins) -> None:
    for one in after.parameters.values():
        old = before.parameters.get(one.id)
        if old is not None and old.value != one.value:
            own = base.parameters.get(one.id, old)
            origins.parameters[one.id] = Change(own.value, one.value, by)
    for rule in after.rules:
        if rule.id not in before:
            origins.added[rule.id] = by
            continue
        old_rule = before.rule(rule.id)
        if old_rule.say != rule.say:
            own_rule = base.rule(rule.id) if rule.id in base else old_rule
            origins.reworded[rule.id] = Change(own_rule.say, rule.say, by)
        if rule.status == "retired" and old_rule.status != "retired":
            origins.retired[rule.id] = by
