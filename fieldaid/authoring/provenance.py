"""What each overlay changed in a pack: so that every value can say where it comes from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fieldaid.guidance.pack import Pack, load_pack


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
