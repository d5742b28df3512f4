"""Reading the lock file: which pinned packages a group of requirements needs, itself and all below it.

The lock is one file for everything (`requirements.lock`); its `# via` remarks tell which package asked for
which. So a step can install its share, with hashes, and a failure stays with the packages that failed.
After a change of pyproject.toml the lock is made anew, in the checkout, with:

    uv pip compile --universal --python-version 3.11 --all-extras --generate-hashes --no-header --quiet \\
        --output-file requirements.lock pyproject.toml
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

PROJECT = "fieldaid"


def normal(name: str) -> str:
    """A package's name as registries compare it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def requirement_name(requirement: str) -> str:
    """The package that a requirement such as "numpy>=2.2; python_version < '3.12'" names."""
    match = re.match(r"\s*([A-Za-z0-9][A-Za-z0-9._-]*)", requirement)
    if match is None:
        raise ValueError(f"not a requirement: {requirement!r}")
    return normal(match.group(1))


@dataclass(frozen=True)
class Pin:
    """One entry of the lock: `text` is the entry as pip reads it, `via` the packages that asked for it."""

    name: str
    version: str
    marker: str
    text: str
    via: frozenset[str]


def read_pins(text: str) -> list[Pin]:
    """The entries of a lock file.

    Raises
    ------
    ValueError : an entry is not pinned with `==` or has no hash; the message names the line
    """
    pins = []
    lines = text.splitlines()
    starts = [number for number, line in enumerate(lines) if line and not line[0].isspace() and line[0] != "#"]
    for start, end in zip(starts, [*starts[1:], len(lines)], strict=True):
        block = lines[start:end]
        match = re.match(r"([A-Za-z0-9._-]+)==([^\s;\\]+)(?:\s*;\s*([^\\]+))?", block[0])
        body = [line for line in block if not line.lstrip().startswith("#")]
        if match is None or not any("--hash=" in line for line in body):
            raise ValueError(f"line {start + 1}: {block[0]!r} is not pinned with == and a hash")
        via = {
            normal(word.split(" ")[0])
            for line in block
            if line.lstrip().startswith("#")
            for word in [line.lstrip("# ").removeprefix("via").strip()]
            if word
        }
        pins.append(
            Pin(
                normal(match.group(1)),
                match.group(2),
                (match.group(3) or "").strip(),
                "\n".join(body).rstrip(),
                frozenset(via),
            )
        )
    return pins


def closure(pins: Iterable[Pin], roots: Iterable[str]) -> list[Pin]:
    """The pins of `roots` and of everything that they need, in the lock's order."""
    pins = list(pins)
    wanted = {normal(root) for root in roots}
    while True:
        more = {pin.name for pin in pins if pin.via & wanted} - wanted
        if not more:
            return [pin for pin in pins if pin.name in wanted]
        wanted |= more


@dataclass(frozen=True)
class Lock:
    """The lock together with the groups of requirements that pyproject.toml names."""

    pins: tuple[Pin, ...]
    groups: dict[str, tuple[str, ...]]

    def of(self, *groups: str) -> list[Pin]:
        """What the named groups need ("base" or an extra).

        Raises
        ------
        KeyError : there is no such group
        """
        return closure(self.pins, [root for group in groups for root in self.groups[group]])

    def below(self, *roots: str) -> list[Pin]:
        """What the named packages need, themselves included."""
        return closure(self.pins, roots)


def read(checkout: Path) -> Lock:
    """The lock of a checkout.

    Raises
    ------
    OSError, ValueError : a file is missing or is not what it should be
    """
    import tomllib  # only here: the modules beside this one load on a Python that lacks it

    project = tomllib.loads((checkout / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    named = {"base": project["dependencies"], **project["optional-dependencies"]}
    groups = {
        group: tuple(dict.fromkeys(name for name in map(requirement_name, wanted) if name != PROJECT))
        for group, wanted in named.items()
    }
    groups["all"] = tuple(dict.fromkeys(name for names in groups.values() for name in names))
    pins = read_pins((checkout / "requirements.lock").read_text(encoding="utf-8"))
    return Lock(tuple(pins), groups)
