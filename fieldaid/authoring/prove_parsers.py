"""The options of `fieldaid rules cover`, `prove`, `mutate` and `safety-case`, and of `explain` for a situation."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TextIO

PackOptions = Callable[[argparse.ArgumentParser], None]


def whole_number(text: str) -> int:
    """A count from 0, for argparse."""
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"{text} is no count; give 0 or more")
    return int(text)


def share(text: str) -> float:
    """A share from 0 to 1, for argparse."""
    try:
        found = float(text)
    except ValueError:
        found = -1.0
    if not 0 <= found <= 1:
        raise argparse.ArgumentTypeError(f"{text} is no share; give a number from 0 to 1, such as 0.95")
    return found


def add_parsers(commands, pack_options: PackOptions) -> None:
    """Adds the sub-commands; `pack_options` adds FOLDER and --on."""
    one = commands.add_parser("cover", help="say what the situations of a pack show of its rules and conditions")
    pack_options(one)
    one.add_argument("--missing", action="store_true", help="write situations to paste for what is not shown")
    one.add_argument("--json", action="store_true", help="write one JSON object")
    one.set_defaults(work=_cover)

    one = commands.add_parser("prove", help="try every invariant on covering arrays, seeded situations and talks")
    pack_options(one)
    one.add_argument("--full", action="store_true", help="strength 4, every pair, 100,000 situations, 3,000 talks")
    one.add_argument("--strength", type=int, metavar="T", help="of the covering array")
    one.add_argument("--situations", type=int, metavar="N", help="seeded situations")
    one.add_argument("--talks", type=int, metavar="N", help="numbers of talks, each of every kind")
    one.add_argument("--seed", type=int, metavar="N", help="of everything that is drawn")
    one.add_argument("--write", type=Path, metavar="FILE", help="keep the result as JSON, for the safety case")
    one.add_argument("--no-engine", action="store_true", help="one guidance channel only; says so")
    one.add_argument("--json", action="store_true", help="write one JSON object")
    _run_options(one)
    one.set_defaults(work=_prove)

    one = commands.add_parser("mutate", help="plant small faults in the rules and see whether the situations notice")
    pack_options(one)
    one.add_argument("--survivors", action="store_true", help="list every fault that went unnoticed")
    one.add_argument("--stubs", action="store_true", help="write situations to paste that would notice them")
    one.add_argument("--least", type=share, default=0.95, metavar="SHARE",
                     help="share that must be noticed for exit code 0 (default: %(default)s)")
    one.add_argument("--json", action="store_true", help="write one JSON object")
    _run_options(one)
    one.set_defaults(work=_mutate)

    one = commands.add_parser("safety-case", help="say of each invariant where it is enforced, tested and proved")
    pack_options(one)
    one.add_argument("--write", type=Path, metavar="FILE", help="the Markdown file to write (default: the screen)")
    one.add_argument("--proof", type=Path, metavar="FILE", help="the kept full proof (default: the one that ships)")
    one.set_defaults(work=_safety_case)


def add_explain_options(parser: argparse.ArgumentParser) -> None:
    """What `explain` takes beside the code of a finding."""
    parser.add_argument("--basis", action="append", default=[], metavar="FACT=HOW",
                        help="how a fact of the situation is known: seen, struck, inspection cut, preplan, told, guess")
    parser.add_argument("--pack", type=Path, metavar="FOLDER", help="the rule pack (default: the pack that ships)")
    parser.add_argument("--overlay", type=Path, metavar="FOLDER", help="a department's overlay laid over the pack")
    parser.add_argument("--json", action="store_true", help="write one JSON object")


def explain_situation(options: argparse.Namespace, words: list[str], shipped: Path, out: TextIO) -> int | None:
    """Explains the situation in `words`; None when they are no situation."""
    from fieldaid.authoring import explain_room

    if not explain_room.is_situation(words):
        return None
    return explain_room.show(words, options.basis, options.pack or shipped, options.overlay, options.json, out)


def _run_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--workers", type=whole_number, metavar="N",
                        help="processes (default: one for each processor; 0: none but this one)")
    parser.add_argument("--cluster", metavar="ADDRESS",
                        help='a dask scheduler, or "local" for one on this machine')
    parser.add_argument("--keep", type=Path, metavar="FOLDER",
                        help="keep what is finished here; the same run goes on from it")


def _pack(options: argparse.Namespace) -> tuple[Path, list[Path]]:
    """The pack's folder, and the overlay laid over it."""
    from fieldaid.authoring.commands import shipped_pack

    folder = options.folder or shipped_pack()
    return (folder, []) if options.on is None else (options.on, [folder])


def _cover(options: argparse.Namespace, out: TextIO) -> int:
    from fieldaid.authoring import cover_room

    return cover_room.show(*_pack(options), options.missing, options.json, out)


def _prove(options: argparse.Namespace, out: TextIO) -> int:
    from fieldaid.authoring import prove_room

    return prove_room.show(*_pack(options), options, out)


def _mutate(options: argparse.Namespace, out: TextIO) -> int:
    from fieldaid.authoring import mutants_room

    return mutants_room.show(*_pack(options), options, out)


def _safety_case(options: argparse.Namespace, out: TextIO) -> int:
    from fieldaid.authoring import safety_case_room

    return safety_case_room.show(*_pack(options), options.write, options.proof, out)
