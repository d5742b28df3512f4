"""What guidance sees: the facts of one section at one moment, without time and without history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldaid.facts.values import check_value


@dataclass(frozen=True)
class Situation:
    """Known values by fact name, and how each is known. A fact that is absent is unknown; one in `cannot_tell` is
    unknown and was asked. `attics_beside` are the other sections ("main" for the main roof) in whose attic fire was
    told."""

    values: Mapping[str, Any] = field(default_factory=dict)
    basis: Mapping[str, str] = field(default_factory=dict)
    cannot_tell: frozenset[str] = frozenset()
    section: str = ""
    attics_beside: tuple[str, ...] = ()

    @classmethod
    def of(cls, facts: Mapping[str, Any], basis: Mapping[str, str] | None = None) -> Situation:
        """A situation from plain values, each checked; `basis` where it is not "told".

        Raises
        ------
        FactError : a fact or value is not in the vocabulary

        >>> Situation.of({"roof.form": "gable"}).values["roof.form"]
        'gable'
        """
        cannot = frozenset(name for name, value in facts.items() if value == "cannot tell")
        values = {name: check_value(name, value) for name, value in facts.items() if name not in cannot}
        return cls(values=values, basis={name: (basis or {}).get(name, "told") for name in values}, cannot_tell=cannot)
