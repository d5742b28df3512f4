"""`draw` in a session and `fieldaid draw`: from a session, a file or a journal to a drawing.

A file of a situation is YAML: `title`, `facts` (as in a rule's situations) and, where more is known than facts can
say, `plan` with measures in feet from the house's AB corner.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from fieldaid import clock, data
from fieldaid.drawing.scene import NO_GO, Scene, Smoke
from fieldaid.errors import FieldaidError, JournalError, WrongUse
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import SIDES, VENTS, fact
from fieldaid.grammar import Reading
from fieldaid.guidance.guide import Conclusions, Guide
from fieldaid.guidance.outcome import Line
from fieldaid.guidance.pack import load_pack
from fieldaid.session.conclusion_lines import needs
from fieldaid.session.journal import read_only
from fieldaid.session.judging import judge
from fieldaid.session.retold import retold
from fieldaid.session.setting import HOUSE_PACK
from fieldaid.workings import wind
from fieldaid.workings.placement_facts import NotTold, answer_of, refused_sides, roof_of, ways_of
from fieldaid.workings.placement_model import Answer, Question, WayOff

if TYPE_CHECKING:
    from fieldaid.session.session import Session

EXAMPLES = Path(__file__).resolve().parent / "draw_examples"
# For a sketch of a roof whose measures are not told; the sheet says that it is not to scale.
_SKETCH = {"roof.length_ft": 40, "roof.width_ft": 28, "roof.pitch": 6, "roof.spacing_in": 24, "roof.ridge_runs": "B-D"}
_STANDING = ("roof.solar", "roof.wires", "roof.skylight", "roof.dormers", "roof.load", "building.additions")
"""What stands on the roof or beside it. A fact names its side at most, so that it cannot be drawn in its place."""
_MEASURES = ("roof.length_ft", "roof.width_ft", "roof.pitch", "roof.spacing_in")


def scene_of(
    situation: Situation,
    found: Conclusions,
    title: str = "",
    sections: Mapping[str, str] | None = None,
    asked: tuple[Question, Answer] | None = None,
) -> Scene:
    """The scene of a situation and what guidance says of it. `asked` replaces the question that the facts make."""
    told = situation.values
    no_go = found.access in NO_GO
    question: Question | None = None
    answer: Answer | None = None
    if asked is not None:
        question, answer = asked
    elif not no_go:
        question, answer = answer_of(situation)
        answer = _agreed(question, answer, found)
    roof, to_scale = (question.roof, True) if question is not None else _roof(told)
    ways: tuple[WayOff, ...] = ()
    if question is not None:
        ways = question.ways
    elif roof is not None:
        try:
            ways = ways_of(roof, told.get("crew.ladders") or [], told)
        except NotTold:
            ways = ways_of(roof, [one for one in told["crew.ladders"] if one["place"] != "unsaid"], told)
    side = told.get("fire.side", "")
    face = found.slope if found.slope in SIDES else None
    lines = _why(found) if no_go else found.gate_says
    return Scene(
        title=title or _title(told),
        access=found.access,
        gate=found.gate,
        why=tuple(dict.fromkeys(_plain(line.text) for line in lines)),
        roof=roof,
        to_scale=to_scale,
        question=None if no_go and asked is None else question,
        answer=None if no_go else answer,
        ways=ways,
        refused=question.refused if question is not None else refused_sides(told),
        fire_side=side,
        fire=_fire(told),
        a_faces=told.get("site.a_faces", ""),
        wind=_wind(told),
        wind_sides=_windward(told),
        smoke=_smoke(told),
        decks=tuple(
            (name.split(".")[1], value) for name, value in told.items() if name.startswith("deck.") and value != "solid"
        ),
        sections=tuple((sections or {}).items()),
        rough_face=face if face and not no_go else "",
        not_drawn=() if asked is not None else _not_drawn(told, no_go),
        notes=() if asked is not None else _assumed(told),
        not_told=tuple(
            word
            for word in _not_told(situation, found)
            # A file with a plan shows its skylights there.
            if asked is None or word != fact("roof.skylight").called
        ),
    )


def _why(found: Conclusions) -> list[Line]:
    """What bars the roof, the dangers first. "Danger reported" says nothing beside them, and what is only not told
    stands under "Not told" where there is another reason."""
    says = [line for line in found.access_says if not (found.triggers and "trigger" in line.about)]
    told = [line for line in says if line.need is None]
    return [*found.triggers, *(told if found.triggers or told else says)]


def _not_drawn(told: Mapping[str, Any], no_go: bool) -> tuple[str, ...]:
    """What was told to stand on the roof and is on no plan; without a no-go the sides of panels and wires are crossed
    out there."""
    found = []
    drawn = () if no_go else ("roof.solar", "roof.wires")
    for name in _STANDING:
        value = told.get(name, "none")
        places = value if isinstance(value, list) else [value]
        if value == "none" or name in drawn and all(place in SIDES for place in places):
            continue
        words = ", ".join("place not told" if place == "unsaid" else str(place) for place in places)
        found.append(f"{fact(name).called} {words}")
    return tuple(found)


def _assumed(told: Mapping[str, Any]) -> tuple[str, ...]:
    """What a sketch shows although nobody told it."""
    form = told.get("roof.form")
    if form == "shed":
        return ("The high edge is drawn on C: which side is high is not told.",)
    if form is None or form in ("flat", "pyramid") or "roof.ridge_runs" in told:
        return ()
    return ("The ridge is drawn from B to D: its direction is not told.",)


def _agreed(question: Question | None, answer: Answer, found: Conclusions) -> Answer:
    """The solver's answer as far as guidance stands behind it: for an inspection cut another question is asked, and
    a place that guidance does not name (what waits for "affirm" may move it) is not shown."""
    if found.gate == "inspection only" and question is not None:
        from fieldaid.workings.placement import place

        return place(replace(question, mode="inspection"))
    if answer.best is not None and found.gate in ("hold", "no hold reported") and answer.best.side != found.slope:
        return Answer(None, None, answer.rejections, not_computed="what waits or differs could move the place")
    return answer


def _roof(told: Mapping[str, Any]) -> tuple[Any, bool]:
    """The roof as told, else a sketch of its form; None where even the form is not told."""
    try:
        return roof_of(told), True
    except NotTold:
        pass
    from fieldaid.workings.roof import build
    from fieldaid.workings.roof_model import FOOT, INCH

    if "roof.form" not in told:
        return None, False
    sketch = {**_SKETCH, **{name: told[name] for name in _SKETCH if name in told}}
    steep = told["roof.form"] in ("gambrel", "mansard")
    try:
        roof = build(
            told["roof.form"],
            sketch["roof.length_ft"] * FOOT,
            sketch["roof.width_ft"] * FOOT,
            0.0 if told["roof.form"] == "flat" else (20 if steep else max(sketch["roof.pitch"], 1)) / 12,
            ridge_runs=sketch["roof.ridge_runs"],
            spacing_m=sketch["roof.spacing_in"] * INCH,
        )
    except FieldaidError:
        return None, False
    return roof, all(name in told for name in _MEASURES) and not steep


def _title(told: Mapping[str, Any]) -> str:
    form = told.get("roof.form", "Roof")
    ridge = told.get("roof.ridge_runs")
    words = f"{form[:1].upper()}{form[1:]} roof" if form != "Roof" else "Roof"
    if ridge and form not in ("flat", "pyramid"):
        words += f", ridge {ridge.replace('-', ' to ')}"
    if "roof.length_ft" in told and "roof.width_ft" in told:
        words += f", {told['roof.length_ft']:g} by {told['roof.width_ft']:g} ft"
    if told.get("roof.pitch"):
        words += f", {told['roof.pitch']:g} in 12"
    return words


def _fire(told: Mapping[str, Any]) -> str:
    places = [
        name.split(".")[1].replace("_", " ")
        for name, value in told.items()
        if name.startswith("fire.") and value in ("suspected", "confirmed")
    ]
    return f"fire: {', '.join(places)}" if places else "fire"


def _wind(told: Mapping[str, Any]) -> str:
    if told.get("wind.mph") == 0:
        return "calm"
    if "wind.from" not in told:
        return ""
    start = told["wind.from"]
    words = f"wind from {'side ' + start if start in SIDES else start}"
    return f"{words}, {told['wind.mph']:g} mph" if "wind.mph" in told else words


def _windward(told: Mapping[str, Any]) -> str:
    if "wind.from" not in told:
        return ""
    lie = wind.lie_of_sides(told["wind.from"], told.get("site.a_faces"), told.get("wind.mph"))
    return "".join(side for side in SIDES if lie.get(side) == "windward")


def _smoke(told: Mapping[str, Any]) -> tuple[Smoke, ...]:
    found: dict[tuple[str, str], dict[str, str]] = {}
    for name, value in told.items():
        parts = name.split(".")
        if parts[0] == "smoke" and parts[1] in VENTS:
            found.setdefault((parts[1], parts[2] if len(parts) == 4 else ""), {})[parts[-1]] = value
    return tuple(
        Smoke(vent, side, what.get("volume", ""), what.get("push", "")) for (vent, side), what in found.items()
    )


def _not_told(situation: Situation, found: Conclusions) -> tuple[str, ...]:
    """What guidance misses, and what the drawing itself would need."""
    wanted = (
        "roof.form",
        *_MEASURES,
        "site.a_faces",
        "wind.from",
        "fire.side",
        "crew.ladders",
        "roof.skylight",
        "ceiling.kind",
    )
    words = [*needs(found), *(fact(name).called for name in wanted if name not in situation.values)]
    if situation.values.get("wind.mph") == 0:
        words = [word for word in words if word != fact("wind.from").called]
    if situation.values.get("roof.form") == "flat":
        words = [word for word in words if word != fact("roof.pitch").called]
    return tuple(dict.fromkeys(words))


def _plain(text: str) -> str:
    text = text.strip().rstrip(".")
    return f"{text[:1].upper()}{text[1:]}"


def draw_session(session: Session, line: str) -> str:
    """Draws what a session knows now; `line` is "draw" or "draw FILE". Says where the file is."""
    name = line.strip()[len("draw") :].strip()
    path = Path(name) if name else data.state_home() / "drawings" / f"{clock.stamp(clock.now()).replace(':', '')}.svg"
    at = clock.now()
    judged = judge(session.guide, session.state, at)
    scene = scene_of(
        session.state.picture.situation(at),
        judged.main,
        sections={name.replace("_", " "): found.access for name, found in judged.sections.items()},
    )
    return f"Drawn: {write(scene, path)}"


def draw(options: argparse.Namespace, out: TextIO) -> int:
    """`fieldaid draw`: a situation from a file, or the last one of a journal, or the examples. Returns the exit code.

    Raises
    ------
    FieldaidError : the source cannot be used, or the drawing cannot be written
    """
    if options.examples is None and options.source is None:
        raise WrongUse(
            "nothing to draw was named", next_step="name a YAML file or a journal, or give --examples FOLDER"
        )
    rules = options.rules or data.folder("rules") / HOUSE_PACK
    with Guide(load_pack(rules, options.overlay), engine=not options.no_engine) as guide:
        if options.examples is not None:
            for source in sorted(EXAMPLES.glob("*.yaml")):
                print(_drawn(guide, source, options.examples / f"{source.stem}.{options.format}"), file=out)
        if options.source is not None:
            print(
                _drawn(guide, options.source, options.to or Path(f"{options.source.stem}.{options.format}")), file=out
            )
    return 0


def _drawn(guide: Guide, source: Path, to: Path) -> str:
    scene = _journal_scene(guide, source) if _is_journal(source) else _file_scene(guide, source)
    return f"{write(scene, to)}: {scene.title}. {describe_short(scene)}"


def _is_journal(path: Path) -> bool:
    """Whether a file is a journal by its first bytes: those of SQLite."""
    try:
        with path.open("rb") as file:
            return file.read(15) == b"SQLite format 3"
    except OSError:
        return False  # reading it as a situation says why it cannot be read


def describe_short(scene: Scene) -> str:
    """One line for the list of drawings written: access, and what is proposed."""
    if scene.no_go:
        return f"{scene.access.capitalize()}: no opening is shown."
    best = scene.answer.best if scene.answer and scene.may_show_opening else None
    if best is not None:
        return f"{best.kind.capitalize()} on {'the flat roof' if best.face == 'top' else best.face} proposed."
    why = scene.answer.not_computed if scene.answer else ""
    return f"Place not computed: {why}." if why else "No place was found."


def _file_scene(guide: Guide, path: Path) -> Scene:
    from fieldaid.session import draw_file

    file = draw_file.read(path)
    asked = draw_file.asked(file)
    found = guide.evaluate(file.situation, asked[1] if asked else None)
    return scene_of(file.situation, found, file.title, asked=asked)


def _journal_scene(guide: Guide, path: Path) -> Scene:
    """The situation at the end of a journal's last session."""
    from fieldaid.grammar import load_grammar

    journal = read_only(path)
    try:
        rows = journal.sessions()
        if not rows:
            raise JournalError("the journal holds no session", where=str(path), next_step="name another journal")
        events = list(journal.events(rows[-1].id))
    finally:
        journal.close()
    grammar = load_grammar(None)
    state = retold(events, lambda name, value, basis: grammar.spoken(Reading(name, value, basis or "told")))
    at = max((event.at for event in events if event.kind == "line"), default=rows[-1].started)
    judged = judge(guide, state, at)
    return scene_of(
        state.picture.situation(at),
        judged.main,
        sections={name.replace("_", " "): found.access for name, found in judged.sections.items()},
    )


def write(scene: Scene, path: Path) -> Path:
    """Writes the drawing of a scene; the file's ending says how (.svg or .png).

    Raises
    ------
    FieldaidError : another ending, no Pillow for PNG, or the file cannot be written
    """
    from fieldaid.drawing.sheet import sheet

    page = sheet(scene)
    if path.suffix.lower() == ".svg":
        from fieldaid.drawing.svg import svg

        data = svg(page).encode()
    elif path.suffix.lower() == ".png":
        from fieldaid.drawing.png import png

        data = png(page)
    else:
        raise FieldaidError(
            f"no drawing can be written as {path.suffix or 'a file without an ending'}",
            where=str(path),
            why="drawings are SVG or PNG",
            next_step="end the name in .svg or .png",
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    except OSError as error:
        raise FieldaidError(
            "the drawing cannot be written",
            where=str(path),
            why=error.strerror or str(error),
            next_step="name a folder that can be written to",
        ) from error
    return path
