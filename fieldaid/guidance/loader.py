"""Reads a pack's folder and its overlays into a checked `Pack`. All findings are collected before anything is raised.

Findings
--------
F101 not readable      F102 not YAML       F103 a key twice       F104 an unknown key    F105 a wrong type or nothing
F106 a missing key     F107 alias or tag   F108 not one of the allowed words             F109 a missing file
F110 an empty pack     F401 a parameter outside its range                                F402 an id used twice
2xx conditions: `condition_reader`. 3xx rules: `rule_reader`, `checks`. 5xx overlays: `overlay`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from fieldaid.errors import BrokenData, Finding, WrongUse
from fieldaid.facts.vocabulary import Fact
from fieldaid.guidance import overlay as overlays_
from fieldaid.guidance.checks import ADD_SOURCE, PLACES, check_rules, unknown_sources
from fieldaid.guidance.fields import Fields, entries_of, nearest
from fieldaid.guidance.names import Name, concluded_names, fact_names
from fieldaid.guidance.pack import Derived, Invariant, Pack, Parameter, Rule, Source
from fieldaid.guidance.rule_reader import RuleReader, read_source
from fieldaid.guidance.yaml_nodes import Node, read

SOURCE_KINDS = ("study", "standard", "regulation", "alert", "report", "article", "text", "card", "forum", "video",
                "practice")
RESERVED = ("any", "basis", "trigger", "stop", "caution", "access", "access_reason", "gate")
PARAMETER_KEYS = ("id", "about", "unit", "default", "low", "high", "source")


SETS_ONLY = {"id", "default"}
LAY_OVER = "lay it over its pack: --on PACK (type and explain: --overlay, compare: --new-overlay)"


@dataclass
class Folder:
    """The nodes of one folder's files."""

    path: Path
    pack: Node | None = None
    lists: dict[str, list[Node]] = field(default_factory=dict)
    rules: list[Node] = field(default_factory=list)
    content: bytes = b""


@dataclass(frozen=True)
class Examined:
    """What was read of a pack: all of it when there are no findings, else what could be read.

    folders : the nodes of the base and of each overlay in turn
    base_rules : how many of the pack's rules are the base's own
    """

    pack: Pack
    findings: tuple[Finding, ...]
    folders: tuple[Folder, ...]
    base_rules: int


def load(folder: Path, overlays: list[Path], computed: Mapping[str, Fact]) -> Pack:
    """See `pack.load_pack`."""
    for one in (folder, *overlays):
        if not one.is_dir():
            raise WrongUse("there is no such folder", where=str(one), next_step="name the folder of a rule pack")
    places = [one.resolve() for one in (folder, *overlays)]
    for n, one in enumerate(places):
        if one in places[:n]:
            raise WrongUse("the pack is laid over itself", where=str(overlays[n - 1]),
                           next_step="name the overlay and the pack below it, each once")
    examined = examine(folder, overlays, computed)
    if examined.findings:
        count = len(examined.findings)
        raise BrokenData(f"the rule pack cannot be used ({count} finding{'s' if count > 1 else ''})",
                         examined.findings, where=str(_broken(folder, overlays, examined.findings)),
                         next_step="repair what is listed and load it again")
    return examined.pack


def _broken(folder: Path, overlays: list[Path], findings: tuple[Finding, ...]) -> Path:
    """The folder that an error is about: the overlay that holds all findings, or else the pack."""
    return next((one for one in overlays
                 if all(Path(finding.file).is_relative_to(one) for finding in findings)), folder)


def examine(folder: Path, overlays: list[Path], computed: Mapping[str, Fact]) -> Examined:
    """Reads everything and raises nothing: the pack as far as it can be read, and every finding in order."""
    findings: list[Finding] = []
    base = _read_folder(folder, findings)
    above = [_read_folder(one, findings, is_overlay=True) for one in overlays]
    everything = [base, *above]
    sources = _sources(everything, findings)
    parameters = _parameters(base, above, sources, findings)
    names_told = fact_names(computed)
    derived = _derived(everything, names_told, findings)
    invariants = _invariants(everything, findings)
    for one in above:
        overlays_.reword(base.rules, one.lists["changes"], findings)
    names = {**names_told, **concluded_names(derived, _concluded([*base.rules, *(r for o in above for r in o.rules)]))}
    reader = RuleReader(names, parameters, derived, computed, findings)
    rules, base_rules = _rules(everything, reader, {one for one in derived if _declares(base, one)})
    findings += check_rules(rules, sources, invariants)
    readable = len(rules) == sum(len(one.rules) for one in everything)
    _check_enforced(base, invariants, rules, readable, findings)
    _refuse_empty(base, rules, readable, findings)
    meta, *_ = [_meta(one, findings) for one in everything]
    digest = hashlib.sha256(b"".join(one.content for one in everything)).hexdigest()
    pack = Pack(**meta, folder=folder, rules=tuple(rules), sources=sources, parameters=parameters, derived=derived,
                invariants=tuple(invariants), computed=dict(computed), overlays=tuple(str(one) for one in overlays),
                digest=digest)
    return Examined(pack, tuple(sorted(findings, key=_where)), tuple(everything), base_rules)


def _rules(folders: list[Folder], reader: RuleReader, base_derived: set[str]) -> tuple[list[Rule], int]:
    """The rules of the base and of each overlay in turn, and how many are the base's own; an overlay retires and
    adds as it may."""
    rules: list[Rule] = []
    order = base_rules = 0
    for n, folder in enumerate(folders):
        added = []
        for node in folder.rules:
            rule = reader.read(node, order)
            order += 1
            if rule is not None:
                added.append(rule)
        if n:
            rules = overlays_.retire(rules, folder.lists["changes"], reader.findings)
            overlays_.check_added(rules, added, base_derived, reader.findings)
        rules += added
        base_rules = base_rules if n else len(rules)
    return rules, base_rules


def _refuse_empty(base: Folder, rules: list[Rule], readable: bool, findings: list[Finding]) -> None:
    at = str(base.path / "rules")
    if base.pack is not None and not base.rules:
        findings.append(Finding(at, 0, 0, "F110", "the pack has no rules",
                                "an empty pack would say nothing and look like peace; add rules/*.yaml"))
    elif rules and readable and not any(rule.live for rule in rules):
        findings.append(Finding(at, 0, 0, "F110", "no rule of the pack takes part",
                                "give rules the status trial or stable"))


def _where(finding: Finding) -> tuple[str, int, int]:
    return finding.file, finding.line, finding.column


def _read_folder(folder: Path, findings: list[Finding], is_overlay: bool = False) -> Folder:
    found = Folder(folder, lists={name: [] for name in ("sources", "parameters", "derived", "invariants", "changes")})
    if not folder.is_dir():
        findings.append(Finding(str(folder), 0, 0, "F109", "there is no such folder", "name the folder of a rule pack"))
        return found
    content = hashlib.sha256()

    def take(path: Path) -> Node | None:
        node = read(path, str(path), findings.append)
        if node is not None:
            content.update(str(path.relative_to(folder)).encode() + b"\0" + path.read_bytes() + b"\0")
        return node

    if (folder / "pack.yaml").is_file():
        found.pack = take(folder / "pack.yaml")
    else:
        findings.append(Finding(str(folder / "pack.yaml"), 0, 0, "F109", "the pack has no pack.yaml",
                                "write name, version, status, language and about into it"))
    for name in found.lists:
        path = folder / f"{name}.yaml"
        if name == "changes" and not is_overlay:
            if path.is_file():
                findings.append(Finding(str(path), 0, 0, "F109",
                                        "changes.yaml changes another pack: this is an overlay",
                                        f"{LAY_OVER}; in a pack of its own change the rules themselves"))
        elif path.is_file():
            found.lists[name] = entries_of(take(path), f"{name}.yaml", findings)
    if (folder / "rules").exists() and not (folder / "rules").is_dir():
        findings.append(Finding(str(folder / "rules"), 0, 0, "F109", "rules is a file",
                                "make a folder of it: rules/*.yaml"))
    _refuse_strays(folder, [f"{name}.yaml" for name in ("pack", *found.lists)], findings)
    for path in sorted((folder / "rules").glob("*.yaml")):
        found.rules += entries_of(take(path), path.name, findings)
    found.content = content.digest()
    return found


def _refuse_strays(folder: Path, known: list[str], findings: list[Finding]) -> None:
    """A file that would not be read is a rule that would not count: better an error than silence."""
    for path in sorted([*folder.glob("*.y*ml"), *(folder / "rules").glob("**/*.y*ml")]):
        in_rules = path.parent != folder
        if in_rules and (path.suffix != ".yaml" or path.parent != folder / "rules"):
            findings.append(Finding(str(path), 0, 0, "F109", "this file would not be read",
                                    "rules are read from rules/*.yaml"))
        elif not in_rules and path.name not in known:
            findings.append(Finding(str(path), 0, 0, "F109", "this file would not be read",
                                    f"rules belong into rules/, situations into tests/; else "
                                    f"{nearest(path.name, known)}"))


def _meta(base: Folder, findings: list[Finding]) -> dict[str, str]:
    keys = ("name", "version", "status", "language", "about")
    if base.pack is None:
        return dict.fromkeys(keys, "")
    fields = Fields(base.pack, "pack.yaml", keys, (), findings)
    found = {}
    for key in keys:
        node = fields.at(key) if key in fields else None
        number = node is not None and type(node.value) in (int, float)
        found[key] = str(node.value) if number and key == "version" else fields.text(key) or ""  # type: ignore[union-attr]
    return found


def _taken(fields: Fields, taken: Mapping[str, object], one_id: str | None) -> bool:
    """Whether an id is missing or taken; reports the latter."""
    if one_id is not None and one_id in taken:
        fields.report(fields.at("id"), "F402", f"the id {one_id} is taken", "ids are used once")
    return one_id is None or one_id in taken


def _sources(folders: list[Folder], findings: list[Finding]) -> dict[str, Source]:
    found: dict[str, Source] = {}
    for node in (node for one in folders for node in one.lists["sources"]):
        fields = Fields(node, "a source", ("id", "title", "kind", "certainty", "fact", "found"), ("year",), findings)
        if not fields.usable or _taken(fields, found, one_id := fields.text("id")):
            continue
        kind, certainty = fields.text("kind", SOURCE_KINDS), fields.text("certainty", ("A", "B", "C"))
        found[one_id] = Source(  # type: ignore[index]
            one_id, fields.text("title") or "", fields.number("year"), kind or "", certainty or "",  # type: ignore[arg-type]
            fields.text("fact") or "", fields.text("found") or "")
    return found


def _parameters(base: Folder, above: list[Folder], sources: Mapping[str, Source],
                findings: list[Finding]) -> dict[str, Parameter]:
    found: dict[str, Parameter] = {}
    for node in base.lists["parameters"]:
        if _sets_only(node):
            findings.append(node.finding("F106", "an entry that only sets a default belongs into an overlay", LAY_OVER))
        else:
            _new_parameter(node, found, sources, findings)
    for one in above:
        set_here: dict[str, Node] = {}
        for node in one.lists["parameters"]:
            one_id = str(node.value["id"].node.value) if isinstance(node.value, dict) and "id" in node.value else ""
            if one_id in set_here:
                findings.append(node.finding("F402", f"{one_id} is set twice",
                                             f"the first is in line {set_here[one_id].line}; keep one"))
            elif one_id in found:
                overlays_.change_parameter(node, found, findings)
            elif _sets_only(node):
                findings.append(node.finding("F106", f"no parameter of the base is called {one_id}", nearest(
                    one_id, found, f"one of the overlay's own needs {', '.join(PARAMETER_KEYS)}")))
            else:
                _new_parameter(node, found, sources, findings)
            set_here.setdefault(one_id, node)
    return found


def _sets_only(node: Node) -> bool:
    return isinstance(node.value, dict) and set(node.value) == SETS_ONLY


def _new_parameter(node: Node, found: dict[str, Parameter], sources: Mapping[str, Source],
                   findings: list[Finding]) -> None:
    fields = Fields(node, "a parameter", PARAMETER_KEYS, (), findings)
    if not fields.usable or _taken(fields, found, one_id := fields.text("id")):
        return
    value, low, high = fields.number("default"), fields.number("low"), fields.number("high")
    source = read_source(fields)
    for one in unknown_sources(source, sources):
        fields.report(fields.at("source"), "F305", f"no source is called {one}", nearest(one, sources, ADD_SOURCE))
    about, unit = fields.text("about") or "", fields.text("unit") or ""
    if value is None or low is None or high is None:
        return
    if not low <= value <= high:
        fields.report(fields.at("default"), "F401", f"{one_id} is {value:g}, outside its own range {low:g} to {high:g}",
                      "change the default or the range")
        return
    found[one_id] = Parameter(one_id, about, unit, value, low, high, source)  # type: ignore[index, arg-type]


def _derived(folders: list[Folder], told: Mapping[str, Name], findings: list[Finding]) -> dict[str, Derived]:
    found: dict[str, Derived] = {}
    for node in (node for one in folders for node in one.lists["derived"]):
        fields = Fields(node, "a derived name", ("id", "values", "about"), (), findings)
        if not fields.usable or _taken(fields, found, one_id := fields.text("id")):
            continue
        if one_id in told or one_id in RESERVED:
            fields.report(fields.at("id"), "F402", f"{one_id} is already the name of something else", "choose another")
            continue
        values, about = fields.texts("values"), fields.text("about") or ""
        for value in values:
            if value in ("known", "unknown", "some", "none"):
                fields.report(fields.at("values"), "F108", f"{value} cannot be a value: it is a test",
                              "use another word")
        found[one_id] = Derived(one_id, values, about)  # type: ignore[index, arg-type]
    return found


def _declares(folder: Folder, name: str) -> bool:
    return any(isinstance(node.value, dict) and "id" in node.value and node.value["id"].node.value == name
               for node in folder.lists["derived"])


def _invariants(folders: list[Folder], findings: list[Finding]) -> list[Invariant]:
    found: list[Invariant] = []
    for node in (node for one in folders for node in one.lists["invariants"]):
        fields = Fields(node, "an invariant", ("number", "text", "enforced"), (), findings)
        if fields.usable and (number := fields.number("number")) is not None:
            if any(one.number == number for one in found):
                fields.report(fields.at("number"), "F402", f"invariant {number} stands twice", "number each once")
            found.append(Invariant(int(number), fields.text("text") or "", fields.texts("enforced")))
    return found


def _check_enforced(base: Folder, invariants: list[Invariant], rules: list[Rule], readable: bool,
                    findings: list[Finding]) -> None:
    ids = {rule.id for rule in rules}
    at = str(base.path / "invariants.yaml")
    for one in invariants:
        for place in one.enforced:
            if place not in PLACES and place not in ids and readable:
                findings.append(Finding(at, 0, 0, "F311", f"invariant {one.number} names {place}, which is neither a "
                                        "rule nor dialogue, loader or placement", nearest(place, [*PLACES, *ids])))


def _concluded(nodes: list[Node]) -> dict[str, tuple[str, ...]]:
    """The triggers, stops and cautions that rules conclude, before the rules are read."""
    found: dict[str, dict[str, None]] = {"trigger": {}, "stop": {}, "caution": {}}
    for node in nodes:
        if not isinstance(node.value, dict) or "conclude" not in node.value:
            continue
        conclude = node.value["conclude"].node.value
        for kind in found:
            if isinstance(conclude, dict) and kind in conclude and isinstance(conclude[kind].node.value, str):
                found[kind][conclude[kind].node.value] = None
    return {kind: tuple(names) for kind, names in found.items()}
