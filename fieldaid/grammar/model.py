"""What a line means: readings, questions about the missing part, a command, and the words that carried nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

COMMANDS = (
    "affirm", "negative", "say again", "why", "why not", "correction", "scratch that", "restore", "status",
    "what do you need", "quiet", "resume speaking", "stop talking", "leaving", "cannot tell", "forget", "help",
    "mayday", "no play", "exercise", "crew change", "clear", "report",
    "roof report", "urgent call", "handover", "marks",
)


@dataclass(frozen=True)
class Reading:
    """One fact that the words say.

    Attributes
    ----------
    name : the fact, with its section if one was said: "roof.framing@garage"
    value : in the vocabulary's one written form
    basis : "told", or "seen", "struck", "inspection cut", "preplan", "guess" when the words say so
    who : "officer", or "interior", "command" when the words say so
    words : the words of the line that it was read from
    """

    name: str
    value: Any
    basis: str = "told"
    who: str = "officer"
    words: str = ""


@dataclass(frozen=True)
class Ask:
    """A half-understood part: the fact (or group) it was about, the part that is missing, and the question."""

    fact: str
    missing: str
    text: str


@dataclass(frozen=True)
class Parsed:
    """What one line says.

    Attributes
    ----------
    line : as it came
    call_sign : whether "field aid" was said
    command : one of `COMMANDS`, or None
    command_fact : the fact that "forget" or "cannot tell" names
    also : urgent commands beside it: "mayday, no play"; any other second command is refused
    about : the words that "why" or "why not" asks about
    readings : accepted facts; a guess among them has basis "guess" and must not be used
    asks : questions for the missing parts
    refused : the parts of the line that carried nothing
    answer : "yes" or "no" when the line answers ("affirm", "negative"); "correct" is never an answer
    """

    line: str
    call_sign: bool = False
    command: str | None = None
    command_fact: str | None = None
    about: str | None = None
    readings: tuple[Reading, ...] = ()
    asks: tuple[Ask, ...] = ()
    refused: tuple[str, ...] = ()
    answer: Literal["yes", "no"] | None = None
    also: tuple[str, ...] = ()

    @property
    def facts(self) -> dict[str, Any]:
        """The accepted facts without the guesses: {name: value}."""
        return {one.name: one.value for one in self.readings if one.basis != "guess"}

    @property
    def guesses(self) -> dict[str, Any]:
        """The guesses: {name: value}."""
        return {one.name: one.value for one in self.readings if one.basis == "guess"}
