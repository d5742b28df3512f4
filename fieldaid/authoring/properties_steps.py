"""Invariants as properties of one more telling: what may change, and what must not.

The telling goes through the picture, so that contradicting, replacing and only-worse count as they do in a session.
A step says True, False or None like a property. `worsened` and `unmarked_holds` are for every fact: a more dangerous
one never loosens, and a value not marked as loosening never loosens.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from fieldaid.authoring.properties_seen import NO_GO, Seen
from fieldaid.authoring.situations import values_of
from fieldaid.facts.fact import SIDES
from fieldaid.facts.picture import CANNOT_TELL
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import FACTS, Fact
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import ACCESS, GATE

Check = Callable[[Seen, Seen], bool | None]
Tell = Callable[[Seen, random.Random], tuple[str, Any] | None]


def access_fell(before: Outcome, after: Outcome) -> bool:
    """Whether access allows more than before."""
    return ACCESS.index(after.access) > ACCESS.index(before.access)


def gate_fell(before: Outcome, after: Outcome) -> bool:
    """Whether the gate allows more than before."""
    return GATE.index(after.gate) > GATE.index(before.gate)


def loosened(before: Outcome, after: Outcome) -> bool:
    """Whether access, gate or a leave fell. "Done" and "other means" are answers, not dangers: news of more fire may
    take them back."""
    if before.access_reason == "done" and not before.triggers:
        return False
    if access_fell(before, after):
        return True
    return gate_fell(before, after) and before.gate != "other means"


@dataclass(frozen=True)
class Step:
    """One property of an invariant about one more telling: what is told, or None where the step does not apply."""

    number: int
    says: str
    rows: str
    tell: Tell
    check: Check

    @property
    def key(self) -> str:
        return f"{self.number:02d} {self.says}"


STEPS: list[Step] = []


def _step(number: int, says: str, rows: str, tell: Tell) -> Callable[[Check], Check]:
    def keep(check: Check) -> Check:
        STEPS.append(Step(number, says, rows, tell, check))
        return check
    return keep


def _one_of(*pairs: tuple[str, Any]) -> Tell:
    return lambda seen, rng: rng.choice(pairs)


def _lost_need(seen: Seen, rng: random.Random) -> tuple[str, Any] | None:
    """A need of the closed list that is told and good, to be answered with "cannot tell"."""
    if not seen.free:
        return None
    needs = [name for name in ("crew.masks", "command.roof", "roof.wires", "roof.surface", "roof.solar", "crew.count")
             if name in seen.told and not FACTS[name].lasts(seen.told[name])]
    return (rng.choice(needs), CANNOT_TELL) if needs else None


def _bad_place(seen: Seen, rng: random.Random) -> tuple[str, Any] | None:
    bad = [name for name, value in seen.told.items() if name.startswith("deck.") and value != "solid"]
    if not bad:
        return None
    name = rng.choice(bad)
    return rng.choice(((name, "solid"), (name.replace("deck.", "camera."), "cool")))


def _rafters_over_trusses(seen: Seen, rng: random.Random) -> tuple[str, Any] | None:
    return ("roof.framing", "rafters") if seen.told.get("roof.framing") == "trusses" else None


def _good_of_the_garage(seen: Seen, rng: random.Random) -> tuple[str, Any]:
    return rng.choice((("deck.eave@garage", "solid"), ("fire.attic@garage", "not seen"),
                       ("roof.framing@garage", "rafters"), ("roof.wires@garage", "none")))


@_step(2, "cannot tell, on a need that was good, bars and asks no less", "N01, L25", _lost_need)
def _(before: Seen, after: Seen) -> bool | None:
    return after.out.access != "no bar reported"


@_step(4, "burn time changes neither access nor gate", "N02, L08, L25",
       _one_of(("fire.minutes", 0), ("fire.minutes", 6), ("fire.minutes", 60), ("fire.minutes", 300)))
def _(before: Seen, after: Seen) -> bool | None:
    return (after.out.access, after.out.gate) == (before.out.access, before.out.gate)


@_step(6, "water, line or interior lost, a fan or a hold puts the hold back at once", "V13, V20, F10, W02",
       _one_of(("water.on_fire", "no"), ("line.attack", "lost"), ("interior.crew", "backing out"), ("fan.state", "on"),
               ("interior.calls", "hold"), ("command.roof", "hold"), ("interior.answers", "none")))
def _(before: Seen, after: Seen) -> bool | None:
    if not before.open or after.backdraft:
        return None
    # With the roof open already it is a no-go as well, and a no-go leaves no opening to hold.
    return after.out.gate in ("hold", "no opening")


@_step(11, "a cool camera, age, pitch, layers, daylight and wall frame clear nothing", "T14-T17, T21, C17, C34",
       _one_of(*((f"camera.{place}", "cool") for place in (*SIDES, "ridge", "eave")), ("building.built", 1910),
               ("building.built", 2005), ("roof.pitch", 3), ("roof.pitch_word", "walkable"), ("roof.layers", 1),
               ("building.frame", "masonry"), ("building.frame", "platform"), ("light", "day"),
               ("building.stories", 1)))
def _(before: Seen, after: Seen) -> bool | None:
    return not access_fell(before.out, after.out) and not gate_fell(before.out, after.out)


@_step(12, "a soft spot told now sends everyone off", "F16, G27",
       _one_of(*((f"deck.{place}", value) for place in (*SIDES, "unsaid")
                 for value in ("soft", "sagging", "smoking", "bubbling", "changed sound"))))
def _(before: Seen, after: Seen) -> bool | None:
    return after.sends_off


@_step(18, "an order to come off is the reason given", "S19", _one_of(("command.roof", "come off")))
def _(before: Seen, after: Seen) -> bool | None:
    return after.sends_off and (after.out.access_reason == "ordered" or not before.free)


@_step(21, "a later solid or a cool camera takes back no bad deck", "T17, F15, F16", _bad_place)
def _(before: Seen, after: Seen) -> bool | None:
    return after.out.access == before.out.access


@_step(21, "rafters told later take back no truss", "T17", _rafters_over_trusses)
def _(before: Seen, after: Seen) -> bool | None:
    return after.out.access == before.out.access


@_step(31, "good news of the garage changes nothing on the main roof", "L25, F20", _good_of_the_garage)
def _(before: Seen, after: Seen) -> bool | None:
    return after.out == before.out


def garage_keeps_off(before: Seen, garage: Outcome) -> bool:
    """Invariant 31: a section of which nothing was told is never free on the main roof's good news, and the main
    roof's bad deck is a danger there too."""
    decks = {name for name in before.out.triggers if "deck" in name}
    return garage.access in NO_GO and decks <= set(garage.triggers)


# A more dangerous fact never loosens.

# Orders in the vocabulary's `worse` that compare how bad a report is, not how dangerous a place is. Where a crew
# stands decides what it may do there: from a ladder tip or an aerial a small inspection cut may be reached.
NOT_A_DANGER = frozenset({"crew.where"})


def worse_values(fact: Fact, value: Any) -> tuple[Any, ...]:
    """The values of a fact that the vocabulary marks as worse than `value`."""
    if fact.name in NOT_A_DANGER:
        return ()
    if fact.worse_end == "high" and isinstance(value, (int, float)):
        return tuple(one for one in values_of(fact.name) if isinstance(one, (int, float)) and one > value)
    if value in fact.worse:
        return fact.worse[fact.worse.index(value) + 1:]
    return ()


def worsened(situation: Situation, rng: random.Random) -> Iterator[tuple[str, Any, Situation]]:
    """Situations that differ in one fact, which is worse; in random order of facts, one for each."""
    names = [name for name, value in situation.values.items() if worse_values(FACTS[name], value)]
    rng.shuffle(names)
    for name in names:
        value = rng.choice(worse_values(FACTS[name], situation.values[name]))
        yield name, value, replace(situation, values={**situation.values, name: value})


# The marks are complete: what is not marked never loosens.


def unmarked_values() -> Mapping[str, tuple[Any, ...]]:
    """By fact, the values that are not marked as loosening."""
    found = {name: tuple(value for value in values_of(name) if not fact.is_loosening(value))
             for name, fact in FACTS.items()}
    return {name: values for name, values in found.items() if values}


UNMARKED = unmarked_values()
# A fifth of the tellings go to smoke at its many places, the rest to what access and gate hang on.
_SMOKE = sorted(name for name in UNMARKED if name.startswith("smoke."))
_OTHER = sorted(name for name in UNMARKED if not name.startswith("smoke."))


def random_unmarked(rng: random.Random) -> tuple[str, Any]:
    """A fact and a value of it that is not marked as loosening."""
    name = rng.choice(_SMOKE if rng.random() < 0.2 else _OTHER)
    return name, rng.choice(UNMARKED[name])


def unmarked_holds(name: str, before: Outcome, after: Outcome) -> bool:
    """Whether an unmarked telling kept access, gate and leave. A placing fact may lower the gate, and access only
    where panels over the fire were all that barred: the dialogue confirms placing facts for that reason."""
    if not FACTS[name].placing:
        return not loosened(before, after)
    if before.access_reason == "done" and not before.triggers:
        return True
    return not access_fell(before, after) or before.access_rules == ("SOLAR-110",)
