"""The command line: options and exit codes, no logic.

Exit codes: 0 fine, 1 findings or unreadable input, 2 wrong use, 3 broken pack or data.
"""

from __future__ import annotations

import argparse
import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

from fieldaid import __version__
from fieldaid.errors import FieldaidError

CAUTION = ("A training and practice aid. The incident commander, the department and local procedure decide. "
           "Nothing it says means safe, and silence is never permission.")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="fieldaid", description="Offline assistant for practising roof openings.",
                                     epilog=CAUTION)
    parser.add_argument("--version", action="version", version=f"fieldaid {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)

    typed = commands.add_parser("type", help="type facts and commands line by line", epilog=CAUTION)
    typed.add_argument("--json", action="store_true", help="read lines from standard input, write one JSON object each")
    typed.add_argument("--as-heard", action="store_true", help="treat typed lines as if they had been heard")
    _session_options(typed)

    hear = commands.add_parser("hear", help="hear sound files (WAV, FLAC)", epilog=CAUTION)
    hear.add_argument("files", nargs="+", type=Path, metavar="FILE")
    hear.add_argument("--json", action="store_true", help="write one JSON object for each utterance")
    hear.add_argument("--one-session", action="store_true", help="all files belong to one session")
    hear.add_argument("--call-sign", action="store_true", help="messages must open with the call sign")
    hear.add_argument("--recogniser", help="recogniser to use (default: the best of those installed)")
    hear.add_argument("--model", metavar="FOLDER", help="Vosk model to use as second recogniser: a folder or a name")
    _session_options(hear)

    talk = commands.add_parser("talk", help="hands-free, with microphone and loudspeaker", epilog=CAUTION)
    talk.add_argument("--list-devices", action="store_true", help="list microphones and loudspeakers, and end")
    talk.add_argument("--device", type=_device, metavar="DEVICE", help="microphone, by number or by name")
    talk.add_argument("--output-device", type=_device, metavar="DEVICE", help="loudspeaker, by number or by name")
    talk.add_argument("--talk-key", action="store_true",
                      help="Enter opens and closes the microphone; no call sign is needed")
    talk.add_argument("--earpiece", action="store_true",
                      help="the microphone cannot hear the voice: everything is taken while it speaks")
    talk.add_argument("--silent", action="store_true", help="replies on the screen only")
    talk.add_argument("--recogniser", help="recogniser to use (default: the best of those installed)")
    talk.add_argument("--model", metavar="FOLDER", help="Vosk model to use as second recogniser: a folder or a name")
    _session_options(talk, speaks=True)

    journals = commands.add_parser("journals", help="list the journals kept, or show one")
    journals.add_argument("journal", nargs="?", type=Path, metavar="JOURNAL", help="show the lines of this journal")

    models = commands.add_parser("models", help="list, check or fetch models for the Vosk recogniser")
    models.add_argument("action", nargs="?", choices=("list", "check", "fetch"), default="list")
    models.add_argument("model", nargs="?", metavar="MODEL", help="a model folder to check, or a model's name to fetch")

    from fieldaid.authoring import commands as authoring

    authoring.add_parsers(commands.add_parser("rules", help="check, test and explain rule packs"))

    work = commands.add_parser("work-out", help="work out roof, opening, wind, ladder, air, smoke, fire or timber")
    work.add_argument("topic", nargs="?", metavar="TOPIC", help="without one, the topics are listed")
    work.add_argument("words", nargs=argparse.REMAINDER, metavar="OPTIONS", help="of the topic; see TOPIC --help")

    draw = commands.add_parser("draw", help="draw a roof from a situation file or a journal", epilog=CAUTION)
    draw.add_argument("source", nargs="?", type=Path, metavar="FILE", help="a situation as YAML, or a journal")
    draw.add_argument("--to", type=Path, metavar="DRAWING", help="the file to write, .svg or .png")
    draw.add_argument("--examples", type=Path, metavar="FOLDER", help="draw the examples, roofs of different forms")
    draw.add_argument("--format", choices=("svg", "png"), default="svg", help="without --to (default: %(default)s)")
    draw.add_argument("--rules", type=Path, metavar="FOLDER", help="the rule pack (default: the shipped one)")
    draw.add_argument("--overlay", type=Path, action="append", default=[], metavar="FOLDER",
                      help="a department's own rules laid over the pack")
    draw.add_argument("--no-engine", action="store_true", help="one guidance channel only")

    commands.add_parser("doctor", help="say what is installed, what is missing, and what that costs")
    return parser


def _device(text: str) -> str | int:
    """A sound device: a number, or a part of its name."""
    return int(text) if text.isdigit() else text


def _session_options(parser: argparse.ArgumentParser, speaks: bool = False) -> None:
    """The options of every command that leads a session; `speaks`: it speaks without being asked to."""
    parser.add_argument("--journal", type=Path, metavar="FILE",
                        help="the journal to write; a session in it that was never closed is resumed")
    parser.add_argument("--rules", type=Path, metavar="FOLDER", help="the rule pack (default: the shipped one)")
    parser.add_argument("--overlay", type=Path, action="append", default=[], metavar="FOLDER",
                        help="a department's own rules laid over the pack; may be given again")
    parser.add_argument("--grammar", type=Path, metavar="FOLDER", help="the grammar (default: the shipped one)")
    parser.add_argument("--say-to", type=Path, metavar="FOLDER", help="write spoken replies as WAV files")
    if not speaks:
        parser.add_argument("--speak", action="store_true", help="say the replies over the loudspeaker")
    parser.add_argument("--no-engine", action="store_true", help="one guidance channel only; says so")


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command and returns its exit code; nothing but argparse's own exits is raised."""
    options = _parser().parse_args(argv)
    try:
        return _run(options)
    except FieldaidError as error:
        print(f"fieldaid: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print("\nfieldaid: stopped.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader went away; point the rest of the output nowhere so that the exit itself stays quiet.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:  # the last net: a person never sees a traceback
        print(f"fieldaid: an error of its own: {type(error).__name__}: {error}. "
              f"What was acknowledged is kept. {_keep_trace()}", file=sys.stderr)
        return 1


def _run(options: argparse.Namespace) -> int:
    if options.command == "type":
        from fieldaid.session import typing_room

        if options.json:
            return typing_room.type_json(options, sys.stdin.buffer, sys.stdout)
        return typing_room.type_by_hand(options, sys.stdin, sys.stdout)
    if options.command == "hear":
        from fieldaid.session import hearing_room

        return hearing_room.hear_files(options, sys.stdout, sys.stderr)
    if options.command == "talk":
        from fieldaid.session import talking_room

        return talking_room.talk(options, sys.stdout)
    if options.command == "journals":
        from fieldaid.session import journal_list

        return journal_list.show(options.journal, sys.stdout)
    if options.command == "models":
        return _models(options)
    if options.command == "rules":
        from fieldaid.authoring import commands

        return commands.run(options, sys.stdout)
    if options.command == "work-out":
        from fieldaid.session import work_out

        return work_out.run(options.topic, options.words, sys.stdout)
    if options.command == "draw":
        from fieldaid.session import drawing_room

        return drawing_room.draw(options, sys.stdout)
    from fieldaid.session import doctor

    return doctor.report(sys.stdout)


def _models(options: argparse.Namespace) -> int:
    from fieldaid.session import models_list

    if options.action == "check":
        return models_list.check(Path(options.model) if options.model else None, sys.stdout)
    if options.action == "fetch":
        return models_list.fetch(options.model, sys.stdout)
    return models_list.show(sys.stdout)


def _keep_trace() -> str:
    """Keeps the trace of an unexpected error for those who mend it."""
    from fieldaid import clock, data

    try:
        folder = data.state_home() / "faults"
        folder.mkdir(parents=True, exist_ok=True)
        file = folder / f"{clock.stamp(clock.now()).replace(':', '')}.txt"
        file.write_text(traceback.format_exc(), encoding="utf-8")
    except OSError:
        return "Please report it with the line that caused it."
    return f"Please report it with {file}."


if __name__ == "__main__":
    sys.exit(main())
