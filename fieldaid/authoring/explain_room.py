"""`fieldaid rules explain` for a situation: reads it from a file or from words, and writes the explanation."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, TextIO

import yaml

from fieldaid.authoring.explain import Explained, explain
from fieldaid.authoring.explain_nearest import Change
from fieldaid.authoring.explain_tree import Branch
from fieldaid.errors import BrokenData, FactError, Finding, WrongUse
from fieldaid.facts.fact import BASES
from fieldaid.facts.situation import Situation
from fieldaid.facts.values import check_value
from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.fields import nearest
from fieldaid.guidance.pack import Pack, load_pack
from fieldaid.guidance.yaml_nodes import Entry, Node, read

_NUMBER = re.compile(r"-?\d+(\.\d+)?\Z")
HOW = "write facts as name=value, such as deck.C=soft, or name a YAML file that holds them"


def is_situation(words: Sequence[str]) -> bool:
    """Whether the words of `rules explain` name a situation, and not the code of a finding."""
    return len(words) > 1 or any("=" in word or word.endswith((".yaml", ".yml")) for word in words)


def show(words: Sequence[str], basis: Sequence[str], folder: Path, overlay: Path | None, as_json: bool,
         out: TextIO) -> int:
    """Explains the situation in `words`.

    Raises
    ------
    WrongUse, BrokenData : the words, the file or the pack is wrong
    """
    pack = load_pack(folder, [] if overlay is None else [overlay])
    try:
        facts, known, computed = read_situation(words, pack)
    except FactError as error:
        files = [word for word in words if "=" not in word]
        raise (BrokenData(error.what, where=", ".join(files), why=error.why, next_step=error.next_step) if files else
               WrongUse(error.what, why=error.why, next_step=error.next_step)) from error
    known |= _bases(basis)
    for name in known:
        if name not in facts:
            raise WrongUse(f"{name} is given a basis and no value", next_step=f"add {name}=value")
    found = explain(pack, Situation.of(facts, known), computed)
    if as_json:
        json.dump(found.to_data(), out, ensure_ascii=False)
        out.write("\n")
    else:
        out.write(in_words(found) + "\n")
    return 0


def read_situation(words: Sequence[str], pack: Pack) -> tuple[dict[str, Any], dict[str, str], dict[str, Any]]:
    """Told facts, how each is known, and computed facts given outright."""
    facts: dict[str, Any] = {}
    known: dict[str, str] = {}
    for word in words:
        if "=" in word:
            name, _, text = word.partition("=")
            facts[name.strip()] = _parsed(text, name)
        else:
            more, how = _file(Path(word))
            facts |= more
            known |= how
    computed = {name: value for name, value in facts.items() if name in pack.computed}
    told = {name: value for name, value in facts.items() if name not in pack.computed}
    return {name: _checked(name, value) for name, value in told.items() if value != "not told"}, known, computed


def _checked(name: str, value: Any) -> Any:
    if name not in FACTS:
        raise FactError(f"no fact is called {name!r}", why="the vocabulary does not have it",
                        next_step=nearest(name, FACTS))
    return value if value == "cannot tell" else check_value(name, value)


def _bases(words: Iterable[str]) -> dict[str, str]:
    found = {}
    for word in words:
        name, _, basis = word.partition("=")
        if basis not in BASES:
            raise WrongUse(f"--basis {word}", why=f"how a fact is known is one of {', '.join(BASES)}",
                           next_step="such as --basis deck.eave=struck")
        found[name] = basis
    return found


def _parsed(text: str, name: str) -> Any:
    """A value in the form that a pack writes it; only numbers are more than words."""
    try:
        return _numbers(yaml.load(text, Loader=yaml.BaseLoader))
    except yaml.YAMLError as error:
        raise WrongUse(f"{name}={text} cannot be read", why=str(getattr(error, "problem", error)),
                       next_step=HOW) from error


def _numbers(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _numbers(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_numbers(one) for one in value]
    if isinstance(value, str) and _NUMBER.match(value):
        return float(value) if "." in value else int(value)
    return value


def _file(path: Path) -> tuple[dict[str, Any], dict[str, str]]:
    """The facts of a file: a mapping of facts, or one under `given`, with `basis` beside them."""
    findings: list[Finding] = []
    node = read(path, str(path), findings.append)
    if findings or node is None:
        raise BrokenData("the situation cannot be read", findings, next_step=HOW)
    plain = _plain(node)
    if isinstance(plain, dict) and isinstance(plain.get("given"), dict):
        plain = plain["given"]
    if not isinstance(plain, dict):
        raise BrokenData("the file holds no situation", where=str(path), why="it is no mapping of facts to values",
                         next_step=HOW)
    basis = plain.pop("basis", {})
    if not isinstance(basis, dict):
        raise BrokenData("basis is no mapping", where=str(path), next_step="such as basis: {deck.eave: struck}")
    return plain, _bases(f"{name}={how}" for name, how in basis.items())


def _plain(node: Node) -> Any:
    """A node as plain data."""
    value = node.value
    if isinstance(value, dict):
        return {key: _plain(entry.node if isinstance(entry, Entry) else entry) for key, entry in value.items()}
    return [_plain(one) for one in value] if isinstance(value, list) else value


def in_words(found: Explained) -> str:
    """The explanation as a person reads it."""
    lines = [found.why]
    lines += [f"{wanted.capitalize()}? {text}" for wanted, text in found.why_not.items()
              if "is what stands now" not in text]
    for branch in (*found.tree, *found.stands_in_the_way):
        lines += ["", *_lines(branch)]
    if found.warnings:
        lines += ["", "Warnings and advice that apply:", *(f"  {one}" for one in found.warnings)]
    if found.nearest:
        lines += ["", "Nearest change:"]
        lines += [f"  {_change(one)}" for one in found.nearest]
    return "\n".join(lines)


def _lines(branch: Branch, indent: str = "", last: bool = True, top: bool = True) -> list[str]:
    mark = "" if branch.holds is None else "+ " if branch.holds else "- "
    own = f"{branch.text} [{branch.rule}]" if branch.rule and not branch.text.startswith(branch.rule) else branch.text
    lines = [own if top else f"{indent}{'`- ' if last else '|- '}{mark}{own}"]
    under = indent if top else indent + ("   " if last else "|  ")
    for n, one in enumerate(branch.under):
        lines += _lines(one, under, n + 1 == len(branch.under), top=False)
    return lines


def _change(one: Change) -> str:
    facts = "; ".join(f"{name}: {_value(value)}" for name, value in one.facts)
    fewest = "" if one.fewest else f" ({len(one.facts)} facts; fewer may do)"
    return f"{one.turns}: {facts} gives {one.access}, {one.gate}{fewest}"


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return " ".join(f"{key} {_value(one)}" for key, one in value.items())
    return ", ".join(map(_value, value)) if isinstance(value, list) else str(value)
