"""Reads the template files of a folder into outputs and a network; collects every finding before it gives up."""

from __future__ import annotations

import gc
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from fieldaid.errors import BrokenData, FactError, Finding
from fieldaid.facts import FACTS
from fieldaid.grammar.model import COMMANDS
from fieldaid.grammar.network import Network
from fieldaid.grammar.numbers import number_source
from fieldaid.grammar.outputs import Output, Values, slot_names
from fieldaid.grammar.reach import Reach
from fieldaid.grammar.template import TemplateError, Tree, read_template, slots

TOP_KEYS = ("lists", "parts", "phrases", "answers", "asks", "said", "written", "poison")
PHRASE_KEYS = ("say", "tells", "basis", "who", "command", "command_fact", "about", "rest", "sets", "asks", "answer",
               "alone", "apart", "filler")
LINE = "line"
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass
class Loaded:
    """A folder of templates, read: the outputs, the network, and the tables around them."""

    network: Network = field(default_factory=Network)
    outputs: list[Output] = field(default_factory=list)
    plain: list[Any] = field(default_factory=list)
    trees: list[tuple[Tree, int]] = field(default_factory=list)
    answers: dict[str, list[tuple[Tree, int]]] = field(default_factory=dict)
    lists: dict[str, list[tuple[Tree, int]]] = field(default_factory=dict)
    asks: dict[str, dict[str, str]] = field(default_factory=dict)
    said: dict[str, str] = field(default_factory=dict)
    written: dict[str, str] = field(default_factory=dict)
    poison: dict[str, frozenset[str]] = field(default_factory=dict)


def load(folder: Path) -> Loaded:
    """Read every `*.yaml` of the folder.

    Raises
    ------
    BrokenData : with a finding (file:line:column) for each thing that is wrong
    """
    files = sorted(folder.glob("*.yaml"))
    reader = _Reader()
    collecting = gc.isenabled()
    gc.disable()    # hundreds of thousands of small objects that all stay: collecting would double the time
    try:
        for file in files:
            reader.file(file)
        if files:
            reader.build()
    finally:
        if collecting:
            gc.enable()
    if not files:
        raise BrokenData("there are no templates", where=str(folder), why="the folder holds no .yaml file",
                         next_step="name the folder that holds the grammar")
    if reader.findings:
        raise BrokenData(f"the grammar has {len(reader.findings)} findings", reader.findings, where=str(folder),
                         next_step="mend what is listed")
    return reader.into


class _Reader:
    def __init__(self) -> None:
        self.into = Loaded()
        self.findings: list[Finding] = []
        self.name = ""
        self.parts: dict[str, Tree] = {}
        self.reach = Reach(self.into.lists, self.into.outputs)
        self.sections: dict[str, list[tuple[str, yaml.Node, yaml.Node]]] = {key: [] for key in TOP_KEYS}

    def found(self, node: yaml.Node, code: str, message: str, hint: str = "", shift: int = 0, file: str = "") -> None:
        mark = node.start_mark
        quoted = isinstance(node, yaml.ScalarNode) and node.style in ("'", '"')
        self.findings.append(Finding(file or self.name, mark.line + 1, mark.column + 1 + shift + quoted * bool(shift),
                                     code, message, hint))

    # ---- reading the files

    def file(self, path: Path) -> None:
        self.name = path.name
        try:
            root = yaml.compose(path.read_text(encoding="utf-8"), Loader=_LOADER)
        except (yaml.MarkedYAMLError, UnicodeDecodeError) as exc:
            mark = getattr(exc, "problem_mark", None)
            self.findings.append(Finding(path.name, mark.line + 1 if mark else 0, mark.column + 1 if mark else 0,
                                         "YAML", str(getattr(exc, "problem", exc)), "mend the YAML"))
            return
        for key, value in self.mapping(root) if root is not None else ():
            if key.value not in TOP_KEYS:
                self.found(key, "KEY", f"unknown key {key.value!r}", f"use {', '.join(TOP_KEYS)}")
            else:
                self.sections[key.value].append((self.name, key, value))

    def mapping(self, node: yaml.Node) -> Iterator[tuple[yaml.ScalarNode, yaml.Node]]:
        """The pairs of a mapping; other nodes and repeated keys are findings."""
        if not isinstance(node, yaml.MappingNode):
            self.found(node, "MAPPING", "expected `key: value` pairs here")
            return
        seen: set[str] = set()
        for key, value in node.value:
            if not isinstance(key, yaml.ScalarNode):
                self.found(key, "KEY", "a key must be plain text", 'put "quotes" around a key that begins with a brace')
            elif key.value in seen:
                self.found(key, "TWICE", f"the key {key.value!r} stands here twice", "join the two")
            else:
                seen.add(key.value)
                yield key, value

    def each(self, section: str) -> Iterator[tuple[yaml.ScalarNode, yaml.Node]]:
        for name, _, node in self.sections[section]:
            self.name = name
            yield from self.mapping(node)

    def data(self, node: yaml.Node) -> Any:
        """Plain data, every scalar as text (so that no, on and 12:30 stay what they are)."""
        if isinstance(node, yaml.ScalarNode):
            return node.value
        if isinstance(node, yaml.SequenceNode):
            return [self.data(item) for item in node.value]
        return {key.value: self.data(value) for key, value in self.mapping(node)}

    def templates(self, node: yaml.Node) -> Iterator[tuple[yaml.ScalarNode, Tree]]:
        items = node.value if isinstance(node, yaml.SequenceNode) else [node]
        for item in items:
            if not isinstance(item, yaml.ScalarNode):
                self.found(item, "TEMPLATE", "expected a template here", 'put "quotes" around a template')
                continue
            try:
                yield item, read_template(item.value, self.parts)
            except TemplateError as exc:
                self.found(item, exc.code, exc.message, exc.hint, exc.column)

    # ---- building

    def build(self) -> None:
        into = self.into
        for key, node in self.each("parts"):
            trees = [tree for _, tree in self.templates(node)]
            if trees:
                self.parts[key.value] = trees[0]
        for key, node in self.each("lists"):
            into.lists.setdefault(key.value, []).extend(self.values(node))
        self.add_lists()
        for key, node in self.each("answers"):
            into.answers.setdefault(key.value, []).extend(self.values(node))
            if key.value not in FACTS and key.value not in {one.group for one in FACTS.values()}:
                self.found(key, "FACT", f"no fact or family is called {key.value!r}")
        for name, _, node in self.sections["phrases"]:
            self.name = name
            for item in node.value if isinstance(node, yaml.SequenceNode) else []:
                self.phrase(item)
        join = self.parts.get("join")
        into.network.add(LINE, into.trees, join)
        for name, entries in into.answers.items():
            into.network.add(f"answer {name}", entries, join)
        for key, node in self.each("asks"):
            into.asks[key.value] = self.data(node)
        for section, table in (("said", into.said), ("written", into.written)):
            for key, node in self.each(section):
                table[key.value] = node.value
        for key, node in self.each("poison"):
            into.poison[key.value] = frozenset(str(self.data(node)).split())
        self.same_words()

    def values(self, node: yaml.Node) -> list[tuple[Tree, int]]:
        found = []
        for key, value in self.mapping(node):
            for item, tree in self.templates(value):
                found.append((tree, self.output(item, kind="value", value=key.value)))
                missing = slot_names(key.value) - {slot.name for slot in slots(tree)}
                if missing:
                    self.found(item, "SLOT", f"the value uses {{{missing.pop()}}}, which the template does not have")
        return found

    def output(self, item: yaml.Node, **kwargs: Any) -> int:
        mark = item.start_mark
        self.into.outputs.append(Output(file=self.name, line=mark.line + 1, column=mark.column + 1, text=item.value,
                                        **kwargs))
        return len(self.into.outputs) - 1

    def add_lists(self) -> None:
        """Add lists in the order of their need."""
        done: set[str] = set()
        waiting = dict(self.into.lists)
        while waiting:
            ready = [name for name, entries in waiting.items()
                     if all(self.known_source(slot.source, done) for tree, _ in entries for slot in slots(tree))]
            if not ready:
                for entries in waiting.values():
                    for tree, output in entries:
                        self.sources(tree, self.into.outputs[output], done | set(waiting))
                if not self.findings:
                    self.findings.append(Finding("", 0, 0, "LOOP", f"lists use each other: {', '.join(waiting)}"))
                return
            for name in ready:
                self.into.network.add(name, waiting.pop(name), self.parts.get("join"))
                done.add(name)

    def known_source(self, source: str, done: set[str]) -> bool:
        if source in done or source in self.into.network.start:
            return True
        rows = number_source(source)
        if rows is None:
            return False
        plain, entries = self.into.plain, []
        index: dict[Any, int] = {}
        for text, value in rows:
            if value not in index:
                plain.append(value)
                index[value] = -len(plain)
            entries.append((text, index[value]))
        self.into.network.add_words(source, entries)
        return True

    def sources(self, tree: Tree, output: Output, known: set[str]) -> bool:
        good = True
        for slot in slots(tree):
            if not self.known_source(slot.source, known):
                self.findings.append(Finding(output.file, output.line, output.column, "SLOT",
                                             f"no list is called {slot.source!r}", "lists stand under `lists:`"))
                good = False
        return good

    def phrase(self, node: yaml.Node) -> None:
        pairs = {key.value: (key, value) for key, value in self.mapping(node)}
        for name, (key, _) in pairs.items():
            if name not in PHRASE_KEYS:
                self.found(key, "KEY", f"unknown key {name!r}", f"use {', '.join(PHRASE_KEYS)}")
                return
        if "say" not in pairs:
            self.found(node, "SAY", "a phrase needs `say:`")
            return
        extra = {name: self.data(value) for name, (_, value) in pairs.items() if name not in ("say", "tells")}
        kind = next((kind for key, kind in (("tells", "facts"), ("command", "command"), ("sets", "modifier"),
                                            ("asks", "ask"), ("answer", "answer"), ("filler", "filler"))
                     if key in pairs), None)
        if kind is None:
            self.found(node, "MEANING", "a phrase needs a meaning", "give tells, command, sets, asks, answer or filler")
            return
        if extra.get("command") not in (None, *COMMANDS):
            self.found(pairs["command"][1], "COMMAND", f"no command is called {extra['command']!r}",
                       f"commands are {', '.join(COMMANDS)}")
        tells = tuple(self.data(pairs["tells"][1]).items()) if "tells" in pairs else ()
        for item, tree in self.templates(pairs["say"][1]):
            output = self.output(item, kind=kind, tells=tells, extra=extra)
            if self.sources(tree, self.into.outputs[output], set()):
                self.check_meaning(item, tree, self.into.outputs[output], pairs)
                self.into.trees.append((tree, output))

    # ---- checks

    def check_meaning(self, item: yaml.Node, tree: Tree, output: Output, pairs: dict) -> None:
        """Every fact and value that the template can give is in the vocabulary."""
        there = {slot.name: slot for slot in slots(tree)}
        if output.kind == "facts" and all(slot_names([name, value]) - set(there) for name, value in output.tells):
            self.found(item, "NOTHING", "the template can give none of the facts of its meaning",
                       f"it needs the slots {', '.join(sorted(slot_names(output.tells)))}")
        for name, _ in output.tells:
            if missing := slot_names(name) - set(there):
                self.found(item, "SLOT", f"the meaning uses {{{missing.pop()}}}, which the template does not have")
                return
        try:
            for _ in self.reach.tellings(tree, output):
                pass
        except (FactError, ValueError) as exc:
            self.found(pairs["tells"][1], "VALUE", str(exc), f"for the template {output.text!r}")

    def same_words(self) -> None:
        """Templates that end at the same node of the network say the same words; their meanings must agree."""
        told: set[tuple[int, int]] = set()
        for ends in self.into.network.outputs:
            for first, second in itertools.combinations(ends, 2):
                if first < 0 or second < 0 or (first, second) in told:
                    continue
                told.add((first, second))
                a, b = self.into.outputs[first], self.into.outputs[second]
                if not a.same_meaning(b):
                    self.findings.append(Finding(
                        b.file, b.line, b.column, "SAME", f"{b.text!r} can be said in the same words as {a.text!r} "
                        f"({a.file}:{a.line}) and means something else", "reword one of them"))


def values_of(loaded: Loaded) -> Values:
    return Values(loaded.outputs, loaded.plain)
