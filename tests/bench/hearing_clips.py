"""Spoken test lines for the recognisers: sentences that were held out from the grammar, in synthetic voices and noise.

Lines and voices fall into two halves, `calibrate` and `test`; nothing of one half is used for the other. The lines are
those of tests/sentences, said with the voices of demo_audio; both noises and the mask are invented models. Speech is
kept in a cache folder, because making it takes longer than hearing it.
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

import noise as noises  # noqa: E402
import voices as speakers  # noqa: E402

from fieldaid.grammar import Grammar  # noqa: E402

RATE = 16_000
VOICES = {
    "calibrate": ("flite-rms", "flite-kal", "festival-kal", "heart-low", "espeak-us"),
    "test": ("heart", "flite-awb", "flite-slt", "festival-slt", "heart-high", "espeak-scotland"),
}
"""heart-low and the two other hearts are one neural voice, its pitch moved: those are not wholly apart."""
POOR = ("espeak-us", "espeak-scotland")
"""Voices that speech models hear much worse than they hear people."""
CONDITIONS: dict[str, tuple[str, float] | None] = {
    "clean": None, "saw 20": ("saw", 20.0), "saw 10": ("saw", 10.0), "wind 10": ("wind", 10.0), "mask": ("mask", 0.0),
}


@dataclass(frozen=True)
class Line:
    """What is said, and the facts that it states; none for speech outside the grammar."""

    say: str
    facts: dict[str, Any]
    command: str | None = None


@dataclass(frozen=True)
class Clip:
    line: Line
    voice: str
    condition: str
    seed: int

    def samples(self, cache: Path) -> np.ndarray:
        """float32, 16 kHz."""
        return disturb(spoken(self.voice, self.line.say, cache), self.condition, self.seed)


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


def clips(lines: list[Line], half: str, condition: str, count: int, natural: bool = False) -> Iterator[Clip]:
    """`count` clips, the voices taking turns; `natural` leaves the poor voices out."""
    voices = [voice for voice in VOICES[half] if not (natural and voice in POOR)]
    shift = list(CONDITIONS).index(condition) if condition in CONDITIONS else 0
    for number in range(count):
        # A line meets another voice in each condition and at each return.
        line = lines[(number + 37 * shift) % len(lines)]
        voice = voices[(number + shift + number // len(lines)) % len(voices)]
        yield Clip(line, voice, condition, 1000 * shift + number)


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
    """A process of its own: the neural voice takes half a gigabyte, which is not the recogniser's."""
    return concurrent.futures.ProcessPoolExecutor(1, multiprocessing.get_context("spawn"))


def _make(voice: str, text: str, path: Path) -> None:
    soundfile.write(path, speakers.speak(voice, text), RATE, subtype="PCM_16")


def disturb(speech: np.ndarray, condition: str, seed: int) -> np.ndarray:
    """`speech` in a condition of CONDITIONS."""
    setting = CONDITIONS[condition]
    if setting is None:
        return speech
    kind, ratio = setting
    return mask(speech, seed) if kind == "mask" else noises.mix(speech, kind, ratio, seed)


def mask(speech: np.ndarray, seed: int) -> np.ndarray:
    """Speech from inside a face piece: highs lost above 1.6 kHz at 12 dB an octave, lows below 250 Hz, the cup's
    resonances, and a hiss of air 25 dB below the voice. An invented model."""
    n = len(speech)
    f = np.fft.rfftfreq(n, 1 / RATE)
    gain = (1.0 / (1.0 + (f / 1600.0) ** 2)) * (f / 250.0) ** 2 / (1.0 + (f / 250.0) ** 2)
    for centre, width, lift in ((520.0, 90.0, 2.2), (1150.0, 140.0, 1.6)):
        gain = gain * (1.0 + lift / (1.0 + ((f - centre) / width) ** 2))
    # The cup's echo: a comb with 1.3 ms between its teeth.
    comb = 1.0 / (1.0 - 0.45 * np.exp(-2j * np.pi * f * 0.0013))
    muffled = np.fft.irfft(np.fft.rfft(speech) * gain * comb, n)
    muffled *= 10 ** ((-23.0 - noises.active_level_db(muffled)) / 20)
    hiss = np.random.default_rng(seed).standard_normal(n)
    muffled += hiss / hiss.std() * 10 ** ((-23.0 - 25.0) / 20)
    return (muffled * min(1.0, 0.95 / float(np.abs(muffled).max()))).astype(np.float32)


def _half(say: str) -> str:
    return "test" if hashlib.sha256(say.encode()).digest()[0] % 2 else "calibrate"


def _reads(grammar: Grammar, line: Line) -> bool:
    parsed = grammar.parse(line.say)
    return parsed.facts == line.facts and (line.command is None or parsed.command == line.command) and bool(
        line.facts or line.command)
