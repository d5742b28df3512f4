"""Running situations: what fails, what is printed of it, the correction, the two channels, and files that are off."""

from __future__ import annotations

import io
import json
import shutil
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
import yaml

from fieldaid.authoring import test_run
from fieldaid.authoring.test_room import run
from fieldaid.authoring.test_room import test as run_command
from fieldaid.errors import BrokenData, WrongUse
from fieldaid.guidance.engine import is_installed

SAMPLES = Path(__file__).parent / "samples"


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    shutil.copytree(SAMPLES / "base", tmp_path / "pack")
    return tmp_path / "pack"


def put(pack: Path, *situations: str) -> Path:
    """Writes situations in place of the pack's own."""
    (pack / "tests" / "own.yaml").write_text("\n".join(situations))
    return pack


def out_of(pack: Path, form: str = "text", only: str = "") -> tuple[int, str]:
    out = io.StringIO()
    code = run_command(pack, None, form, only, False, out)
    return code, out.getvalue()


SOFT = """\
- name: A soft deck under a crew on the roof
  given: {deck.C: soft, crew.where: roof}
  expect: {%s}
"""


@pytest.mark.parametrize("expect, wrong", [
    ("access: stay off", "access is leave now, not stay off"),
    ("reason: ordered", "reason is hazard, not ordered"),
    ("reason: none", "reason is hazard, not none"),
    ("gate: hold", "gate is no opening, not hold"),
    ("triggers: ways off", "triggers lack ways off"),
    ("triggers: none", "triggers also have bad deck"),
    ("triggers: {only: [ways off]}", "triggers lack ways off; triggers also have bad deck"),
    ("fires: [DECK-010, OPEN-010]", "fires lack OPEN-010"),
    ("silent: [DECK-010, OPEN-010]", "DECK-010 fires, and should be silent"),
    ("derived: [attic_sign yes]", "derived lack attic_sign yes"),
    ("cautions: wires", "cautions lack wires"),
    ("missing: fire.attic", "missing lack fire.attic"),
    ("place: high", "place is none, not high"),
    ("kind: rectangle", "kind is none, not rectangle"),
    ("size_ft: [4, 8]", "size_ft is none, not [4, 8]"),
    ("slope: C", "slope is none, not C"),
])
def test_each_expectation_can_fail_and_says_what_came_instead(expect: str, wrong: str, pack: Path) -> None:
    result = run(put(pack, SOFT % expect), engine=False)
    [case] = result.failed
    assert [one.code for one in case.findings] == ["F811"]
    assert case.findings[0].message.endswith(f": {wrong}") and case.findings[0].line == 3


@pytest.mark.parametrize("expect", [
    "access: leave now", "reason: hazard", "gate: no opening", "triggers: bad deck", "triggers: {only: bad deck}",
    "stops: none", "fires: [DECK-010, ACCESS-010]", "silent: OPEN-010", "derived: none", "missing: none",
    "place: none, kind: none, size_ft: none, slope: none"])
def test_each_expectation_can_hold(expect: str, pack: Path) -> None:
    assert run(put(pack, SOFT % expect), engine=False).failed == []


def test_the_correction_that_is_printed_mends_the_situation(pack: Path) -> None:
    wrong = SOFT % "access: stay off, triggers: [ways off, bad deck], silent: [DECK-010], slope: A, size_ft: [4, 4]"
    [case] = run(put(pack, wrong), engine=False).failed
    correction = next(line.strip() for line in case.details if line.strip().startswith("expect:"))
    mended = yaml.load(wrong, yaml.BaseLoader)
    mended[0]["expect"] = yaml.load(correction, yaml.BaseLoader)["expect"]
    text = wrong.replace(wrong.splitlines()[2], f"  {correction}")
    assert yaml.load(text, yaml.BaseLoader) == mended
    assert run(put(pack, text), engine=False).failed == []


def test_a_failing_situation_prints_every_condition_with_its_value_and_whether_it_held(pack: Path) -> None:
    code, text = out_of(put(pack, SOFT % "access: no bar reported"))
    assert code == 1
    for line in ("ACCESS-010 fired: access leave now, hazard", "+ when   trigger: known", "now bad deck",
                 "+ any    crew.where: roof", "now roof", "OPEN-010 did not fire: access no bar reported",
                 "- when   fire.attic: not seen  now not told", "- when   deck.eave: solid      now not told",
                 "expect: {access: leave now}"):
        assert line in text, text


def test_a_rule_whose_own_situation_fails_is_named_with_the_conditions(pack: Path) -> None:
    path = pack / "rules" / "base.yaml"
    path.write_text(path.read_text().replace("fires: [{roof.wires: [C]}]", "fires: [{roof.wires: none}]"))
    code, text = out_of(pack)
    assert code == 1 and "situation 1 under fires: fires lack WIRE-010" in text and "now none" in text
    assert "expect:" not in text


def test_only_chooses_by_name_file_or_rule_and_says_when_nothing_fits(pack: Path) -> None:
    result = run(pack, only="wire", engine=False)
    assert [case.name.split()[0] for case in result.rules] == ["WIRE-010"] and result.situations == ()
    assert len(run(pack, only="ATTIC AND DECK", engine=False).situations) == 1
    with pytest.raises(WrongUse, match="holds 'zebra'"):
        run(pack, only="zebra", engine=False)


@pytest.mark.skipif(not is_installed(), reason="durable-rules is not installed")
def test_both_channels_run_and_a_difference_between_them_fails(pack: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(pack).failed == [] and run(pack).notice == ""
    real = test_run.Reference.run
    monkeypatch.setattr(test_run.Reference, "run",
                        lambda self, situation, computed: replace(real(self, situation, computed), cautions=("odd",)))
    failed = run(put(pack, SOFT % "access: leave now"), only="soft deck").failed
    assert [one.code for case in failed for one in case.findings] == ["F812"]
    assert "differ in cautions" in failed[0].findings[0].message


def test_without_the_engine_the_cost_is_said_and_the_situations_run(pack: Path) -> None:
    code, text = out_of(pack)
    assert code == 0 and text.startswith("One channel only: --no-engine was given.")


@pytest.mark.parametrize("text, code", [
    ("- name: One\n  given: {}\n", "F106"), ("- name: One\n  given: {}\n  expect: {}\n", "F105"),
    ("- name: One\n  given: {}\n  expect: {acces: stay off}\n", "F104"),
    ("- name: One\n  given: {deck.C: sofft}\n  expect: {access: stay off}\n", "F310"),
    ("- name: One\n  given: {dekc.C: not told}\n  expect: {access: stay off}\n", "F310"),
    ("- name: One\n  given: {}\n  expect: {access: stay of}\n", "F108"),
    ("- name: One\n  given: {}\n  expect: {triggers: [bad dekc]}\n", "F108"),
    ("- name: One\n  given: {}\n  expect: {size_ft: [4]}\n", "F105"),
    ("begin: []\nsituations: []\n", "F105"), ("begin: {a: {deck.C: sofft}}\nsituations: []\n", "F310"),
    ("a: b\n", "F104"), ("[", "F102")])
def test_a_file_that_is_off_is_refused_with_its_place(text: str, code: str, pack: Path) -> None:
    with pytest.raises(BrokenData) as caught:
        run(put(pack, text), engine=False)
    assert code in {one.code for one in caught.value.findings}
    assert all(one.line for one in caught.value.findings)


def test_a_broken_pack_is_shown_like_check_shows_it_in_every_format(pack: Path) -> None:
    path = pack / "rules" / "base.yaml"
    path.write_text(path.read_text().replace("deck.*: [soft, sagging]", "deck.*: [soft, saging]"))
    code, text = out_of(pack)
    assert code == 3 and "F202 error" in text and "^" in text and "did you mean sagging" in text
    code, text = out_of(pack, "json")
    assert code == 3 and [one["code"] for one in json.loads(text)["findings"]] == ["F202"]
    code, text = out_of(pack, "junit")
    assert code == 3 and ElementTree.fromstring(text.encode()).find(".//failure") is not None


def test_json_and_junit_say_what_text_says(pack: Path) -> None:
    put(pack, SOFT % "access: stay off")
    code, text = out_of(pack, "json")
    data = json.loads(text)
    assert (code, data["exit"], data["situations"], data["channels"]) == (1, 1, 1, 1)
    [failed] = data["failed"]
    assert failed["findings"][0]["code"] == "F811" and failed["findings"][0]["source"].startswith("  expect:")
    code, text = out_of(pack, "junit")
    suite = ElementTree.fromstring(text.encode()).find("testsuite")
    assert suite is not None and (suite.get("tests"), suite.get("failures")) == ("9", "1")
    [failure] = suite.iter("failure")
    assert failure.get("type") == "F811" and "conditions" not in (failure.text or "") and "ACCESS-010" in failure.text


@pytest.mark.skipif(not is_installed(), reason="durable-rules is not installed")
def test_a_second_channel_that_does_not_start_is_said_and_fails_nothing(pack: Path,
                                                                        monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(test_run.Engine, "wait_ready", lambda self, timeout_s: False)
    result = run(pack)
    assert result.failed == [] and "the second did not start" in result.notice
