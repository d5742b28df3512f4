"""Where an opening could go: the best place, the second, and why each other face has none.

Hard limits take places away, soft preferences order what is left (`placement_limits` has each with its source). The
answer is a proposal for people who stand there and see; it is a function of the question alone and is kept for the
questions asked last.
"""

from __future__ import annotations

import functools

import shapely

from fieldaid.workings import placement_limits as limits
from fieldaid.workings import placement_stance
from fieldaid.workings.placement_faces import grounds
from fieldaid.workings.placement_model import Answer, Opening, Question, Rejection
from fieldaid.workings.placement_search import Search, called

FORMS = ("gable", "hip", "pyramid", "shed", "flat", "cross-gable")
UNCUT_FRAMING = ("bowstring", "sandwich panel", "steel", "plank and beam", "mixed")
UNCUT_DECK = ("concrete",)
TRENCH = "A trench is defensive, for long flat roofs on command's plan; none is placed here [G14, G15]."


@functools.lru_cache(maxsize=128)
def place(question: Question) -> Answer:
    """The best and the second place for an opening, and for every other face a sentence that says why not.

    Never raises for what was told; what cannot be worked out is `not_computed`, with the reason.
    """
    why = _not_computed(question)
    if why:
        return Answer(None, None, (), not_computed=why)
    ways = placement_stance.ways_to_try(question.ways)
    notes = (TRENCH,) if any(face.pitch == 0 for face in question.roof.faces) else ()
    if len(ways.ways) < limits.FEWEST_WAYS.value:
        why = f"{_count(len(ways.ways), 'usable way')} off told; two at separate places come before any opening"
        return Answer(
            None,
            None,
            tuple(
                Rejection(face.name, face.side, "ways", f"{called(face)}: {why}.", limits.FEWEST_WAYS.source)
                for face in question.roof.faces
            ),
            "",
            notes,
        )
    floor = placement_stance.walkable(question)
    shapely.prepare(floor)
    found: list[Opening] = []
    rejections = list(_ends_without_slope(question))
    ready = {ground.name: ground for ground in grounds(question.roof)}
    for ground in ready.values():
        result = Search(question, ground, ways, floor).run()
        if isinstance(result, Rejection):
            rejections.append(result)
        else:
            found.append(result)
    found.sort(key=lambda one: (round(one.score, 6), one.face))
    best = found[0] if found else None
    second = found[1] if len(found) > 1 else None
    if best is not None and second is None:
        other = Search(question, ready[best.face], ways, floor, but=best.plan).run()
        second = None if isinstance(other, Rejection) else other
    return Answer(best, second, tuple(rejections), "", notes)


def _not_computed(question: Question) -> str:
    roof = question.roof
    if roof.form not in FORMS:
        return f"a {roof.form} roof has no placement rules here"
    if not roof.members:
        return next((note for note in roof.notes if "not computed" in note), "the layout of its members is not known")
    if question.framing in UNCUT_FRAMING:
        return f"framing {question.framing}: what the deck cut would leave is not known"
    if question.deck in UNCUT_DECK:
        return f"a {question.deck} deck is not opened with a roof saw"
    return ""


def _ends_without_slope(question: Question) -> list[Rejection]:
    """Gable ends: sides that no face looks at."""
    sides = {face.side for face in question.roof.faces}
    if "" in sides:
        return []
    return [
        Rejection(side, side, "no slope", f"{side}: no slope looks that way.", "C20")
        for side in "ABCD"
        if side not in sides
    ]


def _count(number: int, what: str) -> str:
    return f"{'no' if number == 0 else number} {what}{'' if number == 1 else 's'}"
