"""YAML as nodes that know their line and column, with a stricter reading than YAML's own.

Only `true` and `false` are booleans: `no`, `on`, `yes` and `12:30` stay text. Duplicate keys, aliases and tags are
findings. Everything wrong is reported, not only the first.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import yaml

from fieldaid.errors import Finding

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_INT = re.compile(r"[-+]?(0|[1-9][0-9]*)\Z")
_FLOAT = re.compile(r"[-+]?(0|[1-9][0-9]*)\.[0-9]+\Z")
_NULLS = ("", "~", "null", "Null", "NULL")

MOST_BYTES = 4_000_000
MOST_DEEP = 40
DEEP_HINT = "close a [ or {, or write fewer one within another"
_HINTS = (
    ("tab character", "put spaces in place of the tab"),
    ("cannot start any token", "put spaces in place of a tab, or text that begins with such a sign in quotes"),
    ("mapping values are not allowed", "put text with a colon in straight quotes, as in say: \"Deck: soft\"; or indent "
                                       "the line as the keys above it"),
    ("expected ',' or", "a { or [ of this line, or of one before it, is not closed"),
    ("expected '-' indicator", "indent the line as the keys above it; a new entry begins with -"),
    ("expected ':'", "write a colon and a space after the key; the cause may stand in the line before"),
    ("expected key", "indent the line as the keys above it, or look at the quotes of the line before"),
    ("expected <block end>", "indent the line as the keys above it"),
    ("nesting depth", DEEP_HINT),
    ("unexpected end of stream", "a quote that was opened further up is not closed"),
    ("alias", "* and & have a meaning of their own in YAML; write the value out, or put the text in quotes"),
    ("another document", "leave the line --- out: a file is one list"),
    ("control characters", "type the line anew; it holds a sign that cannot be seen"),
)

_STANDARD = "tag:yaml.org,2002:"

Report = Callable[[Finding], None]


@dataclass(frozen=True, slots=True)
class Node:
    """One value of a file. `value` is a str, int, float, bool or None; a list of nodes; or a dict of `Entry` by key."""

    value: str | int | float | bool | None | list[Node] | dict[str, Entry]
    file: str
    line: int
    column: int

    def finding(self, code: str, message: str, hint: str = "") -> Finding:
        return Finding(self.file, self.line, self.column, code, message, hint)


@dataclass(frozen=True, slots=True)
class Entry:
    """One key of a mapping: the key's own place and the node under it."""

    key: Node
    node: Node


def read(path: Path, shown: str, report: Report) -> Node | None:
    """The file's node, or None when it cannot be read as YAML; `shown` is the name that findings carry."""
    try:
        kind = path.stat()
        if not stat.S_ISREG(kind.st_mode):
            report(Finding(shown, 0, 0, "F101", "is no ordinary file", "put a text file in its place"))
            return None
        if kind.st_size > MOST_BYTES:
            report(Finding(shown, 0, 0, "F101", f"has {kind.st_size / 1e6:.0f} MB; a file may have "
                           f"{MOST_BYTES / 1e6:.0f}", "split it; rules/ and tests/ may hold many files"))
            return None
        text = path.read_bytes().decode("utf-8")
    except OSError as error:
        report(Finding(shown, 0, 0, "F101", f"cannot be read: {error.strerror or error}",
                       "check that the file exists and may be read"))
        return None
    except UnicodeDecodeError as error:
        line = error.object[:error.start].count(b"\n") + 1
        report(Finding(shown, line, 0, "F101", f"is not UTF-8 text (byte {error.start}, line {line})",
                       "save it as UTF-8: in an editor, Save as, with the encoding UTF-8"))
        return None
    try:
        composed = yaml.compose(text, Loader=_LOADER)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
        line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
        problem = getattr(error, "problem", None) or str(error).splitlines()[0]
        at = text.splitlines()[line - 1] if 0 < line <= len(text.splitlines()) else ""
        report(Finding(shown, line, column, "F102", f"is not YAML: {problem}", _hint(problem, at)))
        return None
    except RecursionError:
        report(Finding(shown, 0, 0, "F102", "is nested too deeply", DEEP_HINT))
        return None
    if composed is None:
        return Node(None, shown, 1, 1)
    try:
        return _Converter(shown, report).node(composed)
    except _TooDeepError as error:
        report(error.finding)
        return None


class _TooDeepError(Exception):
    def __init__(self, finding: Finding) -> None:
        super().__init__(str(finding))
        self.finding = finding


def _hint(problem: str, line: str) -> str:
    """What to look at, by what the reader of YAML stumbled over."""
    if "\u00a0" in line:
        return "the line holds a no-break space; put plain spaces in its place"
    return next((hint for part, hint in _HINTS if part in problem),
                "look at the indentation, the quotes and the colons of this line and the one before")


class _Converter:
    def __init__(self, file: str, report: Report) -> None:
        self.file, self.report = file, report
        self.seen: set[int] = set()

    def node(self, raw: yaml.Node, depth: int = 0) -> Node:
        line, column = raw.start_mark.line + 1, raw.start_mark.column + 1
        if id(raw) in self.seen:
            found = Node(None, self.file, line, column)
            self.report(found.finding("F107", "an alias (*name) is not used in packs", "write the value out"))
            return found
        self.seen.add(id(raw))
        if not raw.tag.startswith(_STANDARD) or "python" in raw.tag:
            found = Node(None, self.file, line, column)
            self.report(found.finding("F107", f"the tag {raw.tag} is not used in packs", "leave the tag out"))
            return found
        if depth > MOST_DEEP:
            raise _TooDeepError(Node(None, self.file, line, column).finding(
                "F102", f"is nested more than {MOST_DEEP} deep", DEEP_HINT))
        if isinstance(raw, yaml.MappingNode):
            return Node(self.mapping(raw, depth), self.file, line, column)
        if isinstance(raw, yaml.SequenceNode):
            return Node([self.node(item, depth + 1) for item in raw.value], self.file, line, column)
        return Node(_scalar(raw), self.file, line, column)

    def mapping(self, raw: yaml.MappingNode, depth: int) -> dict[str, Entry]:
        found: dict[str, Entry] = {}
        for raw_key, raw_value in raw.value:
            key, value = self.node(raw_key, depth + 1), self.node(raw_value, depth + 1)
            if isinstance(key.value, (list, dict)) or key.value is None:
                self.report(key.finding("F105", "a key must be a word", "quote text that holds { } or [ ]"))
                continue
            name = raw_key.value
            if name in found:
                self.report(key.finding("F103", f"the key {name} stands twice in one mapping",
                                        f"the first is in line {found[name].key.line}; keep one"))
                continue
            found[name] = Entry(key, value)
        return found


def _scalar(raw: yaml.ScalarNode) -> str | int | float | bool | None:
    text = raw.value
    if raw.style in ("'", '"', "|", ">"):
        return text
    if text in _NULLS:
        return None
    if text in ("true", "false"):
        return text == "true"
    if _INT.match(text):
        return int(text)
    if _FLOAT.match(text):
        return float(text)
    return text
