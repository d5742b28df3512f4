"""The conditions that speech is heard in: invented noises, and noises that were recorded.

The recordings come from Debian packages; nothing of them is in the repository. They are for tests only: nothing may be
trained or calibrated on them. `python tests/bench/hearing_noise.py --fetch` gets the packages with apt and unpacks them
into the folder of `packages_folder`; without them the conditions that need them cannot be heard.

openttd-opensfx        chain saw (JFBSAUVE), circular saw (Benboncan), bus and lorry engines (saphix, icmusic,
                       roscoetoon), helicopter (lorenzosu), jackhammer (Bluesy1905), wind (Anton), crowd (lonemonk):
                       CC BY 3.0, CC BY-SA 3.0 or CC0, each named in the file
searchandrescue-data   rotors: GPL-2
minetest-data          fire, water: CC BY-SA 3.0
supertux-data          rain: GPL-2+ or CC BY-SA 3.0

The recordings are 2 to 26 s long, edited for games, and looped here: they are real sounds, but few.
"""

from __future__ import annotations

import argparse
import functools
import io
import os
import struct
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "demo_audio"))

import noise as invented  # noqa: E402

RATE = 16_000
_CAT = "usr/share/games/openttd/baseset/opensfx/opensfx.cat"
_RESCUE = "usr/share/games/searchandrescue/sounds/"
_MINETEST = "usr/share/games/minetest/games/minetest_game/mods/"
RECORDED: dict[str, tuple[tuple[str, str, int | None], ...]] = {
    "recorded saw": (("openttd-opensfx", _CAT, 56), ("openttd-opensfx", _CAT, 40)),
    "recorded engine": tuple(("openttd-opensfx", _CAT, number) for number in (25, 27, 28)),
    "rotor": (("openttd-opensfx", _CAT, 24), *(("searchandrescue-data", _RESCUE + name, None) for name in (
        "helicopter_engine_inside.wav", "helicopter_engine_outside.wav", "helicopter_engine_outside2.wav",
        "hh65/engine_inside.wav"))),
    "fire": tuple(("minetest-data", f"{_MINETEST}fire/sounds/{name}.ogg", None) for name in (
        "fire_large", "fire_small", "fire_fire.1", "fire_fire.2", "fire_fire.3")),
    "water": (*(("minetest-data", f"{_MINETEST}env_sounds/sounds/env_sounds_water.{n}.ogg", None) for n in range(1, 5)),
              ("supertux-data", "usr/share/games/supertux2/sounds/rain.wav", None)),
    "recorded wind": (("openttd-opensfx", _CAT, 52),),
    "jackhammer": (("openttd-opensfx", _CAT, 33),),
    "crowd": (("openttd-opensfx", _CAT, 29),),
}
"""Kind to (package, file in it, entry of a sound catalogue)."""
PACKAGES = sorted({package for files in RECORDED.values() for package, _, _ in files})
INVENTED = ("saw", "wind", "hiss")


@dataclass(frozen=True)
class Condition:
    """A mask or none, then noise `ratio_db` below the speech-active level, or none."""

    kind: str = ""
    ratio_db: float = 0.0
    masked: bool = False


CONDITIONS: dict[str, Condition] = {
    "clean": Condition(),
    "saw 20": Condition("saw", 20),
    "saw 10": Condition("saw", 10),
    "saw 5": Condition("saw", 5),
    "wind 10": Condition("wind", 10),
    "mask": Condition(masked=True),
    "mask + saw 10": Condition("saw", 10, masked=True),
    "recorded saw 10": Condition("recorded saw", 10),
    "recorded saw 5": Condition("recorded saw", 5),
    "recorded engine 10": Condition("recorded engine", 10),
    "recorded engine 5": Condition("recorded engine", 5),
    "rotor 10": Condition("rotor", 10),
    "fire 10": Condition("fire", 10),
    "water 10": Condition("water", 10),
    "recorded wind 10": Condition("recorded wind", 10),
}
CALIBRATED = ("clean", "saw 20", "saw 10", "wind 10", "mask")
"""Those that limits may be chosen on, with other voices and other lines."""


class MissingRecording(Exception):
    """A package is not unpacked; the message says how to get it."""


def disturb(speech: np.ndarray, condition: str, seed: int) -> np.ndarray:
    """`speech` in a condition of CONDITIONS: float32, 16 kHz."""
    setting = CONDITIONS[condition]
    if setting.masked:
        speech = mask(speech, seed)
    if not setting.kind:
        return speech
    if setting.kind in invented.KINDS:
        return invented.mix(speech, setting.kind, setting.ratio_db, seed)
    sound = noise(setting.kind, len(speech) / RATE + 0.01, seed)[: len(speech)]
    mixed = speech + sound * np.float32(10 ** ((invented.active_level_db(speech) - setting.ratio_db) / 20))
    return (mixed * np.float32(min(1.0, 0.95 / np.abs(mixed).max()))).astype(np.float32)


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
    muffled *= 10 ** ((-23.0 - invented.active_level_db(muffled)) / 20)
    hiss = np.random.default_rng(seed).standard_normal(n)
    muffled += hiss / hiss.std() * 10 ** ((-23.0 - 25.0) / 20)
    return (muffled * min(1.0, 0.95 / float(np.abs(muffled).max()))).astype(np.float32)


def noise(kind: str, seconds: float, seed: int) -> np.ndarray:
    """`seconds` of a kind of noise, of unit power: float32. Recordings are looped, each time round at another speed.

    Raises
    ------
    MissingRecording : its package is not unpacked
    """
    if kind in invented.KINDS:
        return invented.KINDS[kind](seconds, seed)
    rng = np.random.default_rng(seed)
    n = int(seconds * RATE)
    sound = rng.standard_normal(n) if kind == "hiss" else _looped(kind, n, rng)
    return (sound / (sound.std() + 1e-12)).astype(np.float32)


def _looped(kind: str, n: int, rng: np.random.Generator) -> np.ndarray:
    """One recording of the kind, from a point of its own, its ends laid over each other for 50 ms."""
    files = RECORDED[kind]
    source = recording(*files[int(rng.integers(len(files)))])
    overlap = RATE // 20
    fade = np.linspace(0.0, 1.0, overlap)
    made = np.zeros(0)
    first = True
    while len(made) < n:
        speed = rng.uniform(0.93, 1.07)
        piece = soxr.resample(source, RATE * speed, RATE).astype(float)
        if first:
            piece = piece[int(rng.uniform(0, 0.8) * len(piece)):]
            made, first = piece, False
            continue
        made[-overlap:] = made[-overlap:] * (1 - fade) + piece[:overlap] * fade
        made = np.concatenate([made, piece[overlap:]])
    return made[:n]


@functools.cache
def recording(package: str, file: str, entry: int | None = None) -> np.ndarray:
    """A recording as mono 16 kHz of unit power, its quiet ends cut off.

    Raises
    ------
    MissingRecording : the package is not unpacked
    """
    data = package_file(package, file).read_bytes()
    samples, rate = soundfile.read(io.BytesIO(data if entry is None else _entry(data, entry)), dtype="float32",
                                   always_2d=True)
    mono = samples.mean(axis=1)
    mono = soxr.resample(mono - mono.mean(), rate, RATE) if rate != RATE else mono - mono.mean()
    frames = np.abs(mono[: len(mono) // 320 * 320]).reshape(-1, 320).max(axis=1)
    loud = np.flatnonzero(frames > 0.05 * frames.max())
    mono = mono[loud[0] * 320:(loud[-1] + 1) * 320]
    return (mono / mono.std()).astype(np.float32)


def _entry(data: bytes, number: int) -> bytes:
    """The WAV file with this number in a catalogue of sounds: a table of offset and size, then name and WAV each."""
    at = struct.unpack_from("<I", data, 8 * number)[0] & 0x7FFF_FFFF
    at += 1 + data[at]
    return data[at:at + 8 + struct.unpack_from("<I", data, at + 4)[0]]


def packages_folder() -> Path:
    """FIELDAID_BENCH_PACKAGES, or a folder in the user's cache."""
    return Path(os.environ.get("FIELDAID_BENCH_PACKAGES", "~/.cache/fieldaid/bench-packages")).expanduser()


def package_file(package: str, file: str) -> Path:
    """A file of an unpacked package.

    Raises
    ------
    MissingRecording : it is not there
    """
    path = packages_folder() / package / file
    if not path.is_file():
        raise MissingRecording(f"{path} is not there; get the package {package} with "
                               "`python tests/bench/hearing_noise.py --fetch` (Debian or Ubuntu), or leave out what "
                               "needs it")
    return path


def fetch(packages: list[str]) -> None:
    """Unpack Debian packages into `packages_folder`; nothing is installed.

    Raises
    ------
    MissingRecording : apt cannot get one
    """
    folder = packages_folder()
    folder.mkdir(parents=True, exist_ok=True)
    for package in packages:
        if (folder / package).is_dir():
            continue
        try:
            subprocess.run(["apt-get", "download", package], cwd=folder, check=True, capture_output=True, text=True)
            deb = next(folder.glob(f"{package}_*.deb"))
            subprocess.run(["dpkg-deb", "-x", str(deb), str(folder / package)], check=True, capture_output=True)
            deb.unlink()
        except (OSError, subprocess.CalledProcessError, StopIteration) as exc:
            raise MissingRecording(f"the package {package} cannot be got: "
                                   f"{getattr(exc, 'stderr', '') or exc}; is this Debian, with a network?") from None


def main() -> None:
    parser = argparse.ArgumentParser(description="Gets the recorded noises of the hearing bench.")
    parser.add_argument("--fetch", action="store_true", help=f"get {', '.join(PACKAGES)} into {packages_folder()}")
    if parser.parse_args().fetch:
        fetch(PACKAGES)
    for kind, files in RECORDED.items():
        seconds = [len(recording(*file)) / RATE for file in files]
        print(f"{kind:16} {len(files)} recordings, {sum(seconds):.1f} s")


if __name__ == "__main__":
    try:
        main()
    except MissingRecording as problem:
        sys.exit(str(problem))
