"""Runs both channels on a situation, compares them, merges what differs, and words the lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldaid.facts.situation import Situation
from fieldaid.guidance.outcome import Line, Outcome
from fieldaid.guidance.pack import Pack


@dataclass(frozen=True)
class Conclusions:
    """What guidance says of one situation.

    slope : side the opening goes on, from the computed place; None after a no-go or when not decided
    triggers, stops, cautions, advice : whole sentences; access_says and gate_says are the fragments that follow
        "Stay off:" and "Hold cut:", of the rules that decided, in pack order
    computed : the computed facts with value, source and limits, by name
    channels_agree : None when only one channel ran
    notices : what a person should hear once about the channels themselves
    """

    access: str
    access_reason: str | None
    access_rules: tuple[str, ...]
    gate: str
    gate_rules: tuple[str, ...]
    slope: str | None
    place: str | None
    kind: str | None
    size_ft: tuple[float, float] | None
    opening_rules: tuple[str, ...]
    triggers: tuple[Line, ...]
    stops: tuple[Line, ...]
    cautions: tuple[Line, ...]
    advice: tuple[Line, ...]
    access_says: tuple[Line, ...]
    gate_says: tuple[Line, ...]
    missing: tuple[str, ...]
    derived: Mapping[str, str]
    computed: Mapping[str, Any]
    channels_agree: bool | None
    notices: tuple[str, ...]
    outcome: Outcome
    situation: Situation = field(default_factory=Situation)


class Guide:
    """Evaluates situations with one pack. `evaluate` never raises because of the child process."""

    def __init__(self, pack: Pack, engine: bool = True) -> None:
        self.pack = pack

    def evaluate(self, situation: Situation) -> Conclusions:
        """The conclusions from one situation: a function of it alone, except that each notice is given once."""
        raise NotImplementedError

    def close(self) -> None:
        """Ends the child process."""

    def __enter__(self) -> Guide:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()
