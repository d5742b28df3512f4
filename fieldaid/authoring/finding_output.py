"""Findings as text with the source line and a caret, as JSON, and as JUnit."""

from __future__ import annotations

import functools
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, TextIO
from xml.etree import ElementTree

from fieldaid.errors import Finding

WIDEST = 140
ORDER = {"error": 0, "warning": 1, "style": 2}


@dataclass(frozen=True)
class Case:
    """One thing that was looked at: a check, or a situation. It failed if it has findings."""

    name: str
    group: str
    findings: tuple[Finding, ...] = ()
    details: tuple[str, ...] = field(default=())


def tidy(findings: Iterable[Finding]) -> list[Finding]:
    """Each finding once, by file, line, column, severity and code."""
    return sorted(dict.fromkeys(findings), key=lambda one: (
        one.file, one.line, one.column, ORDER[one.severity], one.code, one.message))


def as_text(one: Finding, details: Sequence[str] = ()) -> str:
    """`file:line:col CODE severity message`, the source line with a caret, and the hint."""
    parts = [f"{one.file}:{one.line}:{one.column} {one.code} {one.severity} {one.message}"]
    source = source_line(one.file, one.line)
    if source:
        number = f"{one.line:>6}"
        source, column = excerpt(source, max(one.column - 1, 0))
        # Tabs stay, so that the caret stands under its place whatever a tab's width is.
        ahead = "".join("\t" if char == "\t" else " " for char in source[:column])
        parts += [f"{number} | {source}", f"{'':>6} | {ahead}^"]
    if one.hint:
        parts.append(f"       hint: {one.hint}")
    parts += [f"       {line}" if line else "" for line in details]
    return "\n".join(parts)


@functools.lru_cache(maxsize=64)
def _lines(file: str) -> tuple[str, ...]:
    try:
        return tuple(Path(file).read_text(encoding="utf-8", errors="replace").split("\n"))
    except OSError:
        return ()


def source_line(file: str, line: int) -> str:
    """The line of a file, "" when there is none."""
    lines = _lines(file) if line > 0 else ()
    return lines[line - 1].rstrip("\r") if 0 < line <= len(lines) else ""


def excerpt(line: str, column: int) -> tuple[str, int]:
    """A line of a file, shortened around `column` (from 0) when it is longer than a screen, and the column in it.

    >>> excerpt("x" * 500, 400)[1], len(excerpt("x" * 500, 400)[0])
    (103, 146)
    """
    start = max(0, column - 100) if len(line) > WIDEST else 0
    part = line[start:start + WIDEST]
    before, after = "..." if start else "", "..." if start + WIDEST < len(line) else ""
    return before + part + after, column - start + len(before)


def forget_sources() -> None:
    """Reads files anew from now on."""
    _lines.cache_clear()


def as_data(one: Finding) -> dict[str, Any]:
    """A finding as JSON data."""
    return {**asdict(one), "source": source_line(one.file, one.line)}


def write_json(data: dict[str, Any], out: TextIO) -> None:
    json.dump(data, out, indent=2, ensure_ascii=False)
    out.write("\n")


def write_junit(name: str, cases: Sequence[Case], out: TextIO) -> None:
    """JUnit XML as CI servers read it: one testsuite, a testcase for each case, a failure for each finding."""
    failed = [one for one in cases if one.findings]
    root = ElementTree.Element("testsuites", tests=str(len(cases)), failures=str(len(failed)))
    suite = ElementTree.SubElement(root, "testsuite", name=name, tests=str(len(cases)), failures=str(len(failed)),
                                   errors="0", skipped="0")
    for case in cases:
        one = ElementTree.SubElement(suite, "testcase", name=_clean(case.name), classname=_clean(case.group))
        if case.findings:
            first = case.findings[0]
            failure = ElementTree.SubElement(one, "failure", type=first.code, message=_clean(first.message))
            failure.text = _clean("\n".join(as_text(finding, case.details if n == len(case.findings) - 1 else ())
                                            for n, finding in enumerate(case.findings)))
    ElementTree.indent(root)
    out.write('<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n")


def _clean(text: str) -> str:
    """Without the characters that XML 1.0 does not allow."""
    return "".join(char if char in "\t\n" or " " <= char <= "\ud7ff" or "\ue000" <= char <= "\ufffd" or char > "\uffff"
                   else "?" for char in text)


def count(findings: Iterable[Finding]) -> dict[str, int]:
    """How many of each severity."""
    found = dict.fromkeys(ORDER, 0)
    for one in findings:
        found[one.severity] += 1
    return found


def told(number: int, what: str) -> str:
    """`1 error`, `2 errors`."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
