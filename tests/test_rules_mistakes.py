"""What a chief gets wrong while writing an overlay leads to the place and the way to mend it, and never to a traceback.

Each mistake is made in a small overlay over the shipped pack, and checked as the command checks it.
"""

from __future__ import annotations

import io
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from fieldaid.authoring.check_room import check
from fieldaid.authoring.commands import shipped_pack
from fieldaid.cli import main
from fieldaid.guidance import words

RULE = """- id: MARROW-010
  title: Wet slate
  status: trial
  stratum: hazards
  when: {roof.cover: slate, roof.surface: wet}
  conclude: {caution: wet slate}
  say: "Wet slate: nobody here keeps footing on it."
  why: Our slate is smooth and slides when wet.
  source: common practice, no source
  may_be_wrong: A low pitch holds better.
  fires: [{roof.cover: slate, roof.surface: wet}]
  silent: [{roof.cover: slate, roof.surface: dry}]
"""
FILES = {
    "pack.yaml": 'name: marrowfield\nversion: "0.1"\nstatus: trial\nlanguage: en\nabout: An invented district.\n',
    "parameters.yaml": "- id: wind_caution_mph\n  default: 7\n",
    "changes.yaml": '- rule: KNEE-110\n  say: "Knee wall void: charged line before it opens."\n',
    "rules/own.yaml": RULE,
}


@pytest.fixture
def overlay(tmp_path: Path) -> Path:
    """A small overlay of an invented district."""
    for name, text in FILES.items():
        (tmp_path / "overlay" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "overlay" / name).write_text(text, encoding="utf-8")
    return tmp_path / "overlay"


def checked(overlay: Path, on: Path | None = None) -> tuple[int, str]:
    """Exit code and text of `fieldaid rules check OVERLAY --on PACK`."""
    out = io.StringIO()
    return check(overlay, on or shipped_pack(), "text", False, out), out.getvalue()


def test_the_overlay_that_the_tests_spoil_is_fine_itself(overlay: Path) -> None:
    assert checked(overlay)[0] == 0


CHANGES = [
    ("rules/own.yaml", "  title", "\ttitle", "own.yaml:2:1 F102", "put spaces in place of the tab"),
    ("rules/own.yaml", "  why", "    why", "own.yaml:8:5 F102", "indent the line as the keys above it"),
    ("rules/own.yaml", "  why", "\u00a0 why", "own.yaml:8:1 F102", "no-break space"),
    ("rules/own.yaml", '"Wet slate: nobody', "\u201cWet slate: nobody", "own.yaml:7:18 F102", "straight quotes"),
    ("rules/own.yaml", "on it.\"", "on it.", "F102", "is not closed"),
    ("rules/own.yaml", "surface: wet}\n  conclude", "surface: wet\n  conclude", "F102", "is not closed"),
    ("rules/own.yaml", "  fires: [{roof.cover: slate, roof.surface: wet}]", "  fires: [*wet]", "F102",
     "write the value out"),
    ("rules/own.yaml", "silent", "---\nsilent", "F102", "the line before"),
    ("rules/own.yaml", "roof.cover: slate, roof.surface: wet}\n  c", "roof.pitch: {at_least: 8 in 12}}\n  c",
     "F205 error '8 in 12' is neither", "write the number alone, such as 12 (unit: in 12)"),
    ("rules/own.yaml", "common practice, no source", "[Z99]", "F305 error rule MARROW-010: no source is called Z99",
     "add it to sources.yaml"),
    ("rules/own.yaml", "roof.surface: wet}\n  c", "roof.surface: true}\n  c", "roof.surface cannot be true", "wet"),
    ("rules/own.yaml", "  fires: [{roof.cover: slate, roof.surface: wet}]\n", "", "lacks the key fires", "needed: id"),
    ("rules/own.yaml", "nobody here keeps footing on it", "it is safe", "own.yaml:7:8 F314 error", "says 'safe'"),
    ("rules/own.yaml", "nobody here keeps footing on it", "you may walk on it", "F314 error", "you may"),
    ("rules/own.yaml", "Wet slate: nobody here keeps", "Climb slate: nobody keeps", "F314 error",
     "orders somebody: 'climb'"),
    ("rules/own.yaml", "here keeps footing on it", "must walk on it", "own.yaml:7:8 F314", "'must'"),
    ("rules/own.yaml", "stratum: hazards", "stratum: access", "F303", "write  {access"),
    ("rules/own.yaml",
     "{caution: wet slate}\n  say: \"Wet slate: nobody here keeps footing on it.\"\n  why: Our slate is",
     "{trigger: wet slate}\n  say: wet slate\n  why: By day it is safe, else", "own.yaml:8:8 F314", "says 'safe'"),
    ("changes.yaml", "charged line before it opens", "go in now", "changes.yaml:2:8 F314", "orders somebody: 'go'"),
    ("changes.yaml", "opens.\"\n", "opens.\"\n- rule: KNEE-110\n  say: \"Knee wall: water.\"\n",
     "changes.yaml:3:3 F402 error KNEE-110 is changed twice", "the first change is in line 1"),
    ("changes.yaml", "opens.\"\n", "opens.\"\n- rule: ERA-210\n  retire: Ours differ.\n  say: \"Era: look.\"\n",
     "changes.yaml:5:8 F504", "keep say or retire"),
    ("parameters.yaml", "7\n", "seven\n", "parameters.yaml:2:12 F105", "write the number alone"),
    ("parameters.yaml", "7\n", "7\n- id: wind_caution_mph\n  default: 9\n", "parameters.yaml:3:3 F402", "keep one"),
    ("parameters.yaml", "wind_caution_mph", "wind_caution",
     "F106 error no parameter of the base is called wind_caution",
     "did you mean wind_caution_mph?"),
]


@pytest.mark.parametrize(("file", "old", "new", "where", "way"), CHANGES)
def test_a_slip_is_named_once_with_its_place_and_the_way_to_mend_it(
        overlay: Path, file: str, old: str, new: str, where: str, way: str) -> None:
    text = (overlay / file).read_text(encoding="utf-8")
    assert old in text
    (overlay / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    code, said = checked(overlay)
    assert code == 3 and where in said and way in said, said
    assert "1 error" in said, said


def _deep(at: Path) -> None:
    (at / "rules/own.yaml").write_text(RULE.replace(
        "{roof.cover: slate, roof.surface: wet}\n  c", "{any: " + "[{any: " * 200 + "[{roof.cover: slate}]" + "}]" * 200
        + "}\n  c"), encoding="utf-8")


def _bytes(text: bytes) -> Callable[[Path], None]:
    def spoil(at: Path) -> None:
        (at / "rules/own.yaml").write_bytes(text)
    return spoil


def _rules_a_file(at: Path) -> None:
    shutil.rmtree(at / "rules")
    (at / "rules").write_text("- id: X\n")


SPOILED: list[tuple[str, Callable[[Path], None], str, str]] = [
    ("Latin-1", _bytes(RULE.encode().replace(b"smooth", b"sm\xf6\xf6th")), "own.yaml:8:0 F101", "UTF-8"),
    ("UTF-16", _bytes(RULE.encode("utf-16")), "own.yaml:1:0 F101", "UTF-8"),
    ("a pipe", lambda at: os.mkfifo(at / "rules/pipe.yaml"),
     "pipe.yaml:0:0 F101 error is no ordinary file", "text file"),
    ("a loop of links", lambda at: (at / "rules/loop.yaml").symlink_to("loop.yaml"),
     "loop.yaml:0:0 F101", "may be read"),
    ("a very large file", _bytes(b"- id: X\n  why: " + b"x" * 5_000_000),
     "own.yaml:0:0 F101 error has 5 MB", "split it"),
    ("conditions within conditions", _deep, "own.yaml:5:143 F102 error is nested more than 40 deep", "close a [ or {"),
    ("brackets within brackets", _bytes(b"[" * 5000), "F102", "close a [ or {"),
    ("a file for the folder tests", lambda at: (at / "tests").write_text("x"), "tests:0:0 F109 error tests is a file",
     "make a folder of it"),
    ("rules beside pack.yaml", lambda at: (at / "rules/own.yaml").rename(at / "own.yaml"), "own.yaml:0:0 F109",
     "rules belong into rules/"),
    ("a file for the folder rules", _rules_a_file, "rules:0:0 F109 error rules is a file", "make a folder of it"),
]


@pytest.mark.parametrize(("spoil", "where", "way"), [one[1:] for one in SPOILED], ids=[one[0] for one in SPOILED])
def test_a_file_that_cannot_be_read_is_named_and_nothing_hangs(
        overlay: Path, spoil: Callable[[Path], None], where: str, way: str) -> None:
    spoil(overlay)
    code, said = checked(overlay)
    assert code in (1, 3) and where in said and way in said, said
    assert "1 error" in said, said
    assert max(map(len, said.splitlines())) < 400


def test_windows_line_endings_and_a_byte_order_mark_are_fine(overlay: Path) -> None:
    for name, text in FILES.items():
        (overlay / name).write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert checked(overlay)[0] == 0


def test_an_overlay_called_without_its_pack_says_how_to_lay_it_over(
        overlay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "check", str(overlay)]) == 3
    said = capsys.readouterr().out
    first = said.splitlines()[:2]
    assert "this is an overlay" in first[0] and "--on PACK" in first[1]
    assert said.count(" F106 ") == 1 and "lacks the key" not in said


def test_a_pack_laid_over_itself_is_wrong_use(overlay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "check", str(overlay), "--on", str(overlay / ".." / "overlay")]) == 2
    assert "laid over itself" in capsys.readouterr().err
    assert main(["rules", "test", "--on", str(shipped_pack())]) == 2
    assert "laid over itself" in capsys.readouterr().err
    twice = ["--new-overlay", str(overlay), "--new-overlay", str(overlay)]
    assert main(["rules", "compare", str(shipped_pack()), str(shipped_pack()), *twice]) == 2
    assert "laid over itself" in capsys.readouterr().err


@pytest.mark.parametrize("line", ["Clear to walk.", "Crew can go up.", "No danger here.", "Roof OK.", "All clear."])
def test_callthat_clear_are_found(line: str) -> None:
    assert words.clearing(line)


@pytest.mark.parametrize("line", ["No lightning told.", "Low pitch clears nothing.", "Command clear of the roof."])
def test_callthat_clear_nothing_are_left(line: str) -> None:
    assert not words.clearing(line)


@pytest.mark.parametrize("call", [
    ["check", "nowhere"], ["test", "nowhere"], ["cover", "nowhere"], ["prove", "nowhere"], ["mutate", "nowhere"],
    ["safety-case", "nowhere"], ["schema", "nowhere", "--write", "s"], ["book", "nowhere", "--write", "b"],
    ["compare", "nowhere", "nowhere"], ["explain", "deck.C=soft", "--overlay", "nowhere"],
    ["explain", "DECK-010", "--overlay", "nowhere"]], ids=" ".join)
def test_a_folder_that_is_not_there_is_wrong_use_in_every_command(
        call: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["rules", *call]) == 2
    assert capsys.readouterr().err.startswith("fieldaid: nowhere: there is no such folder")
    assert list(tmp_path.iterdir()) == []


def test_an_error_of_an_overlay_names_the_overlay(overlay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (overlay / "rules" / "own.yaml").write_text(RULE.replace("slate,", "slat,"), encoding="utf-8")
    assert main(["rules", "cover", str(overlay), "--on", str(shipped_pack())]) == 3
    assert capsys.readouterr().err.startswith(f"fieldaid: {overlay}: the rule pack cannot be used")


@pytest.mark.parametrize(("call", "said"), [
    (["mutate", "--least", "95"], "a number from 0 to 1, such as 0.95"), (["mutate", "--workers", "-2"], "0 or more"),
    (["compare", "a", "b", "--count", "-3"], "0 or more"), (["compare", "a", "b", "--workers", "two"], "0 or more")])
def test_a_number_that_cannot_be_is_wrong_use(
        call: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["rules", *call])
    assert stopped.value.code == 2 and said in capsys.readouterr().err
