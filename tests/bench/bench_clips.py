"""The demo clips through one recogniser: correct, wrong, asked, and other speech that gave a fact.

    python tests/bench/bench_clips.py [sphinx|likelihood|vosk]

Correct: every expected fact and command is there, and none beside them. Wrong: a fact that was not expected. Asked: the
rest. The clips are invented data, and both recognisers were adjusted with them in view: a demonstration, no measure.
"""

from __future__ import annotations

import sys
from collections import Counter
from typing import Any

import yaml

from fieldaid import data
from fieldaid.grammar import Grammar, load_grammar
from fieldaid.hearing.gate import segments
from fieldaid.hearing.heard import Recogniser, make
from fieldaid.hearing.sound import read

ANSWERS = {"yes": "affirm", "no": "negative"}


def heard_facts(grammar: Grammar, recogniser: Recogniser, file: str) -> tuple[dict[str, Any], set[str]]:
    """The facts and the commands of all that was heard in one clip."""
    facts: dict[str, Any] = {}
    commands = set()
    for segment in segments(read(data.folder("demo_audio") / file)):
        parsed = grammar.parse(recogniser.hear(segment).text)
        facts |= {one.name: one.value for one in parsed.readings}
        commands |= {word for word in (parsed.command, ANSWERS.get(parsed.answer or "")) if word}
    return facts, commands


def verdict(clip: dict[str, Any], facts: dict[str, Any], commands: set[str]) -> str:
    means, command = clip.get("means") or {}, clip.get("command")
    if not means and not command:
        return "other speech, gave a fact or command" if facts or commands else "other speech, refused"
    if any(means.get(name) != value for name, value in facts.items()):
        return "wrong"
    return "correct" if facts == means and (not command or command in commands) else "asked"


def main(name: str) -> None:
    grammar = load_grammar()
    recogniser = make(name, grammar=grammar)
    found = yaml.safe_load((data.folder("demo_audio") / "clips.yaml").read_text(encoding="utf-8"))
    clips = found["clips"] if isinstance(found, dict) else found
    counts: Counter[str] = Counter()
    for clip in clips:
        facts, commands = heard_facts(grammar, recogniser, clip["file"])
        counts[verdict(clip, facts, commands)] += 1
        if verdict(clip, facts, commands) == "wrong":
            print(f"wrong: {clip['file']}: {facts}")
    recogniser.close()
    print(f"{name}, {len(clips)} clips: " + "; ".join(f"{what} {count}" for what, count in sorted(counts.items())))


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "sphinx")
