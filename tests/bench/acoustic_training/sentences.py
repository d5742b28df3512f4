"""The texts that are spoken for training: `python tests/bench/acoustic_training/sentences.py texts.json`

Two thirds come from the grammar: single facts, two in one breath, commands, with and without the call sign, and pairs
that differ in one telling word. The rest is ordinary English, and words of the grammar in orders that it does not
allow.
No text is, or holds as a phrase, a line of tests/sentences (but own.yaml) or of demo_audio: those are for tests.
"""

from __future__ import annotations

import collections
import json
import random
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import yaml

ROOT = Path(__file__).resolve().parents[3]
sys.path[:0] = [str(ROOT), str(Path(__file__).resolve().parent)]

from ordinary import ordinary, plain  # noqa: E402

from fieldaid.grammar import Grammar, load_grammar  # noqa: E402
from fieldaid.grammar.numbers import figures_to_words  # noqa: E402
from fieldaid.grammar.sampling import Draw  # noqa: E402

SEED = 20
COUNTS = {"grammar": 4200, "near": 1500, "ordinary": 1300, "shuffled": 1300}
RARE = 6
"""Every word of the grammar is said at least so often."""
LONGEST = 85
"""Characters; about six seconds."""
SWAPS = """no good|good no|west east|east west|north south|south north|gable gambrel|gambrel gable|open closed|
closed open|opened closed|on off|off on|in out|out in|attached detached|detached attached|vented unvented|
unvented vented|hip slip|sound soft|soft sound|alpha bravo|bravo alpha|charlie delta|delta charlie|alpha delta|
bravo charlie|front rear|rear front|left right|right left|wet dry|clear here|up down|down up|with without|
without with|rafters trusses|trusses rafters|is isn't|isn't is|are aren't|aren't are|can can't|can't can|has hasn't|
seen unseen|walkable unwalkable|steady unsteady|lost last|light heavy|heavy light|black white|white black|
gray black|slow fast|fast slow|two three|three two|four five|five four|five nine|nine five|six eight|eight six|
one two|two one|feet inches|inches feet|above below|below above|before after|after before|plank plywood|
plywood plank|started stopped|stopped started|running done|fire wire|wires fires|balloon platform|platform balloon|
knocked locked|charged charging|interior exterior|exterior interior|safe unsafe|ridge bridge|deck neck|attic addict|
side sides|roof roofs|first second|second first|windy wind|no low|low no|thirteen thirty|thirty thirteen|
fourteen forty|forty fourteen|fifteen fifty|fifty fifteen|sixteen sixty|sixty sixteen|seventeen seventy|
seventy seventeen|eighteen eighty|eighty eighteen|nineteen ninety|ninety nineteen|northwest northeast|
northeast northwest|southwest southeast|southeast southwest|we're you're|was wasn't|not now|now not|
shingles shingle|slate late|tile title|snow no|confirmed suspected|suspected confirmed|hot not|cold gold|
seventies sixties|sixties seventies|fifties forties|
forties fifties|thirties forties|twenties thirties""".replace("\n", "")


class Kept:
    """The lines kept for tests."""

    def __init__(self, grammar: Grammar) -> None:
        stored = yaml.safe_load((ROOT / "tests/sentences/heldout.yaml").read_text(encoding="utf-8"))
        lines = [entry["say"] for part in stored.values() for entry in part if isinstance(entry, dict)]
        for name in ("out_of_grammar", "fresh"):
            lines += _strings(yaml.safe_load((ROOT / f"tests/sentences/{name}.yaml").read_text(encoding="utf-8")))
        for name, key in (("clips", "clips"), ("scenario", "utterances")):
            stored = yaml.safe_load((ROOT / f"demo_audio/{name}.yaml").read_text(encoding="utf-8"))
            lines += [entry["say"] for entry in stored[key]]
        # A line of one or two words ("gable roof") is the grammar itself; only longer ones can be kept apart.
        said = {plain(words_of(line)) for line in lines if isinstance(line, str)}
        self.lines = {line for line in said if len(line.split()) > 2} | {f"field aid {line}" for line in said}

    def __contains__(self, text: str) -> bool:
        phrases = text.split(",")
        rows = [" ".join(phrases[first:last]) for first in range(len(phrases))
                for last in range(first + 1, len(phrases) + 1)]
        return any(plain(row) in self.lines or plain(row).removeprefix("field aid ") in self.lines for row in rows)


def _strings(node: Any) -> list[str]:
    """Every text in a file, whatever it stands for."""
    if isinstance(node, (dict, list)):
        return [text for part in (node.values() if isinstance(node, dict) else node) for text in _strings(part)]
    return [node] if isinstance(node, str) else []


def words_of(line: str) -> str:
    """Figures in words."""
    return re.sub(r"\d[\d.]*", lambda found: figures_to_words(found[0]) or found[0], line)


def from_grammar(grammar: Grammar, draw: Draw, rng: random.Random) -> str:
    """One line as an officer could say it, commas between its phrases."""
    loaded = grammar.loaded
    of_kind = collections.defaultdict(list)
    for tree, output in loaded.trees:
        of_kind[loaded.outputs[output].kind].append((tree, loaded.outputs[output]))

    def one(kind: str) -> str:
        return draw.of(*rng.choice(of_kind[kind]))[0]

    kind = rng.random()
    if kind < 0.12:
        phrases = [one("command")]
    elif kind < 0.17:
        phrases = [one("ask")]
    elif kind < 0.20:
        phrases = [one("answer")]
    else:
        phrases = [one("facts") for _ in range(rng.choice((1, 1, 1, 1, 2, 2, 2, 3)))]
        if rng.random() < 0.12:
            phrases.insert(rng.choice((0, len(phrases))), one("modifier"))
    if rng.random() < 0.12:
        phrases[0] = f"{one('filler')} {phrases[0]}"
    if rng.random() < 0.45:
        phrases.insert(0, "field aid")
    return ", ".join(phrases)


def near(text: str, rng: random.Random) -> str | None:
    """The text with one telling word exchanged, or None when it has none."""
    table = collections.defaultdict(list)
    for pair in SWAPS.split("|"):
        old, new = pair.split()
        table[old].append(new)
    words = text.split()
    places = [at for at, word in enumerate(words) if word.strip(",") in table]
    if not places:
        return None
    at = rng.choice(places)
    bare = words[at].strip(",")
    words[at] = words[at].replace(bare, rng.choice(table[bare]))
    return " ".join(words)


def shuffled(words: list[str], common: list[str], rng: random.Random) -> str:
    """Words of the grammar in any order."""
    return " ".join(rng.choice(words if rng.random() < 0.7 else common) for _ in range(rng.randint(2, 7)))


def texts(grammar: Grammar) -> Iterator[tuple[str, str]]:
    """(kind, text) of all, each text once."""
    rng = random.Random(SEED)
    draw, kept = Draw(grammar.loaded, rng), Kept(grammar)
    vocabulary = sorted(word for word in grammar.words() if plain(word) == word)
    seen: set[str] = set()
    count: collections.Counter[str] = collections.Counter()

    def new(text: str) -> bool:
        if not plain(text) or text in seen or text in kept or len(text) > LONGEST or re.search(r"\d", text):
            return False
        seen.add(text)
        count.update(plain(text).split())
        return True

    lines: list[str] = []
    while len(lines) < COUNTS["grammar"]:
        text = from_grammar(grammar, draw, rng)
        if new(text):
            lines.append(text)
            yield "grammar", text
    made = 0
    while made < COUNTS["near"]:
        text = near(rng.choice(lines), rng)
        if text and new(text):
            made += 1
            yield "near", text
    for kind in ("ordinary", "shuffled"):
        made = 0
        while made < COUNTS[kind]:
            text = ordinary(rng) if kind == "ordinary" else shuffled(vocabulary, list(count), rng)
            if new(text):
                made += 1
                yield kind, text
    rare = [word for word in vocabulary for _ in range(RARE - count[word])]
    rng.shuffle(rare)
    while rare:
        row, rare = rare[:4], rare[4:]
        text = " ".join(row)
        if new(text):
            yield "shuffled", text


def main() -> None:
    found = list(texts(load_grammar()))
    Path(sys.argv[1]).write_text(json.dumps(found, indent=0), encoding="utf-8")
    print(len(found), collections.Counter(kind for kind, _ in found))


if __name__ == "__main__":
    main()
