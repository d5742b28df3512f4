"""What counts as right and wrong, and how far a count can be trusted.

A clip is judged by meaning, not by words: the heard text is parsed like a typed line.

    right    the facts, or the command, that were said
    part     some of them, and none that was not said
    wrong    a fact or a command that was not said
    asked    nothing: the officer is asked to say it again

The bounds are exact: Clopper and Pearson (Biometrika 26, 1934) for a share, Garwood (Biometrika 28, 1936) for a rate.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from fieldaid.errors import FactError
from fieldaid.facts import fact
from fieldaid.grammar import Parsed

VERDICTS = ("right", "part", "wrong", "asked")
HARMS = ("hurts", "moves", "alarm", "other")
"""What a wrong clip could do, worst first; see `harm`."""
ANSWERS = {"yes": "affirm", "no": "negative"}
TAKES_AWAY = ("affirm", "correction", "scratch that", "restore", "forget", "exercise", "quiet", "stop talking",
              "leaving", "crew change", "clear")
"""Commands that let a waiting fact count, take a fact away, end a warning or silence the voice."""


@dataclass(frozen=True)
class Line:
    """What is said, and what it means; no facts and no command for speech outside the grammar.

    Attributes
    ----------
    say : the words
    facts : name to value
    command : one of the grammar's commands; "affirm" and "negative" for the answers
    command_fact : the fact that the command names, if it names one
    kind : the heading that the line stands under in its file
    """

    say: str
    facts: dict[str, Any]
    command: str | None = None
    command_fact: str | None = None
    kind: str = ""


NOTHING = Line("", {})


def command_of(parsed: Parsed) -> str | None:
    """The command of a line; an answer is one."""
    return parsed.command or ANSWERS.get(parsed.answer or "")


def verdict(line: Line, facts: dict[str, Any], command: str | None, command_fact: str | None = None) -> str:
    """One of VERDICTS."""
    if any(name not in line.facts or value != line.facts[name] for name, value in facts.items()):
        return "wrong"
    if command is not None and command != line.command:
        return "wrong"
    if command_fact is not None and line.command_fact is not None and command_fact != line.command_fact:
        return "wrong"
    if facts == line.facts and command == line.command and (facts or command):
        return "right"
    return "part" if facts or command else "asked"


def harm(line: Line, facts: dict[str, Any], command: str | None) -> str:
    """What a wrong reading could do, by the marks of the vocabulary: one of HARMS.

    hurts   a value that can lower access, gate or a leave (spoken, it still waits for "affirm"); a command of
            TAKES_AWAY; or a danger that was said and came out as something else
    moves   a value that can move the place of the opening
    alarm   a value or command that can only tighten or warn
    other   a fact of the building without such marks
    """
    false = [(name, value) for name, value in facts.items() if line.facts.get(name) != value]
    marks = [(_marked(name), value) for name, value in false]
    if any(one is not None and one.is_loosening(value) for one, value in marks):
        return "hurts"
    if command != line.command and command in TAKES_AWAY:
        return "hurts"
    if line.kind == "dangers" or line.command in ("mayday", "no play"):
        return "hurts"
    if any(one is not None and one.placing for one, _ in marks):
        return "moves"
    if any(one is not None and one.loosening for one, _ in marks) or (command is not None and command != line.command):
        return "alarm"
    return "other"


def counts_at_once(line: Line, facts: dict[str, Any], command: str | None, once: Collection[str]) -> bool:
    """Whether something that was not said would count before anybody confirms it: a command; a fact that is not among
    `once`, those that the recogniser wants confirmed, and loosens nothing, because what loosens waits."""
    if command is not None and command != line.command:
        return True
    for name, value in facts.items():
        one = _marked(name)
        if line.facts.get(name) != value and name not in once and not (one is not None and one.is_loosening(value)):
            return True
    return False


def _marked(name: str):
    try:
        return fact(name)
    except FactError:
        return None


def upper_bound(wrong: int, n: int, level: float = 0.95) -> float:
    """The exact one-sided upper bound of a share: the p at which `wrong` or fewer of n have probability 1 - level."""
    if wrong >= n:
        return 1.0
    return _bisect(lambda p: _binomial_tail(wrong, n, p), wrong / n, 1.0, 1 - level)


def lower_bound(right: int, n: int, level: float = 0.95) -> float:
    """The exact one-sided lower bound of a share."""
    return 1.0 - upper_bound(n - right, n, level) if n else 0.0


def rate_bound(events: int, hours: float, level: float = 0.95) -> float:
    """The exact one-sided upper bound of a rate [1/h]: the mean at which `events` or fewer have probability
    1 - level, over the hours. Infinite for no time."""
    if hours <= 0:
        return math.inf
    return _bisect(lambda mean: _poisson_tail(events, mean), float(events), events + 20.0 + 6 * math.sqrt(events + 1),
                   1 - level) / hours


def _bisect(tail, low: float, high: float, aim: float) -> float:
    """Where the falling `tail` crosses `aim`."""
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if tail(middle) > aim else (low, middle)
    return high


def _binomial_tail(k: int, n: int, p: float) -> float:
    """P(k or fewer of n), term by term in logarithms: (1 - p)^n alone is 0 for a large n."""
    if p >= 1.0:
        return 0.0
    if p <= 0.0:
        return 1.0
    logs = [math.lgamma(n + 1) - math.lgamma(i + 1) - math.lgamma(n - i + 1) + i * math.log(p)
            + (n - i) * math.log1p(-p) for i in range(k + 1)]
    return math.fsum(math.exp(one) for one in logs)


def _poisson_tail(k: int, mean: float) -> float:
    if mean <= 0.0:
        return 1.0
    return math.fsum(math.exp(i * math.log(mean) - mean - math.lgamma(i + 1)) for i in range(k + 1))
