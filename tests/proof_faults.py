"""Faults that break one invariant each: a rule lost or spoiled, or a slip planted in a channel or the dialogue.

Each names the gate facts that a situation must change for the fault to show.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from fieldaid.facts.picture import Picture
from fieldaid.guidance import reference
from fieldaid.guidance.conditions import All, AnyOf, Condition
from fieldaid.guidance.pack import Pack, Rule
from fieldaid.session import dialogue, dialogue_facts, session

Spoil = Callable[[Pack, pytest.MonkeyPatch], Pack]


@dataclass(frozen=True)
class Fault:
    """A fault: `spoil` gives the pack to use and may plant a slip; `talks` says that talks show it."""

    says: str
    spoil: Spoil
    facts: tuple[str, ...] = ()
    talks: bool = False


def without(*ids: str) -> Spoil:
    """The pack without these rules."""
    def spoil(pack: Pack, patch: pytest.MonkeyPatch) -> Pack:
        for rule_id in ids:
            pack.rule(rule_id)
        return replace(pack, rules=tuple(rule for rule in pack.rules if rule.id not in ids))
    return spoil


def changed(rule_id: str, change: Callable[[Rule], Rule], *lost: str) -> Spoil:
    """The pack with one rule changed and others lost."""
    def spoil(pack: Pack, patch: pytest.MonkeyPatch) -> Pack:
        pack = without(*lost)(pack, patch)
        pack.rule(rule_id)
        return replace(pack, rules=tuple(change(rule) if rule.id == rule_id else rule for rule in pack.rules))
    return spoil


def unless(rule_id: str, key: str, *values: str) -> Spoil:
    """A rule that is silenced by a fact."""
    test: Any = "is" if values else "known"
    return changed(rule_id, lambda rule: replace(rule, unless=All((Condition(key, "told", test, values),))))


def lacking(rule_id: str, *keys: str, lost: Iterable[str] = ()) -> Spoil:
    """A rule without its conditions on these names, also where they stand in an `any`."""
    def kept(part: Condition | AnyOf) -> bool:
        if isinstance(part, Condition):
            return part.key not in keys
        return not any(one.key in keys for alternative in part.alternatives for one in alternative.conditions())

    return changed(rule_id, lambda rule: replace(rule, when=All(tuple(filter(kept, rule.when.parts)))), *lost)


def values_lost(rule_id: str, key: str, *values: str) -> Spoil:
    """A rule that forgets some values of a condition."""
    def less(part: Condition | AnyOf) -> Condition | AnyOf:
        if isinstance(part, Condition) and part.key == key:
            return replace(part, values=tuple(one for one in part.values if one not in values))
        return part

    return changed(rule_id, lambda rule: replace(rule, when=All(tuple(map(less, rule.when.parts)))))


def any_basis(rule_id: str) -> Spoil:
    """A rule that takes a guess for a look."""
    def careless(part: Condition | AnyOf) -> Condition | AnyOf:
        return replace(part, basis=()) if isinstance(part, Condition) else part

    return changed(rule_id, lambda rule: replace(rule, when=All(tuple(map(careless, rule.when.parts)))))


def concluding(rule_id: str, **changes: Any) -> Spoil:
    return changed(rule_id, lambda rule: replace(rule, conclude=replace(rule.conclude, **changes)))


def planted(target: Any, name: str, value: Any) -> Spoil:
    """A slip in the code; the pack stays sound."""
    def spoil(pack: Pack, patch: pytest.MonkeyPatch) -> Pack:
        patch.setattr(target, name, value)
        return pack
    return spoil


def command(word: str) -> Spoil:
    """A command that does nothing."""
    def nothing(state: Any, said: Any, phrase: Any) -> Any:
        return state, dialogue.Effects()

    def spoil(pack: Pack, patch: pytest.MonkeyPatch) -> Pack:
        patch.setitem(dialogue._COMMANDS, word, nothing)
        return pack
    return spoil


_whole_situation = Picture.situation


def _good_news_everywhere(self: Picture, now: float, section: str = "", **how: Any) -> Any:
    return _whole_situation(self, now, "", **how)


FAULTS: dict[int, Fault] = {
    1: Fault("a no-go leaves the gate as it was", planted(reference, "NO_GO", ()), ("weather.lightning",)),
    2: Fault("wires are no need any more", lacking("ACCESS-900", "roof.wires", lost=["NEED-080", "WIRE-010"]),
             ("roof.wires",)),
    3: Fault("engineered framing with a sign is no danger", without("FRAME-110"), ("roof.framing",)),
    4: Fault("a known burn time silences lightning", unless("STORM-010", "fire.minutes"), ("weather.lightning",)),
    5: Fault("a cut that follows the hips", concluding("KIND-010", opening="trapezoid"), ("fire.side",)),
    6: Fault("a lost line holds nothing", without("HOLD-030"), ("line.attack",)),
    7: Fault("one way off is enough", without("WAYS-010"), ("crew.ways_off",)),
    8: Fault("a fresh hole is no caution", without("HOLE-020"), ("opening.made",)),
    9: Fault("a member alone stays up", without("TEAM-010", "TEAM-020"), ("crew.count",)),
    10: Fault("low air is no danger", without("AIR-010"), ("crew.air",)),
    11: Fault("daylight silences lightning", unless("STORM-010", "light", "day"), ("weather.lightning",)),
    12: Fault("a soft deck is no danger", values_lost("DECK-010", "deck.*", "soft"), ("deck",)),
    13: Fault("panels are no caution", without("SOLAR-010"), ("roof.solar",)),
    14: Fault("a skylight is no caution", without("HOLE-010"), ("roof.skylight",)),
    15: Fault("a stream at the hole is stopped by nothing", without("WATER-050"), ("line.aims",)),
    16: Fault("the windward face is taken", without("PLACE-010"), ("roof.solar",)),
    17: Fault("the ceiling waits for nothing", without("CEILING-010"), ("opening.made",)),
    18: Fault("ordered off and stays", without("ORDER-010"), ("command.roof",)),
    19: Fault("nobody's order is needed", lacking("ACCESS-900", "command.roof", lost=["NEED-070"]),
              ("command.roof",)),
    20: Fault("the danger comes last", planted(session, "in_order", lambda replies: replies[::-1]), talks=True),
    21: Fault("a bad deck beside a solid one is no danger", without("DECK-010"), ("deck",)),
    22: Fault("a missing member is no mayday", without("MAYDAY-010"), ("crew.missing",)),
    23: Fault("the fire is out and the crew stays", without("DONE-030"), ("fire.stage",)),
    24: Fault("a guess strikes the deck", any_basis("LOOK-030"), ("deck",)),
    25: Fault("the pack does not say what it is for", lambda pack, patch: replace(pack, about="Roof openings.")),
    26: Fault("no answer is an answer", lacking("GATE-900", "interior.answers", lost=["HOLD-110"]),
              ("interior.answers",)),
    27: Fault("nobody looks below", without("CUT-140"), ("crew.where",)),
    28: Fault("lightning bars nothing", without("STORM-010"), ("weather.lightning",)),
    29: Fault("a change of crew forgets nothing", command("crew change"), talks=True),
    30: Fault("an exercise fact is dropped", command("exercise"), talks=True),
    31: Fault("the main roof's good news counts everywhere",
              planted(Picture, "situation", _good_news_everywhere), talks=True),
    32: Fault("spoken good news counts at once", planted(dialogue_facts, "loosens", lambda reading: False), talks=True),
    33: Fault("a vented roof is cut again", without("GATE-010"), ("fire.stage",)),
}
