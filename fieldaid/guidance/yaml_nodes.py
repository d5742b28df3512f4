"""YAML as nodes that know their line and column, with a stricter reading than YAML's own.

Only `true` and `false` are booleans: `no`, `on`, `yes` and `12:30` stay text. Duplicate keys, aliases and tags are
findings. Everything wrong is reported, not only the first.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import yaml

from fieldaid.errors import Finding

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_INT = re.compile(r"[-+]?(0|[1-9][0-9]*)\Z")
_FLOAT = re.compile(r"[-+]?(0|[1-9][0-9]*)\.[0-9]+\Z")
_NULLS = ("", "~", "null", "Null", "NULL")

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
        text = path.read_bytes().decode("utf-8")
    except OSError as error:
        report(Finding(shown, 0, 0, "F101", f"cannot be read: {error.strerror or error}",
                       "check that the file exists and may be read"))
        return None
    except UnicodeDecodeError as error:
        report(Finding(shown, 0, 0, "F101", f"is not UTF-8 text (byte {error.start})", "save it as UTF-8"))
        return None
    try:
        composed = yaml.compose(text, Loader=_LOADER)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
        line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
        problem = getattr(error, "problem", None) or str(error).splitlines()[0]
        report(Finding(shown, line, column, "F102", f"is not YAML: {problem}",
                       "look at the indentation, the quotes and the colons of this line and the one before"))
        return None
    if composed is None:
        return Node(None, shown, 1, 1)
    return _Converter(shown, report).node(composed)


class _Converter:
    def __init__(self, file: str, report: Report) -> None:
        self.file, self.report = file, report
        self.seen: set[int] = set()

    def node(self, raw: yaml.Node) -> Node:
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
        if isinstance(raw, yaml.MappingNode):
            return Node(self.mapping(raw), self.file, line, column)
        if isinstance(raw, yaml.SequenceNode):
            return Node([self.node(item) for item in raw.value], self.file, line, column)
        return Node(_scalar(raw), self.file, line, column)

    def mapping(self, raw: yaml.MappingNode) -> dict[str, Entry]:
        found: dict[str, Entry] = {}
        for raw_key, raw_value in raw.value:
            key, value = self.node(raw_key), self.node(raw_value)
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
