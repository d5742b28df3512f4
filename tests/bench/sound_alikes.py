"""Which meanings the likelihood recogniser itself confuses: `python tests/bench/sound_alikes.py [--count 120]`

Sentences drawn from the grammar are said in calibration voices, clean and in saw noise at 10 dB. For each the sentence
that was said is scored, and beside it every other meaning that the search finds, and every one that grammars/
sound_alikes.tsv puts in its place. A meaning that leads, or falls behind by less than --near, clashes. Printed: the
clashes with their margin, and the words that differ, most frequent first. `--pairs` scores the listed pairs alone: each
side in a sentence of the grammar, said, and the lead of what was said over the other.

The voices and the noise are synthetic; people slur more.
"""

from __future__ import annotations

import argparse
import difflib
import itertools
import json
import os
import random
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import hearing_clips as material
import hearing_noise

from fieldaid.grammar import Grammar, load_grammar
from fieldaid.grammar.sampling import Draw
from fieldaid.hearing.gate import Gate
from fieldaid.hearing.likelihood.meanings import Meaning, meaning_of, states
from fieldaid.hearing.likelihood.recogniser import LikelihoodRecogniser, usable
from fieldaid.hearing.sound import Sound

CONDITIONS = ("clean", "saw 10")
VOICES = ("flite-rms", "flite-kal", "festival-kal")


def phrases(grammar: Grammar, count: int, seed: int) -> list[str]:
    """One way to say each of `count` templates, the commands among them."""
    rng = random.Random(seed)
    draw = Draw(grammar.loaded, rng)
    trees = [(tree, grammar.loaded.outputs[output]) for tree, output in grammar.loaded.trees
             if grammar.loaded.outputs[output].kind in ("facts", "command", "answer")]
    found: list[str] = []
    for tree, output in rng.sample(trees, len(trees)):
        text = draw.of(tree, output)[0]
        parsed = grammar.parse(text)
        if states(parsed) and not parsed.refused and not parsed.asks:
            found.append(text)
        if len(found) == count:
            break
    return found


def listed(recogniser: LikelihoodRecogniser, said: list[str]) -> list[str]:
    """The sentences of `said`, and their counterparts, that the table of sound-alikes says something about."""
    found = []
    for text in said:
        key = meaning_of(recogniser.grammar.parse(text))
        for swap in recogniser.pairs.swaps(text):
            parsed = recogniser.grammar.parse(swap.text)
            if meaning_of(parsed) != key:
                found += [text, swap.text] if states(parsed) and not parsed.refused else [text]
    return list(dict.fromkeys(found))


def measure(recogniser: LikelihoodRecogniser, text: str, voice: str, condition: str, seed: int, cache: Path
            ) -> list[tuple[str, float, bool]]:
    """(rival text, lead of what was said [nat], whether the rival states something) for one recording."""
    samples = hearing_noise.disturb(material.spoken(voice, text, cache), condition, seed)
    pieces = list(Gate().segments(Sound(samples)))
    sound = usable(pieces[0].samples) if len(pieces) == 1 else None
    if sound is None:
        return []
    measured = recogniser.propose(recogniser.measure(sound), [text])
    key = meaning_of(recogniser.grammar.parse(text))
    own = next((one for one in measured.meanings if one.key == key), None)
    if own is None:
        return []
    found = [(one.row.text, recogniser.rank(own) - recogniser.rank(one), _whole(one))
             for one in measured.meanings if one.key != key]
    return found + [(other, ahead, True) for other, ahead in recogniser.alike(measured, own.row.text)]


def _whole(one: Meaning) -> bool:
    return one.states and not one.refused


def apart(text: str, other: str) -> list[tuple[str, str]]:
    """The rows of words in which two texts differ."""
    one, two = (re.sub(r"[,.]", " ", row.lower()).split() for row in (text, other))
    return [(" ".join(one[a:b]), " ".join(two[c:d]))
            for kind, a, b, c, d in difflib.SequenceMatcher(None, one, two, autojunk=False).get_opcodes()
            if kind != "equal"]


def clashes(recogniser: LikelihoodRecogniser, texts: list[str], options: argparse.Namespace
            ) -> Iterator[dict[str, Any]]:
    turns = itertools.cycle(options.voices)
    for number, text in enumerate(texts):
        for voice in itertools.islice(turns, options.each):
            for condition in options.conditions:
                for rival, ahead, whole in measure(recogniser, text, voice, condition, number, options.cache):
                    yield {"said": text, "rival": rival, "ahead": round(ahead, 2), "states": whole,
                           "voice": voice, "condition": condition}


def show(rows: list[dict[str, Any]], near: float) -> None:
    recordings = {(row["said"], row["voice"], row["condition"]) for row in rows}
    near_rows = [row for row in rows if row["states"] and row["ahead"] < near]
    lost = {(row["said"], row["voice"], row["condition"]) for row in near_rows if row["ahead"] < 0}
    print(f"{len(recordings)} recordings with a rival; in {len(lost)} another meaning leads; {len(near_rows)} rivals "
          f"are nearer than {near} nat")
    for row in sorted(near_rows, key=lambda row: row["ahead"]):
        print(f"  {row['ahead']:6.2f}  {row['condition']:7} {row['voice']:13} {row['said']}  |  {row['rival']}")
    words: Counter[tuple[str, str]] = Counter()
    for row in near_rows:
        words.update(apart(row["said"], row["rival"]))
    print("words that differ:")
    for (one, other), count in words.most_common(40):
        print(f"  {count:3}  {one or '(nothing)'}  |  {other or '(nothing)'}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=120, help="sentences, one for each template")
    parser.add_argument("--each", type=int, default=2, help="voices that say a sentence, taking turns")
    parser.add_argument("--pairs", action="store_true", help="only sentences that the table of sound-alikes is about")
    parser.add_argument("--near", type=float, default=2.5, help="a rival nearer than this clashes [nat]")
    parser.add_argument("--seed", type=int, default=3)
    parser.add_argument("--voices", nargs="+", default=VOICES)
    parser.add_argument("--conditions", nargs="+", default=CONDITIONS)
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "fieldaid-bench-speech")
    parser.add_argument("--dump", type=Path, help="write every rival to this file of JSON lines")
    options = parser.parse_args()
    grammar = load_grammar()
    recogniser = LikelihoodRecogniser(grammar)
    texts = phrases(grammar, 100_000 if options.pairs else options.count, options.seed)
    if options.pairs:
        texts = listed(recogniser, texts)[:options.count]
    rows = []
    for row in clashes(recogniser, texts, options):
        rows.append(row)
        if options.dump:
            with options.dump.open("a", encoding="utf-8") as file:
                file.write(json.dumps(row) + "\n")
    print(f"{len(texts)} sentences, voices {', '.join(options.voices)}, {', '.join(options.conditions)}")
    show(rows, options.near)


if __name__ == "__main__":
    main()
