"""How well a recogniser hears: `python tests/bench/bench_hearing.py --recogniser likelihood --json run.jsonl`

Lines that were kept from all tuning, in voices that nothing was tuned on (hearing_clips.py), in invented and recorded
noises (hearing_noise.py), recordings of people (hearing_people.py), and an hour of noise alone. Every clip goes through
the voice gate first, as in `fieldaid hear`. What counts as right and wrong: hearing_score.py. Parts:

    in       lines of the grammar: right, part, wrong and asked, by condition and kind of voice
    out      lines outside the grammar, clean and in saw noise at 10 dB: nothing may be heard in them
    people   recordings of people who say nothing about a roof
    closed   numbers, years and side names said by a person, with a grammar of only those
    noise    an hour of noise through the voice gate
    alone    invented noise given to the recogniser past the gate, which would stop most of it
    recorded recorded noise past the gate
    demo     the clips of demo_audio; other people have heard and tuned on these

With --json every clip is written as it is heard, and a run that broke off goes on where it stopped. --report prints the
tables of such files again; --compare prints one table of several.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import hearing_clips as material
import hearing_cost
import hearing_noise
import hearing_people
import hearing_report
import numpy as np
import soundfile
import yaml
from hearing_cost import memory_mb
from hearing_noise import MissingRecording
from hearing_report import table
from hearing_score import NOTHING, Line, command_of, counts_at_once, harm, upper_bound, verdict
from neural_voices import MissingVoice

from fieldaid.errors import FieldaidError
from fieldaid.grammar import Grammar, load_grammar
from fieldaid.hearing import two_opinions
from fieldaid.hearing.gate import Gate, Segment
from fieldaid.hearing.heard import EVERY, FACTORIES, Recogniser, make
from fieldaid.hearing.sound import Sound

__all__ = ["Bench", "command_of", "memory_mb", "noise_segment", "recogniser_called", "table", "upper_bound", "verdict"]

Found = Iterator[tuple[str, list[str]]]
"""The verdicts of a group of clips, as the groups are done."""
OUTSIDE_CONDITIONS = ("clean", "saw 10")
CLOSED_CONDITIONS = ("clean", "saw 10", "mask")
STRETCH_S = 30.0
"""Noise alone comes in stretches of this, each at a level of its own."""
PATIENCE_S = 600.0
LEVELS_DB = (-45.0, -20.0)
"""Of noise alone, below full scale."""


class Results:
    """The rows of a run, in memory and in a file as they come.

    Parameters
    ----------
    path : goes on with the file if it is there; None keeps the rows in memory alone
    about : what makes it the same run; a file of another one is refused
    """

    def __init__(self, path: Path | None, about: dict[str, Any]) -> None:
        self.rows: list[hearing_report.Row] = []
        self._path = path
        if path is not None and path.exists():
            self.rows = [row for row in hearing_report.read(path) if row["row"] != "end"]
            before = next((row for row in self.rows if row["row"] == "run"), {})
            if any(before.get(key) != value for key, value in about.items()):
                raise SystemExit(f"{path}: this file holds another run ({before}); name another file or remove it. "
                                 f"This run is {about}")
            # The run may have broken off within a line.
            self._write("\n")
        if not self.rows:
            self.add({"row": "run", **about})

    def add(self, row: hearing_report.Row) -> None:
        # Through JSON, so that a value read back compares equal to one just made.
        text = json.dumps(row, default=str)
        self.rows.append(json.loads(text))
        self._write(text + "\n")

    def _write(self, text: str) -> None:
        if self._path is not None:
            with self._path.open("a", encoding="utf-8") as file:
                file.write(text)


class Bench:
    """Hears clips and keeps the rows.

    Parameters
    ----------
    recogniser, grammar : what hears, and what parses what it heard
    results : where the rows go; a file's path, or None for memory alone, starts new ones
    """

    def __init__(self, recogniser: Recogniser, grammar: Grammar, results: Results | Path | None = None) -> None:
        self.recogniser, self.grammar, self.gate = recogniser, grammar, Gate()
        self.results = results if isinstance(results, Results) else Results(results, {})
        self.seconds: list[float] = []
        self._verdicts = {row["key"]: row.get("verdict", "") for row in self.results.rows if "key" in row}

    def clip(self, line: Line, samples: np.ndarray, *, gated: bool = True, **about: Any) -> str:
        """Hear one clip, keep its row with `about` in it, and give its verdict."""
        start = time.process_time()
        segments = (list(self.gate.segments(Sound(samples))) if gated
                    else [Segment(0.0, len(samples) / material.RATE, samples)])
        gate_s = time.process_time() - start
        found = [self._segment(segment) for segment in segments]
        facts: dict[str, Any] = {}
        once: set[str] = set()
        command = command_fact = None
        for one in found:
            facts |= one["facts"]
            once |= set(one["once"])
            if command is None:
                command, command_fact = one["command"], one["command_fact"]
        one = verdict(line, facts, command, command_fact)
        self.results.add({
            "row": "clip", **about, "say": line.say, "line_kind": line.kind, "means": line.facts,
            "means_command": line.command, "verdict": one, "harm": harm(line, facts, command),
            "at_once": counts_at_once(line, facts, command, once), "facts": facts, "command": command,
            "gate_s": round(gate_s, 4), "segments": found,
        })
        return one

    def once(self, part: str, key: str, line: Line, samples: Callable[[], np.ndarray], **about: Any) -> str:
        """The verdict of a clip, which is heard unless its row is there already."""
        key = f"{part}|{key}"
        if key not in self._verdicts:
            self._verdicts[key] = self.clip(line, samples(), part=part, key=key, **about)
        return self._verdicts[key]

    def noise(self, kind: str, number: int, seconds: float) -> str:
        """A stretch of noise alone through the gate; "wrong" when a fact or a command came out of it."""
        key = f"noise|{kind}|{number}"
        if key not in self._verdicts:
            rng = np.random.default_rng([11, number])
            sound = hearing_noise.noise(kind, seconds, 5000 + number)
            sound = np.clip(sound * np.float32(10 ** (rng.uniform(*LEVELS_DB) / 20)), -1, 1)
            found = [self._segment(segment) for segment in self.gate.segments(Sound(sound))]
            wrong = any(one["facts"] or one["command"] for one in found)
            self.results.add({
                "row": "noise", "key": key, "kind": kind, "seconds": seconds, "segments": len(found),
                "facts": sum(bool(one["facts"]) for one in found),
                "commands": sum(bool(one["command"]) and not one["facts"] for one in found),
                "heard": [one["heard"] for one in found if one["heard"]], "verdict": "wrong" if wrong else "asked",
            })
            self._verdicts[key] = "wrong" if wrong else "asked"
        return self._verdicts[key]

    def _segment(self, segment: Segment) -> dict[str, Any]:
        wall, cpu = time.perf_counter(), hearing_cost.cpu_seconds()
        heard = self.recogniser.hear(segment)
        cpu, wall = hearing_cost.cpu_seconds() - cpu, time.perf_counter() - wall
        self.seconds.append(cpu)
        parsed = self.grammar.parse(heard.text)
        # A number of which two readings fit is asked about, and neither is taken.
        asked = {one.fact for one in heard.either}
        best = heard.text or (heard.alternatives[0][0] if heard.alternatives else "")
        would = parsed if best == heard.text else self.grammar.parse(best)
        return {"heard": heard.text,
                "facts": {name: value for name, value in parsed.facts.items() if name not in asked},
                "once": sorted(parsed.facts if heard.once == EVERY else heard.once), "either": sorted(asked),
                "command": command_of(parsed),
                "command_fact": parsed.command_fact, "best": best, "best_facts": would.facts,
                "best_command": command_of(would), "figures": heard.figures, "others": list(heard.alternatives[:3]),
                "cpu": round(cpu, 4), "wall": round(wall, 4), "length": round(segment.end_s - segment.start_s, 3)}


# ---- parts


def _lines(options: argparse.Namespace, grammar: Grammar) -> list[Line]:
    if options.set == "held-out":
        lines, missed = material.held_out(grammar, "test")
        print(f"{len(lines)} held-out lines; {missed} more are left out, because typed they are not read as meant")
        return lines
    lines, misread = material.fresh(grammar)
    print(f"{len(lines)} fresh lines; {len(misread)} more are left out, because typed they are not read as meant:")
    for line, reading in misread:
        print(f"    {line.say!r} is read as: {reading}")
    return lines


def in_grammar(bench: Bench, options: argparse.Namespace) -> Found:
    lines = _lines(options, bench.grammar)
    for condition in options.conditions:
        for kind in options.kinds:
            clips = material.clips_for_test(lines, material.KINDS[kind], condition,
                                            round(options.count * material.SHARES[kind]))
            yield f"{condition}, {kind}", [
                bench.once("in", clip.key, clip.line, lambda clip=clip: clip.samples(options.cache), kind=kind,
                           voice=clip.voice, condition=condition) for clip in clips]


def out_of_grammar(bench: Bench, options: argparse.Namespace) -> Found:
    if options.set == "held-out":
        lines = material.outside(bench.grammar, "test")
    else:
        lines, misread = material.fresh_outside(bench.grammar)
        for line, reading in misread:
            print(f"    left out, because typed it is read as {reading}: {line.say!r}")
    for condition in OUTSIDE_CONDITIONS:
        clips = material.clips_for_test(lines, material.OUTSIDE_VOICES, condition,
                                        min(options.outside, len(lines)))
        yield f"outside, {condition}", [
            bench.once("out", clip.key, clip.line, lambda clip=clip: clip.samples(options.cache), kind=clip.kind,
                       voice=clip.voice, condition=condition) for clip in clips]


def people(bench: Bench, options: argparse.Namespace) -> Found:
    for collection in hearing_people.COLLECTIONS:
        yield f"people, {collection}", [
            bench.once("people", f"{collection}|{said.name}", Line(said.name, {}), said.read, kind=collection,
                       voice="a person", condition="clean")
            for said in hearing_people.recordings(collection, options.people)]


def closed(bench: Bench, options: argparse.Namespace) -> Found:
    for one in hearing_people.closed_sets():
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "closed.yaml").write_text(one.grammar, encoding="utf-8")
            grammar = load_grammar(Path(folder))
        recogniser = recogniser_called(options.recogniser, grammar, options.model)
        small = Bench(recogniser, grammar, bench.results)
        for condition in CLOSED_CONDITIONS:
            def samples(said: hearing_people.Said, number: int, condition: str = condition) -> np.ndarray:
                return hearing_noise.disturb(said.read(), condition, number)

            yield f"{one.name}, {condition}", [
                small.once("closed", f"{one.name}|{condition}|{line.say}", line,
                           lambda said=said, number=number: samples(said, number), kind=one.name, voice="a person",
                           condition=condition) for number, (line, said) in enumerate(one.clips)]
        recogniser.close()


def noise_hour(bench: Bench, options: argparse.Namespace) -> Found:
    kinds = [*hearing_noise.INVENTED, *hearing_noise.RECORDED]
    yield "stretches of noise", [bench.noise(kinds[number % len(kinds)], number, STRETCH_S)
                                 for number in range(round(options.hours * 3600 / STRETCH_S))]


def noise_segment(number: int, seed: int) -> Segment:
    """1 to 4 s of saw, wind or hiss at a level between -45 and -20 dB of full scale."""
    rng = np.random.default_rng([seed, number])
    seconds = rng.uniform(1.0, 4.0)
    kind = hearing_noise.INVENTED[number % 3]
    sound = rng.standard_normal(int(seconds * material.RATE)) if kind == "hiss" else (
        hearing_noise.noise(kind, seconds, 100 * seed + number))
    sound = sound / np.std(sound) * 10 ** (rng.uniform(*LEVELS_DB) / 20)
    return Segment(0.0, seconds, sound.astype(np.float32))


def noise_alone(bench: Bench, options: argparse.Namespace) -> Found:
    """Invented noise past the gate."""
    yield "noise past the gate", [
        bench.once("alone", str(number), NOTHING, lambda number=number: noise_segment(number, seed=8).samples,
                   kind="invented", voice="none", condition=hearing_noise.INVENTED[number % 3], gated=False)
        for number in range(options.noise)]


def recorded_alone(bench: Bench, options: argparse.Namespace) -> Found:
    """Recorded noise past the gate."""
    kinds = tuple(hearing_noise.RECORDED)

    def samples(number: int) -> np.ndarray:
        rng = np.random.default_rng([8, number])
        sound = hearing_noise.noise(kinds[number % len(kinds)], rng.uniform(1.0, 4.0), number)
        return np.clip(sound * np.float32(10 ** (rng.uniform(*LEVELS_DB) / 20)), -1, 1)

    yield "recorded noise past the gate", [
        bench.once("alone", f"recorded {number}", NOTHING, lambda number=number: samples(number), kind="recorded",
                   voice="none", condition=kinds[number % len(kinds)], gated=False) for number in range(options.noise)]


def demo(bench: Bench, options: argparse.Namespace) -> Found:
    folder = material.ROOT / "demo_audio"
    stored = yaml.safe_load((folder / "clips.yaml").read_text(encoding="utf-8"))["clips"]
    yield "demo clips", [
        bench.once("demo", one["file"], Line(one["say"], one.get("means") or {}, one.get("command")),
                   lambda one=one: soundfile.read(folder / one["file"], dtype="float32")[0], kind="demo",
                   voice=one["voice"], condition=one["noise"]) for one in stored]


PARTS: dict[str, Callable[[Bench, argparse.Namespace], Found]] = {
    "in": in_grammar, "out": out_of_grammar, "people": people, "closed": closed, "noise": noise_hour,
    "alone": noise_alone, "recorded": recorded_alone, "demo": demo,
}
USUAL = tuple(part for part in PARTS if part != "closed")


# ---- the run


def recogniser_called(name: str, grammar: Grammar, model: Path | None = None) -> Recogniser:
    """A recogniser of the registry, with a model's folder if one is given. A second opinion is waited for as long as it
    takes: a machine with other work on it must not change what is heard."""
    two_opinions.WAIT_S = PATIENCE_S
    return make(name, grammar=grammar, **({"model": model} if model else {}))


def state() -> str:
    """A mark of the code, the grammar and the sentences that a result hangs on."""
    digest = hashlib.sha256()
    root = material.ROOT
    folders = [root / "grammars", root / "fieldaid" / "hearing", root / "fieldaid" / "grammar"]
    files = [path for folder in folders for path in folder.rglob("*") if path.suffix not in (".pyc", ".md")]
    files += [*(root / "tests" / "sentences").glob("*.yaml"), *Path(__file__).parent.glob("hearing_*.py")]
    reporting = ("hearing_report.py", "hearing_cost.py")
    for path in sorted(path for path in files if path.is_file() and path.name not in reporting):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]


def run(options: argparse.Namespace) -> None:
    grammar = load_grammar(options.grammar)
    about = {"recogniser": options.recogniser, "set": options.set, "state": state(),
             "model": str(options.model or "")}
    results = Results(options.json, about)
    before, start, cpu = memory_mb(), time.perf_counter(), hearing_cost.cpu_seconds()
    recogniser = recogniser_called(options.recogniser, grammar, options.model)
    load_s, load_cpu_s = time.perf_counter() - start, hearing_cost.cpu_seconds() - cpu
    print(f"recogniser {recogniser.name}, set {options.set}, state {about['state']}")
    for notice in recogniser.notices:
        print(f"    {notice}")
    bench = Bench(recogniser, grammar, results)
    for part in options.parts:
        table(PARTS[part](bench, options))
        # Within the first part, the making of speech or of noise has not yet added to it.
        if part == options.parts[0]:
            most = memory_mb(material.makers())
    results.add({"row": "end", "load_s": load_s, "load_cpu_s": load_cpu_s, "memory_mb": most, "before_mb": before})
    recogniser.close()
    show(results.rows, options)


def show(rows: list[hearing_report.Row], options: argparse.Namespace) -> None:
    for line in hearing_report.tables(rows):
        print(line)
    if options.wrong:
        print("\nwrong:")
        for line in hearing_report.wrong_ones(rows):
            print(line)
    if options.curve is None:
        return
    points = hearing_report.curve(rows, options.score)
    if not points:
        print(f"\nno reliability curve: no clip in the grammar has the figure {options.score!r}; choose with --score")
        return
    for line in hearing_report.curve_table(points, options.score):
        print(line)
    options.curve.mkdir(parents=True, exist_ok=True)
    name = next(row["recogniser"] for row in rows if row["row"] == "run") if options.json or options.report else (
        options.recogniser)
    path = options.curve / f"{name}-{options.score}.svg"
    path.write_text(hearing_report.curve_svg({name: points}, f"Share right against share wrong, by a limit on "
                                             f"{options.score}"), encoding="utf-8")
    print(f"picture: {path}")


def make_speech(options: argparse.Namespace) -> None:
    """Make the speech of the clips that a run with the same options would hear."""
    grammar = load_grammar(options.grammar)
    for clip in _wanted(options, grammar):
        material.spoken(clip.voice, clip.line.say, options.cache)


def _wanted(options: argparse.Namespace, grammar: Grammar) -> Iterator[material.Clip]:
    lines = _lines(options, grammar)
    outside = (material.outside(grammar, "test") if options.set == "held-out" else material.fresh_outside(grammar)[0])
    for kind in options.kinds:
        for condition in options.conditions:
            yield from material.clips_for_test(lines, material.KINDS[kind], condition,
                                               round(options.count * material.SHARES[kind]))
    for condition in OUTSIDE_CONDITIONS:
        yield from material.clips_for_test(outside, material.OUTSIDE_VOICES, condition,
                                           min(options.outside, len(outside)))


def _arguments() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--recogniser", choices=sorted(FACTORIES), default="likelihood")
    parser.add_argument("--model", type=Path, help="a model's folder, for recognisers that take one")
    parser.add_argument("--set", choices=("fresh", "held-out"), default="held-out",
                        help="fresh: to be used for a final judgement alone, never while something is being chosen")
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=list(USUAL), help="all but closed if left out")
    parser.add_argument("--conditions", nargs="+", choices=hearing_noise.CONDITIONS, metavar="CONDITION",
                        default=list(hearing_noise.CONDITIONS), help=f"of {', '.join(hearing_noise.CONDITIONS)}")
    parser.add_argument("--voices", choices=("natural", "all"), default="natural",
                        help="natural: neural; all: also half as many clips in plain voices, a quarter in a poor one")
    parser.add_argument("--count", type=int, default=60, help="clips of natural voices in each condition (60)")
    parser.add_argument("--outside", type=int, default=1000, help="lines outside the grammar, at most")
    parser.add_argument("--people", type=int, default=400, help="recordings of each collection, at most (400)")
    parser.add_argument("--hours", type=float, default=1.0, help="of noise alone (1)")
    parser.add_argument("--noise", type=int, default=60, help="stretches of noise past the gate, of each kind (60)")
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "fieldaid-bench-speech",
                        help="folder for the speech that was made")
    parser.add_argument("--grammar", type=Path, help="folder of templates; the shipped one if left out")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write every clip to this file of JSON lines; if it "
                        "is there, go on with it")
    parser.add_argument("--make-speech", action="store_true", help="only make the speech that the run would hear")
    parser.add_argument("--report", type=Path, metavar="FILE", help="print the tables of a run again")
    parser.add_argument("--compare", type=Path, nargs="+", metavar="FILE", help="print one table of several runs")
    parser.add_argument("--wrong", action="store_true", help="list every wrong clip")
    parser.add_argument("--curve", type=Path, metavar="FOLDER", help="print the reliability curve, and draw it there")
    parser.add_argument("--score", default="fit", help="the figure that the curve puts a limit on (fit)")
    return parser


def main() -> None:
    options = _arguments().parse_args()
    options.kinds = ("natural",) if options.voices == "natural" else tuple(material.KINDS)
    try:
        if options.compare:
            runs = {path.stem: hearing_report.read(path) for path in options.compare}
            for line in hearing_report.comparison(runs):
                print(line)
        elif options.report:
            show(hearing_report.read(options.report), options)
        elif options.make_speech:
            make_speech(options)
        else:
            run(options)
    except (MissingRecording, MissingVoice, FieldaidError, OSError) as problem:
        sys.exit(str(problem))


if __name__ == "__main__":
    main()
