"""`fieldaid work-out`: what people type, what scripts read, and what bad input is told."""

from __future__ import annotations

import doctest
import io
import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaid import cli
from fieldaid.errors import WrongUse
from fieldaid.session import work_out
from fieldaid.workings import quantity
from fieldaid.workings.quantity import feet_and_inches, read, read_pitch

FOOT = 0.3048
EXAMPLES = {
    "roof": "--form hip --length 40ft --width 24ft --pitch 6 --overhang 0",
    "opening": "--along 4ft --up 8ft --pitch 6/12 --face-area 400ft2",
    "wind": "--speed 15mph --from southwest --a-faces south --pitch 6",
    "ladder": "--eave-height 18ft --ladder 24ft",
    "air": "--cylinder 45min --left 0.5 --left 75%",
    "smoke": "--heat 1MW --clear 5ft --vent-height 13ft --inlet 20ft2",
    "fire": "--room 20ft 15ft 8ft --door 3ft 7ft",
    "timber": "--member 2x6 --minutes 10",
}


def worked(topic: str, words: str, *more: str) -> dict:
    out = io.StringIO()
    assert work_out.run(topic, [*words.split(), *more, "--json"], out) == 0
    (line,) = out.getvalue().splitlines()
    return json.loads(line)


def test_every_topic_has_an_example_here():
    assert EXAMPLES.keys() == work_out.TOPICS.keys()


@pytest.mark.parametrize(("topic", "words"), EXAMPLES.items())
def test_an_answer_has_everything_it_must_have(topic, words):
    record = worked(topic, words)
    assert record["topic"] == topic
    assert record["inputs"] and record["results"] and record["sources"] and record["limits"]
    assert len(record["does_not_tell"]) > 30
    assert record["use"] == ("teaching only" if work_out.TOPICS[topic].teaching else "may advise")
    for key, unit in record["units"].items():
        assert unit and key in {**record["inputs"], **record["results"]}
    for name, value in record["results"].items():
        assert isinstance(value, int | float | str | list | None), name
    assert not re.search(r"\bsafe\b", json.dumps(record))


@pytest.mark.parametrize(("topic", "words"), EXAMPLES.items())
def test_the_answer_for_people(topic, words, capsys):
    assert cli.main(["work-out", topic, *words.split()]) == 0
    shown = capsys.readouterr().out
    for part in ("Told", "Worked out", "Source:", "Limits:", "What it does not tell:"):
        assert part in shown
    assert ("Teaching only" in shown) is work_out.TOPICS[topic].teaching
    assert max(len(line) for line in shown.splitlines()) <= 140


def test_the_contract_of_a_hip_roof():
    """Carpenter's Guide: ridge = length - width; the square: 13.42 and 18.00 in a foot; by hand: 1073.3 ft2."""
    record = worked("roof", EXAMPLES["roof"])
    results = record["results"]
    assert results["ridge_length_ft"] == 16
    assert results["hip_length_ft"] == pytest.approx(18)
    assert results["common_length_ft"] == pytest.approx(13.42, abs=0.005)
    assert results["area_ft2"] == pytest.approx(1073.3, abs=0.05)
    assert results["common_per_foot_in"] == pytest.approx(13.42, abs=0.005)
    assert results["hip_per_foot_in"] == pytest.approx(18.00, abs=0.005)
    assert {face["name"] for face in results["faces"]} == set("ABCD")
    assert sum(face["area_ft2"] for face in results["faces"]) == pytest.approx(results["area_ft2"])
    assert record["inputs"]["length_ft"] == 40


@pytest.mark.parametrize("words", [
    "--form hip --length 12.192m --width 24ft --pitch 6/12", "--form hip --length 480in --width 7.3152m --pitch 50%",
    "--form hip --length 40 --width 24 --pitch 26.565051deg", "--form=hip --length=40ft --width=288in --pitch=6:12",
])
def test_units_say_the_same_roof(words):
    assert worked("roof", words)["results"]["area_ft2"] == pytest.approx(1073.3, abs=0.05)


def test_wings_make_valleys():
    results = worked("roof", "--form hip --length 40ft --width 24ft --pitch 6 --wing C 12ft 20ft 0")["results"]
    assert results["valley_length_ft"] == pytest.approx(15)  # 10 ft common run at 18 in a foot
    assert results["area_ft2"] == pytest.approx((40 * 24 + 12 * 20) * 1.11803, rel=1e-4)


def test_wind_names_sides_and_signs():
    results = worked("wind", "--speed 15mph --from north --a-faces south --pitch 6")["results"]
    assert (results["side_C"], results["side_A"]) == ("windward", "leeward")
    assert (results["A_sign"], results["C_sign"]) == ("suction", "either sign")
    assert results["beaufort"] == 4  # NOAA/NWS: 13 to 18 mph


def test_hips_have_no_sign_of_pressure():
    record = worked("wind", "--speed 15mph --from north --a-faces south --pitch 6 --form hip")
    assert record["results"]["slopes"] is None
    assert "outside its limits" in record["notes"]["slopes"]


def test_the_lowest_member_and_a_range():
    results = worked("air", "--cylinder 1800L --left 4000psi --left 2250psi --full 4500psi")["results"]
    assert results["lowest_percent"] == 50
    low, high = results["to_empty_min"]
    assert high == pytest.approx(22.5) and low == pytest.approx(1800 / 2 / 116, abs=0.01)


def test_a_starved_hole_has_no_number():
    record = worked("smoke", "--heat 5MW --clear 6.5ft --vent-height 13ft --inlet 10ft2")
    assert record["results"]["equation_area_ft2"] is None
    assert "no hole is large enough" in record["notes"]["equation_area_ft2"]


@pytest.mark.parametrize(("words", "says"), [
    ("rof", "did you mean roof"),
    ("roof --form hip --length 20ft --width 24ft --pitch 6", "length 20 ft is too short"),
    ("roof --form pyramid --length 30ft --width 24ft --pitch 6", "give length 24 ft"),
    ("roof --form arched --length 30ft --width 24ft --pitch 6", "arched roofs are not computed"),
    ("roof --form gable --length 30ft --pitch 6", "the width is missing"),
    ("roof --form gable --length 30ft --width 24ft", "the pitch is missing"),
    ("roof --form gable --length 30kg --width 24ft --pitch 6", "'kg' is not a unit of length"),
    ("roof --form gable --length long --width 24ft --pitch 6", "cannot read 'long'"),
    ("roof --form gable --length 30ft --width 24ft --pitch steep", "cannot read 'steep' as a pitch"),
    ("roof --form gable --length 30ft --width 24ft --pitch 30", "30 in 12 is outside its limits"),
    ("roof --form gable --length 30ft --width 24ft --pitch 6 --wing B 9ft 9ft 0", "a wing cannot stand on side B"),
    ("roof --form gable --length 30ft --width 24ft --pitch 6 --colour red", "unrecognized arguments"),
    ("roof --form gable", "required"),
    ("wind", "no wind was told"),
    ("wind --speed 90mph", "outside its limits"),
    ("wind --beaufort 12", "outside its limits"),
    ("wind --speed 5 --from up", "'up' is no direction"),
    ("wind --speed 5 --from west", "no side can be named"),
    ("wind --speed 5 --from west --a-faces south --pitch 6 --ridge A-B", "not a ridge direction"),
    ("ladder --eave-height 500ft", "outside its limits"),
    ("ladder --eave-height 18ft --angle 40deg", "outside its limits"),
    ("air --cylinder 20min --left 50%", "outside its limits"),
    ("air --cylinder 1800L --left 2200psi", "needs the rated pressure"),
    ("air --cylinder 1800L --left 150%", "outside its limits"),
    ("smoke --heat 100MW --clear 5ft --vent-height 13ft --inlet 20ft2", "outside its limits"),
    ("fire --room 200ft 15ft 8ft --door 3ft 7ft", "outside its limits"),
    ("fire --room 20ft 15ft 8ft --door 3ft 9ft", "larger than its wall"),
    ("timber --member 3x7", "no lumber of size"),
    ("timber --minutes 600", "outside its limits"),
    ("opening --along 0.01ft --up 4ft", "outside its limits"),
])
@pytest.mark.parametrize("form", [[], ["--json"]])
def test_bad_input_is_one_sentence_and_exit_2(words, says, form, capsys):
    assert cli.main(["work-out", *words.split(), *form]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert says in said.err and said.err.startswith("fieldaid: ") and said.err.count("\n") == 1


def test_without_a_topic_the_topics_are_listed(capsys):
    assert cli.main(["work-out"]) == 0
    shown = capsys.readouterr().out
    for name in work_out.TOPICS:
        assert name in shown


def test_a_topic_shows_its_options(capsys):
    with pytest.raises(SystemExit) as stopped:
        cli.main(["work-out", "roof", "--help"])
    assert stopped.value.code == 0
    assert "--overhang" in capsys.readouterr().out


def test_worked_examples_of_quantities():
    assert doctest.testmod(quantity).failed == 0


@pytest.mark.parametrize(("text", "metres"), [
    ("40ft", 12.192), ("40 ft", 12.192), ("40'", 12.192), ("40' 6\"", 12.3444), ("40ft 6in", 12.3444),
    ("40 feet 6 inches", 12.3444), ("40’ 6”", 12.3444), ("6½ in", 0.1651), ("6 1/2in", 0.1651), ("6-1/2 in", 0.1651),
    ("12.2m", 12.2), ("1220 mm", 1.22), ("24in", 0.6096), ("40", 12.192),
])
def test_lengths_as_people_write_them(text, metres):
    assert read(text, "length", "length", "ft") == pytest.approx(metres)


@pytest.mark.parametrize("text", ["", " ", "ft", "-4ft", "12in 40ft", "4ft 6in 2mm", "1e400", "nan", "inf", "1/0ft",
                                  "4..5ft", "4m 2ft", "40 furlongs", "4ft@", "💧", "40ft 6"])
def test_lengths_that_are_none(text):
    with pytest.raises(WrongUse) as caught:
        read(text, "length", "width", "ft")
    assert caught.value.where == "width" and caught.value.next_step


@pytest.mark.parametrize(("text", "slope"), [("6", 0.5), ("6/12", 0.5), ("6:12", 0.5), ("6 in 12", 0.5),
                                             ("6-in-12", 0.5), ("45deg", 1.0), ("45°", 1.0), ("50%", 0.5),
                                             ("6 1/2", 6.5 / 12), ("0", 0.0)])
def test_pitches_as_people_write_them(text, slope):
    assert read_pitch(text) == pytest.approx(slope)


@pytest.mark.parametrize("text", ["", "steep", "90deg", "6/0", "-6", "6 in 12 in", "nan"])
def test_pitches_that_are_none(text):
    with pytest.raises(WrongUse):
        read_pitch(text)


@given(st.integers(0, 400 * 12 * 8))
def test_feet_and_inches_are_read_back(eighths):
    metres = eighths / 8 / 12 * FOOT
    assert read(feet_and_inches(metres), "length", "x", "ft") == pytest.approx(metres, abs=1e-9)


@given(st.text(max_size=12))
def test_no_text_breaks_the_reader(text):
    for reading in (lambda: read(text, "length", "x", "ft"), lambda: read_pitch(text)):
        try:
            assert reading() >= 0
        except WrongUse:
            pass
