"""Every error that fieldaid raises on purpose, in one tree.

    FieldaidError           what went wrong, where, why, and what to do next; `exit_code` for the command line
      WrongUse              the call's own words are off                                    exit 2
      BrokenData            a pack, grammar or data file cannot be used (holds findings)    exit 3
      FactError             a fact's name or value is outside the vocabulary
      SoundError            a sound file or device cannot be used
        GoneError           a recogniser broke off and will not come back
      SpeakingError         the voice cannot speak
      EngineError           a guidance channel died, hung or answered wrongly
      JournalError          a journal cannot be read or written

A `Finding` is one thing wrong at one place of one file. Its text form is what people and editors read:
`file:line:column: CODE message`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Finding:
    """One thing found in one file. `line` and `column` start at 1; 0 means the whole file."""

    file: str
    line: int
    column: int
    code: str
    message: str
    hint: str = ""
    severity: Literal["error", "warning", "style"] = "error"

    def __str__(self) -> str:
        text = f"{self.file}:{self.line}:{self.column}: {self.code} {self.message}"
        return f"{text}\n    hint: {self.hint}" if self.hint else text


class FieldaidError(Exception):
    """An error meant for a person.

    Parameters
    ----------
    what : what could not be done, in a few words
    where : the file, device, fact or option it happened at
    why : the cause
    next_step : what the person can do about it
    """

    exit_code = 1

    def __init__(self, what: str, *, where: str = "", why: str = "", next_step: str = "") -> None:
        self.what, self.where, self.why, self.next_step = what, where, why, next_step
        super().__init__(self.text())

    def text(self) -> str:
        """The whole message on one line."""
        parts = [f"{self.where}: {self.what}" if self.where else self.what]
        if self.why:
            parts.append(self.why)
        if self.next_step:
            parts.append(self.next_step)
        return ". ".join(part.strip().rstrip(".") for part in parts) + "."


class WrongUse(FieldaidError):
    """The words of a call are off: an unknown option, a missing argument."""

    exit_code = 2


class BrokenData(FieldaidError):
    """A pack, grammar or other data file cannot be used. `findings` lists everything found, not only the first."""

    exit_code = 3

    def __init__(self, what: str, findings: Iterable[Finding] = (), **kwargs: str) -> None:
        self.findings = tuple(findings)
        super().__init__(what, **kwargs)

    def text(self) -> str:
        head = super().text()
        return "\n".join([head, *(str(finding) for finding in self.findings)])


class FactError(FieldaidError):
    """A fact's name or value is not in the vocabulary."""


class SoundError(FieldaidError):
    """A sound file or sound device cannot be used."""


class GoneError(SoundError):
    """A recogniser was closed, or broke off so often that it is not started again."""


class SpeakingError(FieldaidError):
    """The voice cannot speak."""


class EngineError(FieldaidError):
    """A guidance channel died, hung or gave an answer that cannot be trusted."""


class JournalError(FieldaidError):
    """A journal cannot be opened, read or written."""

    exit_code = 3
