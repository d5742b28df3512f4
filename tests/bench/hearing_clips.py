"""Spoken test lines for the recognisers, in synthetic voices and noise.

Lines, voices and noises for calibrating and for testing are kept apart:

    calibrate   half of tests/sentences/heldout.yaml, in voices of its own, under the conditions of CALIBRATED
    held-out    the other half, in the test voices; it has been looked at while recognisers were made
    fresh       tests/sentences/fresh.yaml, in the test voices; for judging alone, so that it stays fresh

Test voices of the kind "natural" are neural: "heart" of hibari-tts and six styles of Kokoro, all Apache-2.0. "plain"
ones are flite's and festival's; "poor" is espeak-ng's, which speech models hear much worse than they hear people.
Every voice and most noises are synthetic: how people are heard on a roof is not measured by them. Speech is kept in a
cache folder, because making it takes longer than hearing it.
"""

from __future__ import annotations

import concurrent.futures
import functools
import hashlib
import multiprocessing
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import yaml

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "demo_audio"))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import hearing_noise  # noqa: E402
import neural_voices  # noqa: E402
import noise as noises  # noqa: E402, F401
import voices as speakers  # noqa: E402
from hearing_noise import disturb  # noqa: E402
from hearing_score import Line, command_of  # noqa: E402

from fieldaid.grammar import Grammar  # noqa: E402

RATE = 16_000
KINDS: dict[str, tuple[str, ...]] = {
    "natural": ("heart", "af_bella", "am_michael", "bf_emma", "af_nicole", "am_fenrir", "bm_george"),
    "plain": ("flite-slt", "flite-awb", "festival-slt"),
    "poor": ("espeak-scotland",),
}
"""The test voices."""
OUTSIDE_VOICES = ("heart", *KINDS["plain"])
"""Of lines outside the grammar: those that are quick to make."""
NEURAL = ("am_adam", "af_sky", "am_eric", "bf_alice", "bm_daniel",
          *(voice for voice in KINDS["natural"] if voice != "heart"))
"""Styles of Kokoro that are used by name."""
VOICES = {
    "calibrate": ("flite-rms", "flite-kal", "festival-kal", "am_adam", "espeak-us"),
    "test": ("heart", "flite-awb", "flite-slt", "festival-slt", "heart-high", "espeak-scotland"),
}
"""Those of `clips`; heart-high is a copy of heart, so that `clips_for_test` leaves it out."""
POOR = ("espeak-us", "espeak-scotland")
SHARES = {"natural": 1.0, "plain": 0.5, "poor": 0.25}
"""Clips of each kind of voice, as a share of the count asked for."""
CONDITIONS = {name: hearing_noise.CONDITIONS[name] for name in hearing_noise.CALIBRATED}
"""The conditions for calibrating."""
_NO_CALL = ("mayday", "no play", "affirm", "negative")
"""Commands that are said without the call sign."""

for _style in NEURAL:
    speakers.VOICES.setdefault(_style, functools.partial(neural_voices.say, style=_style))


@dataclass(frozen=True)
class Clip:
    line: Line
    voice: str
    condition: str
    seed: int

    @property
    def key(self) -> str:
        """What makes it the same clip again."""
        return f"{self.condition}|{self.voice}|{self.seed}|{self.line.say}"

    @property
    def kind(self) -> str:
        """The kind of its voice."""
        return next((kind for kind, voices in KINDS.items() if self.voice in voices), "calibrate")

    def samples(self, cache: Path) -> np.ndarray:
        """float32, 16 kHz."""
        return disturb(spoken(self.voice, self.line.say, cache), self.condition, self.seed)


# ---- lines


def held_out(grammar: Grammar, half: str) -> tuple[list[Line], int]:
    """The lines of one half that the grammar reads as they are meant when typed, and how many it does not: those would
    measure the grammar and not the hearing. Every third line is two lines said in one breath."""
    stored = yaml.safe_load((ROOT / "tests/sentences/heldout.yaml").read_text(encoding="utf-8"))
    good: list[Line] = []
    missed = 0
    for entry in [*stored["facts"], *stored["commands"]]:
        if _half(entry["say"]) != half:
            continue
        line = Line(entry["say"], entry.get("means", {}), entry.get("command"))
        if _reads(grammar, line):
            good.append(line)
        else:
            missed += 1
    rng = np.random.default_rng(5)
    order = [good[number] for number in rng.permutation(len(good))]
    found: list[Line] = []
    for number, line in enumerate(order):
        if number % 3 == 2 and line.command is None and not line.say.startswith(("no play", "mayday")):
            other = order[number - 1]
            both = Line(f"{line.say}, {other.say}", {**other.facts, **line.facts}, other.command)
            if not set(line.facts) & set(other.facts) and _reads(grammar, both):
                line = both
        if number % 3 != 1:
            line = Line(f"Field aid, {line.say}", line.facts, line.command)
        found.append(line)
    return found, missed


def outside(grammar: Grammar, half: str) -> list[Line]:
    """Lines that state no fact, typed: many are close to the grammar's own words."""
    stored = yaml.safe_load((ROOT / "tests/sentences/out_of_grammar.yaml").read_text(encoding="utf-8"))
    lines = [say for say in stored["lines"] if len(say.split()) > 1 and say.isascii() and any(map(str.isalpha, say))]
    found = [Line(say, {}) for say in lines if _half(say) == half and not grammar.parse(say).facts]
    return [found[number] for number in np.random.default_rng(6).permutation(len(found))]


def _stored_fresh() -> dict[str, Any]:
    return yaml.safe_load((ROOT / "tests/sentences/fresh.yaml").read_text(encoding="utf-8"))


def fresh(grammar: Grammar) -> tuple[list[Line], list[tuple[Line, str]]]:
    """The fresh lines that the grammar reads as meant when typed, mixed, two of three with the call sign; and those
    that it does not, with what it reads instead."""
    lines = [Line(entry["say"], entry.get("means", {}), entry.get("command"), entry.get("fact"), heading)
             for heading, entries in _stored_fresh().items() if heading != "outside" for entry in entries]
    good: list[Line] = []
    missed: list[tuple[Line, str]] = []
    for number, at in enumerate(np.random.default_rng(7).permutation(len(lines))):
        line = lines[at]
        parsed = grammar.parse(line.say)
        if (parsed.facts, command_of(parsed), parsed.command_fact) != (line.facts, line.command, line.command_fact):
            missed.append((line, _reading(parsed)))
        elif number % 3 == 1 or line.kind == "dangers" or line.command in _NO_CALL:
            good.append(line)
        else:
            good.append(Line(f"Field aid, {line.say}", line.facts, line.command, line.command_fact, line.kind))
    return good, missed


def fresh_outside(grammar: Grammar) -> tuple[list[Line], list[tuple[Line, str]]]:
    """The fresh lines outside the grammar, mixed, and those of them that the grammar takes for something when typed.
    Every third has the call sign: speech to the tool that it must not take for a fact."""
    lines = [Line(say, {}, kind=heading) for heading, says in _stored_fresh()["outside"].items() for say in says]
    good: list[Line] = []
    missed: list[tuple[Line, str]] = []
    for number, at in enumerate(np.random.default_rng(8).permutation(len(lines))):
        line = lines[at]
        parsed = grammar.parse(line.say)
        if parsed.facts or command_of(parsed):
            missed.append((line, _reading(parsed)))
        else:
            good.append(Line(f"Field aid, {line.say}", {}, kind=line.kind) if number % 3 == 0 else line)
    return good, missed


def _reading(parsed) -> str:
    return ", ".join([f"{name} {value}" for name, value in parsed.facts.items()]
                     + [one for one in (command_of(parsed), parsed.command_fact) if one]) or "nothing"


# ---- clips


def clips(lines: list[Line], half: str, condition: str, count: int, natural: bool = False) -> Iterator[Clip]:
    """`count` clips for calibrating, the voices taking turns; `natural` leaves the poor voices out."""
    voices = [voice for voice in VOICES[half] if not (natural and voice in POOR)]
    shift = list(CONDITIONS).index(condition) if condition in CONDITIONS else 0
    for number in range(count):
        # A line meets another voice in each condition and at each return.
        line = lines[(number + 37 * shift) % len(lines)]
        voice = voices[(number + shift + number // len(lines)) % len(voices)]
        yield Clip(line, voice, condition, 1000 * shift + number)


def clips_for_test(lines: list[Line], voices: tuple[str, ...], condition: str, count: int) -> Iterator[Clip]:
    """`count` clips for testing: the same lines in the same voices in all conditions, so that conditions
    differ by the noise alone. When the lines begin again, each meets the next voice."""
    shift = list(hearing_noise.CONDITIONS).index(condition)
    for number in range(count):
        turn, at = divmod(number, len(lines))
        yield Clip(lines[at], voices[(at + turn) % len(voices)], condition, 1000 * shift + number)


def spoken(voice: str, text: str, cache: Path) -> np.ndarray:
    """`text` said by `voice`, from the cache if it was said before."""
    text = re.sub(r"\b(osb|tic)\b", lambda match: " ".join(match[1].upper()), text)
    path = cache / f"{voice}-{hashlib.sha256(text.encode()).hexdigest()[:16]}.flac"
    if not path.exists():
        cache.mkdir(parents=True, exist_ok=True)
        _maker().submit(_make, voice, text, path).result()
    return soundfile.read(path, dtype="float32")[0]


@functools.cache
def _maker() -> concurrent.futures.ProcessPoolExecutor:
    """A process of its own: the neural voices take half a gigabyte, which is not the recogniser's."""
    return concurrent.futures.ProcessPoolExecutor(1, multiprocessing.get_context("spawn"))


def makers() -> frozenset[int]:
    """The processes that make speech."""
    if not _maker.cache_info().currsize:
        return frozenset()
    return frozenset(_maker()._processes or {})


def _make(voice: str, text: str, path: Path) -> None:
    # Under another name first: a file that is there is whole, also when several make speech at once.
    made = path.with_suffix(f".{multiprocessing.current_process().pid}.part")
    soundfile.write(made, speakers.speak(voice, text), RATE, subtype="PCM_16", format="FLAC")
    made.replace(path)


def _half(say: str) -> str:
    return "test" if hashlib.sha256(say.encode()).digest()[0] % 2 else "calibrate"


def _reads(grammar: Grammar, line: Line) -> bool:
    parsed = grammar.parse(line.say)
    return parsed.facts == line.facts and (line.command is None or parsed.command == line.command) and bool(
        line.facts or line.command)
