"""How well a recogniser hears: `python tests/bench/bench_hearing.py [--recogniser likelihood] [--count 60] …`

Voices and sentences are those that the recogniser's limits were not calibrated on (see hearing_clips.py); each clip
goes through the voice gate first. Columns:

    right    the facts, or the command, that were said
    part     some of them, and none that was not said
    wrong    a fact that was not said, with the exact 95 % upper bound (Clopper and Pearson, Biometrika 26, 1934)
    asked    nothing: the officer is asked to say it again
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import hearing_clips as material
import numpy as np
import soundfile
import yaml

from fieldaid.grammar import Grammar, Parsed, load_grammar
from fieldaid.hearing.gate import Gate, Segment
from fieldaid.hearing.heard import Heard, Recogniser, make
from fieldaid.hearing.sound import Sound

VERDICTS = ("right", "part", "wrong", "asked")


def upper_bound(wrong: int, n: int, level: float = 0.95) -> float:
    """The exact one-sided upper bound of a share: the p at which `wrong` or fewer of n have probability 1 - level."""
    if wrong >= n:
        return 1.0
    low, high = wrong / n, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        # The binomial's lower tail, term by term.
        term = tail = (1 - middle) ** n
        for k in range(wrong):
            term *= (n - k) / (k + 1) * middle / (1 - middle)
            tail += term
        low, high = (middle, high) if tail > 1 - level else (low, middle)
    return high


def verdict(line: material.Line, facts: dict[str, Any], command: str | None) -> str:
    """One of VERDICTS."""
    if any(name not in line.facts or value != line.facts[name] for name, value in facts.items()):
        return "wrong"
    if command is not None and command != line.command:
        return "wrong"
    if facts == line.facts and command == line.command and (facts or command):
        return "right"
    return "part" if facts or command else "asked"


ANSWERS = {"yes": "affirm", "no": "negative"}


def command_of(parsed: Parsed) -> str | None:
    """The command of a line; an answer is one."""
    return parsed.command or ANSWERS.get(parsed.answer or "")


class Bench:
    """Hears clips and counts."""

    def __init__(self, recogniser: Recogniser, grammar: Grammar, dump: Path | None) -> None:
        self.recogniser, self.grammar, self.gate = recogniser, grammar, Gate()
        self.seconds: list[float] = []
        self._dump = dump.open("w", encoding="utf-8") if dump else None

    def hear(self, samples: np.ndarray) -> list[tuple[Segment, Heard]]:
        """Every segment of the samples."""
        found = []
        for segment in self.gate.segments(Sound(samples)):
            start = time.thread_time()
            heard = self.recogniser.hear(segment)
            self.seconds.append(time.thread_time() - start)
            found.append((segment, heard))
        return found

    def clip(self, line: material.Line, samples: np.ndarray, **about: Any) -> str:
        """One clip's verdict."""
        facts: dict[str, Any] = {}
        command = None
        for segment, heard in self.hear(samples):
            parsed = self.grammar.parse(heard.text)
            facts |= parsed.facts
            command = command or command_of(parsed)
            if self._dump:
                best = heard.text or (heard.alternatives[0][0] if heard.alternatives else "")
                would = self.grammar.parse(best)
                truth = verdict(line, would.facts, command_of(would))
                row = {**about, "say": line.say, "heard": heard.text, "best": best, "truth": truth,
                       "states": bool(would.facts or command_of(would)), "figures": heard.figures,
                       "others": heard.alternatives[:3], "seconds": self.seconds[-1],
                       "length": segment.end_s - segment.start_s}
                self._dump.write(json.dumps(row, default=str) + "\n")
        return verdict(line, facts, command)


def table(rows: Iterable[tuple[str, list[str]]]) -> None:
    print(f"{'':26}{'n':>5}" + "".join(f"{name:>8}" for name in VERDICTS) + "   wrong at most (95 %)")
    for name, found in rows:
        n = len(found)
        if n:
            shares = "".join(f"{found.count(one) / n:8.3f}" for one in VERDICTS)
            print(f"{name:26}{n:5}{shares}   {upper_bound(found.count('wrong'), n):.3f}", flush=True)


def in_grammar(bench: Bench, options: argparse.Namespace) -> Iterable[tuple[str, list[str]]]:
    lines, missed = material.held_out(bench.grammar, options.half)
    print(f"{len(lines)} held-out lines; {missed} more are left out, because typed they are not read as meant")
    for condition in options.conditions:
        found: dict[str, list[str]] = {}
        for clip in material.clips(lines, options.half, condition, options.count):
            one = bench.clip(clip.line, clip.samples(options.cache), set="in", condition=condition, voice=clip.voice)
            found.setdefault("poor" if clip.voice in material.POOR else "natural", []).append(one)
        yield condition, found.get("natural", [])
        yield f"{condition}, espeak", found.get("poor", [])


def out_of_grammar(bench: Bench, options: argparse.Namespace) -> Iterable[tuple[str, list[str]]]:
    lines = material.outside(bench.grammar, options.half)
    found = [bench.clip(clip.line, clip.samples(options.cache), set="out", condition="clean", voice=clip.voice)
             for clip in material.clips(lines, options.half, "clean", options.outside, natural=True)]
    yield "outside the grammar", found


def noise_segment(number: int, seed: int) -> Segment:
    """1 to 4 s of saw, wind or hiss at a level between -45 and -20 dB of full scale."""
    rng = np.random.default_rng([seed, number])
    seconds = rng.uniform(1.0, 4.0)
    kind = ("saw", "wind", "hiss")[number % 3]
    sound = rng.standard_normal(int(seconds * material.RATE)) if kind == "hiss" else (
        material.noises.KINDS[kind](seconds, 100 * seed + number))
    sound = sound / np.std(sound) * 10 ** (rng.uniform(-45, -20) / 20)
    return Segment(0.0, seconds, sound.astype(np.float32))


def noise_alone(bench: Bench, options: argparse.Namespace) -> Iterable[tuple[str, list[str]]]:
    """Noise given to the recogniser past the gate, which would stop most of it."""
    found = []
    nothing = material.Line("", {})
    for number in range(options.noise):
        start = time.thread_time()
        heard = bench.recogniser.hear(noise_segment(number, seed=8))
        bench.seconds.append(time.thread_time() - start)
        parsed = bench.grammar.parse(heard.text)
        found.append(verdict(nothing, parsed.facts, command_of(parsed)))
    yield "noise alone, no gate", found


def demo(bench: Bench, options: argparse.Namespace) -> Iterable[tuple[str, list[str]]]:
    folder = material.ROOT / "demo_audio"
    found = []
    for entry in yaml.safe_load((folder / "clips.yaml").read_text(encoding="utf-8"))["clips"]:
        samples, _ = soundfile.read(folder / entry["file"], dtype="float32")
        line = material.Line(entry["say"], entry.get("means") or {}, entry.get("command"))
        one = bench.clip(line, samples, set="demo", condition=entry["noise"], voice=entry["voice"])
        found.append("right" if one == "asked" and not line.facts and not line.command else one)
        if found[-1] != "right":
            print(f"    demo {entry['file']}: {found[-1]}: {entry['say']}")
    yield "demo clips", found


PARTS: dict[str, Callable[[Bench, argparse.Namespace], Iterable[tuple[str, list[str]]]]] = {
    "in": in_grammar, "out": out_of_grammar, "noise": noise_alone, "demo": demo,
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--recogniser", default="likelihood")
    parser.add_argument("--half", choices=("calibrate", "test"), default="test")
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=list(PARTS))
    parser.add_argument("--conditions", nargs="+", choices=material.CONDITIONS, default=list(material.CONDITIONS))
    parser.add_argument("--count", type=int, default=72, help="clips a condition")
    parser.add_argument("--outside", type=int, default=120, help="clips outside the grammar")
    parser.add_argument("--noise", type=int, default=60, help="stretches of noise alone")
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "fieldaid-bench-speech")
    parser.add_argument("--dump", type=Path, help="write every segment with its figures to this file of JSON lines")
    parser.add_argument("--grammar", type=Path, help="folder of templates; the shipped one if left out")
    options = parser.parse_args()

    grammar = load_grammar(options.grammar)
    before, start = memory_mb(), time.perf_counter()
    recogniser = recogniser_called(options.recogniser, grammar)
    loading = time.perf_counter() - start
    bench = Bench(recogniser, grammar, options.dump)
    print(f"recogniser {recogniser.name}, half {options.half}; grammar {grammar.network.size()}")
    for part in options.parts:
        table(PARTS[part](bench, options))
    p50, p95 = np.percentile(bench.seconds, [50, 95])
    print(f"computing a clip: p50 {p50:.2f} s, p95 {p95:.2f} s on one core, {len(bench.seconds)} segments; "
          f"loading {loading:.2f} s; memory {memory_mb():.0f} MB at most, {before:.0f} MB before loading")
    recogniser.close()


def recogniser_called(name: str, grammar: Grammar) -> Recogniser:
    if name == "likelihood":
        from fieldaid.hearing.likelihood.recogniser import LikelihoodRecogniser

        return LikelihoodRecogniser(grammar)
    return make(name, grammar=grammar, jsgf=grammar.jsgf(), words=grammar.words())


def memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    main()
