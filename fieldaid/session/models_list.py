"""`fieldaid models`: which Vosk models are here, whether they work, and how to get one."""

from __future__ import annotations

import importlib.metadata
import os
from pathlib import Path
from typing import TextIO

import numpy as np

from fieldaid.errors import FieldaidError, SoundError
from fieldaid.grammar import load_grammar
from fieldaid.hearing import choose, vosk_models
from fieldaid.hearing.sound import RATE
from fieldaid.hearing.vosk_models import PUBLISHED, Found
from fieldaid.hearing.vosk_process import VoskProcess
from fieldaid.hearing.vosk_recogniser import LEAST_KNOWN, UNKNOWN

SILENCE = bytes(2 * RATE)
NOISE = (np.random.default_rng(1).normal(0, 3000, 2 * RATE)).astype("<i2").tobytes()
"""One second of the one, two of the other, as 16-bit sound; noise walks through more of the model's graph."""
MEASURE = "python tests/bench/bench_vosk.py --clips --model NAME (in a checkout)"
NOT_MEASURED = "How well a Vosk model hears this grammar in English: not measured."


def show(out: TextIO) -> int:
    """What is found, where was looked, and how to install a model by hand. Files are looked at, nothing is loaded."""
    if vosk_models.is_installed():
        print(f"vosk {importlib.metadata.version('vosk')} is installed.", file=out)
    else:
        print(f"vosk is not installed: {vosk_models.INSTALL}", file=out)
    places, found = vosk_models.survey()
    print("\nLooked in:", file=out)
    for place in places:
        print(f"  {place.name}: {place.state}", file=out)
    print("\nFound:" if found else "\nFound: no model.", file=out)
    for one in found:
        print(f"  {one.name}: {_describe(one)}\n      {one.folder}", file=out)
    print(f"\nUsed when no model is named: {_chosen()}", file=out)
    print(f"hear and talk use now: {_plan()}.", file=out)
    print(f"{NOT_MEASURED}\n    Measure it on the demo clips: {MEASURE}\n", file=out)
    _explain(out)
    return 0


def check(folder: str | os.PathLike[str] | None, out: TextIO) -> int:
    """Whether a model (a folder, or the name of one found; None for every one found) is whole, loads, answers
    silence with silence, and knows the words of the grammar. 1 when one does not.

    Raises
    ------
    WrongUse : the package is missing, or no model is found
    """
    if not vosk_models.is_installed():
        raise vosk_models.missing_package()
    _, found = vosk_models.survey()
    if folder is not None:
        named = Path(folder).expanduser()
        wanted = [named if named.is_dir() else next((one.folder for one in found if one.name == str(folder)), named)]
    else:
        wanted = [one.folder for one in found]
    if not wanted:
        print("There is no model to check. fieldaid models says how to get one.", file=out)
        return 1
    return max(_check_one(one, out) for one in wanted)


def fetch(name: str | None, out: TextIO) -> int:
    """Fetch a model where there is a network; None fetches the small English one.

    Raises
    ------
    WrongUse, FieldaidError : see `vosk_models.fetch`
    """
    name = name or PUBLISHED[0].name
    there = (vosk_models.cache() / name).exists()
    folder, compared = vosk_models.fetch(name)
    if there:
        print(f"{name} is here already: {folder}", file=out)
    else:
        sums = f"checksum compared: {', '.join(compared)}" if compared else "no checksum is published for it"
        print(f"{name} was fetched into {folder} ({sums}).", file=out)
    print(f"Next: fieldaid models check {folder}", file=out)
    return 0


def _check_one(folder: Path, out: TextIO) -> int:
    print(folder, file=out)
    if wrong := vosk_models.findings(folder):
        for finding in wrong:
            print(f"  {finding}", file=out)
        return 1
    print("  files: whole, as far as their names and first bytes tell", file=out)
    words = sorted(load_grammar().words())
    process = VoskProcess(folder)
    try:
        process.wait_ready()
        print(f"  loads: in {process.load_ms / 1000:.1f} s", file=out)
        known = process.known([*words, UNKNOWN])
        memory = process.listen_for(None, RATE)
        text = " ".join(str(one.get("text", "")) for one in process.hear(SILENCE)).strip()
        process.hear(NOISE)
    except SoundError as error:
        print(f"  FAILS: {error.why}", file=out)
        return 1
    finally:
        process.close()
    print(f"  silence: {'heard as nothing' if not text else f'heard as: {text}'}; memory {memory:.0f} MB", file=out)
    missing = [word for word in words if word not in known]
    fits = len(missing) <= LEAST_KNOWN * len(words)
    told = _listed(missing) if fits else ", so it is of another language and cannot be used with this grammar"
    print(f"  the grammar: {len(words) - len(missing)} of {len(words)} words known{told}", file=out)
    phrases = "taken" if vosk_models.takes_phrases(folder) else "not taken, it hears any words"
    print(f"  phrase list: {phrases}", file=out)
    print(f"  unknown speech: {'told apart' if UNKNOWN in known else 'comes back as words of the grammar'}", file=out)
    print("  A damaged part of the model may show only later: the archive's checksum tells.", file=out)
    print(f"  {NOT_MEASURED}", file=out)
    return 1 if text or not fits else 0


def _listed(missing: list[str], most: int = 30) -> str:
    if not missing:
        return ""
    more = f" and {len(missing) - most} more" if len(missing) > most else ""
    return f"; not {', '.join(missing[:most])}{more}"


def _describe(one: Found) -> str:
    wrong = vosk_models.findings(one.folder)
    if wrong:
        return f"DAMAGED, {len(wrong)} finding(s): fieldaid models check {one.folder}"
    language = f"language {one.language}" if one.language else "language not told by its name"
    use = "" if one.english else ", used only when named"
    phrases = "takes a phrase list" if vosk_models.takes_phrases(one.folder) else "takes no phrase list"
    return f"files whole, {language}{use}, {phrases}; from {one.place}"


def _chosen() -> str:
    try:
        return str(vosk_models.choose())
    except FieldaidError as error:
        return f"none. {error.what}. {error.why}." if error.why else f"none. {error.what}."


def _plan() -> str:
    try:
        return choose.plan()
    except FieldaidError as error:
        return f"nothing: {error.what}"


def _explain(out: TextIO) -> None:
    print("To install one by hand (what is published; not verified here):", file=out)
    for one in PUBLISHED:
        size = f"{one.size}, {one.bytes} bytes" if one.bytes else one.size
        print(f"  {one.name}: {size}, licence {one.licence}, word errors on LibriSpeech {one.word_errors_percent} %\n"
              f"      archive: {vosk_models.PAGE}/{one.name}.zip\n"
              f"      sha256: {one.sha256 or 'not known here'}", file=out)
    cache = vosk_models.cache()
    print(f"  1. {vosk_models.INSTALL}\n"
          "  2. on a machine with a network fetch the archive, compare: sha256sum FILE\n"
          f"  3. unzip FILE -d {cache}, so that {cache}/NAME holds am, conf and graph\n"
          f"  4. fieldaid models check {cache}/NAME\n"
          "With a network: fieldaid models fetch NAME.\n"
          "A model at hand takes the place of pocketsphinx as second recogniser of hear and talk. It is named by\n"
          f"--model FOLDER, else by ${vosk_models.VARIABLE}, else by the first line of {vosk_models.settings()},\n"
          "else found in the places above.\n"
          "A model elsewhere: name its folder in one of these ways.", file=out)
