"""What a drawing shows: the roof, the answer about it, and what was told around it, as plain values."""

from __future__ import annotations

from dataclasses import dataclass, field

from fieldaid.workings.placement_model import Answer, Question, WayOff
from fieldaid.workings.roof_model import RoofModel

NO_GO = ("leave now", "come down", "stay off")


@dataclass(frozen=True)
class Smoke:
    """Smoke at one vent. `side` is a letter or ""; `volume` is none, light, moderate, heavy or ""."""

    vent: str
    side: str
    volume: str
    push: str = ""


@dataclass(frozen=True)
class Scene:
    """One situation to draw.

    roof : None when no shape is told; `to_scale` says whether its measures are told
    question, answer : of the placement solver; None when it was not asked
    access, gate : as guidance says them, in words; `why` are its lines
    fire_side : letters or "centre" or ""; fire : what is told of the fire, in words
    a_faces : compass point that side A faces, "" when not told; wind : in words, "" when not told
    decks : (place, what is wrong with it); solid deck is not drawn: it clears nothing
    sections : (name, access) of other parts of the house
    rough_face : the face that guidance names where nothing was worked out, "" for none
    not_told : what is not told, in words; not_drawn : what is told and has no place on the plan
    """

    title: str
    access: str
    gate: str = ""
    why: tuple[str, ...] = ()
    roof: RoofModel | None = None
    to_scale: bool = True
    question: Question | None = None
    answer: Answer | None = None
    ways: tuple[WayOff, ...] = ()
    refused: tuple[tuple[str, str], ...] = ()
    fire_side: str = ""
    fire: str = ""
    a_faces: str = ""
    wind: str = ""
    wind_sides: str = ""
    calm: bool = False
    smoke: tuple[Smoke, ...] = ()
    decks: tuple[tuple[str, str], ...] = ()
    sections: tuple[tuple[str, str], ...] = ()
    rough_face: str = ""
    not_told: tuple[str, ...] = ()
    not_drawn: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())

    @property
    def no_go(self) -> bool:
        """Whether nobody goes on or stays on the roof: then no opening is drawn, whatever else is known."""
        return self.access in NO_GO

    @property
    def may_show_opening(self) -> bool:
        """Whether an opening may be drawn: never after a no-go, never where the gate is closed."""
        return not self.no_go and self.gate in ("hold", "no hold reported", "inspection only")
