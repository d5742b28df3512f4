"""One sheet for one scene: head, plan, what it says in words, section, legend, title block."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from fieldaid.drawing import symbols
from fieldaid.drawing.labels import Box
from fieldaid.drawing.patterns import filled
from fieldaid.drawing.plan import STYLES, Plan
from fieldaid.drawing.scene import Scene
from fieldaid.drawing.section import draw_section
from fieldaid.drawing.shapes import LEAST_TEXT, Page, Path, Text, wrapped
from fieldaid.workings.placement_model import Opening
from fieldaid.workings.roof_model import FOOT

WIDTH, HEIGHT = 1600.0, 1130.0
AID = (
    "Training and practice aid. A proposal from what was told; the roof itself was not seen. The incident commander, "
    "the department and local procedure decide."
)
# Plan on the left, words on the right, marks in columns below both; the plan grows where marks are few.
_TOP, _BOTTOM, _SPLIT = 96.0, 1012.0, 1060.0
_MARK_COLUMNS, _MARK_ROW = 3, 28.0
_SECTION_HEIGHT = 200.0


def sheet(scene: Scene) -> Page:
    """The drawing of a scene. After a no-go it shows no opening, whatever else is known."""
    page = Page(WIDTH, HEIGHT, scene.title, describe(scene))
    _head(page, scene)
    # Drawn once to learn which marks there are, and again into the room that their legend leaves.
    marks, _ = _plan(Page(WIDTH, HEIGHT, "", ""), scene, (20.0, _TOP, _SPLIT, _BOTTOM - 4 * _MARK_ROW))
    foot = _BOTTOM - _MARK_ROW * -(-len(marks) // _MARK_COLUMNS) - (10 if marks else 0)
    area: Box = (20.0, _TOP, _SPLIT, foot)
    page.add(Path(((area[0], area[1]), (area[2], area[1]), (area[2], area[3]), (area[0], area[3])), 2.0, closed=True))
    _, unplaced = _plan(page, scene, area)
    if scene.roof is None:
        page.add(
            Text(
                ((area[0] + area[2]) / 2, (area[1] + area[3]) / 2),
                "The shape of the roof is not told.",
                30,
                "middle",
                True,
            )
        )
    best = scene.answer.best if scene.answer and scene.may_show_opening else None
    bottom = foot
    if (
        best is not None
        and scene.question is not None
        and scene.question.roof.face(best.face).pitch > 0
        and best.kind != "inspection"
    ):
        bottom -= _SECTION_HEIGHT
        draw_section(page, (_SPLIT + 25, bottom, WIDTH - 20, foot), scene.question, best)
        bottom -= 10
    _words(page, scene, unplaced, (_SPLIT + 25, _TOP, WIDTH - 20, bottom))
    _legend(page, marks, foot + 8)
    _foot(page, scene)
    return page


def _plan(page: Page, scene: Scene, area: Box) -> tuple[dict[str, str], list[str]]:
    """The marks that the plan uses, with their words, and the labels that found no room."""
    if scene.roof is None:
        return {}, []
    plan = Plan(scene, page, area)
    plan.draw()
    return plan.used, plan.labels.unplaced


def _head(page: Page, scene: Scene) -> None:
    page.add(Text((20, 44), scene.title, 32, bold=True))
    state = f"ACCESS: {scene.access}" + (f"   GATE: {scene.gate}" if scene.gate and not scene.no_go else "")
    if scene.no_go:
        text = f"{scene.access.upper()}: no opening is shown"
        width = Text((0, 0), text, 28, bold=True).width
        page.add(
            Path(((20, 56), (44 + width, 56), (44 + width, 92), (20, 92)), 0.0, "none", "black", True),
            Text((32, 83), text, 28, bold=True, ink="white"),
        )
        why = scene.why[0] if scene.why else ""
        for line in wrapped(why, WIDTH - width - 90, 24)[:1]:
            page.add(Text((60 + width, 83), line, 24))
    else:
        page.add(Text((20, 82), state, 26, bold=True))


def describe(scene: Scene) -> str:
    """The drawing in sentences, for who cannot see it."""
    parts = [f"Roof plan, side A at the bottom. Access: {scene.access}."]
    parts += [f"{one}." for one in scene.why[:1]]
    if scene.fire_side:
        parts.append(f"Fire at {scene.fire_side}.")
    if scene.wind:
        parts.append(f"{scene.wind}.")
    if scene.no_go:
        return " ".join([*parts, "No opening is shown."])
    best = scene.answer.best if scene.answer and scene.may_show_opening else None
    parts += place_words(best) if best is not None else []
    if scene.answer is not None and scene.answer.not_computed:
        parts.append(f"Place not computed: {scene.answer.not_computed}.")
    parts += [one.why for one in (scene.answer.rejections if scene.answer else ())]
    return " ".join([*parts, *(f"Not told: {one}." for one in scene.not_told)])


def place_words(best: Opening) -> list[str]:
    """The place worked out, in sentences that propose and do not order."""
    size = (
        f"{best.size_ft[0]:g} by {best.size_ft[1]:g} ft"
        if best.size_ft
        else (f"{best.area_m2 / FOOT**2:.0f} square feet")
    )
    where = "flat roof" if best.face == "top" else f"face {best.face}"
    found = [f"Proposed: {best.kind}, {size}, {where}" + (", over the fire." if best.over_fire else ".")]
    for cut in best.cuts:
        rides = ", ".join(f"{count} {kind}{'' if count == 1 else 's'}" for kind, count in cut.rides_over)
        found.append(
            f"Cut {cut.number}: {cut.name}, {feet_inches(cut.length_m)}" + (f", rides over {rides}." if rides else ".")
        )
    if best.way_off:
        found.append(f"Way off behind: {best.way_off}" + (f"; second: {best.second_way}." if best.second_way else "."))
    if best.condition:
        found.append(f"It {best.condition}.")
    return [*found, f"Ceiling: {best.ceiling}.", *best.notes]


def feet_inches(metres: float) -> str:
    """A length as people say it: 4 ft 0 in."""
    inches = round(metres / FOOT * 12)
    return f"{inches // 12} ft {inches % 12} in" if inches >= 12 else f"{inches} in"


def _words(page: Page, scene: Scene, unplaced: list[str], area: Box) -> None:
    """The right column: what is proposed, why not elsewhere, what is not told; what does not fit is counted."""
    left, top, right, bottom = area
    y = top
    for heading, sentences in _blocks(scene, unplaced):
        if not sentences:
            continue
        if y + 24 + 23 * 2 > bottom:
            break
        y += 24
        page.add(Text((left, y), heading, 24, bold=True))
        for number, sentence in enumerate(sentences):
            lines = wrapped(sentence, right - left, LEAST_TEXT)
            more = number + 1 < len(sentences)
            if y + 23 * (len(lines) + more) > bottom:
                y += 23
                page.add(Text((left, y), f"... and {len(sentences) - number} more", LEAST_TEXT))
                break
            for line in lines:
                y += 23
                page.add(Text((left, y), line, LEAST_TEXT))
        y += 8


def _legend(page: Page, marks: dict[str, str], top: float) -> None:
    """The marks in columns, each with its words."""
    rows = -(-len(marks) // _MARK_COLUMNS)
    wide = (WIDTH - 40) / _MARK_COLUMNS
    for number, (mark, words) in enumerate(marks.items()):
        x, y = 20 + wide * (number // rows), top + _MARK_ROW * (number % rows + 0.5)
        _mark(page, mark, (x + 24, y))
        page.add(Text((x + 60, y + 7), words, LEAST_TEXT))


def _blocks(scene: Scene, unplaced: list[str]) -> list[tuple[str, Sequence[str]]]:
    found: list[tuple[str, Sequence[str]]] = []
    answer = scene.answer
    if scene.no_go:
        found.append(("Why", [f"{one}." for one in scene.why]))
    elif answer is not None and scene.may_show_opening:
        if answer.best is not None:
            found.append(("Proposed, the crew decides", _short(answer.best)))
        elif answer.not_computed:
            found.append(("Place not computed", [f"{answer.not_computed[:1].upper()}{answer.not_computed[1:]}."]))
        else:
            found.append(("No place was found", ["Every face has a reason against it."]))
        found.append(("Not here", [one.why for one in answer.rejections]))
        found.append(("Notes", list(answer.notes)))
    elif answer is not None and answer.not_computed:
        found.append(("Place not computed", [f"{answer.not_computed[:1].upper()}{answer.not_computed[1:]}."]))
    if scene.gate in ("hold", "no opening", "other means", "inspection only") and not scene.no_go and scene.why:
        found.append((f"Gate: {scene.gate}", [f"{one}." for one in scene.why]))
    if scene.sections:
        found.append(("Other parts", [f"{name}: {access}; its shape is not told." for name, access in scene.sections]))
    found.append(("Told, not drawn", [f"{'; '.join(scene.not_drawn)}."] if scene.not_drawn else []))
    found.append(("Drawn, not told", list(scene.notes)))
    found.append(("Not told", [", ".join(scene.not_told) + "."] if scene.not_told else []))
    found.append(("Also", unplaced))
    return found


def _short(best: Opening) -> list[str]:
    """The place in few lines: upright cuts of louvred panels are told together."""
    words = place_words(best)
    if best.kind == "louvred panels" and len(best.cuts) > 4:
        first, last = best.cuts[2], best.cuts[-1]
        lines = [one for one in words if not one.startswith("Cut ") or int(one[4:].split(":")[0]) <= 2]
        at = next(n for n, one in enumerate(lines) if one.startswith("Cut 2")) + 1
        lines.insert(
            at,
            f"Cuts {first.number} to {last.number}: between members, {feet_inches(first.length_m)} each, "
            "the last beside the crew.",
        )
        return lines
    return words


def _mark(page: Page, mark: str, at: tuple[float, float]) -> None:
    """A legend entry's mark, small."""
    x, y = at
    box = shapely.box(x - 22, y - 10, x + 22, y + 10)
    ring = tuple(box.exterior.coords[:-1])
    if mark in STYLES or mark in ("member", "wall", "way", "second", "side ladder", "ladder", "lost ladder"):
        width, dash = STYLES.get(mark, (2.0, ()))
        width, dash = {"member": (1.0, (3.0, 4.0)), "wall": (1.5, (9.0, 6.0)), "second": (2.5, (4.0, 5.0))}.get(
            mark, (width, dash)
        )
        if mark == "way":
            page.add(*symbols.arrow((x - 22, y), (x + 22, y), 3.0, 14.0, (8.0, 5.0)))
        elif "ladder" in mark:
            page.add(*(_turned(x, y, mark)))
        else:
            page.add(Path(((x - 22, y), (x + 22, y)), width, dash=dash))
    elif mark in ("no-go", "windward", "drop", "opening", "array", "other"):
        pattern, gap, width, dash = {
            "no-go": ("crossed", 10.0, 2.0, ()),
            "windward": ("level", 6.0, 1.0, ()),
            "drop": ("back diagonal", 9.0, 1.2, (6.0, 4.0)),
            "opening": ("diagonal", 8.0, 1.5, ()),
            "array": ("grid", 8.0, 1.2, ()),
            "other": ("upright", 7.0, 1.5, ()),
        }[mark]
        page.add(*filled(box, pattern, gap, width, dash))  # type: ignore[arg-type]
        page.add(Path(ring, 4.0 if mark == "opening" else 1.5, closed=True))
    elif mark == "skylight":
        page.add(*symbols.crossed_square(((x - 10, y - 10), (x + 10, y - 10), (x + 10, y + 10), (x - 10, y + 10))))
    elif mark == "chimney":
        page.add(Path(((x - 9, y - 9), (x + 9, y - 9), (x + 9, y + 9), (x - 9, y + 9)), 1.0, "black", "black", True))
    elif mark == "fire":
        page.add(*symbols.flame(at, 13.0))
    elif mark in ("smoke", "no smoke"):
        page.add(*symbols.smoke((x, y - 1), "none" if mark == "no smoke" else "moderate"))
    elif mark == "number":
        page.add(*symbols.number((x, y), "1"))
    elif mark == "person":
        page.add(*symbols.person((x, y)))
    elif mark == "wind":
        page.add(
            *symbols.arrow((x - 20, y - 6), (x + 20, y - 6), 3.0, 11.0),
            *symbols.arrow((x - 20, y + 6), (x + 20, y + 6), 3.0, 11.0),
        )


def _turned(x: float, y: float, mark: str) -> list[Path]:
    """A ladder on its side for the legend."""
    dash = (6.0, 4.0) if mark == "side ladder" else ()
    found = [Path(((x - 22, y + off), (x + 22, y + off)), 3.0, dash=dash) for off in (-7, 7)]
    found += [Path(((x + off, y - 7), (x + off, y + 7)), 2.0) for off in (-15, -5, 5, 15)]
    if mark == "lost ladder":
        found += [Path(((x - 16, y - 12), (x + 16, y + 12)), 3.0), Path(((x - 16, y + 12), (x + 16, y - 12)), 3.0)]
    return found


def _foot(page: Page, scene: Scene) -> None:
    page.add(Path(((20, 1026), (WIDTH - 20, 1026)), 2.0))
    y = 1026.0
    for line in wrapped(AID, WIDTH - 40, 22, True):
        y += 28
        page.add(Text((20, y), line, 22, bold=True))
    parts = []
    if scene.roof is not None and not scene.to_scale:
        parts.append("Sketch, not to scale.")
    parts.append("Only what was told is drawn. Nothing drawn or left out means that a place will hold.")
    page.add(Text((20, y + 30), " ".join(parts), LEAST_TEXT))
