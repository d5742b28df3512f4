"""Near misses and costs of the acoustic recogniser: `python tests/bench/bench_acoustic.py [--count 60] [--model FILE]`

How well it hears is measured by bench_hearing.py (`--recogniser acoustic`), like every other recogniser. Here the same
kind of clips, lines and voices that nothing was trained or calibrated on, are heard twice: once as they are, and once
with the meaning that was said taken off the list. Whatever is accepted then is wrong, or a part of what was said.
`best` tells how often the meaning ranked first is the right one, accepted or not.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import hearing_clips as material
import numpy as np
from hearing_cost import memory_mb
from hearing_noise import CONDITIONS, MissingRecording
from hearing_score import VERDICTS, Line, command_of, upper_bound, verdict

from fieldaid.grammar import Grammar, Parsed, load_grammar
from fieldaid.hearing.acoustic.model import FILE
from fieldaid.hearing.acoustic.recogniser import AcousticRecogniser, Measured, usable
from fieldaid.hearing.gate import Gate
from fieldaid.hearing.likelihood.meanings import meaning_of
from fieldaid.hearing.sound import Sound

USUAL = ("clean", "saw 20", "saw 10", "saw 5", "wind 10", "mask", "mask + saw 10", "recorded saw 10",
         "recorded engine 10")


class Bench:
    """Hears clips and counts."""

    def __init__(self, recogniser: AcousticRecogniser, grammar: Grammar) -> None:
        self.recogniser, self.grammar, self.gate = recogniser, grammar, Gate()
        self.seconds: list[float] = []

    def clip(self, line: Line, samples: np.ndarray) -> tuple[str, str, str]:
        """The verdicts of one clip: as it is heard, of what ranks first, and with the true meaning taken away."""
        segments = [usable(segment.samples) for segment in self.gate.segments(Sound(samples))]
        segments = [one for one in segments if one is not None]
        measured = []
        for samples in segments:
            start = time.thread_time()
            measured.append(self.recogniser.measure(samples))
            self.seconds.append(time.thread_time() - start)
        said = frozenset({meaning_of(self.grammar.parse(line.say))})
        return (self._verdict("wrong", line, measured), self._verdict("", line, measured),
                self._verdict("near", line, [self.recogniser.passing_over(one, said) for one in measured]))

    def _verdict(self, shown: str, line: Line, all_measured: list[Measured]) -> str:
        """Wrong ones are shown under a name; without one, what ranks first counts, accepted or not."""
        facts, command = {}, None
        for measured in all_measured:
            if measured.meanings and (not shown or self.recogniser.accepts(measured)):
                parsed: Parsed = self.grammar.parse(measured.meanings[0].row.text)
                facts |= parsed.facts
                command = command or command_of(parsed)
        found = verdict(line, facts, command)
        if found == "wrong" and shown:
            print(f"    {shown}: {line.say} | {facts} {command}")
        return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--conditions", nargs="+", choices=CONDITIONS, default=list(USUAL))
    parser.add_argument("--set", choices=("held-out", "fresh"), default="held-out", help="see hearing_clips.py")
    parser.add_argument("--kinds", nargs="+", choices=material.KINDS, default=["natural"], help="kinds of voices")
    parser.add_argument("--count", type=int, default=60, help="clips a condition")
    parser.add_argument("--model", type=Path, default=FILE)
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "fieldaid-bench-speech")
    options = parser.parse_args()
    grammar = load_grammar()
    before, start = memory_mb(), time.perf_counter()
    recogniser = AcousticRecogniser(grammar, model=options.model)
    loading, after = time.perf_counter() - start, memory_mb()
    bench = Bench(recogniser, grammar)
    lines, _ = material.fresh(grammar) if options.set == "fresh" else material.held_out(grammar, "test")
    voices = tuple(voice for kind in options.kinds for voice in material.KINDS[kind])
    print(f"{'':22}{'n':>4}  heard " + " ".join(VERDICTS) + " | best right | near miss accepted: wrong, part")
    total: Counter[str] = Counter()
    for condition in options.conditions:
        try:
            found = [bench.clip(clip.line, clip.samples(options.cache))
                     for clip in material.clips_for_test(lines, voices, condition, options.count)]
        except MissingRecording as missing:
            print(f"{condition:22} left out: {missing}")
            continue
        heard, best, near = (Counter(part) for part in zip(*found, strict=True))
        total += Counter({"n": len(found), "near": near["wrong"]})
        print(f"{condition:22}{len(found):4}  " + " ".join(f"{heard[one] / len(found):.3f}" for one in VERDICTS)
              + f" | {best['right'] / len(found):.3f} | {near['wrong']}, {near['part']}", flush=True)
    p50, p95 = np.percentile(bench.seconds, [50, 95])
    print(f"near misses accepted wrongly: {total['near']} of {total['n']}, at most "
          f"{upper_bound(total['near'], total['n']):.3f}")
    print(f"CPU a segment: p50 {p50:.3f} s, p95 {p95:.3f} s on one core, {len(bench.seconds)} measured; loading "
          f"{loading:.2f} s; memory {before:.0f} MB before, {after:.0f} MB loaded, {memory_mb():.0f} MB at the end")


if __name__ == "__main__":
    main()
