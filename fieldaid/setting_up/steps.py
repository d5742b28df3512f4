"""One step of the set-up: run it, time it, and say on one line what came of it.

A step that fails does not end the set-up. It names its losses: what could not be installed, what that costs,
why, and what to do about it.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TextIO

from fieldaid.clock import Stopwatch

# Words that pip, apt and gcc put on the line that matters; the last line of their output is often advice.
_TELLING = ("error", "no matching distribution", "failed", "unable to", "cannot", "could not", "not found")

NO_NETWORK = "no package registry could be reached: is there a network?"


@dataclass(frozen=True)
class Loss:
    """Something that could not be set up, in words for a person who has not read the code."""

    what: str
    cost: str
    why: str = ""
    next_step: str = ""


@dataclass(frozen=True)
class Outcome:
    """How a step ended: `word` is "ok", "there already", "partly", "FAILED" or "left out"."""

    word: str
    note: str = ""
    losses: tuple[Loss, ...] = ()
    details: tuple[str, ...] = ()

    @property
    def failed(self) -> bool:
        return self.word == "FAILED"


def ok(note: str = "") -> Outcome:
    return Outcome("ok", note)


def there_already(note: str = "") -> Outcome:
    return Outcome("there already", note)


def failed(*losses: Loss, note: str = "") -> Outcome:
    return Outcome("FAILED", note, losses)


@dataclass
class Runner:
    """Runs steps and commands; keeps what the commands said for the log."""

    out: TextIO = field(default_factory=lambda: sys.stdout)
    losses: list[Loss] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    def line(self, text: str = "") -> None:
        print(text, file=self.out, flush=True)

    def step(self, title: str, act: Callable[[], Outcome]) -> Outcome:
        """Run `act`, print its line, and remember its losses."""
        print(f"{title:<26} ", end="", file=self.out, flush=True)
        watch = Stopwatch()
        try:
            outcome = act()
        except OSError as error:
            # A full disk or a missing right must not end the set-up with a traceback.
            outcome = failed(Loss(title, "this step was not done", str(error), "put that right and run this again"))
        note = f"  {outcome.note}" if outcome.note else ""
        self.line(f"{outcome.word:<13} {watch.ms() / 1000:6.1f} s{note}")
        for detail in outcome.details:
            self.line(f"    {detail}")
        for loss in outcome.losses:
            self._print_loss(loss)
        self.losses.extend(outcome.losses)
        return outcome

    def _print_loss(self, loss: Loss) -> None:
        self.line(f"    not set up: {loss.what}")
        self.line(f"      costs you: {loss.cost}")
        if loss.why:
            self.line(f"      because:   {loss.why}")
        if loss.next_step:
            self.line(f"      next:      {loss.next_step}")

    def run(
        self,
        command: Sequence[str | os.PathLike[str]],
        *,
        env: dict[str, str] | None = None,
        cwd: Path | None = None,
        stdin: str = "",
        timeout: float = 1200,
    ) -> subprocess.CompletedProcess[str]:
        """Run a command that may not ask anything; a command that is missing or hangs counts as failed."""
        words = [os.fspath(word) for word in command]
        whole_env = {**os.environ, **(env or {})}
        try:
            done = subprocess.run(
                words,
                env=whole_env,
                cwd=cwd,
                input=stdin,
                timeout=timeout,
                capture_output=True,
                text=True,
                errors="replace",
                check=False,
            )
        except FileNotFoundError:
            done = subprocess.CompletedProcess(words, 127, "", f"error: {words[0]} is not installed")
        except PermissionError:
            done = subprocess.CompletedProcess(words, 126, "", f"error: {words[0]} may not be run")
        except subprocess.TimeoutExpired:
            done = subprocess.CompletedProcess(words, 124, "", f"error: no answer within {timeout:.0f} s")
        self.said.append(f"$ {' '.join(words)}\n{done.stdout}{done.stderr}[exit {done.returncode}]\n")
        return done

    def save_log(self, folder: Path) -> Path | None:
        """Write what the commands said beside the environment; None when it cannot be written."""
        path = folder / "set_up.log"
        try:
            path.write_text("\n".join(self.said), encoding="utf-8")
        except OSError:
            return None
        return path


def reason(done: subprocess.CompletedProcess[str]) -> str:
    """The one line of a failed command's output that most likely says why."""
    lines = [line.strip() for line in (done.stderr + "\n" + done.stdout).splitlines() if line.strip()]
    if any(
        mark in line
        for line in lines
        for mark in (
            "NewConnectionError",
            "NameResolution",
            "Network is unreach",
            "Temporary failure resolving",
            "ConnectTimeout",
        )
    ):
        return NO_NETWORK
    fatal = [line for line in lines if "fatal error:" in line or line.startswith(("E: ", "ERROR: No matching"))]
    telling = [line for line in lines if any(word in line.lower() for word in _TELLING)]
    chosen = (fatal or telling or lines or [f"exit code {done.returncode}"])[0 if fatal else -1]
    return chosen if len(chosen) <= 200 else chosen[:197] + "..."
