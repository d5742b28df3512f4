"""Ways off the roof, counted from the ladders told: which ladder stands for one, and how many are separate."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

SOURCE = "count of the ladders told"
LIMITS = "the ladders themselves are not seen; two at one corner are one way"


def leads_down(ladder: Mapping[str, Any]) -> bool:
    """Whether a ladder reaches the ground: a roof ladder lies on the slope and stops slipping only [S03]."""
    return ladder["kind"] != "roof"


def over_venting_window(told: Mapping[str, Any], place: str) -> bool:
    """Whether a window of the side `place` failed or lets smoke out. Where along the side it is, nobody told."""
    if told.get(f"window.{place}") == "failed":
        return True
    smoke = f"smoke.window.{place}"
    return (told.get(f"{smoke}.volume", "none") != "none" or f"{smoke}.push" in told or f"{smoke}.colour" in told)


def count(told: Mapping[str, Any]) -> dict[str, int | str]:
    """`ways.usable`, a number; once ladders are told `ways.aerial`, `ways.over_window`, `ways.shared` and
    `ways.roof_ladder`, yes or no.

    Ladders at one place are one way; a place not said is no separate way; roof ladders alone tell of no way down.
    """
    found: dict[str, int | str] = {}
    counts = [told["crew.ways_off"]] if "crew.ways_off" in told else []
    if "crew.ladders" in told:
        standing = [ladder for ladder in told["crew.ladders"] if ladder["usable"] == "yes"]
        usable = [ladder for ladder in standing if not over_venting_window(told, ladder["place"])]
        down = [ladder["place"] for ladder in usable if leads_down(ladder)]
        said = {place for place in down if place != "unsaid"}
        if any(map(leads_down, told["crew.ladders"])) and not ("unsaid" in down and "crew.ways_off" in told):
            counts.append(len(said) or min(1, len(down)))
        found["ways.aerial"] = "yes" if any(ladder["kind"] == "aerial" for ladder in usable) else "no"
        found["ways.over_window"] = "yes" if any(map(leads_down, standing)) and len(usable) < len(standing) else "no"
        found["ways.roof_ladder"] = "no" if all(map(leads_down, standing)) else "yes"
        found["ways.shared"] = "yes" if len(down) - down.count("unsaid") > len(said) else "no"
    if counts:
        found["ways.usable"] = min(counts)
    return found
