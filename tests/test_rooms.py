"""Imports go downward: each module imports only its own room or a room of a lower layer. And the map that
contributors read names every module of the two largest rooms.

Checked on the syntax trees of every module, so that an import inside a function or under TYPE_CHECKING
counts. The checker is itself tried on small trees that break each rule once.
"""

from __future__ import annotations

import ast
import fnmatch
import re
import sys
from dataclasses import dataclass, field
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "fieldaid"

# The layers of the house, lowest first. Rooms on one layer are neighbours that do not know each other.
LAYERS: tuple[tuple[frozenset[str], ...], ...] = (
    (
        frozenset({"clock", "data", "errors", ""}),
    ),  # "" is the package's own front door, which imports nothing
    (frozenset({"facts"}),),
    (frozenset({"workings"}), frozenset({"grammar"})),
    (frozenset({"guidance"}), frozenset({"hearing"}), frozenset({"speaking"}), frozenset({"drawing"})),
    (frozenset({"session"}),),
    (frozenset({"authoring"}), frozenset({"practice"})),
    (frozenset({"cli", "__main__"}), frozenset({"set_up", "setting_up"})),
)
# Pairs that must not reach each other by any chain of imports.
STRANGERS = (("fieldaid.guidance.engine", "fieldaid.guidance.reference"),)
TIME_READER = "fieldaid.clock"
READS_TIME = {"now", "utcnow", "today"}
# These run before anything is installed.
BARE = "fieldaid.set_up"


@dataclass
class Module:
    """One module: what it imports, with the line of each import."""

    name: str
    path: Path
    ours: dict[str, int] = field(default_factory=dict)
    others: dict[str, int] = field(default_factory=dict)
    reads_time: list[tuple[int, str]] = field(default_factory=list)


def module_names(package: Path) -> dict[str, Path]:
    """Every module of the package by its dotted name."""
    names = {}
    for path in sorted(package.rglob("*.py")):
        parts = (package.name, *path.relative_to(package).with_suffix("").parts)
        names[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return names


def imported_names(node: ast.AST, inside: str) -> list[str]:
    """The dotted names that a syntax node imports; `inside` is the package of its module."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        base = node.module or ""
        if node.level:
            above = inside.split(".")[: len(inside.split(".")) - node.level + 1]
            base = ".".join([*above, *([node.module] if node.module else [])])
        return [f"{base}.{alias.name}" for alias in node.names]
    if isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
        called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if called in {"import_module", "__import__"} and isinstance(node.args[0].value, str):
            return [node.args[0].value]
    return []


def read_tree(package: Path) -> dict[str, Module]:
    """Every module with its imports resolved.

    `from room import name` counts as an import of the submodule `room.name` where there is one, else of the
    `from room import name` counts as an import of the submodule `room.name` where there is one, else of
    the front door of the room. The front door is not counted with each submodule: otherwise a room could
    """
    names = module_names(package)
    modules = {}
    for name, path in names.items():
        module = modules[name] = Module(name, path)
        inside = name if path.name == "__init__.py" else name.rpartition(".")[0]
        tree = ast.parse(path.read_text(encoding="utf-8"), str(path))
        clocks = set()
        for node in ast.walk(tree):
            for target in imported_names(node, inside):
                root = target.split(".")[0]
                if root == "datetime":
                    clocks |= {alias.asname or alias.name for alias in getattr(node, "names", [])}
                if root != package.name:
                    module.others.setdefault(root, node.lineno)
                    continue
                while target not in names:
                    target = target.rpartition(".")[0]
                if target != name:
                    module.ours.setdefault(target, node.lineno)
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute) and node.attr in READS_TIME:
                root = node.value
                while isinstance(root, ast.Attribute):
                    root = root.value
                if isinstance(root, ast.Name) and root.id in clocks:
                    module.reads_time.append((node.lineno, f"{ast.unparse(node)}"))
    return modules


def place(name: str) -> tuple[int, frozenset[str]] | None:
    """The layer and room of a module; None when it stands in no room of the table."""
    parts = name.split(".")
    first = parts[1] if len(parts) > 1 else ""
    for layer, rooms in enumerate(LAYERS):
        for room in rooms:
            if first in room:
                return layer, room
    return None


def reached(modules: dict[str, Module], start: str) -> dict[str, tuple[str, ...]]:
    """Every module that `start` imports, directly or not, with the chain that leads there."""
    chains = {start: (start,)}
    waiting = [start]
    while waiting:
        current = waiting.pop(0)
        for target in modules[current].ours:
            if target not in chains:
                chains[target] = (*chains[current], target)
                waiting.append(target)
    return chains


def under(names: dict[str, Module], root: str) -> list[str]:
    """The module `root` and those below it."""
    return [name for name in names if name == root or name.startswith(root + ".")]


def faults(package: Path) -> list[str]:
    """Every import that the house forbids, as `module:line: what is wrong`."""
    modules = read_tree(package)
    found = []
    for name, module in modules.items():
        here = place(name)
        if here is None:
            found.append(f"{name}:1: stands in no room; add its room to the table of layers")
            continue
        for target, line in module.ours.items():
            there = place(target)
            if there is not None and there[1] != here[1] and there[0] >= here[0]:
                found.append(f"{name}:{line}: layer {here[0]} imports {target} of layer {there[0]}")
        if name != TIME_READER:
            if "time" in module.others:
                found.append(f"{name}:{module.others['time']}: imports time; only {TIME_READER} may")
            found += [f"{name}:{line}: reads the time with {what}" for line, what in module.reads_time]
    for one, other in (*STRANGERS, *((b, a) for a, b in STRANGERS)):
        for name in under(modules, one):
            chains = reached(modules, name)
            found += [
                f"{name}:1: reaches {target} by {' -> '.join(chains[target])}"
                for target in under(modules, other)
                if target in chains
            ]
    for name in reached(modules, BARE) if BARE in modules else ():
        found += [
            f"{name}:{line}: {BARE} reaches it, and it needs {other}, which is not in the standard library"
            for other, line in modules[name].others.items()
            if other not in sys.stdlib_module_names
        ]
    return found


def test_imports_of_the_package_go_downward() -> None:
    assert faults(PACKAGE) == []


def test_every_module_of_the_package_was_read() -> None:
    modules = read_tree(PACKAGE)
    assert len(modules) == sum(1 for _ in PACKAGE.rglob("*.py"))
    assert "fieldaid.errors" in modules["fieldaid.data"].ours
    assert "time" in modules[TIME_READER].others


GOOD = {
    "__init__.py": "__version__ = '1'",
    "clock.py": "import time\nfrom datetime import datetime\nx = datetime.now()",
    "errors.py": "",
    "facts/__init__.py": "from fieldaid.errors import X",
    "facts/values.py": "from . import vocabulary\nfrom ..errors import X",
    "facts/vocabulary.py": "from datetime import date\nx = date(2031, 5, 4)",
    "guidance/__init__.py": "from fieldaid.guidance import engine, reference",
    "guidance/engine.py": "from fieldaid.guidance import loader\nfrom fieldaid.facts.values import X",
    "guidance/reference.py": "from fieldaid.guidance.loader import X",
    "guidance/loader.py": "import yaml\nfrom fieldaid import facts",
    "cli.py": "def main():\n    from fieldaid import guidance, clock\n    clock.now()",
    "set_up.py": "import json\nfrom fieldaid.clock import X",
}

BAD = {
    "an import upward": (
        "facts/values.py",
        "from fieldaid.guidance import loader",
        "facts.values:1: layer 1",
    ),
    "a relative import upward": (
        "facts/values.py",
        "from ..guidance import loader",
        "facts.values:1: layer 1",
    ),
    "an import upward inside a function": (
        "errors.py",
        "def f():\n    import fieldaid.facts.values",
        "errors:2: layer 0",
    ),
    "an import upward by name": (
        "errors.py",
        "import importlib\nimportlib.import_module('fieldaid.cli')",
        "errors:2: layer 0",
    ),
    "an import upward for types only": (
        "facts/values.py",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from fieldaid.cli import X",
        "facts.values:3: layer 1",
    ),
    "an import from a neighbour": (
        "speaking/__init__.py",
        "from fieldaid.guidance import loader",
        "speaking:1",
    ),
    "a sibling that imports the other": (
        "guidance/engine.py",
        "from fieldaid.guidance.reference import X",
        "guidance.engine:1: reaches",
    ),
    "siblings the other way round": (
        "guidance/reference.py",
        "from fieldaid.guidance import engine",
        "guidance.reference:1: reaches",
    ),
    "siblings that meet through a third module": (
        "guidance/loader.py",
        "from . import reference",
        "guidance.engine:1: reaches fieldaid.guidance.reference by fieldaid.guidance.engine -> "
        "fieldaid.guidance.loader -> fieldaid.guidance.reference",
    ),
    "siblings that meet through the front door": (
        "guidance/engine.py",
        "from fieldaid.guidance import evaluate",
        "guidance.engine:1: reaches",
    ),
    "a room that is not in the table": ("extras/__init__.py", "", "extras:1: stands in no room"),
    "a second reader of monotonic time": ("facts/values.py", "from time import monotonic", "imports time"),
    "a sleep": ("cli.py", "import time as t\nt.sleep(1)", "cli:1: imports time"),
    "a reader of wall time": ("cli.py", "import datetime\ndatetime.datetime.now()", "cli:2: reads the time"),
    "a reader of wall time by another name": (
        "cli.py",
        "from datetime import datetime as d\nx = d.utcnow",
        "cli:2: reads the time",
    ),
    "a reader of the date": ("cli.py", "from datetime import date\ndate.today()", "cli:2: reads the time"),
    "a set-up that needs a package": ("set_up.py", "import yaml", "set_up:1: fieldaid.set_up reaches it"),
    "a set-up that needs a package two steps on": (
        "clock.py",
        "import numpy",
        "clock:1: fieldaid.set_up reaches it",
    ),
}


def lay_out(folder: Path, files: dict[str, str]) -> Path:
    package = folder / "fieldaid"
    for name, text in files.items():
        path = package / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return package


def test_a_good_tree_has_no_faults(tmp_path: Path) -> None:
    assert faults(lay_out(tmp_path, GOOD)) == []


@pytest.mark.parametrize("case", BAD)
def test_a_bad_tree_is_found_out(case: str, tmp_path: Path) -> None:
    name, text, expected = BAD[case]
    found = faults(lay_out(tmp_path, {**GOOD, name: text}))
    assert any(expected in fault for fault in found), found
    assert all("fieldaid." in fault for fault in found)


@pytest.mark.parametrize("room", ["session", "hearing"])
def test_the_map_for_contributors_names_every_module(room: str) -> None:
    text = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text.split(f"### `{room}/`")[1].split("\n#")[0]
    first_cells = " ".join(row.split("|")[1] for row in table.splitlines() if row.startswith("| `"))
    named = re.findall(r"`([a-z_]+[*]?)/?`", first_cells)
    modules = [path.stem for path in (PACKAGE / room).glob("*.py") if path.stem != "__init__"]
    assert [name for name in sorted(modules) if not any(fnmatch.fnmatch(name, one) for one in named)] == []
