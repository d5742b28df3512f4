"""What `rules check` writes: text with caret, JSON, JUnit; order, exit codes, overlays, and no code twice.

JUnit is read back with junitparser, which reads what CI servers read.
"""

from __future__ import annotations

import io
import json
import re
import shutil
from pathlib import Path

import pytest

from fieldaid.authoring.check_room import check, examine
from fieldaid.authoring.finding_output import Case, as_text, tidy, write_junit
from fieldaid.cli import main
from fieldaid.errors import Finding

SAMPLES = Path(__file__).parent / "samples"


def sample(name: str, into: Path) -> Path:
    shutil.copytree(SAMPLES / "base", into / "pack")
    path = SAMPLES / name
    if path.is_dir():
        shutil.copytree(path, into / "pack", dirs_exist_ok=True)
    else:
        shutil.copy(path, into / "pack" / "rules" / "sample.yaml")
    return into / "pack"


def written(pack: Path, form: str = "text", strict: bool = False, on: Path | None = None) -> tuple[int, str]:
    out = io.StringIO()
    return check(pack, on, form, strict, out), out.getvalue()


def test_text_has_place_code_severity_source_line_caret_and_hint(tmp_path: Path) -> None:
    pack = sample("F202_bad.yaml", tmp_path)
    code, text = written(pack)
    assert code == 3
    first, source, caret, hint, *_ = text.splitlines()
    assert re.fullmatch(rf"{re.escape(str(pack))}/rules/sample\.yaml:5:\d+ F202 error weather\.lightning cannot be "
                        r"'yess'", first)
    column = int(first.split()[0].split(":")[2])
    assert caret.index("^") - source.index("|") - 2 == column - 1
    assert source[source.index("|") + 2:][column - 1:].startswith("yess")
    assert hint.strip() == "hint: did you mean yes?"
    assert text.splitlines()[-1] == "What a code means: fieldaid rules explain F202"


def test_the_caret_stands_under_its_place_behind_tabs_and_wide_letters(tmp_path: Path) -> None:
    path = tmp_path / "x.yaml"
    path.write_text("\tü: x\n", encoding="utf-8")
    text = as_text(Finding(str(path), 1, 5, "F202", "off"))
    assert text.splitlines()[2].endswith("| \t   ^")


def test_a_finding_of_a_whole_file_has_no_caret() -> None:
    assert as_text(Finding("none.yaml", 0, 0, "F109", "gone", "write it")) == (
        "none.yaml:0:0 F109 error gone\n       hint: write it")


def test_findings_are_sorted_by_place_and_told_once() -> None:
    one, other = Finding("b", 2, 1, "F702", "x"), Finding("a", 9, 1, "F701", "x")
    style, error = Finding("b", 2, 1, "F101", "x", severity="style"), Finding("b", 2, 1, "F999", "x")
    assert tidy([one, style, other, error, one]) == [other, one, error, style]


@pytest.mark.parametrize("name, strict, code", [
    ("base", False, 0), ("base", True, 0), ("F713_bad", False, 0), ("F713_bad", True, 1), ("F721_bad.yaml", False, 1),
    ("F701_bad.yaml", False, 1), ("F104_bad.yaml", False, 3)])
def test_exit_codes(name: str, strict: bool, code: int, tmp_path: Path) -> None:
    assert written(sample(name, tmp_path), strict=strict)[0] == code


def test_the_command_line_says_wrong_use_for_a_folder_that_does_not_exist(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "check", "no-such-folder"]) == 2
    assert "no-such-folder: there is no such folder" in capsys.readouterr().err
    assert main(["rules", "explain", "F999"]) == 2


def test_an_empty_folder_is_an_error(tmp_path: Path) -> None:
    code, text = written(tmp_path)
    assert code == 3 and "F109 error the pack has no pack.yaml" in text


def test_json_holds_every_finding_with_its_source_line(tmp_path: Path) -> None:
    code, text = written(sample("F711_bad", tmp_path), "json")
    data = json.loads(text)
    assert data["exit"] == code == 1 and data["counts"] == {"error": 0, "warning": 3, "style": 0}
    assert [one["line"] for one in data["findings"]] == [2, 3, 4] and data["waiting"] == []
    assert all(one["source"].startswith("- {id: ") and one["hint"] and one["severity"] == "warning"
               for one in data["findings"])


def test_junit_has_a_case_for_each_code_and_a_failure_for_each_found(tmp_path: Path) -> None:
    junitparser = pytest.importorskip("junitparser")
    code, text = written(sample("F701_bad.yaml", tmp_path), "junit")
    [suite] = junitparser.JUnitXml.fromstring(text.encode())
    failed = {case.name.split()[0] for case in suite if case.result}
    assert code == 1 and failed == {"F701", "F601"} and suite.failures == 2 and suite.tests == len(list(suite)) > 50


def test_junit_leaves_out_what_xml_cannot_hold() -> None:
    junitparser = pytest.importorskip("junitparser")
    out = io.StringIO()
    write_junit("n", [Case("a\0b", "c\x1b", (Finding("f", 1, 1, "F1", "bad \x07 <&> \ud800"),))], out)
    [suite] = junitparser.JUnitXml.fromstring(out.getvalue().encode())
    assert [case.name for case in suite] == ["a?b"]


def test_an_overlay_is_told_only_what_it_brings(tmp_path: Path) -> None:
    pack = sample("F721_bad.yaml", tmp_path)
    shutil.copytree(SAMPLES / "F743_bad" / "overlay", tmp_path / "overlay")
    found = examine(tmp_path / "overlay", pack).findings
    assert [one.code for one in found] == ["F743"] and found[0].file.startswith(str(tmp_path / "overlay"))
    assert "F721" in {one.code for one in examine(pack).findings}


def test_an_overlay_that_makes_a_rule_of_the_base_unreachable_is_told_so(tmp_path: Path) -> None:
    pack = sample("base", tmp_path)
    rule = (SAMPLES / "F701_good.yaml").read_text()
    (pack / "rules" / "advice.yaml").write_text(rule)
    overlay = tmp_path / "overlay"
    shutil.copytree(SAMPLES / "F743_good" / "overlay", overlay)
    (overlay / "changes.yaml").unlink()
    (overlay / "rules").mkdir()
    bar = rule.replace("TRY-010", "BAR-010").replace("advice", "access", 1)
    (overlay / "rules" / "bar.yaml").write_text(bar.replace(
        "access: no bar reported\n    camera.*: hot", "camera.*: hot").replace(
        "{advice: try}", "{access: stay off, reason: hazard}").replace(
        "Somebody looks at the far slope.", "heat on camera").replace(
        "silent: [{camera.C: hot}]", "silent: [{camera.C: cool}]"))
    found = examine(overlay, pack).findings
    assert "F701" in {one.code for one in found}, "\n".join(map(str, found))
    [one] = [one for one in found if one.code == "F701"]
    assert one.file == str(pack / "rules" / "advice.yaml") and "BAR-010 (bar.yaml:1) always wins" in one.message
