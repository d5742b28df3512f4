"""Speaks the texts for training: `python speech.py texts.json FOLDER ENGINE [--part 0 --parts 2] [--clips N]`

ENGINE is kokoro, espeak, flite or festival. Each part draws texts and voices of its own and writes shards of 100 clips,
so that it can be stopped at any time. Voices of the tests and of the calibration are in no shard.

Needs the system packages espeak-ng, flite, festival, festvox-kallpc16k, and what tests/bench/neural_voices.py needs.
"""

from __future__ import annotations

import argparse
import json
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
import soxr

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
import neural_voices as neural

RATE = neural.RATE
CALIBRATION_STYLES = ("af_sky", "am_eric", "bf_alice", "bm_daniel")
"""Styles on which limits are set: neither trained on nor tested on. So is festival's ked."""
ENGLISH = ("af_alloy", "af_aoede", "af_jessica", "af_kore", "af_nova", "af_river", "af_sarah", "am_adam", "am_echo",
           "am_liam", "am_onyx", "am_puck", "am_santa", "bf_isabella", "bf_lily", "bm_fable", "bm_lewis")
FOREIGN = ("ef_dora", "em_alex", "hf_alpha", "hf_beta", "hm_omega", "hm_psi", "if_sara", "im_nicola", "pf_dora",
           "pm_alex", "zf_xiaobei", "zf_xiaoyi", "zm_yunjian", "zm_yunxi")
"""Speakers of other languages, given English phonemes: they have accents."""
ACCENTS = ("en-us", "en-us", "en-us-nyc", "en-gb", "en-gb-x-rp", "en-gb-x-gbclan", "en-gb-x-gbcwmd", "en-029")
VARIANTS = ("", "m1", "m2", "m3", "m4", "m5", "m6", "m7", "f1", "f2", "f3", "f4", "f5", "Andy", "Annie", "Lee", "Mike",
            "Michael", "adam", "anika", "antonio", "benjamin", "david", "ed", "edward", "iven", "john", "klatt",
            "linda", "marcelo", "max", "pablo", "paul", "robert", "steph", "steph2", "travis",
            "victor", "zac", "Denis", "Gene")
SHARD = 100


def speakable(text: str, rng: random.Random) -> str:
    """Single letters in capitals, so that they are said as letters; "a" only where it can be a side."""
    words = text.split()
    for at, word in enumerate(words):
        bare = word.strip(",")
        beside = {words[other].strip(",") for other in (at - 1, at + 1) if 0 <= other < len(words)}
        letter = len(bare) == 1 and bare not in ("a", "i") or bare == "i" and "c" in beside
        side = bare == "a" and ("side" in beside and rng.random() < 0.7 or beside & {"b", "d", "c"})
        if letter or side:
            words[at] = word.upper()
    return " ".join(words)


def kokoro(text: str, rng: random.Random) -> tuple[str, np.ndarray]:
    draw = rng.random()
    if draw < 0.6:
        style = rng.choice(ENGLISH)
    elif draw < 0.75:
        style = "+".join(rng.sample(ENGLISH, 2))
    else:
        style = rng.choice(FOREIGN)
    return style, neural.say(text, style, rng.uniform(0.85, 1.3))


def espeak(text: str, rng: random.Random) -> tuple[str, np.ndarray]:
    variant = rng.choice(VARIANTS)
    voice = rng.choice(ACCENTS) + (f"+{variant}" if variant else "")
    return f"espeak {voice}", spoken_to_file(lambda path: run(
        ["espeak-ng", "-v", voice, "-s", str(rng.randint(120, 195)), "-p", str(rng.randint(25, 75)), "-w", path, text]))


def flite(text: str, rng: random.Random) -> tuple[str, np.ndarray]:
    voice = rng.choice(("rms", "rms", "kal16", "kal"))
    more = ["--setf", f"duration_stretch={rng.uniform(0.8, 1.2):.2f}"]
    if voice != "rms":
        more += ["--setf", f"int_f0_target_mean={rng.randint(80, 150)}"]
    return f"flite {voice}", spoken_to_file(lambda path: run(["flite", "-voice", voice, *more, "-t", text, "-o", path]))


def festival(text: str, rng: random.Random) -> tuple[str, np.ndarray]:
    stretch = rng.uniform(0.85, 1.2)
    return "festival kal", spoken_to_file(lambda path: run(
        ["text2wave", "-eval", "(voice_kal_diphone)", "-eval", f"(Parameter.set 'Duration_Stretch {stretch:.2f})",
         "-o", path], text))


ENGINES: dict[str, Callable[[str, random.Random], tuple[str, np.ndarray]]] = {
    "kokoro": kokoro, "espeak": espeak, "flite": flite, "festival": festival,
}


def run(command: list[str], stdin: str | None = None) -> None:
    subprocess.run(command, input=stdin, text=True, check=True, capture_output=True)


def spoken_to_file(write: Callable[[str], None]) -> np.ndarray:
    with tempfile.NamedTemporaryFile(suffix=".wav") as spoken:
        write(spoken.name)
        samples, rate = soundfile.read(spoken.name, dtype="float32")
    if rate != RATE:
        samples = soxr.resample(samples, rate, RATE).astype(np.float32)
    return neural.trim(samples)


def level(samples: np.ndarray) -> float:
    """Root mean square of the frames of 20 ms within 30 dB of the loudest."""
    frames = samples[:len(samples) // 320 * 320].reshape(-1, 320)
    power = np.square(frames, dtype=np.float64).mean(1)
    return float(np.sqrt(power[power > power.max() * 1e-3].mean() + 1e-12))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("texts", type=Path)
    parser.add_argument("folder", type=Path)
    parser.add_argument("engine", choices=ENGINES)
    parser.add_argument("--part", type=int, default=0)
    parser.add_argument("--parts", type=int, default=1)
    parser.add_argument("--clips", type=int, default=10**6)
    parser.add_argument("--until", help="stop at this time of day, HH:MM")
    options = parser.parse_args()
    texts = json.loads(options.texts.read_text(encoding="utf-8"))
    # One order for all parts of an engine, each part taking its share: no text twice until all were said.
    random.Random(list(ENGINES).index(options.engine)).shuffle(texts)
    rng = random.Random(f"{options.engine} {options.part}")
    options.folder.mkdir(parents=True, exist_ok=True)
    clips: list[np.ndarray] = []
    about: list[tuple[int, str, str, str]] = []
    made, failed = 0, 0
    for kind, text in texts[options.part::options.parts]:
        if made >= options.clips or (options.until and time.strftime("%H:%M") >= options.until):
            break
        try:
            voice, samples = ENGINES[options.engine](speakable(text, rng), rng)
        except (subprocess.CalledProcessError, ValueError, RuntimeError) as exc:
            failed += 1
            print("left out:", text, exc, file=sys.stderr)
            continue
        if not 0.2 * RATE < len(samples) < 7.5 * RATE:
            continue
        samples = np.clip(samples / level(samples) * 0.07, -0.99, 0.99)
        clips.append((samples * 32767).astype(np.int16))
        about.append((len(samples), voice, kind, text))
        made += 1
        if len(clips) == SHARD:
            _write(options, made, clips, about)
            clips, about = [], []
    if clips:
        _write(options, made, clips, about)
    print(f"{options.engine} {options.part}: {made} clips, {failed} failed")


def _write(options: argparse.Namespace, number: int, clips: list, about: list) -> None:
    path = options.folder / f"{options.engine}-{options.part}-{number:05}.npz"
    part = path.with_suffix(".part")
    with part.open("wb") as out:
        np.savez(out, samples=np.concatenate(clips), about=json.dumps(about))
    part.rename(path)


if __name__ == "__main__":
    main()
