"""How much is said: invented sessions, each fact told in a spoken sentence of the grammar, every read-back that asks
answered with "affirm", and every leave-now with "leaving".

A line is unasked when it is no read-back, no question and no answer to a command: danger, stop, caution, advice, note.
A line changed something when access, gate, place or kind of the opening or the first need (the next act of the officer)
differ after it, or a danger is new with it.

    python tests/bench/bench_brevity.py [--sessions 500] [--seed 1]
"""

from __future__ import annotations

import argparse
import collections
import random
import statistics
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "guidance"))

import house

from fieldaid.authoring.situations import GOOD, values_of
from fieldaid.grammar.grammar import load_grammar
from fieldaid.guidance.guide import Guide
from fieldaid.session.journal import Journal
from fieldaid.session.session import Session

ORDER = ("job", "building", "roof.form", "roof", "site", "light", "weather", "wind", "fire", "smoke", "camera", "attic",
         "ceiling", "command", "crew", "deck", "line", "water", "interior", "saw", "fan", "window", "door", "opening")
UNASKED = ("leave", "stop", "caution", "advice", "note")
AS_OFFICERS_TELL = 0.6
"""Share of the facts of the house that are told in a session; others come as they come."""
Said = dict[tuple[str, str], list[str]]


def sentences(grammar: Any, count: int = 30_000) -> Said:
    """Sentences that state one fact, by fact and value."""
    found: Said = collections.defaultdict(list)
    for say, means in grammar.sentences(7, count):
        if len(means) == 1:
            (name, value), = means.items()
            found[name, repr(value)].append(say)
    return found


def told(rng: random.Random, said: Said) -> list[tuple[str, str]]:
    """The facts of one session in the order of the job, each with a sentence that states it."""
    truth = {name: value if rng.random() < 0.85 else rng.choice(values_of(name))
             for name, value in GOOD.items()}
    names = sorted(said)
    for _ in range(rng.randint(4, 10)):
        name, value = rng.choice(names)
        truth.setdefault(name, value)
    lines = []
    for name, value in truth.items():
        written = value if isinstance(value, str) and (name, value) in said else repr(value)
        ways = said.get((name, written))
        if ways and (name in GOOD or rng.random() < AS_OFFICERS_TELL):
            lines.append((name, rng.choice(ways)))
    return sorted(lines, key=lambda one: next((n for n, part in enumerate(ORDER) if one[0].startswith(part)), 99))


def decided(data: dict[str, Any]) -> tuple:
    guidance = data["guidance"]
    opening = guidance["opening"]
    return guidance["access"], opening["gate"], opening["place"], opening["kind"], tuple(guidance["missing"][:1])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sessions", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    grammar, guide = load_grammar(), Guide(house.house(), engine=False)
    said = sentences(grammar)
    rng = random.Random(options.seed)
    facts = 0
    unasked: collections.Counter[str] = collections.Counter()
    asked = changed = repeats = twice = spoke = 0
    words: list[int] = []
    often: collections.Counter[str] = collections.Counter()
    for _ in range(options.sessions):
        session = Session(grammar, guide, Journal(Path(":memory:")), as_heard=True)
        session.begin()
        before: tuple = ()
        dangers: set[str] = set()
        met: collections.Counter[tuple[str, str]] = collections.Counter()
        for _, say in told(rng, said):
            facts += 1
            for line in (say, "affirm"):
                answer = session.line(line)
                now = decided(answer.data)
                spoke += any(one.kind in UNASKED for one in answer.replies)
                new = {one.text for one in answer.replies if one.kind in ("leave", "stop")} - dangers
                for one in answer.replies:
                    words.append(len(one.text.split()))
                    if one.kind not in UNASKED:
                        asked += 1
                        continue
                    unasked[one.kind] += 1
                    often[one.text] += 1
                    changed += now != before or one.text in new
                    met[one.kind, one.text] += 1
                before, dangers = now, dangers | new
                if any(one.kind == "leave" for one in answer.replies):
                    session.line("leaving")
                if not answer.data["pending"]:
                    break
        repeats += sum(count - 1 for (kind, _), count in met.items() if kind != "leave")
        twice += sum(count - 1 for (kind, _), count in met.items() if kind == "caution")
        session.close()
    total = sum(unasked.values())
    words.sort()
    print(f"{options.sessions} sessions, {facts} facts told, seed {options.seed}")
    print(f"read-backs and questions {asked / facts:.2f} a fact; unasked lines {total / facts:.3f} a fact "
          f"(one in {facts / max(total, 1):.2f} facts), in answers to one in {facts / max(spoke, 1):.2f} facts")
    routine = total - unasked["leave"] - unasked["stop"]
    print(f"  without dangers (leave, stop), which have to be said: {routine / facts:.3f} a fact (one in "
          f"{facts / max(routine, 1):.1f} facts)")
    print("  by kind: " + ", ".join(f"{kind} {count / facts:.3f}" for kind, count in unasked.most_common()))
    print(f"  said again in a session: {repeats / max(total, 1):.1%} of unasked lines; cautions said twice: {twice}")
    print(f"  with a change of access, gate, opening, next act or danger: {changed / max(total, 1):.1%}")
    print(f"words a line: median {statistics.median(words):.0f}, p95 {words[int(0.95 * len(words))]}, most {words[-1]}")
    for text, count in often.most_common(25):
        print(f"  {count / facts:.3f}  {text}")


if __name__ == "__main__":
    main()
