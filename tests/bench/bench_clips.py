"""The demo clips through one recogniser: correct, wrong, asked, and other speech that gave a fact.

    python tests/bench/bench_clips.py [best|both|likelihood|sphinx|vosk] [--model FOLDER]

Correct: every expected fact and command is there, and none beside them. Wrong: a fact that was not expected. Asked: the
rest. The clips are invented data, and both recognisers were adjusted with them in view: a demonstration, no measure.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import yaml

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fieldaid import data
from fieldaid.clock import Stopwatch
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


def count(name: str, grammar: Grammar, **options: Any) -> str:
    """One recogniser's line of the table; wrong ones are printed as they come."""
    recogniser = make(name, grammar=grammar, **options)
    found = yaml.safe_load((data.folder("demo_audio") / "clips.yaml").read_text(encoding="utf-8"))
    clips = found["clips"] if isinstance(found, dict) else found
    counts: Counter[str] = Counter()
    seconds = []
    for clip in clips:
        watch = Stopwatch()
        facts, commands = heard_facts(grammar, recogniser, clip["file"])
        seconds.append(watch.ms() / 1000)
        counts[verdict(clip, facts, commands)] += 1
        if verdict(clip, facts, commands) == "wrong":
            print(f"wrong: {clip['file']}: {facts}")
    recogniser.close()
    told = "; ".join(f"{what} {number}" for what, number in sorted(counts.items()))
    return f"{name} ({recogniser.name}), {len(clips)} clips: {told}; median {sorted(seconds)[len(seconds) // 2]:.2f} s"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("recognisers", nargs="*", default=["best"])
    parser.add_argument("--model", help="a Vosk model: a folder or a name")
    options = parser.parse_args()
    more = {"model": options.model} if options.model else {}
    for name in options.recognisers:
        print(count(name, load_grammar(), **more), flush=True)


if __name__ == "__main__":
    main()
