"""Mutilated packs of any sort give findings or none, never a traceback.

Seeded mutations of the sample pack's files: characters, lines, tokens, types and bytes; then values of every kind put
in place of every node of the pack, one at a time.
"""

from __future__ import annotations

import random
import shutil
from pathlib import Path
from typing import Any

import pytest
import yaml

from fieldaid.authoring.check_room import examine
from fieldaid.authoring.finding_output import as_text
from fieldaid.authoring.test_room import run
from fieldaid.errors import FieldaidError

SAMPLES = Path(__file__).parent / "samples"
SEED = 1966
TOKENS = ("{", "}", "[", "]", ":", "- ", "'", '"', "|", ">", "&a ", "*a", "!!python/object:os.system ", "!x ", "%", "@",
          "`", "#", "\t", "\0", "\x85", "\ufeff", "\u2028", "? ", "---\n", "...\n", "<<: ", "~", "null", ".inf", ".nan",
          "1e999", "9" * 5000, "-" + "9" * 400 + ".5", "0x1f", "{where}", "{", "${", "$", "$ways_least", "☃", "𝒳")
VALUES: tuple[Any, ...] = (None, True, False, 0, -1, 3.5, 10**30, "", " ", "yes", "unknown", "none", "{where}",
                           "{value}", "$ways_least", [], {}, [None], [[]], [{}], {"any": []}, {"any": [{}]},
                           {"not": []},
                           {"is": {}, "basis": []}, {"at_least": None}, {"has": {}}, "x" * 3000,
                           {"basis": {"x": "y"}},
                           {1: 2}, {"id": ["a"]}, ["DECK-010", 3], {"only": {}}, {"rule": {}}, "not told",
                           "cannot tell")


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    """The base of the samples, with an overlay, that a test may spoil."""
    shutil.copytree(SAMPLES / "base", tmp_path / "pack")
    shutil.copytree(SAMPLES / "F743_bad" / "overlay", tmp_path / "overlay")
    (tmp_path / "overlay" / "parameters.yaml").write_text("- {id: ways_least, default: 3}\n")
    return tmp_path / "pack"


def look_at(pack: Path) -> bool:
    """Checks and tests what is there, alone and under an overlay; whether anything was found. No error escapes."""
    overlay = pack.parent / "overlay"
    found = False
    for what in (lambda: examine(pack), lambda: examine(overlay, pack)):
        report = what()
        found = found or bool(report.findings)
        for one in report.findings:
            assert as_text(one)
    try:
        found = bool(run(pack, engine=False).failed) or found
    except FieldaidError as error:
        assert str(error)
        found = True
    return found


def spoiled(text: str, rng: random.Random) -> str:
    """The text with one to three small mutilations."""
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(text) + 1)
        lines = text.split("\n")
        match rng.randrange(8):
            case 0:
                text = text[:at] + rng.choice(TOKENS) + text[at:]
            case 1:
                text = text[:at] + text[at + rng.randint(1, 12):]
            case 2:
                lines.insert(rng.randrange(len(lines)), rng.choice(lines))
                text = "\n".join(lines)
            case 3:
                del lines[rng.randrange(len(lines))]
                text = "\n".join(lines)
            case 4:
                n = rng.randrange(len(lines))
                lines[n] = " " * rng.randint(1, 5) + lines[n]
                text = "\n".join(lines)
            case 5:
                words = text.split(" ")
                words[rng.randrange(len(words))] = rng.choice(TOKENS)
                text = " ".join(words)
            case 6:
                text = text[:at]
            case _:
                other = rng.choice((rng.randrange(32, 127), rng.randrange(0x80, 0x2fff)))
                text = text[:at] + chr(other) + text[at + 1:]
    return text


def test_spoiled_text_gives_findings_and_no_traceback(pack: Path) -> None:
    rng = random.Random(SEED)
    files = sorted(pack.rglob("*.yaml")) + sorted((pack.parent / "overlay").rglob("*.yaml"))
    found = 0
    for n in range(90):
        path = files[n % len(files)]
        whole = path.read_text(encoding="utf-8")
        path.write_text(spoiled(whole, rng), encoding="utf-8")
        found += look_at(pack)
        path.write_text(whole, encoding="utf-8")
    assert found > 45, "most mutilations must be noticed"


def test_bytes_that_are_no_text_are_a_finding(pack: Path) -> None:
    rng = random.Random(SEED)
    path = pack / "rules" / "base.yaml"
    whole = path.read_bytes()
    for _ in range(6):
        at = rng.randrange(len(whole))
        path.write_bytes(whole[:at] + rng.randbytes(rng.randint(1, 40)) + whole[at:])
        look_at(pack)
    path.write_bytes(b"")
    assert look_at(pack)


def places(node: Any, at: tuple = ()) -> list[tuple]:
    """The way to every node of a file's data."""
    inner = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [at, *(one for key, value in inner for one in places(value, (*at, key)))]


def replaced(node: Any, at: tuple, value: Any) -> Any:
    if not at:
        return value
    copy = dict(node) if isinstance(node, dict) else list(node)
    copy[at[0]] = replaced(copy[at[0]], at[1:], value)
    return copy


def test_a_value_of_any_kind_at_any_place_gives_no_traceback(pack: Path) -> None:
    rng = random.Random(SEED + 1)
    files = sorted(pack.rglob("*.yaml")) + sorted((pack.parent / "overlay").rglob("*.yaml"))
    trials = [(path, at) for path in files for at in places(yaml.safe_load(path.read_text(encoding="utf-8")))]
    assert len(trials) > 200
    for path, at in rng.sample(trials, 90):
        whole = path.read_text(encoding="utf-8")
        data = replaced(yaml.safe_load(whole), at, rng.choice(VALUES))
        path.write_text(yaml.safe_dump(data, sort_keys=False, allow_unicode=True), encoding="utf-8")
        look_at(pack)
        path.write_text(whole, encoding="utf-8")


@pytest.mark.parametrize("text", ["[" * 3000, "- " * 3000, "{a: " * 3000, "a:\n" + "".join(
    " " * n + "- x:\n" for n in range(1, 900))], ids=["brackets", "dashes", "braces", "steps"])
def test_deep_nesting_is_a_finding(pack: Path, text: str) -> None:
    (pack / "rules" / "deep.yaml").write_text(text)
    report = examine(pack)
    assert any(one.file.endswith("deep.yaml") for one in report.findings)


def test_a_folder_that_is_no_pack_is_an_error(tmp_path: Path) -> None:
    report = examine(tmp_path)
    assert {one.code for one in report.findings} >= {"F109"} and report.exit_code() == 3
    (tmp_path / "pack.yaml").mkdir()
    (tmp_path / "rules").write_text("")
    assert examine(tmp_path).exit_code() == 3
