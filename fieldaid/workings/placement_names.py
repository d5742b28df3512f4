"""The computed facts that the placement solver gives, as the vocabulary declares facts."""

from __future__ import annotations

from fieldaid.facts.vocabulary import SIDES, YES_NO, Fact

WHY_NOT = ("windward", "obstacles", "no slope", "no room", "way off")
SIZES = ("4 by 8", "4 by 6", "4 by 4")
KINDS = ("rectangle", "louvred panels", "triangle", "trapezoid", "existing opening")
BARS = (*WHY_NOT, "section")

FACTS: tuple[Fact, ...] = (
    Fact(
        name="place.worked",
        called="place",
        about="whether the place was worked out on the computed roof",
        values=YES_NO,
    ),
    Fact(name="place.kind", called="opening", about="the kind of opening worked out", values=KINDS),
    Fact(name="place.size", called="size", about="the largest usual size that fits there [ft]", values=SIZES),
    Fact(name="place.second", called="second place", about="the face of the second place", values=SIDES),
    Fact(
        name="place.kerf_ft",
        called="kerf",
        about="length of all cuts together",
        kind="number",
        low=0,
        high=400,
        unit="ft",
    ),
    Fact(
        name="place.ladder_told",
        called="ladder place",
        values=YES_NO,
        about="whether it is told where along its side the ladder behind the crew stands",
    ),
    *(
        Fact(
            name=f"place.bar.{side}",
            group="place.bar",
            place=side,
            called="place",
            about="what takes the face on a side away",
            values=BARS,
        )
        for side in SIDES
    ),
)
