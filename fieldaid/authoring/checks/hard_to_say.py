"""F751: a line that is hard to say or to understand aloud."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench
from fieldaid.authoring.check_sounds import can_measure, sounds_of
from fieldaid.errors import Finding
from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.pack import Rule

PAGE = Page(
    "F751", "a line that is hard to say", "warning",
    avoid="Figures, units and abbreviations (12 ft, TIC, approx.), signs (/, %), single letters that rhyme (E, G, "
          "P, T, V), a number without its unit, and words that no pronouncing dictionary has.",
    prefer="Twelve feet, camera, about, or; sides as A to D or {where}; {value} miles per hour.",
    why="A speech engine spells out or swallows what is not a word, and next to a saw a letter is heard as its "
        "neighbour.")
SPOKEN = ("trigger", "stop", "caution", "access", "gate", "advice")
_SHORT = {"ft": "feet", "mph": "miles per hour", "min": "minutes", "sec": "seconds", "lb": "pounds", "lbs": "pounds",
          "sq": "square", "approx": "about", "temp": "temperature", "dept": "department", "vs": "or", "eg": "such as",
          "ie": "that is", "max": "at most", "hr": "hours", "psi": "pounds", "deg": "degrees"}
_UNITS = re.compile(r"(miles|feet|foot|inches|minutes|in|percent|members|ways|stories|layers|years)\b")
_SIGNS = re.compile(r"[/&%#+@*=<>()\[\]\"_~^|\\]")
_WORD = re.compile(r"[A-Za-z][A-Za-z']*")


def find(bench: Bench) -> Iterable[Finding]:
    for rule in bench.rules:
        if rule.conclude.kind in SPOKEN and rule.say:
            for what, hint in _trouble(rule, bench):
                yield bench.finding(PAGE.code, rule, "say", what, hint)


def _trouble(rule: Rule, bench: Bench) -> Iterator[tuple[str, str]]:
    said = re.sub(r"\{\w+\}", " ", rule.say)
    for figure in re.findall(r"[0-9][0-9.,x']*", said):
        yield f"it says the figure {figure}", "write the number as a word"
    for sign in dict.fromkeys(_SIGNS.findall(said)):
        yield f"it has the sign {sign}", "write what is to be said"
    for word in dict.fromkeys(_WORD.findall(said)):
        short = _SHORT.get(word.lower())
        if short:
            yield f"it has the abbreviation {word}", f"write {short}"
        elif len(word) > 1 and word.isupper():
            yield f"it spells {word}", "say a word for it"
        elif len(word) == 1 and word.upper() not in "ABCDI":
            yield f"it says the letter {word}", "letters rhyme; say a word"
        elif len(word) > 1 and can_measure() and not sounds_of(word):
            yield f"no pronouncing dictionary has {word}", "check the spelling, or say it in other words"
    first = rule.when.binding or rule.when.first
    if "{value}" in rule.say and first is not None:
        fact = FACTS.get(first.members[0][0] if first.members else first.key) or bench.pack.computed.get(first.key)
        if fact is not None and fact.kind == "number" and not _unit_follows(rule.say):
            yield f"it says the number of {first.key} without its unit", f"say {{value}} with {fact.unit} in words"


def _unit_follows(said: str) -> bool:
    after = said.partition("{value}")[2].split()
    return bool(after) and bool(_UNITS.match(after[0].lower()))


CHECK = Check(PAGE, find, whole=False)
