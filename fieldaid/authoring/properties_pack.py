"""Invariants as properties of a pack itself: its words, its sources, and what its freeing rules look at.

Each yields one sentence for each thing that breaks it. They cover what no situation can show: that a line never orders
and never clears, that a weak source never loosens, that what clears nothing is tested by no rule that frees.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from fieldaid.guidance import words
from fieldaid.guidance.conditions import Condition
from fieldaid.guidance.pack import COMMON_PRACTICE, FROM_MEMORY, Pack, Rule

FREEING = ("no bar reported", "no hold reported", "ladder tip only", "aerial only", "made")
# Derived names without which nothing is free.
FREEING_NAMES = ("attic_looked_at", "deck_struck", "framing_good", "tip_ready", "water_ready", "called", "backdraft_go")
CLEARS_NOTHING = ("camera.", "roof.pitch", "roof.layers", "building.", "built.", "framing_guess", "deck_guess",
                  "frame_guess", "knee_wall_guess", "light")
WEAK_KINDS = ("card", "forum", "video")


@dataclass(frozen=True)
class PackProperty:
    """One property of an invariant about the words of a pack; `check` yields what breaks it."""

    number: int
    says: str
    check: Callable[[Pack], Iterator[str]]

    @property
    def key(self) -> str:
        return f"{self.number:02d} {self.says}"


PACK_PROPERTIES: list[PackProperty] = []


def _property(number: int, says: str) -> Callable[[Callable[[Pack], Iterator[str]]], Callable[[Pack], Iterator[str]]]:
    def keep(check: Callable[[Pack], Iterator[str]]) -> Callable[[Pack], Iterator[str]]:
        PACK_PROPERTIES.append(PackProperty(number, says, check))
        return check
    return keep


def frees(rule: Rule) -> bool:
    """Whether it concludes something that may loosen access or gate."""
    return rule.conclude.name in FREEING or any(name in FREEING_NAMES for name, _ in rule.conclude.derived)


def silencers(rule: Rule) -> list[Condition]:
    """The conditions that keep a rule silent."""
    return list(rule.unless.conditions()) if rule.unless else []


def _bars(rule: Rule) -> bool:
    return rule.conclude.kind in ("trigger", "stop", "access", "gate") and not frees(rule)


@_property(4, "burn time frees nothing and silences nothing")
def _(pack: Pack) -> Iterator[str]:
    for rule in pack.live_rules:
        if any(one.key == "fire.minutes" for one in rule.conditions) and rule.conclude.kind not in (
                "caution", "trigger", "stop"):
            yield f"{rule.id} concludes {rule.conclude.kind} from the burn time"
        if any(one.key == "fire.minutes" for one in silencers(rule)):
            yield f"{rule.id} is silenced by the burn time"


@_property(5, "no placement names a cut through what carries")
def _(pack: Pack) -> Iterator[str]:
    allowed = ("rectangle", "louvred panels", "triangle", "trapezoid", "inspection", "existing opening")
    for rule in pack.live_rules:
        if rule.conclude.opening and rule.conclude.opening not in allowed:
            yield f"{rule.id} names a {rule.conclude.opening}"
        if re.search(r"\bcut\w* (through )?(a |the )?(rafter|hip|valley|ridge|jack|tie|joist|chord|truss|purlin)",
                     rule.say, re.IGNORECASE):
            yield f"{rule.id} says: {rule.say}"


@_property(11, "camera, pitch, layers, era and wall frame are tested by no rule that frees, and silence no bar")
def _(pack: Pack) -> Iterator[str]:
    for rule in pack.live_rules:
        if frees(rule):
            yield from (f"{rule.id} frees on {one.key}" for one in rule.conditions
                        if one.key.startswith(CLEARS_NOTHING))
        if _bars(rule):
            yield from (f"{rule.id} is silenced by {one.key}" for one in silencers(rule)
                        if one.key.startswith(CLEARS_NOTHING))


@_property(13, "no line says that a shutdown made panels anything but live")
def _(pack: Pack) -> Iterator[str]:
    for rule in pack.live_rules:
        if re.search(r"\b(shut ?down|switched off|isolated|de-?energi[sz]ed|dead)\b", rule.say, re.IGNORECASE):
            yield f"{rule.id} says: {rule.say}"


@_property(19, "no line says safe or allowed, and none begins with an order to the crew")
def _(pack: Pack) -> Iterator[str]:
    for rule in pack.live_rules:
        if clearing := words.clearing(rule.say):
            yield f"{rule.id} says {clearing}"
        if words.order(rule.say):
            yield f"{rule.id} gives an order: {rule.say}"


@_property(20, "a stop has at most seven words")
def _(pack: Pack) -> Iterator[str]:
    for rule in pack.live_rules:
        if rule.conclude.kind == "stop" and len(rule.say.split()) > 7:
            yield f"{rule.id} says {len(rule.say.split())} words"


@_property(24, "a fact of certainty C, a card, a forum or a video carries no loosening")
def _(pack: Pack) -> Iterator[str]:
    for rule in pack.live_rules:
        if not frees(rule):
            continue
        for name in rule.source:
            source = pack.sources.get(name)
            if name in (COMMON_PRACTICE, FROM_MEMORY) and rule.conclude.name in ("no bar reported", "no hold reported"):
                yield f"{rule.id} frees on {name}"
            if source is not None and (source.certainty == "C" or source.kind in WEAK_KINDS):
                yield f"{rule.id} frees on {name}, a {source.kind} of certainty {source.certainty}"


@_property(25, "the pack says that it is for training and practice and that command decides")
def _(pack: Pack) -> Iterator[str]:
    about = pack.about.lower()
    for word in ("training", "practice", "command", "decide"):
        if word not in about:
            yield f"the pack's own words do not say {word}"
