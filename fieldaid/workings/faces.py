"""Which faces a roof has, which of them lie over the fire, and which one an opening could go on.

Words only: a face is named by the side it looks at. Gable-like roofs slope to the two sides along the ridge and end in
gables; hip-like roofs slope to all four. Forms whose faces do not follow from form and ridge (cross-gable, shed, mixed,
arched) give nothing, rather than a guess.
"""

from __future__ import annotations

from typing import Literal

from fieldaid.facts.vocabulary import SIDES
from fieldaid.workings.wind import Lie

FaceKind = Literal["slope", "hip end", "gable end", "flat"]

GABLE_LIKE = ("gable", "gambrel", "saltbox", "a-frame")
HIP_LIKE = ("hip", "dutch gable", "clipped gable")
FOUR_SLOPES = ("pyramid", "mansard")
BAD_DECK = ("soft", "sagging", "smoking", "bubbling", "hot", "changed sound", "rotten", "burned through")


def faces(form: str, ridge_runs: str | None) -> dict[str, FaceKind]:
    """The kind of face on each side; empty when form and ridge do not tell.

    >>> faces("gable", "B-D")
    {'A': 'slope', 'B': 'gable end', 'C': 'slope', 'D': 'gable end'}
    """
    if form == "flat":
        return dict.fromkeys(SIDES, "flat")
    if form in FOUR_SLOPES:
        return dict.fromkeys(SIDES, "slope")
    if form not in GABLE_LIKE + HIP_LIKE or ridge_runs is None:
        return {}
    ends = ridge_runs.split("-")
    end_kind: FaceKind = "gable end" if form in GABLE_LIKE else "hip end"
    return {side: end_kind if side in ends else "slope" for side in SIDES}


def over_fire(kinds: dict[str, FaceKind], fire_side: str) -> list[str]:
    """The faces above a fire at `fire_side` (side, corner or centre), in side order.

    Under a gable end both slopes reach the fire. A flat roof has one face, named by the fire's first side.

    >>> over_fire(faces("gable", "B-D"), "BC")
    ['C']
    >>> over_fire(faces("gable", "B-D"), "B")
    ['A', 'C']
    """
    sloping = [side for side, kind in kinds.items() if kind != "gable end"]
    if fire_side == "centre":
        return sloping
    near = [side for side in fire_side if side in sloping]
    return near or sloping


def choose_face(
    kinds: dict[str, FaceKind],
    fire_side: str,
    lie: dict[str, Lie],
    refused: dict[str, str],
) -> tuple[str | None, str]:
    """The face for an opening and why: ("C", "over the fire") or (None, "windward").

    Never a windward face, never a refused one (`refused`: side -> reason). Over the fire first, then the face across
    the ridge or beside it, high, where it still draws from the same attic; leeward before along.

    >>> wind_on = {"A": "leeward", "B": "along", "C": "windward", "D": "along"}
    >>> choose_face(faces("gable", "B-D"), "C", wind_on, {})
    ('A', 'next face, high')
    """
    over = over_fire(kinds, fire_side)
    sloping = [side for side, kind in kinds.items() if kind != "gable end"]
    rank = {"leeward": 0, "along": 1}
    for group, why in ((over, "over the fire"), ([s for s in sloping if s not in over], "next face, high")):
        usable = [side for side in group if lie.get(side) in rank and side not in refused]
        if usable:
            return min(usable, key=lambda side: (rank[lie[side]], side)), why
    if not sloping:
        return None, "no slope"
    if all(lie.get(side) == "windward" for side in sloping if side not in refused):
        return None, "windward" if any(side not in refused for side in sloping) else "obstacles"
    return None, "obstacles"
