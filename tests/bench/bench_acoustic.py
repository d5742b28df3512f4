"""How well the acoustic recogniser hears voices that nothing was trained or calibrated on:
`python tests/bench/bench_acoustic.py [--recogniser acoustic] [--count 96] ...`

Voices: the test half of hearing_clips.py and the neural styles kept for tests (see neural_voices.py, which says what to
install); lines: the test half. Each clip goes through the voice gate first. Columns as in bench_hearing.py; in the part
`near` every meaning that was said is taken off the list first, so that whatever is accepted is wrong or a part of it.
`outside` is speech outside the grammar, clean and in a saw.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import re
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import bench_hearing as bench
import hearing_clips as material
import neural_voices as neural
import numpy as np
import soundfile

from fieldaid.grammar import load_grammar
from fieldaid.hearing.acoustic.recogniser import AcousticRecogniser, usable
from fieldaid.hearing.likelihood.meanings import meaning_of
from fieldaid.hearing.sound import Sound

NEURAL = tuple(style for style in neural.TEST_STYLES if style != "af_heart")
"""af_heart is the voice of hearing_clips' "heart"."""
VOICES = tuple(voice for pair in zip(NEURAL, material.VOICES["test"], strict=True) for voice in pair)
CONDITIONS = (*material.CONDITIONS, "saw 5")
Rows = Iterable[tuple[str, list[str]]]


def spoken(voice: str, text: str, cache: Path) -> np.ndarray:
    """`text` said by a voice of hearing_clips or by a neural style: float32, 16 kHz, level and quiet as there."""
    if voice in material.speakers.VOICES:
        return material.spoken(voice, text, cache)
    path = cache / f"{voice}-{hashlib.sha256(text.encode()).hexdigest()[:16]}.flac"
    if not path.exists():
        cache.mkdir(parents=True, exist_ok=True)
        # Short forms are said letter by letter, as in hearing_clips.
        samples = neural.say(re.sub(r"\b(osb|tic)\b", lambda short: " ".join(short[1].upper()), text), voice)
        samples = samples * np.float32(10 ** ((-23.0 - material.noises.active_level_db(samples)) / 20))
        quiet = np.zeros(int(0.35 * material.RATE), np.float32)
        soundfile.write(path, np.concatenate([quiet, samples, quiet]), material.RATE, subtype="PCM_16")
    return soundfile.read(path, dtype="float32")[0]


def disturbed(speech: np.ndarray, condition: str, seed: int) -> np.ndarray:
    if condition in material.CONDITIONS:
        return material.disturb(speech, condition, seed)
    kind, ratio = condition.split()
    return material.noises.mix(speech, kind, float(ratio), seed)


def clips(lines: list[material.Line], condition: str, options: argparse.Namespace,
          voices: tuple[str, ...] = VOICES) -> Iterator[tuple[material.Line, str, np.ndarray]]:
    """`count` clips: the same lines and voices in each condition."""
    for number in range(options.count):
        line, voice = lines[number % len(lines)], voices[number % len(voices)]
        yield line, voice, disturbed(spoken(voice, line.say, options.cache), condition, 7000 + number)


def inside(hears: bench.Bench, options: argparse.Namespace) -> Rows:
    lines, _ = material.held_out(hears.grammar, "test")
    for condition in options.conditions:
        found: dict[str, list[str]] = {}
        for line, voice, samples in clips(lines, condition, options):
            one = hears.clip(line, samples, set="in", condition=condition, voice=voice)
            kind = "neural" if voice in NEURAL or "heart" in voice else "espeak" if voice in material.POOR else "other"
            found.setdefault(kind, []).append(one)
            found.setdefault("all", []).append(one)
        for kind in ("all", "neural", "other", "espeak"):
            yield f"{condition}, {kind}", found.get(kind, [])


def near(hears: bench.Bench, options: argparse.Namespace) -> Rows:
    recogniser = hears.recogniser
    if not isinstance(recogniser, AcousticRecogniser):
        return
    lines, _ = material.held_out(hears.grammar, "test")
    for condition in options.conditions:
        found = []
        for line, _, samples in clips(lines, condition, options):
            said = meaning_of(hears.grammar.parse(line.say))
            facts, command = {}, None
            for segment in hears.gate.segments(Sound(samples)):
                ready = usable(segment.samples)
                measured = recogniser.measure(ready, without=(said,)) if ready is not None else None
                if measured is None or measured.figures is None:
                    continue
                best = measured.meanings[0]
                if best.states and measured.figures.accepted(recogniser.limits):
                    parsed = hears.grammar.parse(best.row.text)
                    facts, command = parsed.facts, bench.command_of(parsed)
                    if bench.verdict(line, facts, command) == "wrong":
                        print(f"    {condition}: {line.say} | {best.row.text} {measured.figures}")
            found.append(bench.verdict(line, facts, command))
        yield f"near miss, {condition}", found


def outside(hears: bench.Bench, options: argparse.Namespace) -> Rows:
    lines = material.outside(hears.grammar, "test")
    voices = tuple(voice for voice in VOICES if voice not in material.POOR)
    for condition in ("clean", "saw 10"):
        yield f"outside the grammar, {condition}", [
            hears.clip(line, samples, set="out", condition=condition, voice=voice)
            for line, voice, samples in clips(lines, condition, options, voices)]


PARTS: dict[str, Callable[[bench.Bench, argparse.Namespace], Rows]] = {
    "in": inside, "near": near, "outside": outside, "noise": bench.noise_alone,
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--recogniser", default="acoustic")
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=list(PARTS))
    parser.add_argument("--conditions", nargs="+", choices=CONDITIONS, default=list(CONDITIONS))
    parser.add_argument("--count", type=int, default=96, help="clips a condition")
    parser.add_argument("--noise", type=int, default=60, help="stretches of noise alone")
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "fieldaid-bench-speech")
    parser.add_argument("--dump", type=Path, help="write every segment with its figures to this file of JSON lines")
    options = parser.parse_args()

    grammar = load_grammar()
    before, start = bench.memory_mb(), time.perf_counter()
    recogniser = bench.recogniser_called(options.recogniser, grammar)
    loading = time.perf_counter() - start
    hears = bench.Bench(recogniser, grammar, options.dump)
    for part in options.parts:
        bench.table(PARTS[part](hears, options))
    p50, p95 = np.percentile(hears.seconds or [0.0], [50, 95])
    print(f"computing a clip: p50 {p50:.2f} s, p95 {p95:.2f} s on one core, {len(hears.seconds)} segments; "
          f"loading {loading:.2f} s; memory {bench.memory_mb():.0f} MB at most, {before:.0f} MB before loading")
    recogniser.close()


if __name__ == "__main__":
    main()
