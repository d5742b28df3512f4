"""Calibrates the limits of the phrase recogniser: `python tests/bench/calibrate_hearing.py --measure --fit --write`

`--measure` hears the calibration half of the lines in the calibration voices and keeps every figure in a file;
`--fit` fits the weights of `fit` to them, shows its reliability and the choice of its limit; `--write` stores them.
The test half and its voices are not touched.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import bench_hearing as bench
import hearing_clips as material
import numpy as np

from fieldaid.grammar import load_grammar
from fieldaid.hearing.gate import Gate, Segment
from fieldaid.hearing.likelihood import recogniser as recognising
from fieldaid.hearing.likelihood.accept import Figures, Limits
from fieldaid.hearing.sound import Sound

RIDGE = 0.02
"""Keeps the weights small where the data do not speak."""
SCALE = np.array([1.0, 4.0, 0.8, 2.0])
"""The usual spread of each feature, so that RIDGE weighs them alike."""


def measure(options: argparse.Namespace) -> None:
    """Write a line of JSON for every segment."""
    grammar = load_grammar(options.grammar)
    recogniser = recognising.LikelihoodRecogniser(grammar)
    gate = Gate()
    with options.file.open("w", encoding="utf-8") as out:
        for kind, condition, line, segment in _material(grammar, gate, options):
            samples = recognising.usable(segment.samples)
            measured = None if samples is None else recogniser.measure(samples)
            if measured is None or measured.figures is None:
                continue
            text = measured.meanings[0].row.text
            parsed = grammar.parse(text)
            row = {"set": kind, "condition": condition, "say": line.say, "text": text,
                   "free": measured.found.free, "verdict": bench.verdict(line, parsed.facts, bench.command_of(parsed)),
                   "figures": dataclasses.asdict(measured.figures),
                   "others": [one.row.text for one in measured.meanings[1:]]}
            out.write(json.dumps(row) + "\n")


def _material(grammar, gate: Gate, options: argparse.Namespace) -> Iterator[tuple[str, str, Any, Segment]]:
    outside = material.outside(grammar, "calibrate")
    lines, _ = material.held_out(grammar, "calibrate")
    for number in range(options.noise):
        yield "noise", "noise", material.Line("", {}), bench.noise_segment(number, seed=18)
    for clip in material.clips(outside, "calibrate", "clean", options.outside, natural=True):
        for segment in gate.segments(Sound(clip.samples(options.cache))):
            yield "out", "clean", clip.line, segment
    for condition in material.CONDITIONS:
        for clip in material.clips(lines, "calibrate", condition, options.count, natural=True):
            for segment in gate.segments(Sound(clip.samples(options.cache))):
                yield "in", condition, clip.line, segment


def fit(options: argparse.Namespace) -> Limits:
    """Weights by logistic regression with a ridge; the limit by the share of wrong answers that it lets through."""
    rows = [json.loads(line) for line in options.file.read_text(encoding="utf-8").splitlines()]
    speaking = [row for row in rows if row["verdict"] != "asked" and row["figures"]["last"] >= Limits().last]
    figures = [Figures(**row["figures"]) for row in speaking]
    right = np.array([row["verdict"] == "right" for row in speaking], float)
    weights = _logistic(np.array([one.features for one in figures]) / SCALE, right) / SCALE
    names = ("base", "by_llr", "by_margin", "by_worst")
    found = dict(zip(names, map(float, weights.round(3)), strict=True))
    limits = dataclasses.replace(Limits(), **found)
    fits = np.array([one.fit(limits) for one in figures])
    open_limits = dataclasses.replace(limits, fit=-np.inf)
    passing = np.array([one.accepted(open_limits) for one in figures])
    print(f"{len(rows)} segments, {len(speaking)} state something, {int(right.sum())} rightly\nreliability:")
    for low, high in ((-99, -2), (-2, 0), (0, 1), (1, 2), (2, 3), (3, 4), (4, 5), (5, 99)):
        here = (fits >= low) & (fits < high)
        if here.any():
            predicted = float((1 / (1 + np.exp(-fits[here]))).mean())
            print(f"  fit {low:4} to {high:3}: {int(here.sum()):4} segments, right {right[here].mean():.3f}, "
                  f"predicted {predicted:.3f}")
    print("limit:  of the right ones accepted | wrong in the grammar's own speech, outside it")
    inside = np.array([row["set"] == "in" for row in speaking])
    wrong = np.array([row["verdict"] != "right" for row in speaking])
    for limit in np.arange(0.0, 6.01, 0.5):
        taken = passing & (fits >= limit)
        print(f"  {limit:4.1f}   {taken[right == 1].mean():.3f} | {int((taken & wrong & inside).sum())}, "
              f"{int((taken & wrong & ~inside).sum())}")
    for row, value, passed in sorted(zip(speaking, fits, passing, strict=True), key=lambda one: -one[1]):
        if row["verdict"] != "right" and passed and value > options.limit - 1.5:
            print(f"    {row['verdict']} {row['set']} {row['condition']} fit {value:.1f}: {row['say']} | {row['text']}")
    return dataclasses.replace(limits, fit=options.limit)


def _logistic(features: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Newton's method; the ridge spares the constant."""
    weights = np.zeros(features.shape[1])
    ridge = RIDGE * len(right) / 10 * np.diag([0.0, *np.ones(len(weights) - 1)])
    for _ in range(50):
        chance = 1 / (1 + np.exp(-features @ weights))
        slope = features.T @ (right - chance) - ridge @ weights
        bend = (features * (chance * (1 - chance))[:, None]).T @ features + ridge
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
    parser.add_argument("--limit", type=float, default=2.0, help="least `fit` that is accepted")
    parser.add_argument("--count", type=int, default=90)
    parser.add_argument("--outside", type=int, default=140)
    parser.add_argument("--noise", type=int, default=45)
    folder = Path(tempfile.gettempdir())
    parser.add_argument("--cache", type=Path, default=folder / "fieldaid-bench-speech")
    parser.add_argument("--file", type=Path, default=folder / "fieldaid-calibration.jsonl")
    parser.add_argument("--grammar", type=Path, help="folder of templates; the shipped one if left out")
    options = parser.parse_args()
    if options.measure:
        measure(options)
    if options.fit:
        limits = fit(options)
        if options.write:
            recognising.LIMITS.write_text(json.dumps(limits.stored(), indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
