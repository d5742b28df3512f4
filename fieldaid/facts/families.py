"""The facts that repeat for places, vents, sides and acts: fire, deck, camera, doors, windows, smoke, tries."""

from __future__ import annotations

from fieldaid.facts.fact import FIRE_PLACES, MINUTE, ROOF_PLACES, SIDES, VENTS, Fact
from fieldaid.facts.tries import TRIES


def families() -> list[Fact]:
    """The facts that repeat for places, vents and sides."""
    found: list[Fact] = []
    for place in FIRE_PLACES:
        spoken = place.replace("_", " ")
        found.append(
            Fact(
                name=f"fire.{place}",
                group="fire",
                place=place,
                called=f"{spoken} fire" if place != "attic" else "attic",
                about=f"fire in or at: {spoken}",
                values=("not seen", "suspected", "confirmed", "knocked down"),
                loosening=("not seen", "confirmed", "knocked down")
                if place in ("attic", "cockloft")
                else ("not seen", "knocked down"),
                lasting=("confirmed",),
                ages_to=(("knocked down", "suspected"),),
                not_over=(("suspected", "confirmed"),),
                section=True,
                stale_s=10 * MINUTE,
            )
        )
    for where in ROOF_PLACES:
        found.append(
            Fact(
                name=f"deck.{where}",
                group="deck",
                place=where,
                called="deck",
                section=True,
                about=f"the deck: {where}",
                only_worse=True,
                loosening=("solid",),
                stale_s=10 * MINUTE,
                values=(
                    "solid",
                    "soft",
                    "sagging",
                    "smoking",
                    "bubbling",
                    "hot",
                    "changed sound",
                    "rotten",
                    "burned through",
                ),
                worse=(
                    "solid",
                    "changed sound",
                    "hot",
                    "bubbling",
                    "rotten",
                    "smoking",
                    "soft",
                    "sagging",
                    "burned through",
                ),
            )
        )
        found.append(
            Fact(
                name=f"camera.{where}",
                group="camera",
                place=where,
                called="camera",
                about=f"thermal camera: {where}",
                only_worse=True,
                values=("cool", "warm", "hot", "unusable"),
                worse=("unusable", "cool", "warm", "hot"),
            )
        )
    for side in SIDES:
        found.append(
            Fact(
                name=f"door.{side}",
                group="door",
                place=side,
                called=f"door {side}",
                about=f"a door on side {side}",
                values=("open", "closed", "failed"),
                worse=("closed", "open", "failed"),
                stale_s=15 * MINUTE,
            )
        )
        found.append(
            Fact(
                name=f"window.{side}",
                group="window",
                place=side,
                called=f"window {side}",
                loosening=("open", "closed"),
                about=f"a window on side {side}",
                values=("open", "closed", "failed"),
                worse=("closed", "open", "failed"),
                stale_s=15 * MINUTE,
            )
        )
    attributes = {
        "volume": (("none", "light", "moderate", "heavy"), ("none",)),
        "colour": (("white", "grey", "black", "brown", "yellow"), ()),
        "push": (("lazy", "steady", "pressurised", "turbulent", "pulsing"), ()),
    }
    for vent in VENTS:
        for side in ("", *SIDES):
            for attribute, (values, loosening) in attributes.items():
                place = f"{vent}.{side}" if side else vent
                spoken = vent.replace("_", " ") if vent != "any" else ""
                found.append(
                    Fact(
                        name=f"smoke.{place}.{attribute}",
                        group=f"smoke.{attribute}",
                        place=place,
                        called=f"smoke {spoken}".strip(),
                        about=f"smoke {attribute} at: {place}",
                        values=values,
                        worse=values if attribute != "colour" else (),
                        loosening=loosening,
                        stale_s=10 * MINUTE,
                    )
                )
    for act in TRIES:
        found.append(
            Fact(
                name=f"tried.{act}",
                group="tried",
                place=act,
                called=f"{act} try",
                about=f"what was tried after an opening without relief: {act}",
                values=("done", "no relief"),
                worse=("done", "no relief"),
                not_over=(("done", "no relief"),),
            )
        )
    return found
