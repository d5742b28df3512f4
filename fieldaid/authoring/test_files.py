"""Reads a pack's situations: FOLDER/tests/*.yaml.

A file is a list of situations, or a mapping of `begin` (named beginnings) and `situations`:

    begin:
      all told: {roof.form: gable, crew.count: 3}
    situations:
      - name: One sentence that says what happens
        from: all told                     # optional
        given: {deck.C: soft, crew.count: not told, basis: {deck.C: struck}}
        expect: {access: stay off, reason: hazard, triggers: [bad deck], fires: [DECK-010]}
        note: where the expectation comes from        # optional

`not told` takes a fact of the beginning out. Findings: the loader's F101 to F110 and F310, and
F801 a rule that does not exist   F802 a name that stands twice   F803 a beginning that does not exist
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldaid.authoring.pack_form import flow
from fieldaid.errors import Finding
from fieldaid.facts.vocabulary import FACTS, SIDES
from fieldaid.guidance.fields import Fields, entries_of, nearest, text
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import ACCESS, GATE, OPENINGS, REASONS, Example, Pack
from fieldaid.guidance.rule_reader import RuleReader
from fieldaid.guidance.yaml_nodes import Entry, Node, read

NOT_TOLD = "not told"
SINGLE = ("access", "reason", "gate", "place", "kind", "slope", "size_ft")
LISTS = ("triggers", "stops", "cautions", "advice", "missing", "fires", "silent", "derived")
EXPECTED = (*SINGLE, *LISTS)
# The words of what is single; `place` has words of the pack's own. Each but access and gate may be none too.
CHOICES = {"access": ACCESS, "gate": GATE, "reason": REASONS, "kind": OPENINGS,
           "slope": (*SIDES, *FACTS["site.a_faces"].values)}


@dataclass(frozen=True)
class Listed:
    """What a list must hold: all of `items`, and nothing else if `only`."""

    items: tuple[str, ...]
    only: bool = False


def may_stand(key: str, pack: Pack) -> tuple[str, ...]:
    """What may stand in a list of `expect`: ids of rules, facts, derived values, or names that rules conclude."""
    if key in ("fires", "silent"):
        return tuple(rule.id for rule in pack.rules)
    if key == "missing":
        return tuple(FACTS)
    if key == "derived":
        return tuple(f"{one.id} {value}" for one in pack.derived.values() for value in one.values)
    return tuple(dict.fromkeys(rule.conclude.name for rule in pack.rules
                               if rule.conclude.kind == key.removesuffix("s")))


def came_out(key: str, outcome: Outcome, computed: Mapping[str, Any]) -> Any:
    """What stands for a key of `expect`: a word, None, or a tuple. `computed` holds plain values by name."""
    match key:
        case "reason":
            return outcome.access_reason
        case "slope":
            if outcome.gate in ("no opening", "other means"):
                return None
            return computed.get("place.face") or computed.get("place.leeward")
        case "fires" | "silent":
            return tuple(dict.fromkeys(one.rule for one in outcome.firings))
        case "derived":
            return tuple(f"{name} {value}" for name, value in outcome.derived)
        case _:
            return getattr(outcome, key)


def wrong_in(key: str, expected: Any, value: Any) -> str:
    """What is wrong with what came out for a key of `expect`, in words; "" when it is as expected."""
    if not isinstance(expected, Listed):
        return "" if expected == value else f"{key} is {_word(value)}, not {_word(expected)}"
    if key == "silent":
        # `silent: none` would say that every rule fires; it is read as: nothing has to be silent.
        fired = [one for one in expected.items if one in value]
        return f"{', '.join(fired)} fire{'s' if len(fired) == 1 else ''}, and should be silent" if fired else ""
    lacking = [one for one in expected.items if one not in value]
    surplus = [one for one in value if one not in expected.items] if expected.only else []
    parts = [f"{key} lack {', '.join(lacking)}"] if lacking else []
    parts += [f"{key} also have {', '.join(surplus)}"] if surplus else []
    return "; ".join(parts)


def _word(value: Any) -> str:
    return "none" if value is None else flow(value)


@dataclass(frozen=True)
class SituationTest:
    """One situation and what must come out. `expect` holds a word or None for what is single, `Listed` for lists.

    places : where each key of `expect` stands
    own : it is a rule's own situation, with nothing to expect but that the rule fires or is silent
    """

    name: str
    given: Example
    expect: Mapping[str, Any]
    file: str
    line: int
    column: int
    places: Mapping[str, Node]
    own: bool = False


def read_tests(folder: Path, pack: Pack, quiet: bool = False) -> tuple[list[SituationTest], list[Finding]]:
    """The situations of a pack and what is wrong with their files; `quiet` leaves out what hangs on the pack."""
    findings: list[Finding] = []
    tests: list[SituationTest] = []
    reader = _Reader(pack, quiet, findings)
    if (folder / "tests").exists() and not (folder / "tests").is_dir():
        findings.append(Finding(str(folder / "tests"), 0, 0, "F109", "tests is a file",
                                "make a folder of it: tests/*.yaml"))
    for path in sorted((folder / "tests").glob("*.yaml")):
        node = read(path, str(path), findings.append)
        if node is not None:
            tests += reader.file(node, path.name)
    for path in sorted((folder / "tests").glob("**/*.y*ml")):
        if path.suffix != ".yaml" or path.parent != folder / "tests":
            findings.append(Finding(str(path), 0, 0, "F109", "this file would not be read",
                                    "situations are read from tests/*.yaml"))
    first: dict[str, SituationTest] = {}
    for one in tests:
        other = first.setdefault(one.name, one)
        if other is not one:
            findings.append(Finding(one.file, one.line, one.column, "F802", f"the name {one.name!r} stands twice",
                                    f"the first is in {other.file}:{other.line}; say what differs"))
    return tests, findings


class _Reader:
    def __init__(self, pack: Pack, quiet: bool, findings: list[Finding]) -> None:
        self.pack, self.quiet, self.findings = pack, quiet, findings
        self.examples = RuleReader({}, {}, {}, pack.computed, findings)

    def file(self, node: Node, name: str) -> list[SituationTest]:
        begin: dict[str, Entry] = {}
        if isinstance(node.value, dict):
            fields = Fields(node, name, ("situations",), ("begin",), self.findings)
            if "begin" in fields:
                begin = self._begin(fields.at("begin"))
            if "situations" not in fields:
                return []
            node = fields.at("situations")
        entries = entries_of(node, name, self.findings)
        found = (self._situation(one, begin) for one in entries)
        return [one for one in found if one is not None]

    def _begin(self, node: Node) -> dict[str, Entry]:
        if not isinstance(node.value, dict):
            self._report(node, "F105", "begin is a mapping of names to situations",
                         "such as  all told: {crew.count: 3}")
            return {}
        for entry in node.value.values():
            self.examples.example(entry.node)
        return node.value

    def _report(self, node: Node, code: str, message: str, hint: str = "") -> None:
        self.findings.append(node.finding(code, message, hint))

    def _situation(self, node: Node, begin: Mapping[str, Entry]) -> SituationTest | None:
        before = len(self.findings)
        fields = Fields(node, "a situation", ("name", "given", "expect"), ("from", "note"), self.findings)
        if not fields.usable:
            return None
        name = fields.text("name")
        fields.text("note")
        given = self._given(fields, begin)
        expect = self._expect(fields.at("expect")) if "expect" in fields else None
        if given is None or expect is None or name is None or len(self.findings) > before:
            return None
        found, places = expect
        return SituationTest(name, given, found, node.file, node.line, node.column, places)

    def _given(self, fields: Fields, begin: Mapping[str, Entry]) -> Example | None:
        merged: dict[str, Entry] = {}
        basis: dict[str, Entry] = {}
        start = fields.text("from")
        nodes = [fields.at("given")] if "given" in fields else []
        if start is not None:
            if start not in begin:
                self._report(fields.at("from"), "F803", f"no beginning is called {start}",
                             nearest(start, begin) if begin else "write it under begin at the top of the file")
                return None
            nodes.insert(0, begin[start].node)
        for node in nodes:
            if not isinstance(node.value, dict):
                self._report(node, "F310", "a situation is a mapping of facts to values", "such as {deck.C: soft}")
                return None
            for key, entry in node.value.items():
                if key == "basis" and isinstance(entry.node.value, dict):
                    basis |= entry.node.value
                elif entry.node.value == NOT_TOLD:
                    if key not in FACTS and key not in self.pack.computed:
                        self._report(entry.key, "F310", f"no fact is called {key}", nearest(key, FACTS))
                    merged.pop(key, None)
                    basis.pop(key, None)
                else:
                    if key != "basis":
                        basis.pop(key, None)
                    merged[key] = entry
        at = nodes[-1] if nodes else fields.node
        if basis:
            merged["basis"] = Entry(at, Node(basis, at.file, at.line, at.column))
        return self.examples.example(Node(merged, at.file, at.line, at.column))

    def _expect(self, node: Node) -> tuple[dict[str, Any], dict[str, Node]] | None:
        fields = Fields(node, "expect", (), EXPECTED, self.findings)
        if not fields.usable or not node.value:
            if fields.usable:
                self._report(node, "F105", "expect says nothing", f"name at least one of {', '.join(EXPECTED)}")
            return None
        found: dict[str, Any] = {}
        for key in EXPECTED:
            if key in fields:
                at = fields.at(key)
                found[key] = self._list(key, at) if key in LISTS else self._single(key, at)
        return found, {key: entry.key for key, entry in fields.entries.items()}

    def _single(self, key: str, node: Node) -> Any:
        if node.value == "none" and key not in ("access", "gate"):
            return None
        if key == "size_ft":
            sides = [one.value for one in node.value] if isinstance(node.value, list) else []
            if len(sides) != 2 or not all(type(one) in (int, float) for one in sides):
                self._report(node, "F105", "size_ft is width and length in feet, or none", "such as [4, 8]")
                return None
            return tuple(float(one) for one in sides)  # type: ignore[arg-type]
        return text(node, key, self.findings, CHOICES.get(key, ()))

    def _list(self, key: str, node: Node) -> Listed:
        only = False
        if node.value == "none":
            return Listed((), only=True)
        if isinstance(node.value, dict):
            fields = Fields(node, key, ("only",), (), self.findings)
            if "only" not in fields:
                return Listed(())
            node, only = fields.at("only"), True
        items = node.value if isinstance(node.value, list) else [node]
        found = tuple(one for one in (text(item, key, self.findings) for item in items) if one is not None)
        if not items:
            self._report(node, "F105", f"the list of {key} is empty", "write none when there must be nothing")
        known = may_stand(key, self.pack)
        for item, one in zip(items, found, strict=False):
            if one not in known and not self.quiet:
                code = "F801" if key in ("fires", "silent") else "F108"
                self._report(item, code, f"no {_WHAT[key]} is called {one}", nearest(one, known))
        return Listed(found, only)


_WHAT = {"fires": "rule", "silent": "rule", "missing": "fact", "derived": "derived value", "triggers": "trigger",
         "stops": "stop", "cautions": "caution", "advice": "advice"}
