"""What the operating system must provide for sound, speech and building: look for it, fetch it where allowed.

Each need is looked for by what it gives (a library, a compiler), not by a package's name, so that the check
is right on systems other than Debian and Ubuntu as well.
"""

from __future__ import annotations

import ctypes.util
import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from fieldaid.setting_up.interpreter import Interpreter
from fieldaid.setting_up.steps import Loss, Outcome, Runner, ok, reason, there_already

APT_ENV = {"DEBIAN_FRONTEND": "noninteractive", "NEEDRESTART_SUSPEND": "1"}
NO_ENGINE = "the first guidance channel (durable-rules) cannot be built: answers come from one channel, unchecked"


@dataclass(frozen=True)
class Need:
    """One thing to have: what it is, the Debian packages that give it, what its lack costs, how to see it."""

    what: str
    packages: tuple[str, ...]
    cost: str
    there: Callable[[], bool]


def needs(python: Interpreter) -> list[Need]:
    """What is needed around the interpreter `python`."""
    wanted = [
        Need(
            "the voice espeak-ng",
            ("espeak-ng", "libespeak-ng1"),
            "replies are shown, but not spoken",
            lambda: ctypes.util.find_library("espeak-ng") is not None,
        ),
        Need(
            "the sound library PortAudio",
            ("libportaudio2",),
            "no microphone and no loudspeaker: `talk` does not run; `type` and `hear` do",
            lambda: ctypes.util.find_library("portaudio") is not None,
        ),
        Need(
            "a C compiler",
            ("gcc", "libc6-dev"),
            NO_ENGINE,
            lambda: bool(shutil.which("gcc") or shutil.which("cc")) and Path("/usr/include/stdio.h").exists(),
        ),
    ]
    # An interpreter that is not the system's brings its own headers and venv; no Debian package would help.
    if python.from_system:
        name = f"python{python.short}"
        include = Path(f"/usr/include/{name}/Python.h")
        wanted.append(Need(f"the headers of Python {python.short}", (f"{name}-dev",), NO_ENGINE, include.exists))
        wanted.append(
            Need(
                f"the venv module of Python {python.short}",
                (f"{name}-venv",),
                "no environment can be made, so nothing can be installed",
                lambda: any(Path(f"/usr/lib/{name}/ensurepip").glob("__init__.py")),
            )
        )
    return wanted


def privilege(runner: Runner) -> list[str] | None:
    """The words before a command that root must run; None when this person cannot become root unasked."""
    if os.geteuid() == 0:
        return []
    if shutil.which("sudo") and runner.run(["sudo", "-n", "true"]).returncode == 0:
        return ["sudo", "-n"]
    return None


def apt_get(runner: Runner, before: list[str], *words: str) -> str:
    """Run apt-get without questions; "" when it succeeded, else the reason."""
    env = [f"{name}={value}" for name, value in APT_ENV.items()]
    done = runner.run([*before, "env", *env, "apt-get", "-q", "-o", "DPkg::Lock::Timeout=120", *words])
    return "" if done.returncode == 0 else reason(done)


def install(runner: Runner, packages: list[str]) -> str:
    """Install Debian packages; "" when all are there, else the reason why not."""
    if shutil.which("apt-get") is None:
        return "there is no apt-get on this system"
    before = privilege(runner)
    if before is None:
        return "this needs root, and sudo is not here or asks for a password"
    stale = apt_get(runner, before, "update")
    told = apt_get(runner, before, "install", "-y", "--no-install-recommends", *packages)
    if told and len(packages) > 1:
        # One package that cannot be had must not keep the others away.
        for package in packages:
            apt_get(runner, before, "install", "-y", "--no-install-recommends", package)
    return f"{told} (and the package lists could not be refreshed: {stale})" if told and stale else told


def system_step(runner: Runner, python: Interpreter, *, allowed: bool = True) -> Outcome:
    """Look for every need, install what is missing where that is possible, and name what is still missing."""
    wanted = needs(python)
    missing = [need for need in wanted if not need.there()]
    if not missing:
        return there_already("voice, sound, compiler")
    packages = [package for need in missing for package in need.packages]
    told = install(runner, packages) if allowed else "--no-system was given"
    still = [need for need in missing if not need.there()]
    if not still:
        return ok(", ".join(packages))
    why = told or "its package did not bring it"
    losses = [Loss(need.what, need.cost, why) for need in still]
    by_hand = " ".join(package for need in still for package in need.packages)
    losses[-1] = replace(losses[-1], next_step=f"sudo apt-get install -y {by_hand}, then run this again")
    return Outcome("FAILED" if len(still) == len(wanted) else "partly", "", tuple(losses))


def fetch_python(runner: Runner) -> str:
    """Try to install a Python that is new enough from the distribution; "" when one was installed."""
    told = "the distribution has no Python 3.11, 3.12 or 3.13"
    before = privilege(runner) if shutil.which("apt-get") else None
    if before is not None:
        # A bare system has no package lists, and then apt-cache knows of nothing.
        apt_get(runner, before, "update")
    for version in ("3.13", "3.12", "3.11"):
        known = runner.run(["apt-cache", "policy", f"python{version}-venv"])
        if known.returncode == 0 and "Candidate: 3" in known.stdout:
            told = install(runner, [f"python{version}", f"python{version}-venv", f"python{version}-dev"])
            if not told:
                return ""
    return told
