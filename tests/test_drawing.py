"""The drawings: no text covers another, nothing leaves the page, no opening after a no-go, well-made files."""

from __future__ import annotations

import io
import itertools
import math
import random
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path

import pytest
from placement_houses import random_question

from fieldaid import cli
from fieldaid.drawing import symbols
from fieldaid.drawing.labels import overlap
from fieldaid.drawing.plan import Plan
from fieldaid.drawing.png import png
from fieldaid.drawing.scene import NO_GO, Scene, Smoke
from fieldaid.drawing.section import draw_section
from fieldaid.drawing.shapes import LEAST_TEXT, Disc, Page, Text, text_width, wrapped
from fieldaid.drawing.shapes import Path as Line
from fieldaid.drawing.sheet import HEIGHT, WIDTH, sheet
from fieldaid.drawing.svg import svg
from fieldaid.errors import FieldaidError
from fieldaid.session import draw_file
from fieldaid.session.drawing_room import EXAMPLES, scene_of, write
from fieldaid.workings.placement import place
from fieldaid.workings.placement_model import Answer
from fieldaid.workings.roof import build
from fieldaid.workings.roof_model import FOOT

SVG = "{http://www.w3.org/2000/svg}"
HEAVY = 5.0


def scene(seed: int, **told) -> Scene:  # type: ignore[no-untyped-def]
    """A random invented house with everything on it that a drawing can show."""
    rng = random.Random(seed)
    question = random_question(rng)
    smoke = tuple(
        Smoke(vent, rng.choice("ABCD"), rng.choice(("none", "light", "moderate", "heavy")))
        for vent in rng.sample(("eave", "gable", "window", "ridge"), 2)
    )
    base = dict(
        title=f"{question.roof.form} roof",
        access="no bar reported",
        gate="no hold reported",
        roof=question.roof,
        question=question,
        answer=place(question),
        ways=question.ways,
        refused=question.refused,
        fire_side=question.fire_sides or "centre",
        fire="fire: top floor",
        smoke=smoke,
        a_faces=rng.choice(("", "north", "southwest")),
        wind="wind from northwest, 12 mph",
        not_told=("ceiling", "skylights"),
    )
    return Scene(**{**base, **told})


def inside(page: Page) -> list[str]:
    """What leaves the page."""
    found = []
    for one in page.shapes:
        points = one.points if isinstance(one, Line) else [one.at]
        if isinstance(one, Text):
            left, top, right, bottom = one.box
            points = [(left, top), (right, bottom)]
        if isinstance(one, Disc):
            points = [
                (one.at[0] - one.radius, one.at[1] - one.radius),
                (one.at[0] + one.radius, one.at[1] + one.radius),
            ]
        if not all(-0.01 <= x <= page.width + 0.01 and -0.01 <= y <= page.height + 0.01 for x, y in points):
            found.append(f"{one}")
    return found


def covered(page: Page) -> list[str]:
    """Pairs of texts that cover each other."""
    return [
        f"{one.text!r} over {other.text!r}"
        for one, other in itertools.combinations(page.texts, 2)
        if overlap(one.box, other.box)
    ]


@pytest.mark.parametrize("seed", range(24))
def test_no_text_covers_another_and_nothing_leaves_the_page(seed: int) -> None:
    page = sheet(scene(seed))
    assert covered(page) == [] and inside(page) == []


@pytest.mark.parametrize("seed", range(0, 24, 3))
def test_text_is_large_enough_for_arms_length(seed: int) -> None:
    """20 of 1600 units are 3.7 mm on a landscape A4 sheet."""
    assert min(one.size for one in sheet(scene(seed)).texts) >= LEAST_TEXT


@pytest.mark.parametrize("seed", range(0, 24, 3))
def test_black_and_white_alone(seed: int) -> None:
    """What colour would say is said by pattern and line style."""
    root = ElementTree.fromstring(svg(sheet(scene(seed))))
    inks = {part.get(name) for part in root.iter() for name in ("fill", "stroke")} - {None}
    assert inks <= {"black", "white", "none"}


@pytest.mark.parametrize("access", NO_GO)
@pytest.mark.parametrize("seed", range(0, 12, 2))
def test_after_a_no_go_no_opening_is_drawn(access: str, seed: int) -> None:
    """Invariant 1, even when an answer is handed over."""
    barred = scene(seed, access=access, gate="hold")
    page = sheet(barred)
    words = " ".join(one.text for one in page.texts) + page.about
    for word in ("roposed", "Cut 1", "order of the cuts", "second", "Section", "drop path"):
        assert word not in words
    assert f"{access.upper()}: no opening is shown" in words
    assert page.shapes == sheet(replace(barred, answer=None)).shapes


@pytest.mark.parametrize("gate", ["no opening", "other means", "made", ""])
def test_a_closed_gate_shows_no_opening(gate: str) -> None:
    page = sheet(scene(3, gate=gate))
    assert not any("roposed" in one.text for one in page.texts)


def test_the_opening_is_where_the_answer_says_with_all_its_cuts() -> None:
    shown = next(one for one in map(scene, range(50)) if one.answer and one.answer.best and one.answer.best.cuts)
    page = sheet(shown)
    assert shown.answer is not None and shown.answer.best is not None
    numbers = [one.text for one in page.texts if one.ink == "white"]
    numbers.remove("1")  # the legend's own
    cuts = [str(cut.number) for cut in shown.answer.best.cuts]
    # Of upright kerfs that stand close together only the first and the last keep their numbers.
    assert len(numbers) == len(set(numbers)) and set(numbers) <= set(cuts) and {*cuts[:3], cuts[-1]} <= set(numbers)


def test_the_same_scene_gives_the_same_file() -> None:
    assert svg(sheet(scene(5))) == svg(sheet(scene(5)))


def test_the_svg_is_well_formed_and_says_what_it_shows() -> None:
    root = ElementTree.fromstring(svg(sheet(scene(4))))
    title, about = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert root.get("role") == "img" and root.get("aria-labelledby") == "title about"
    assert title is not None and title.text and about is not None and about.text
    assert "side A at the bottom" in about.text and "Access: no bar reported" in about.text


def test_told_words_are_escaped() -> None:
    root = ElementTree.fromstring(svg(sheet(scene(4, title='<script> & "quotes"', fire="fire & <b>"))))
    assert any(part.text == "fire & <b>" for part in root.iter(f"{SVG}text"))


def test_the_png_shows_the_page() -> None:
    image_of = pytest.importorskip("PIL.Image")
    image = image_of.open(io.BytesIO(png(sheet(scene(6)))))
    assert image.size == (WIDTH, HEIGHT)
    dark = sum(image.convert("L").histogram()[:128]) / (WIDTH * HEIGHT)
    assert 0.01 < dark < 0.35


def test_without_pillow_png_says_what_helps(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "PIL", None)
    with pytest.raises(FieldaidError, match="Pillow is not installed.*SVG"):
        png(sheet(scene(6)))


def test_a_roof_that_is_not_told_is_said() -> None:
    page = sheet(Scene(title="Roof", access="stay off", why=("Attic not told",)))
    assert any("not told" in one.text for one in page.texts) and covered(page) == []


@pytest.mark.parametrize("form", ["gambrel", "mansard", "saltbox", "dutch gable", "clipped gable", "shed", "a-frame"])
def test_forms_that_are_not_computed_are_drawn(form: str) -> None:
    pitch = 20 if form in ("gambrel", "mansard", "a-frame") else 6
    roof = build(form, 40 * FOOT, 26 * FOOT, pitch / 12)
    answer = Answer(None, None, (), not_computed=f"a {form} roof has no placement rules here")
    page = sheet(Scene(title=form, access="no bar reported", gate="hold", roof=roof, answer=answer, rough_face="C"))
    assert covered(page) == [] and inside(page) == []
    assert any("Place not computed" in one.text for one in page.texts)


def test_wrapping_keeps_words_and_width() -> None:
    text = "a hook that reaches it, pushed only with water ready and the interior told " + "x" * 200
    lines = wrapped(text, 300, 20)
    assert all(text_width(line, 20) <= 300 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


# Files and commands


def test_the_examples_are_drawn_and_none_after_a_no_go_shows_an_opening(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["draw", "--examples", str(tmp_path), "--no-engine"]) == 0
    out = capsys.readouterr().out
    files = sorted(tmp_path.glob("*.svg"))
    assert len(files) == len(list(EXAMPLES.glob("*.yaml"))) >= 6
    assert "gambrel roof has no placement rules" in out and "Leave now: no opening is shown" in out
    assert out.count("proposed") >= 5
    for file in files:
        assert ElementTree.parse(file).getroot().tag == f"{SVG}svg"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("facts: [", "no YAML"),
        ("title: x", "has no facts"),
        ("facts: {roof.fom: gable}", "did you mean roof.form"),
        ("facts: {roof.form: gabel}", "did you mean gambrel"),
        ("facts: {}\nplans: {}", "no use for the key plans"),
        ("facts: {}\nplan: {wing: []}", "plan has no key wing"),
        ("facts: {roof.form: gable}\nplan: {fire: [1, 2]}", "not told"),
    ],
)
def test_bad_files_get_a_clear_error(tmp_path: Path, text: str, message: str) -> None:
    file = tmp_path / "house.yaml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(FieldaidError, match=message):
        draw_file.asked(draw_file.read(file))


HOUSE = """
facts: {roof.form: gable, roof.ridge_runs: B-D, roof.length_ft: 40, roof.width_ft: 28, roof.pitch: 6,
  roof.spacing_in: 16, wind.from: B, fire.side: C, roof.solar: none, roof.wires: none, crew.ladders: [{place: BC},
  {place: A}]}
plan: {%s}
"""


@pytest.mark.parametrize(
    ("plan", "message"),
    [
        ("obstacles: [{kind: arry, at: [1, 2], size: [3, 4]}]", "no obstacle is called arry"),
        ("obstacles: [{kind: array, at: [1], size: [3, 4]}]", "at must be two numbers"),
        ("obstacles: [{kind: array, at: [100, 2], size: [3, 4]}]", "outside the roof"),
        ("ladders: [{name: x, at: [20, 14]}]", "off the edge"),
        ("fire: [900, 3]", "outside the house"),
        ("mode: quick", "mode cannot be quick"),
        ("wings: [{side: E, length: 3, width: 4, from: 0}]", "must be a side"),
        ("wings: [{side: C, length: 3, width: 400, from: 0}]", "wing"),
    ],
)
def test_bad_plans_get_a_clear_error(tmp_path: Path, plan: str, message: str) -> None:
    file = tmp_path / "house.yaml"
    file.write_text(HOUSE % plan, encoding="utf-8")
    with pytest.raises(FieldaidError, match=message):
        draw_file.asked(draw_file.read(file))


def test_a_drawing_is_written_as_its_name_ends(tmp_path: Path) -> None:
    assert write(scene(1), tmp_path / "new" / "a.svg").read_text(encoding="utf-8").startswith("<?xml")
    with pytest.raises(FieldaidError, match="SVG or PNG"):
        write(scene(1), tmp_path / "a.pdf")
    (tmp_path / "full").write_text("", encoding="utf-8")
    with pytest.raises(FieldaidError, match="cannot be written"):
        write(scene(1), tmp_path / "full" / "a.svg")


def test_nothing_to_draw_is_wrong_use(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["draw"]) == 2
    assert "nothing to draw was named" in capsys.readouterr().err


def test_guidance_and_drawing_stand_together() -> None:
    """A place that guidance does not name is not drawn."""
    from fieldaid.facts.situation import Situation
    from fieldaid.guidance.guide import Guide
    from fieldaid.guidance.pack import load_pack

    file = draw_file.read(EXAMPLES / "1_gable.yaml")
    with Guide(load_pack(Path("rules/house").resolve()), engine=False) as guide:
        found = guide.evaluate(file.situation)
        shown = scene_of(file.situation, found)
        assert shown.answer is not None and shown.answer.best is not None and found.slope == shown.answer.best.side
        moved = scene_of(file.situation, replace(found, slope=None))
        assert moved.answer is not None and moved.answer.best is None and moved.answer.not_computed
        off = Situation.of({**file.situation.values, "deck.C": "soft"})
        barred = scene_of(off, guide.evaluate(off))
        assert barred.no_go and barred.answer is None and barred.question is None
        tip = Situation.of(
            {
                **{name: value for name, value in file.situation.values.items() if name != "roof.framing"},
                "fire.attic": "suspected",
                "crew.where": "ladder",
            }
        )
        small = scene_of(tip, guide.evaluate(tip))
        assert small.gate == "inspection only" and small.answer is not None
        assert small.answer.best is not None and small.answer.best.kind == "inspection"


def test_draw_in_a_session_and_its_journal_show_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`draw` typed in the room writes a file and says where; the journal of the session draws alike."""
    from fieldaid.session.typing_room import type_by_hand

    monkeypatch.setenv("FIELDAID_HOME", str(tmp_path / "home"))
    journal, file = tmp_path / "one.journal", tmp_path / "typed.svg"
    options = cli._parser().parse_args(["type", "--no-engine", "--journal", str(journal)])
    lines = ["gable, ridge bravo delta", "top floor fire charlie", "rafters", f"draw {file}", "draw x.pdf", "draw"]
    out = io.StringIO()
    assert type_by_hand(options, io.StringIO("\n".join(lines) + "\n"), out) == 0
    said = out.getvalue()
    assert f"Drawn: {file}" in said and "Not drawn: x.pdf" in said
    assert len(list((tmp_path / "home" / "drawings").glob("*.svg"))) == 1
    text = file.read_text(encoding="utf-8")
    assert "STAY OFF: no opening is shown" in text and "fire: top floor" in text
    again = tmp_path / "again.svg"
    assert cli.main(["draw", str(journal), "--to", str(again), "--no-engine"]) == 0
    assert again.read_text(encoding="utf-8") == text


@pytest.mark.parametrize("seed", range(24))
def test_each_person_is_named_by_the_label_nearest_to_it_or_by_a_line(seed: int) -> None:
    """A "saw" between two people would name the wrong one; no mark of a person lies on the number of a cut."""
    shown = scene(seed)
    best = shown.answer.best if shown.answer else None
    if best is None or len(best.stances) < 2:
        return
    page = Page(WIDTH, HEIGHT, "", "")
    plan = Plan(shown, page, (20.0, 96.0, 1060.0, 900.0))
    plan.draw()
    spots = {one.who.split(",")[0]: plan.at(*one.at) for one in best.stances}
    lines = [one.points for one in page.shapes if isinstance(one, Line) and len(one.points) == 2]
    for who, at in spots.items():
        boxes = [one.box for one in page.texts if one.text == who]
        if not boxes:
            assert who in plan.labels.unplaced
            continue
        (box,) = boxes
        gaps = {name: math.dist(spot, (min(max(spot[0], box[0]), box[2]), min(max(spot[1], box[1]), box[3])))
                for name, spot in spots.items()}
        joined = any(math.dist(line[1], at) < 0.01 for line in lines)
        assert joined or gaps[who] == min(gaps.values()), (who, gaps)
    discs = [one for one in page.shapes if isinstance(one, Disc) and one.radius == symbols.NUMBER]
    assert all(math.dist(disc.at, at) > symbols.NUMBER + 8 for disc in discs for at in spots.values())


@pytest.mark.parametrize("number", range(8))
def test_no_line_of_the_section_strikes_its_words(number: int) -> None:
    """Words lie on white grounds, and the lines of ceiling and depth are drawn before them."""
    file = sorted(EXAMPLES.glob("*.yaml"))[number]
    read = draw_file.read(file)
    asked = draw_file.asked(read)
    if asked is None or asked[1].best is None or asked[0].roof.face(asked[1].best.face).pitch == 0:
        return
    page = Page(WIDTH, HEIGHT, "", "")
    draw_section(page, (1085.0, 700.0, 1580.0, 900.0), asked[0], asked[1].best)
    assert covered(page) == [] and inside(page) == []
    for word in page.texts[1:]:
        after = page.shapes[page.shapes.index(word) + 1:]
        left, top, right, bottom = word.box
        for one in after:
            if isinstance(one, Line) and not one.closed:
                (x0, y0), (x1, y1) = one.points[0], one.points[-1]
                inner = [(x0 + (x1 - x0) * n / 50, y0 + (y1 - y0) * n / 50) for n in range(51)]
                assert not any(left < x < right and top < y < bottom for x, y in inner), word.text


def test_what_is_told_and_has_no_place_and_what_is_drawn_untold_are_said() -> None:
    """Panels are live always and a skylight is a fall hole [P18]: neither may fall silent on the sheet."""
    from fieldaid.facts.situation import Situation
    from fieldaid.guidance.guide import Guide
    from fieldaid.guidance.pack import load_pack

    told = {"roof.form": "gable", "deck.C": "soft", "roof.solar": ["A"], "roof.skylight": ["C", "unsaid"],
            "roof.wires": "none", "roof.load": "tank"}
    with Guide(load_pack(Path("rules/house").resolve()), engine=False) as guide:
        found = scene_of(Situation.of(told), guide.evaluate(Situation.of(told)))
        assert found.not_drawn == ("panels A", "skylights C, place not told", "roof load tank")
        assert found.notes == ("The ridge is drawn from B to D: its direction is not told.",)
        assert found.why == ("Soft deck, C",)
        words = " ".join(one.text for one in sheet(found).texts)
        assert "Told, not drawn panels A; skylights C, place not told; roof load tank." in words
        ridge = Situation.of({**told, "roof.ridge_runs": "A-C"})
        assert scene_of(ridge, guide.evaluate(ridge)).notes == ()


def test_high_on_a_gambrel_is_on_the_upper_face() -> None:
    gambrel = build("gambrel", 40 * FOOT, 28 * FOOT, 20 / 12, ridge_runs="B-D", spacing_m=0.6)
    shown = Scene("barn", "no bar reported", "no hold reported", roof=gambrel, to_scale=False, rough_face="A")
    page = Page(WIDTH, HEIGHT, "", "")
    plan = Plan(shown, page, (20.0, 96.0, 1060.0, 900.0))
    plan.draw()
    label = next(one for one in page.texts if one.text.startswith("this face, high"))
    (curb,) = {plan.at(*line.plan.coords[0])[1] for line in gambrel.lines if line.kind == "curb"
               and plan.at(*line.plan.coords[0])[1] > plan.at(0, 14 * FOOT)[1]}
    assert label.box[3] < curb


@pytest.mark.parametrize("seed", range(24))
def test_the_section_and_the_words_tell_one_depth_of_the_ceiling(seed: int) -> None:
    words = [one.text for one in sheet(scene(seed)).texts]
    (depth,) = [one for one in words if re.fullmatch(r"about \d+ ft", one)] or [""]
    beside = " ".join(words)
    assert not depth or f"{depth} below the opening" in beside
