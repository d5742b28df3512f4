"""What the properties of the invariants see of one situation: what was told, in the words that they are written in.

Written from the trade facts and the design's closed list, in code of its own: it reads nothing of the rules.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from fieldaid.facts.situation import Situation
from fieldaid.guidance.outcome import Outcome

NO_GO = ("leave now", "come down", "stay off")
SOLID_FRAMING = ("rafters", "plank and beam")
LOOKED = ("told", "seen", "struck", "inspection cut")
ATTIC_VENTS = ("ridge", "roof_vent", "gable", "eave")
SIDES = "ABCD"


@dataclass(frozen=True)
class Seen:
    """One situation, its computed facts, and what a channel concluded."""

    situation: Situation
    computed: Mapping[str, Any]
    out: Outcome

    @property
    def told(self) -> Mapping[str, Any]:
        return self.situation.values

    def basis(self, name: str) -> str:
        return self.situation.basis.get(name, "told")

    @property
    def no_go(self) -> bool:
        return self.out.access in NO_GO

    @property
    def free(self) -> bool:
        """Nothing bars the roof."""
        return self.out.access == "no bar reported"

    @property
    def open(self) -> bool:
        """Nothing holds the cut."""
        return self.out.gate == "no hold reported"

    @property
    def maybe_on_roof(self) -> bool:
        return self.told.get("crew.where", "roof") == "roof"

    @property
    def on_roof(self) -> bool:
        return self.told.get("crew.where") == "roof"

    @property
    def sends_off(self) -> bool:
        """A leave-class danger: leave now on the roof or where nobody knows, and nobody goes up."""
        return self.out.access == "leave now" if self.maybe_on_roof else self.no_go

    @property
    def comes_down(self) -> bool:
        return self.out.access in ("leave now", "come down") if self.on_roof else self.no_go

    @cached_property
    def attic_sign(self) -> bool:
        told = self.told
        voids = [told.get(f"fire.{place}") for place in ("attic", "cockloft", "knee_wall")]
        if any(value in ("suspected", "confirmed", "knocked down") for value in voids):
            return True
        if told.get("fire.eaves") in ("suspected", "confirmed") or told.get("opening.shows") == "flame":
            return True
        return any(
            name.startswith("camera.") and value == "hot" or name.startswith("smoke.")
            and name.split(".")[1] in ATTIC_VENTS and not (name.endswith(".volume") and value == "none")
            for name, value in told.items())

    @property
    def framing(self) -> str:
        """solid, engineered or unknown; a guess of solid framing is unknown."""
        told = self.told.get("roof.framing")
        if self.told.get("opening.shows") == "truss" or told not in (None, *SOLID_FRAMING):
            return "engineered"
        return "solid" if told and self.basis("roof.framing") != "guess" else "unknown"

    @property
    def looked(self) -> bool:
        """Somebody looked into the attic, or into a cockloft that stands for it."""
        attic = self.told.get("fire.attic")
        if attic in ("not seen", "confirmed", "knocked down") and self.basis("fire.attic") in LOOKED:
            return True
        return (self.told.get("fire.cockloft") in ("not seen", "knocked down")
                and self.basis("fire.cockloft") in LOOKED and attic != "suspected")

    @property
    def struck(self) -> bool:
        return any(name.startswith("deck.") and value == "solid" and self.basis(name) in LOOKED
                   for name, value in self.told.items())

    @property
    def bad_deck(self) -> bool:
        return any(name.startswith("deck.") and value != "solid" or name.startswith("smoke.deck.") and value != "none"
                   for name, value in self.told.items())

    @property
    def smoke(self) -> bool:
        return any(name.startswith("smoke.") and not (name.endswith(".volume") and value == "none")
                   for name, value in self.told.items())

    @property
    def water(self) -> bool:
        """Water on the fire, or a charged line in reach with the crew in place and nobody saying no."""
        told = self.told
        in_reach = told.get("line.attack") in ("charged", "flowing") and told.get("interior.crew") == "in place"
        return told.get("water.on_fire") == "yes" or in_reach and "water.on_fire" not in told

    @property
    def called(self) -> bool:
        return self.told.get("interior.calls") == "open now" or self.told.get("command.roof") == "open"

    @property
    def backdraft(self) -> bool:
        """Command ordered the opening of a fire short of air, and nobody is inside."""
        return self.told.get("command.backdraft_order") == "yes" and self.told.get("interior.crew") in ("none", "out")

    @property
    def done(self) -> bool:
        told = self.told
        return told.get("fire.stage") == "out" or (
            told.get("interior.relief"), told.get("opening.made")) == ("better", "full")

    @property
    def window_upwind(self) -> bool:
        return any(self.told.get(f"window.{side}") == "failed" and self.computed.get(f"wind.on.{side}") == "windward"
                   for side in SIDES)

    @property
    def panels(self) -> tuple[str, ...]:
        told = self.told.get("roof.solar", "none")
        return () if told == "none" else tuple(told)
