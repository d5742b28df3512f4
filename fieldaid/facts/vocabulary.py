"""Every fact that can be told. The one source for packs, grammar and journal."""

from __future__ import annotations

import difflib

from fieldaid.errors import FactError
from fieldaid.facts.building_facts import BUILDING_FACTS
from fieldaid.facts.fact import (
    BASES,
    COMPASS,
    CORNERS,
    FIRE_PLACES,
    LADDER_PLACES,
    OBSTACLE_PLACES,
    ROOF_PLACES,
    SECTIONS,
    SIDES,
    VENTS,
    YES_NO,
    Fact,
)
from fieldaid.facts.families import families
from fieldaid.facts.fire_facts import FIRE_FACTS
from fieldaid.facts.people_facts import PEOPLE_FACTS

__all__ = [
    "FACTS",
    "fact",
    "split_section",
    "BASES",
    "COMPASS",
    "CORNERS",
    "FIRE_PLACES",
    "LADDER_PLACES",
    "OBSTACLE_PLACES",
    "ROOF_PLACES",
    "SECTIONS",
    "SIDES",
    "VENTS",
    "YES_NO",
    "Fact",
]


FACTS: dict[str, Fact] = {one.name: one for one in [*BUILDING_FACTS, *FIRE_FACTS, *PEOPLE_FACTS, *families()]}


def split_section(name: str) -> tuple[str, str]:
    """`roof.framing@garage` -> ("roof.framing", "garage"); the main section is ""."""
    base, _, section = name.partition("@")
    return base, section


def fact(name: str) -> Fact:
    """The fact called `name`, with or without a section.

    Raises
    ------
    FactError : no such fact, or it cannot belong to that section; names the nearest ones
    """
    base, section = split_section(name)
    found = FACTS.get(base)
    if found is None:
        near = difflib.get_close_matches(base, FACTS, n=3, cutoff=0.6)
        raise FactError(
            f"no fact is called {base!r}",
            why="the vocabulary does not have it",
            next_step=f"did you mean {', '.join(near)}?" if near else "see the list in fieldaid/facts",
        )
    if section and section not in SECTIONS:
        near = difflib.get_close_matches(section, SECTIONS, n=1, cutoff=0.4)
        raise FactError(
            f"no section is called {section!r}",
            where=name,
            why=f"sections are {', '.join(SECTIONS)}",
            next_step=f"did you mean {near[0]}?" if near else "use one of them",
        )
    if section and not found.section:
        raise FactError(
            f"{base} cannot belong to a section",
            where=name,
            why="only facts of the roof, deck, attic, fire and opening can",
            next_step=f"tell {base} without @{section}",
        )
    return found
