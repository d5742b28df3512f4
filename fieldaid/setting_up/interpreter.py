"""Finding a Python that fieldaid runs on.

This module and `fieldaid.set_up` must load on any Python from 3.8, so that an old one can say what it lacks.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass

OLDEST = (3, 11)
VERIFIED = ((3, 11), (3, 12), (3, 13))
_NAMES = ("python3.13", "python3.12", "python3.11", "python3", "python3.14", "python")

_ASK = """
import json, sys
print(json.dumps({"path": getattr(sys, "_base_executable", None) or sys.executable,
                  "version": list(sys.version_info[:3]), "prefix": sys.base_prefix}))
"""


@dataclass(frozen=True)
class Interpreter:
    """A Python that answered: the one that environments are made from, its version, where it is at home."""

    path: str
    version: tuple[int, int, int]
    prefix: str

    @property
    def short(self) -> str:
        """The name Debian gives this version: "3.11"."""
        return f"{self.version[0]}.{self.version[1]}"

    @property
    def full(self) -> str:
        return ".".join(str(part) for part in self.version)

    @property
    def usable(self) -> bool:
        return self.version >= OLDEST

    @property
    def verified(self) -> bool:
        return self.version[:2] in VERIFIED

    @property
    def from_system(self) -> bool:
        """Whether the distribution's packages provide its headers and its venv module."""
        return self.prefix == "/usr"


def ask(path: str) -> Interpreter | None:
    """What the interpreter at `path` is; None when it does not answer."""
    try:
        done = subprocess.run(
            [path, "-I", "-c", _ASK],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=60,
            check=False,
        )
        told = json.loads(done.stdout)
    except (OSError, ValueError, subprocess.TimeoutExpired):
        return None
    return Interpreter(told["path"], tuple(told["version"]), told["prefix"])


def on_path(names: Iterable[str] = _NAMES) -> Iterable[str]:
    """Every place on PATH where one of `names` lies, the running interpreter first."""
    yield sys.executable
    for name in names:
        for folder in os.environ.get("PATH", os.defpath).split(os.pathsep):
            found = shutil.which(name, path=folder)
            if found:
                yield found


def find(candidates: Iterable[str] | None = None) -> Interpreter | None:
    """The first verified one of `candidates` (default: this Python, then PATH), else the first usable one."""
    usable: Interpreter | None = None
    for path in on_path() if candidates is None else candidates:
        known = ask(path)
        if known is None or not known.usable:
            continue
        if known.verified:
            return known
        usable = usable or known
    return usable
