"""Recordings of people, for tests only: nothing is trained or calibrated on them, and nothing of them is shipped.

    prompts   asterisk-core-sounds-en-g722: one speaker, sentences of a telephone exchange; CC BY-SA 3.0
    French    asterisk-core-sounds-fr-g722: the same in French, another speaker; CC BY-SA 3.0
    read      test/data of the source package of pocketsphinx 5.1.1: several speakers; BSD and public domain
    words     ktuberling-data (GPL-2+), klettres-data (GPL-2+), tuxpaint-stamps-default (GPL-2), alsa-utils (GPL-2),
              sound-theme-freedesktop (CC BY-SA, GPL-2+): single words and short texts, several speakers
    played    flight-of-the-amazon-queen: about 6,700 lines of actors, old and of low band width; a free licence of its
              own that forbids selling it
    numbers, years, sides
              words of "prompts" that a grammar of only numbers, years or side names knows: a closed set, because no
              recording of a person saying a whole line of the real grammar is known to us. Years are two words put
              together.

`python tests/bench/hearing_people.py --fetch` gets them with apt (and the source package with pip), as hearing_noise.py
does; `pip install G722` decodes the first two. No speaker wears a mask or stands in noise.
"""

from __future__ import annotations

import argparse
import io
import re
import struct
import subprocess
import sys
import tarfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import hearing_noise
from hearing_noise import MissingRecording, invented
from hearing_score import Line

RATE = 16_000
_PROMPTS = "usr/share/asterisk/sounds/"
_SPEAKERS = {"en": "en_US_f_Allison", "fr": "fr_CA_f_June"}
_WORDS = (("ktuberling-data", "usr/share/ktuberling/sounds/en/*.ogg"),
          ("klettres-data", "usr/share/klettres/en*/*/*.ogg"),
          ("tuxpaint-stamps-default", "usr/share/tuxpaint/stamps/**/*_desc.ogg"),
          ("alsa-utils", "usr/share/sounds/alsa/*_*.wav"),
          ("sound-theme-freedesktop", "usr/share/sounds/freedesktop/stereo/audio-channel-*.oga"))
_SPHINX = "pocketsphinx-5.1.1"
_PLAYED = ("flight-of-the-amazon-queen", "usr/share/scummvm/flight-of-the-amazon-queen/queen.1c")
PACKAGES = sorted({"asterisk-core-sounds-en-g722", "asterisk-core-sounds-fr-g722", _PLAYED[0], *(p for p, _ in _WORDS)})
_NO_SPEECH = re.compile(r"^(silence|digits|letters|phonetic)/|beep|[25]tone$|-2tone|monkeys$|weasels-eaten|ha/")
SHORTEST_S, LONGEST_S = 0.3, 11.0
_UNITS = ("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
          "seventeen eighteen nineteen twenty").split()
_TENS = {30: "thirty", 40: "forty", 50: "fifty", 60: "sixty", 70: "seventy", 80: "eighty", 90: "ninety"}


@dataclass(frozen=True)
class Said:
    """A recording: `read` gives it as float32, mono, 16 kHz, at -23 dB of full scale, with quiet at both ends."""

    name: str
    read: Callable[[], np.ndarray]


@dataclass(frozen=True)
class ClosedSet:
    """A grammar's text, and recordings with what they say in it."""

    name: str
    grammar: str
    clips: tuple[tuple[Line, Said], ...]


COLLECTIONS = ("prompts", "French", "read", "words", "played")


def recordings(collection: str, count: int) -> list[Said]:
    """At most `count` recordings, always the same ones.

    Raises
    ------
    MissingRecording : a package is missing
    """
    found = {"prompts": lambda: _prompts("en"), "French": lambda: _prompts("fr"), "read": _read, "words": _words,
             "played": _played}[collection]()
    order = np.random.default_rng(9).permutation(len(found))
    return [found[number] for number in order[:count]]


def closed_sets() -> Iterator[ClosedSet]:
    """Numbers, years and sides. Reading a clip raises MissingRecording when the package is missing."""
    folder = _prompts_folder("en")
    words = {**dict(enumerate(_UNITS)), **_TENS}
    numbers = [((value,), words[value]) for value in words]
    numbers += [((tens, unit), f"{words[tens]} {words[unit]}") for tens in (20, *_TENS) for unit in (1, 4, 7)]
    yield ClosedSet("numbers", 'phrases: [{tells: {wind.mph: "{n}"}, say: ["{0-99 n}"]}]', tuple(
        (Line(says, {"wind.mph": sum(parts)}), _digits(folder, says, parts)) for parts, says in numbers))
    years = [(century, rest) for century in (18, 19) for rest in (*range(10, 20), 20, *_TENS)] + [(20, 15), (20, 18)]
    yield ClosedSet("years", 'phrases: [{tells: {building.built: "{year}"}, say: ["{year}"]}]', tuple(
        (Line(f"{words[a]} {words[b]}", {"building.built": 100 * a + b}), _digits(folder, f"{a}{b}", (a, b)))
        for a, b in years))
    sides = {"A": "alpha", "B": "bravo", "C": "charlie", "D": "delta"}
    clips = [(Line(word, {"fire.side": side}), _one(folder / f"phonetic/{side.lower()}_p.g722", word))
             for side, word in sides.items()]
    clips += [(Line(f"another word: {letter}", {}), _one(folder / f"phonetic/{letter}_p.g722", letter))
              for letter in "efghijklmnopqrstuvwxyz"]
    rows = ", ".join(f"{side}: {word}" for side, word in sides.items())
    yield ClosedSet("sides", f"lists: {{side: {{{rows}}}}}\n"
                    'phrases: [{tells: {fire.side: "{side}"}, say: ["{side}"]}]', tuple(clips))


def _prompts_folder(language: str) -> Path:
    package = f"asterisk-core-sounds-{language}-g722"
    return hearing_noise.packages_folder() / package / _PROMPTS / _SPEAKERS[language]


def _prompts(language: str) -> list[Said]:
    folder = _prompts_folder(language)
    names = [path.relative_to(folder).with_suffix("").as_posix() for path in sorted(folder.rglob("*.g722"))]
    if not names:
        raise _missing(folder)
    return [_one(folder / f"{name}.g722", name) for name in names if not _NO_SPEECH.search(name)]


def _one(path: Path, name: str) -> Said:
    return Said(name, lambda: framed(_g722(path)))


def _digits(folder: Path, name: str, parts: tuple[int, ...]) -> Said:
    def read() -> np.ndarray:
        words = [trimmed(_g722(folder / f"digits/{part}.g722")) for part in parts]
        gap = np.zeros(RATE // 33, np.float32)
        return framed(np.concatenate([piece for word in words for piece in (word, gap)][:-1]))

    return Said(name, read)


def _g722(path: Path) -> np.ndarray:
    if not path.is_file():
        raise _missing(path)
    try:
        from G722 import G722
    except ImportError:
        raise MissingRecording("these recordings need a decoder: pip install G722") from None
    return np.asarray(G722(RATE, 64_000).decode(path.read_bytes()), np.float32) / 32768


def _missing(path: Path) -> MissingRecording:
    return MissingRecording(f"{path} is not there; get it with `python tests/bench/hearing_people.py --fetch`")


def _words() -> list[Said]:
    found = []
    for package, pattern in _WORDS:
        paths = sorted((hearing_noise.packages_folder() / package).glob(pattern))
        if not paths:
            raise _missing(hearing_noise.packages_folder() / package)
        found += [Said(f"{package}: {path.stem}", lambda path=path: _file(path)) for path in paths
                  if path.is_file() and not path.stem.startswith("Noise")]
    return found


def _file(source: Path | io.BytesIO) -> np.ndarray:
    samples, rate = soundfile.read(source, dtype="float32", always_2d=True)
    mono = samples.mean(axis=1)
    return framed(soxr.resample(mono, rate, RATE) if rate != RATE else mono)


def _read() -> list[Said]:
    folder = hearing_noise.packages_folder() / _SPHINX / "test" / "data"
    if not folder.is_dir():
        raise _missing(folder)
    names = [*folder.glob("cards/*.wav"), *folder.glob("librivox/*.wav"), *folder.glob("forever/*_16k.wav")]
    found = [Said(path.stem, lambda path=path: _file(path)) for path in sorted(names)]
    raw = [folder / f"{name}.raw" for name in ("goforward", "numbers", "something", "tidigits/dhd.2934z")]
    return found + [Said(path.stem, lambda path=path: framed(np.fromfile(path, "<i2").astype(np.float32) / 32768))
                    for path in raw if path.is_file()]


def _played() -> list[Said]:
    """The lines of the game's archive: a table of name (12 bytes), bundle, offset and size, big-endian; MP3."""
    path = hearing_noise.package_file(*_PLAYED)
    data = path.read_bytes()
    count = struct.unpack_from(">H", data, 13)[0]
    found = []
    for number in range(count):
        name, _, offset, size = struct.unpack_from(">12sBII", data, 15 + 21 * number)
        name = name.rstrip(b"\0").decode("ascii")
        if name.endswith(".SB"):
            found.append(Said(name[:-3], lambda offset=offset, size=size: _file(
                io.BytesIO(path.read_bytes()[offset:offset + size]))))
    return found


def trimmed(samples: np.ndarray, below: float = 0.02) -> np.ndarray:
    """Without the quiet at the ends."""
    loud = np.flatnonzero(np.abs(samples) > below * np.abs(samples).max(initial=1e-9))
    return samples[loud[0]:loud[-1] + 1] if len(loud) else samples


def framed(samples: np.ndarray) -> np.ndarray:
    """At a speech-active level of -23 dB of full scale, 0.35 s of quiet at each end."""
    samples = trimmed(np.asarray(samples, np.float32))
    if len(samples) < RATE // 50 or not np.abs(samples).max() > 0:
        return np.zeros(RATE, np.float32)
    samples = samples * np.float32(10 ** ((-23.0 - invented.active_level_db(samples)) / 20))
    samples = samples * np.float32(min(1.0, 0.95 / np.abs(samples).max()))
    return np.pad(samples, int(0.35 * RATE)).astype(np.float32)


def fetch() -> None:
    """Get every package.

    Raises
    ------
    MissingRecording : one cannot be got
    """
    hearing_noise.fetch(PACKAGES)
    folder = hearing_noise.packages_folder()
    if (folder / _SPHINX).is_dir():
        return
    try:
        subprocess.run([sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--no-binary", "pocketsphinx",
                        _SPHINX.replace("-", "=="), "-d", str(folder)], check=True, capture_output=True, text=True)
        with tarfile.open(folder / f"{_SPHINX}.tar.gz") as archive:
            archive.extractall(folder, filter="data")
    except (OSError, subprocess.CalledProcessError) as exc:
        why = getattr(exc, "stderr", "") or exc
        raise MissingRecording(f"the source of pocketsphinx cannot be got: {why}") from None


def main() -> None:
    parser = argparse.ArgumentParser(description="Gets the recordings of people of the hearing bench.")
    parser.add_argument("--fetch", action="store_true", help=f"get them into {hearing_noise.packages_folder()}")
    if parser.parse_args().fetch:
        fetch()
    for collection in COLLECTIONS:
        found = recordings(collection, 10_000)
        some = [len(one.read()) / RATE - 0.7 for one in found[:40]]
        print(f"{collection:10} {len(found):5} recordings of {np.median(some):.1f} s (median of 40)")
    for one in closed_sets():
        print(f"{one.name:10} {len(one.clips):5} recordings, a closed set")


if __name__ == "__main__":
    try:
        main()
    except MissingRecording as problem:
        sys.exit(str(problem))
