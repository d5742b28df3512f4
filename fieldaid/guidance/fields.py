"""Checked reading of nodes: the right type, no unknown key, nothing empty; what is wrong becomes a finding."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

from fieldaid.errors import Finding
from fieldaid.guidance.yaml_nodes import Entry, Node

WHERE_NAMES_STAND = "fieldaid rules book and fieldaid rules schema write all names and values"


def nearest(word: str, known: Iterable[str], otherwise: str = WHERE_NAMES_STAND) -> str:
    """A hint that names the nearest of `known`, or all of them when they are few, or else says `otherwise`."""
    names = list(known)
    if not names:
        return "there is none"
    near = difflib.get_close_matches(str(word), names, n=2, cutoff=0.6)
    if near:
        return f"did you mean {' or '.join(near)}?"
    return f"use one of: {', '.join(names)}" if len(names) <= 16 else otherwise


class Fields:
    """Reads the fields of one mapping node. Every getter reports what is wrong and returns None."""

    def __init__(self, node: Node, what: str, required: Sequence[str], optional: Sequence[str],
                 findings: list[Finding]) -> None:
        self.node, self.what, self.findings = node, what, findings
        self.entries: dict[str, Entry] = {}
        allowed = [*required, *optional]
        if not isinstance(node.value, dict):
            self.report(node, "F105", f"{what} must be a mapping", f"write its keys: {', '.join(allowed)}")
            self.usable = False
            return
        self.usable = True
        for name, entry in node.value.items():
            if name in allowed:
                self.entries[name] = entry
            else:
                close = difflib.get_close_matches(name, allowed, n=1, cutoff=0.6)
                near = f"did you mean {close[0]}? " if close else ""
                self.report(entry.key, "F104", f"{what} has no key {name}",
                            f"{near}allowed: {', '.join(allowed)}")
        lacking = [name for name in required if name not in self.entries]
        if lacking:
            self.report(node, "F106", f"{what} lacks the key{'s' if lacking[1:] else ''} {', '.join(lacking)}",
                        f"needed: {', '.join(required)}")

    def report(self, node: Node, code: str, message: str, hint: str = "") -> None:
        self.findings.append(node.finding(code, message, hint))

    def __contains__(self, name: str) -> bool:
        return name in self.entries

    def at(self, name: str) -> Node:
        """The node of a field, or the whole mapping's when it is absent: where a finding belongs."""
        return self.entries[name].node if name in self.entries else self.node

    def text(self, name: str, choices: Sequence[str] = ()) -> str | None:
        if name not in self.entries:
            return None
        return text(self.at(name), f"{name} of {self.what}", self.findings, choices)

    def number(self, name: str) -> float | None:
        if name not in self.entries:
            return None
        node = self.at(name)
        if isinstance(node.value, bool) or not isinstance(node.value, (int, float)):
            self.report(node, "F105", f"{name} of {self.what} must be a number, not {as_written(node.value)}",
                        "write the number alone, such as 12: no quotes, no unit, no words")
            return None
        return node.value

    def flag(self, name: str) -> bool:
        if name not in self.entries:
            return False
        node = self.at(name)
        if not isinstance(node.value, bool):
            self.report(node, "F105", f"{name} of {self.what} must be true or false",
                        "yes, no, on and off are plain words here")
            return False
        return node.value

    def items(self, name: str) -> list[Node]:
        """The nodes of a list that may not be empty."""
        if name not in self.entries:
            return []
        node = self.at(name)
        if not isinstance(node.value, list) or not node.value:
            self.report(node, "F105", f"{name} of {self.what} must be a list with at least one entry",
                        "write [one, two], or a line with - for each")
            return []
        return node.value

    def texts(self, name: str, choices: Sequence[str] = ()) -> tuple[str, ...]:
        found = (text(item, f"{name} of {self.what}", self.findings, choices) for item in self.items(name))
        return tuple(one for one in found if one is not None)


def as_written(value: object) -> str:
    """A value as a message names it: text in quotes, true and false as YAML writes them."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return "a list" if isinstance(value, list) else "a mapping" if isinstance(value, dict) else repr(value)


def text(node: Node, what: str, findings: list[Finding], choices: Sequence[str] = ()) -> str | None:
    """The node's text, one of `choices` when there are any; None and a finding when it is not."""
    value = node.value
    if not isinstance(value, str) or not value.strip():
        hint = ("text with { } must be quoted" if isinstance(value, dict)
                else "write words; quote what looks like a number")
        findings.append(node.finding("F105", f"{what} must be text that is not empty", hint))
        return None
    if choices and value not in choices:
        findings.append(node.finding("F108", f"{what} cannot be {value!r}", nearest(value, choices)))
        return None
    return value.strip()


def entries_of(node: Node | None, what: str, findings: list[Finding]) -> list[Node]:
    """The entries of a file that holds a list."""
    if node is None:
        return []
    if not isinstance(node.value, list):
        findings.append(node.finding("F105", f"{what} must be a list", "begin each entry with -, or delete a file "
                                     "that has none"))
        return []
    return node.value
