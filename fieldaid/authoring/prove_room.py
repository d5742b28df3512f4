"""`fieldaid rules prove`: runs a proof and writes it."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TextIO

from fieldaid.authoring.prove import FULL, SAMPLE, Extent, Proof, in_words, never_asked, prove
from fieldaid.authoring.situations_gate import GATE_FACTS
from fieldaid.errors import FieldaidError, WrongUse


def show(folder: Path, overlays: Sequence[Path], options: argparse.Namespace, out: TextIO) -> int:
    """Proves the pack in `folder`; 1 when anything broke or was never asked.

    Raises
    ------
    WrongUse : a number that cannot be
    BrokenData : the pack cannot be loaded
    """
    extent = extent_of(options)
    said = _progress if sys.stderr.isatty() else None
    try:
        proof = prove(folder, extent, overlays=overlays, engine=not options.no_engine, workers=options.workers,
                      cluster=options.cluster, keep=options.keep, said=said)
    except KeyboardInterrupt:
        if options.keep is not None:
            print(f"\nStopped. What was finished is kept in {options.keep}; the same call goes on from it.",
                  file=sys.stderr)
        raise
    if options.write is not None:
        write(proof, options.write)
    if options.json:
        json.dump(proof.to_data(), out, ensure_ascii=False)
        out.write("\n")
    else:
        out.write(in_words(proof) + "\n")
    return 0 if proof.holds and not never_asked(proof) else 1


def extent_of(options: argparse.Namespace) -> Extent:
    """How much to prove: the full extent or the sample, with what the options change of it."""
    base = FULL if options.full else SAMPLE
    changes = {name: getattr(options, name) for name in ("strength", "situations", "talks", "seed")
               if getattr(options, name) is not None}
    extent = Extent(**{**asdict(base), **changes})
    if not 1 <= extent.strength <= min(6, len(GATE_FACTS)):
        raise WrongUse(f"--strength {extent.strength}", why="a covering array has a strength from 1 to 6",
                       next_step="2 takes a second, 3 a few, 4 a minute or two; each more takes far longer")
    for name in ("situations", "talks"):
        if getattr(extent, name) < 0:
            raise WrongUse(f"--{name} {getattr(extent, name)}", why="it is a count", next_step="give 0 or more")
    return extent


def write(proof: Proof, file: Path) -> None:
    """Keeps a proof as JSON.

    Raises
    ------
    FieldaidError : the file cannot be written
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps(proof.to_data(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    except OSError as error:
        raise FieldaidError("the proof cannot be kept", where=str(file), why=str(error.strerror or error),
                            next_step="name a file that can be written") from error


def _progress(part: str, done: int, of: int) -> None:
    print(f"\r{part}: {done} of {of}   ", end="\n" if done == of else "", file=sys.stderr, flush=True)
