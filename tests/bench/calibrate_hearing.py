"""Calibrates when what was heard is accepted: `python tests/bench/calibrate_hearing.py --measure --fit --write`

`--measure` hears the calibration half of the lines in the calibration voices, with all recognisers, and keeps every
candidate with its figures in a file; `--fit` fits the weights to them, shows their reliability and the choice of the
limits; `--write` stores them. The test half and its voices are not touched.
"""

from __future__ import annotations

import argparse
import itertools
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

import fit_hearing
import hearing_clips as material
from bench_hearing import noise_segment
from hearing_score import Line, command_of, verdict

from fieldaid.clock import Stopwatch
from fieldaid.grammar import Grammar, load_grammar
from fieldaid.hearing.gate import Gate, Segment
from fieldaid.hearing.likelihood import recogniser as recognising
from fieldaid.hearing.likelihood.meanings import gather
from fieldaid.hearing.pauses import spoken_s
from fieldaid.hearing.sound import Sound
from fieldaid.hearing.sphinx_words import SphinxWords
from fieldaid.hearing.two_models import TwoModels
from fieldaid.hearing.two_opinions import proposals


def measure(options: argparse.Namespace) -> None:
    """Write a line of JSON for every segment."""
    grammar = load_grammar(options.grammar)
    first = TwoModels(grammar)
    second = SphinxWords(grammar)
    gate = Gate()
    with options.file.open("w", encoding="utf-8") as out:
        for kind, condition, voice, line, segment in _material(grammar, gate, options):
            samples = recognising.usable(segment.samples)
            if samples is None:
                continue
            watch = Stopwatch()
            measured = first.measure(samples)
            ms = [watch.lap()]
            said = second.hear(segment)
            ms.append(watch.lap())
            own = {one.key for one in gather(measured.found.rows, grammar.parse)[:recognising.RANKED]}
            measured = first.propose(measured, proposals(said))
            ms.append(watch.lap())
            row: dict[str, Any] = {
                "set": kind, "condition": condition, "voice": voice, "say": line.say, "ms": ms,
                "spoken": spoken_s(segment),
                "free": measured.found.free, "free_score": measured.found.free_score, "second": said.text,
                "others": [text for text, _ in said.alternatives], "other": first.heard_by_other(measured),
                "candidates": [_candidate(first, measured, one, line, one.key in own) for one in measured.meanings]}
            out.write(json.dumps(row, default=str) + "\n")
            out.flush()
    second.close()


def _candidate(first, measured, one, line: Line, own: bool) -> dict[str, Any]:
    parsed = first.grammar.parse(one.row.text)
    leads = [ahead for _, ahead in first.alike(measured, one.row.text)] if one.states else []
    return {"text": one.row.text, "key": one.key, "own": own, "states": one.states, "refused": one.refused,
            "score": one.score, "prior": one.prior, "beside": one.beside,
            "words": first.figures_of(measured, one, 0.0).words, "row": one.row.score, "worst": one.row.worst,
            "last": one.row.last, "tokens": len(one.row.tokens), "alike": min(leads, default=None),
            "verdict": verdict(line, parsed.facts, command_of(parsed))}


def _material(grammar: Grammar, gate: Gate, options: argparse.Namespace
              ) -> Iterator[tuple[str, str, str, Line, Segment]]:
    if options.voices:
        material.VOICES["calibrate"] = tuple(options.voices)
    outside = material.outside(grammar, "calibrate")
    lines, _ = material.held_out(grammar, "calibrate")
    # Taking turns, so that a run that was cut off has something of everything.
    streams: list[Iterator[Any]] = [
        zip(itertools.repeat("in"), material.clips(lines, "calibrate", condition, options.count, natural=True))
        for condition in material.CONDITIONS]
    streams.append(zip(itertools.repeat("out"),
                       material.clips(outside, "calibrate", "clean", options.outside, natural=True)))
    streams.append(zip(itertools.repeat("noise"), range(options.noise)))
    while streams:
        for stream in list(streams):
            found = next(stream, None)
            if found is None:
                streams.remove(stream)
                continue
            kind, clip = found
            if kind == "noise":
                yield kind, "noise", "", Line("", {}), noise_segment(clip, seed=18)
            else:
                for segment in gate.segments(Sound(clip.samples(options.cache))):
                    yield kind, clip.condition, clip.voice, clip.line, segment


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--measure", action="store_true")
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--count", type=int, default=90, help="clips a condition")
    parser.add_argument("--outside", type=int, default=140)
    parser.add_argument("--noise", type=int, default=45)
    parser.add_argument("--voices", nargs="+", help="instead of all the natural calibration voices")
    folder = Path(tempfile.gettempdir())
    parser.add_argument("--cache", type=Path, default=folder / "fieldaid-bench-speech")
    parser.add_argument("--file", type=Path, default=folder / "fieldaid-calibration.jsonl")
    parser.add_argument("--grammar", type=Path, help="folder of templates; the shipped one if left out")
    options = parser.parse_args()
    if options.measure:
        measure(options)
    if options.fit:
        rows = [json.loads(line) for line in options.file.read_text(encoding="utf-8").splitlines()]
        fit_hearing.fit(rows, load_grammar(options.grammar), options.write)


if __name__ == "__main__":
    main()
