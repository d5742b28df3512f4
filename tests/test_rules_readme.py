"""The guide to rule packs is run as it stands: its files are written, its commands run, their output compared.

A yaml block begins with `# file: PATH` and is written there, or with `# from: PATH` and quotes a rule of the shipped
pack. A console block has commands after `$ ` and under each the output.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest
import yaml

from fieldaid import cli

RULES = Path(__file__).resolve().parents[1] / "rules"
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def blocks(text: str) -> list[tuple[str, str]]:
    """(language, content) of every block, in order."""
    return [(one[1], one[2]) for one in BLOCK.finditer(text)]


def commands(console: str) -> Iterator[tuple[str, str]]:
    """(command, expected output) of a console block."""
    for part in re.split(r"^\$ ", console, flags=re.MULTILINE)[1:]:
        command, _, output = part.partition("\n")
        yield command, output


def run(command: str) -> str:
    """What a command of the guide prints; only those that the guide uses are known."""
    words = shlex.split(command)
    if words[:2] == ["mkdir", "-p"]:
        for folder in words[2:]:
            Path(folder).mkdir(parents=True)
        return ""
    assert words[0] == "fieldaid", command
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = cli.main(words[1:])
    assert code in (0, 1, 3), command
    return out.getvalue()


def quoted_from_the_pack(content: str) -> bool:
    """Whether a block that quotes a rule says the same as the shipped pack."""
    head, _, body = content.partition("\n")
    rules = yaml.load((RULES / head.removeprefix("# from: ")).read_text(encoding="utf-8"), yaml.BaseLoader)
    return all(one in rules for one in yaml.load(body, yaml.BaseLoader))


def test_every_block_of_the_guide_is_true(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    found = blocks((RULES / "README.md").read_text(encoding="utf-8"))
    assert len(found) >= 15
    for language, content in found:
        if language == "yaml" and content.startswith("# from: "):
            assert quoted_from_the_pack(content), content
        elif language == "yaml":
            path = Path(content.partition("\n")[0].removeprefix("# file: "))
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(content, encoding="utf-8")
        else:
            assert language == "console", language
            for command, expected in commands(content):
                assert run(command) == expected, command


def test_the_guide_names_every_command_and_only_files_that_exist() -> None:
    text = (RULES / "README.md").read_text(encoding="utf-8")
    for command in ("check", "test", "explain", "schema"):
        assert f"fieldaid rules {command}" in text
    for path in re.findall(r"`(house/[\w/.]+|tests/guidance/[\w/.]+|schema/)`", text):
        base = RULES.parent if path.startswith("tests/guidance") else RULES
        assert (base / path).exists(), path
    assert os.fspath(RULES).endswith("rules")
