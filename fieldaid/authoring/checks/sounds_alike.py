"""F752: two lines that mean different things and sound alike."""

from __future__ import annotations

import re
from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench, place
from fieldaid.authoring.check_sounds import can_measure, close_pairs, difference, phones
from fieldaid.authoring.checks.hard_to_say import SPOKEN
from fieldaid.errors import Finding
from fieldaid.guidance.pack import Rule

PAGE = Page(
    "F752", "two lines that sound alike", "warning",
    avoid="Two lines of different meaning that differ in less than a fifth of their sounds.",
    prefer="Another word for the thing that differs, and let the line begin with it.",
    why="Through a mask and beside a saw the ear fills in what it expects. Measured as an edit distance over the "
        "phones of the recogniser's dictionary; a change within one class (stop for stop, vowel for vowel) is half.")
LEAST = 0.20
_LEAD = {"trigger": "leave now", "access": "stay off", "gate": "hold cut"}


def find(bench: Bench) -> Iterable[Finding]:
    if not can_measure():
        return
    rules = [rule for rule in bench.rules if rule.live and rule.conclude.kind in SPOKEN and rule.say]
    fragments = [phones(re.sub(r"\{\w+\}", " ", rule.say)) for rule in rules]
    whole = [[*phones(_LEAD.get(rule.conclude.kind, "")), *said] for rule, said in zip(rules, fragments, strict=True)]
    # A lead-in that both lines have tells nothing apart, so lines of one kind are compared without it.
    alike = {*close_pairs(fragments, LEAST), *close_pairs(whole, LEAST)}
    for a, b in sorted(alike):
        one, other = rules[a], rules[b]
        if _same_meaning(one, other) or not fragments[a] or not fragments[b]:
            continue
        sounds = fragments if _LEAD.get(one.conclude.kind) == _LEAD.get(other.conclude.kind) else whole
        apart = difference(sounds[a], sounds[b], LEAST)
        if apart < LEAST:
            yield bench.finding(PAGE.code, other, "say",
                                f'"{other.say}" sounds like "{one.say}" of {one.id} ({place(one.file, one.line)}): '
                                f"{apart:.0%} of the sounds differ", "use another word for what differs")


def _same_meaning(one: Rule, other: Rule) -> bool:
    """Rules that say the same thing on purpose: one danger for crews in different places, one need by three ways."""
    same_words = re.sub(r"\W", "", one.say) == re.sub(r"\W", "", other.say)
    if one.conclude.kind in ("access", "gate") and other.conclude.kind in ("access", "gate") and same_words:
        return True
    return (one.conclude.kind, one.conclude.name) == (other.conclude.kind, other.conclude.name) and (
        one.conclude.kind not in ("access", "gate") or same_words)


CHECK = Check(PAGE, find)
