"""Sets the limits of the acoustic recogniser: `python calibrate.py --measure --fit --write`

`--measure` hears the calibration half of the lines (tests/bench/hearing_clips.py) in voices that are neither trained
nor tested on, and keeps every figure in a file. Each clip inside the grammar is measured twice, the second time
with the meaning that was said taken off the list: what is found then is a near miss, and must be asked about. `--fit`
fits the weights of `fit`, shows its reliability and what each limit would let through; `--write` stores the limits.

Needs festival with festvox-kdlpc16k, and what tests/bench/neural_voices.py needs.
"""

from __future__ import annotations

import argparse
import dataclasses
import hashlib
import json
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import bench_hearing as bench
import hearing_clips as material
import neural_voices as neural
import numpy as np
import soundfile
import speech
from hearing_noise import disturb
from hearing_score import NOTHING, Line, command_of, verdict

from fieldaid.grammar import load_grammar
from fieldaid.hearing.acoustic import recogniser as recognising
from fieldaid.hearing.acoustic.accept import Figures, Limits
from fieldaid.hearing.acoustic.model import FILE
from fieldaid.hearing.gate import Gate
from fieldaid.hearing.likelihood.meanings import meaning_of
from fieldaid.hearing.sound import Sound

VOICES = (*speech.CALIBRATION_STYLES, "festival-ked")
CONDITIONS = ("clean", "saw 20", "saw 10", "saw 5", "wind 10", "mask", "mask + saw 10")
RIDGE = 0.02
SCALE = np.array([1.0, 0.3, 0.8, 0.8, 0.6])
NEAR = 0.3
"""The weight of a near miss: not every line is one that the grammar does not have."""
"""The usual spread of each feature, so that RIDGE weighs them alike."""


def spoken(voice: str, text: str, cache: Path) -> np.ndarray:
    path = cache / f"{voice}-{hashlib.sha256(text.encode()).hexdigest()[:16]}.flac"
    if not path.exists():
        samples = neural.say(text, voice) if voice != "festival-ked" else speech.spoken_to_file(
            lambda out: speech.run(["text2wave", "-eval", "(voice_ked_diphone)", "-o", out], text))
        samples = samples * np.float32(10 ** ((-23.0 - material.noises.active_level_db(samples)) / 20))
        quiet = np.zeros(int(0.35 * material.RATE), np.float32)
        cache.mkdir(parents=True, exist_ok=True)
        soundfile.write(path, np.concatenate([quiet, samples, quiet]), material.RATE, subtype="PCM_16")
    return soundfile.read(path, dtype="float32")[0]


def clips(grammar, options: argparse.Namespace) -> Iterator[tuple[str, str, Line, np.ndarray]]:
    lines, _ = material.held_out(grammar, "calibrate")
    for number in range(options.outside):
        line = (outside := material.outside(grammar, "calibrate"))[number % len(outside)]
        condition = ("clean", "saw 10")[number % 2]
        yield "out", condition, line, disturb(
            spoken(VOICES[number % len(VOICES)], line.say, options.cache), condition, 400 + number)
    for condition in CONDITIONS:
        for number in range(options.count):
            line = lines[number % len(lines)]
            sound = spoken(VOICES[number % len(VOICES)], line.say, options.cache)
            yield "in", condition, line, disturb(sound, condition, 90_000 + number)


def measure(options: argparse.Namespace) -> None:
    """Write a line of JSON for every segment."""
    grammar, gate = load_grammar(), Gate()
    recogniser = recognising.AcousticRecogniser(grammar, model=options.model, limits=Limits())
    with options.file.open("w", encoding="utf-8") as out:
        def keep(kind: str, condition: str, line: Line, measured: recognising.Measured) -> None:
            if measured.figures is None:
                return
            best = measured.meanings[0]
            parsed = grammar.parse(best.row.text)
            row = {"set": kind, "condition": condition, "say": line.say, "text": best.row.text, "free": measured.free,
                   "words": measured.words,
                   "states": best.states, "figures": dataclasses.asdict(measured.figures),
                   "verdict": verdict(line, parsed.facts, command_of(parsed))}
            out.write(json.dumps(row) + "\n")

        for number in range(options.noise):
            keep("noise", "noise", NOTHING, recogniser.measure(bench.noise_segment(number, seed=19).samples))
        for kind, condition, line, samples in clips(grammar, options):
            for segment in gate.segments(Sound(samples)):
                samples = recognising.usable(segment.samples)
                if samples is None:
                    continue
                measured = recogniser.measure(samples)
                keep(kind, condition, line, measured)
                if kind == "in":
                    said = frozenset({meaning_of(grammar.parse(line.say))})
                    keep("near", condition, line, recogniser.passing_over(measured, said))


def fit(options: argparse.Namespace) -> Limits:
    """Weights by logistic regression with a ridge; the limit by the share of wrong answers that it lets through."""
    rows = [json.loads(line) for line in options.file.read_text(encoding="utf-8").splitlines()]
    # A part of what was said is no mistake, and no proof of one who hears well: it is left out.
    rows = [row for row in rows if row["states"] and row["verdict"] in ("right", "wrong")]
    figures = [Figures(**row["figures"]) for row in rows]
    right = np.array([row["verdict"] == "right" for row in rows], float)
    counts = np.array([NEAR if row["set"] == "near" else 1.0 for row in rows])
    weights = _logistic(np.array([one.features for one in figures]) / SCALE, right, counts) / SCALE
    names = ("base", "by_llr", "by_words", "by_margin", "by_silence")
    limits = dataclasses.replace(Limits(), **dict(zip(names, map(float, weights.round(3)), strict=True)))
    fits = np.array([one.fit(limits) for one in figures])
    passing = np.array([one.accepted(dataclasses.replace(limits, fit=-np.inf)) for one in figures])
    print(f"{len(rows)} segments, {int(right.sum())} right; weights {dict(zip(names, weights.round(2), strict=True))}")
    for low, high in ((-99, -2), (-2, 0), (0, 1), (1, 2), (2, 3), (3, 4), (4, 5), (5, 99)):
        here = (fits >= low) & (fits < high)
        if here.any():
            print(f"  fit {low:4} to {high:3}: {int(here.sum()):4} segments, right {right[here].mean():.3f}, "
                  f"predicted {float((1 / (1 + np.exp(-fits[here]))).mean()):.3f}")
    sets = np.array([row["set"] for row in rows])
    conditions = np.array([row["condition"] for row in rows])
    print("limit: right ones accepted of all, of those in saw 10 | wrong: inside, near, outside, noise")
    for limit in np.arange(-1.0, 5.01, 0.5):
        taken = passing & (fits >= limit)
        wrong = [int((taken & (right == 0) & (sets == kind)).sum()) for kind in ("in", "near", "out", "noise")]
        share = taken[(right == 1) & (conditions == "saw 10")].mean()
        print(f"  {limit:4.1f}   {taken[right == 1].mean():.3f} {share:.3f} | {wrong}")
    for row, value, passed in sorted(zip(rows, fits, passing, strict=True), key=lambda one: -one[1]):
        if row["verdict"] == "wrong" and passed and value > options.limit - 1:
            shown = " ".join(f"{name} {one:.2f}" for name, one in row["figures"].items() if one is not None)
            print(f"    {row['set']} {row['condition']} fit {value:.1f}: {row['say']} | {row['text']} | "
                  f"{row['words']} | {shown}")
    return dataclasses.replace(limits, fit=options.limit)


def _logistic(features: np.ndarray, right: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """Newton's method, each row counted so often; the ridge spares the constant."""
    weights = np.zeros(features.shape[1])
    ridge = RIDGE * len(right) / 10 * np.diag([0.0, *np.ones(len(weights) - 1)])
    for _ in range(50):
        chance = 1 / (1 + np.exp(-features @ weights))
        slope = features.T @ (counts * (right - chance)) - ridge @ weights
        bend = (features * (counts * chance * (1 - chance))[:, None]).T @ features + ridge
        step = np.linalg.solve(bend + 1e-9 * np.eye(len(weights)), slope)
        weights += step
        if float(np.abs(step).max()) < 1e-8:
            break
    return weights


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--measure", action="store_true")
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--speak", action="store_true", help="only make the speech")
    parser.add_argument("--limit", type=float, default=1.5, help="least `fit` that is accepted")
    parser.add_argument("--count", type=int, default=80, help="clips a condition")
    parser.add_argument("--outside", type=int, default=80)
    parser.add_argument("--noise", type=int, default=45)
    parser.add_argument("--model", type=Path, default=FILE)
    folder = Path(tempfile.gettempdir())
    parser.add_argument("--cache", type=Path, default=folder / "fieldaid-bench-speech")
    parser.add_argument("--file", type=Path, default=folder / "fieldaid-acoustic-calibration.jsonl")
    options = parser.parse_args()
    if options.speak:
        print(sum(1 for _ in clips(load_grammar(), options)), "clips")
    if options.measure:
        measure(options)
    if options.fit:
        limits = fit(options)
        if options.write:
            recognising.LIMITS.write_text(json.dumps(limits.stored(), indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
