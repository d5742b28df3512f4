"""What the likelihood recogniser loses as its grammar grows: `python tests/bench/bench_size.py [--count 40]`

The same recordings are heard with 1, 10 and 100 thousand sentences drawn from the grammar, the recorded ones among
them, each sentence a path of its own; and with the whole grammar, in which phrases share their slots and join freely.
Columns: the likeliest meaning is the one said; it is accepted; another one is accepted; the lead of the likeliest over
the next meaning; hypotheses decoded and processor time for a clip; nodes of the word network, and the memory and time
that making it took. Calibration voices, clean and in saw noise at 10 dB.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import hearing_clips as material
import hearing_noise
import numpy as np

from fieldaid.grammar import Grammar, load_grammar
from fieldaid.grammar.load import LINE
from fieldaid.grammar.network import Network
from fieldaid.hearing.gate import Gate, Segment
from fieldaid.hearing.likelihood.meanings import meaning_of
from fieldaid.hearing.likelihood.recogniser import LikelihoodRecogniser, usable
from fieldaid.hearing.pauses import spoken_s
from fieldaid.hearing.sound import Sound

SIZES = (1_000, 10_000, 100_000)
MOST_WORDS = 9
VOICES = ("flite-rms", "flite-kal", "festival-kal")
CONDITIONS = ("clean", "saw 10")


def sentences(grammar: Grammar, count: int, seed: int = 11) -> list[str]:
    """`count` different sentences that the grammar reads whole; the first of them do not depend on `count`."""
    found: dict[str, None] = {}
    for text, _ in grammar.sentences(seed, 4 * count):
        plain = " ".join(text.replace(",", " ").split())
        if len(plain.split()) <= MOST_WORDS:
            found.setdefault(plain)
        if len(found) == count:
            break
    return list(found)


def narrowed(recogniser: LikelihoodRecogniser, texts: list[str]) -> Network:
    """Puts a network of these sentences alone in place of the grammar's."""
    network = Network()
    network.add_words(LINE, [(text, number) for number, text in enumerate(texts)])
    recogniser.narrow(network)
    return network


def recordings(texts: list[str], condition: str, cache: Path) -> list[tuple[str, Segment]]:
    """Those that the voice gate takes as one segment."""
    gate, found = Gate(), []
    for number, text in enumerate(texts):
        speech = material.spoken(VOICES[number % len(VOICES)], text, cache)
        pieces = list(gate.segments(Sound(hearing_noise.disturb(speech, condition, number))))
        if len(pieces) == 1:
            found.append((text, pieces[0]))
    return found


def measure(recogniser: LikelihoodRecogniser, clips: list[tuple[str, Segment]]) -> str:
    best, accepted, wrong = 0, 0, 0
    leads, decoded, seconds = [], [], []
    for text, segment in clips:
        start = time.thread_time()
        measured = recogniser.measure(usable(segment.samples), None, spoken_s(segment))
        seconds.append(time.thread_time() - start)
        decoded.append(measured.found.decoded)
        if measured.figures is None:
            continue
        right = measured.meanings[0].key == meaning_of(recogniser.grammar.parse(text))
        taken = recogniser.accepts(measured)
        best, accepted, wrong = best + right, accepted + (right and taken), wrong + (taken and not right)
        leads.append(measured.figures.margin)
    n = len(clips)
    return (f"{n:4} {best / n:6.3f} {accepted / n:8.3f} {wrong / n:6.3f} {np.median(leads):6.1f} "
            f"{np.median(decoded):8.0f} {np.median(seconds):7.3f} {np.percentile(seconds, 95):7.3f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=40, help="recordings a condition")
    parser.add_argument("--conditions", nargs="+", default=CONDITIONS)
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "fieldaid-bench-speech")
    options = parser.parse_args()
    grammar = load_grammar()
    recogniser = LikelihoodRecogniser(grammar)
    drawn = sentences(grammar, SIZES[-1])
    step = SIZES[0] // options.count
    said = drawn[:SIZES[0]:step][:options.count]
    clips = {condition: recordings(said, condition, options.cache) for condition in options.conditions}
    print(f"{'sentences':>10} {'nodes':>8} {'make s':>7} {'MB':>5}  {'condition':10} {'n':>4} {'best':>6} "
          f"{'accepted':>8} {'wrong':>6} {'lead':>6} {'decoded':>8} {'p50 s':>7} {'p95 s':>7}")
    for size in (*SIZES, None):
        start, before = time.process_time(), memory_mb()
        network = narrowed(recogniser, drawn[:size]) if size else grammar.network
        if size is None:
            recogniser.narrow(network)
        made = time.process_time() - start
        rows = [measure(recogniser, clips[condition]) for condition in options.conditions]
        for condition, row in zip(options.conditions, rows, strict=True):
            print(f"{size or 'whole':>10} {network.size()['nodes']:8} {made:7.1f} {memory_mb() - before:5.0f}  "
                  f"{condition:10} {row}", flush=True)


def memory_mb() -> float:
    """What this process holds now."""
    with open("/proc/self/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * resource.getpagesize() / 2**20


if __name__ == "__main__":
    main()
