"""The sub-commands of `fieldaid rules`: options only. What a command needs is imported when it runs.

Each parser sets `work`, a function of the options and the text stream to write to, which returns the exit code.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TextIO

from fieldaid.authoring import prove_parsers
from fieldaid.errors import WrongUse

FORMATS = ("text", "json", "junit")


def add_parsers(parser: argparse.ArgumentParser) -> None:
    """Puts the sub-commands under `fieldaid rules`."""
    commands = parser.add_subparsers(dest="rules_command", metavar="COMMAND", required=True)
    _add_check(commands)
    _add_test(commands)
    _add_explain(commands)
    _add_schema(commands)
    _add_book(commands)
    _add_compare(commands)
    prove_parsers.add_parsers(commands, _pack_options)


def run(options: argparse.Namespace, out: TextIO) -> int:
    """Runs the sub-command that was chosen; its exit code: 0 fine, 1 findings, 2 wrong use, 3 broken pack."""
    on = getattr(options, "on", None)
    if on is not None and on.resolve() == (options.folder or shipped_pack()).resolve():
        raise WrongUse("the pack is laid over itself", where=str(on),
                       next_step="name the overlay first and after --on the pack below it")
    return options.work(options, out)


def shipped_pack() -> Path:
    """The folder of the pack that ships, for when none is named."""
    from fieldaid import data

    return data.folder("rules") / "house"


def _add_check(commands) -> None:
    one = commands.add_parser("check", help="say everything that is wrong with a rule pack")
    _pack_options(one)
    one.add_argument("--format", choices=FORMATS, default="text", help="how to write it (default: %(default)s)")
    one.add_argument("--strict", action="store_true", help="notes on style count as findings too")
    one.set_defaults(work=_check)


def _check(options: argparse.Namespace, out: TextIO) -> int:
    from fieldaid.authoring import check_room

    return check_room.check(options.folder, options.on, options.format, options.strict, out)


def _add_test(commands) -> None:
    one = commands.add_parser("test", help="run the situations of a rule pack")
    _pack_options(one)
    one.add_argument("--format", choices=FORMATS, default="text", help="how to write it (default: %(default)s)")
    one.add_argument("--only", metavar="TEXT", default="", help="only situations whose name, file or rule holds TEXT")
    one.add_argument("--no-engine", action="store_true", help="one guidance channel only; says so")
    one.set_defaults(work=_test)


def _test(options: argparse.Namespace, out: TextIO) -> int:
    from fieldaid.authoring import test_room

    return test_room.test(options.folder, options.on, options.format, options.only, not options.no_engine, out)


def _add_explain(commands) -> None:
    one = commands.add_parser("explain", help="say what a finding's code means, what a rule is, or why a situation "
                                              "comes out so")
    one.add_argument("about", nargs="*", metavar="CODE | RULE | FACT=VALUE | FILE",
                     help="a finding's code such as F306; a rule such as DECK-010; facts such as deck.C=soft, or a "
                          "YAML file of facts")
    one.add_argument("--list", action="store_true", help="list every code with its title")
    prove_parsers.add_explain_options(one)
    one.set_defaults(work=_explain)


def _explain(options: argparse.Namespace, out: TextIO) -> int:
    explained = prove_parsers.explain_situation(options, options.about, shipped_pack(), out)
    if explained is not None:
        return explained
    from fieldaid.authoring import check_room, explain_rule

    if len(options.about) == 1 and explain_rule.is_rule(options.about[0]):
        return explain_rule.show(options.about[0], options.pack or shipped_pack(), options.overlay, out)
    return check_room.explain(options.about[0] if options.about else None, options.list, out)


def _add_schema(commands) -> None:
    one = commands.add_parser("schema", help="write JSON schemas with which an editor completes a pack's files")
    _pack_options(one)
    one.add_argument("--write", type=Path, required=True, metavar="FOLDER", help="the folder to write them into")
    one.set_defaults(work=_schema)


def _schema(options: argparse.Namespace, out: TextIO) -> int:
    from fieldaid.authoring import schema_room

    return schema_room.write(options.folder or shipped_pack(), options.on, options.write, out)


def _add_book(commands) -> None:
    one = commands.add_parser("book", help="write the rule book of a pack, to be read and printed")
    _pack_options(one)
    one.add_argument("--write", type=Path, required=True, metavar="FILE", help="the HTML file to write")
    one.set_defaults(work=_book)


def _book(options: argparse.Namespace, out: TextIO) -> int:
    from fieldaid.authoring import book_room

    folder = options.folder or shipped_pack()
    if options.on is not None:
        return book_room.write_book(options.on, [folder], options.write, out)
    return book_room.write_book(folder, [], options.write, out)


def _add_compare(commands) -> None:
    one = commands.add_parser("compare", help="say which answers change from one pack to another")
    one.add_argument("old", type=Path, metavar="OLD", help="the folder of a pack")
    one.add_argument("new", type=Path, metavar="NEW", help="the folder of another, or of the same one")
    one.add_argument("--old-overlay", type=Path, action="append", default=[], metavar="FOLDER",
                     help="an overlay laid over OLD; may be given again")
    one.add_argument("--new-overlay", type=Path, action="append", default=[], metavar="FOLDER",
                     help="an overlay laid over NEW; may be given again")
    one.add_argument("--count", type=prove_parsers.whole_number, default=5000,
                     help="seeded situations beside the fixed ones (%(default)s)")
    one.add_argument("--seed", type=int, default=1, help="of the seeded situations (%(default)s)")
    one.add_argument("--workers", type=prove_parsers.whole_number, help="processes (default: one for each processor)")
    one.add_argument("--fail-on", choices=("any", "looser", "never"), default="any",
                     help="which change makes the exit code 1 (default: %(default)s)")
    one.add_argument("--json", action="store_true", help="write one JSON object")
    one.set_defaults(work=_compare)


def _compare(options: argparse.Namespace, out: TextIO) -> int:
    from fieldaid.authoring import compare_room

    return compare_room.show([options.old, *options.old_overlay], [options.new, *options.new_overlay], options.count,
                             options.seed, options.workers, options.fail_on, options.json, out)


def _pack_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", nargs="?", type=Path, metavar="FOLDER",
                        help="the folder of a rule pack (default: the pack that ships)")
    parser.add_argument("--on", type=Path, metavar="PACK",
                        help="FOLDER is a department's overlay laid over this pack")
