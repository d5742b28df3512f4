"""`fieldaid journals`: the journals kept, or the lines of one."""

from __future__ import annotations

from pathlib import Path
from typing import TextIO

from fieldaid.clock import stamp
from fieldaid.errors import JournalError
from fieldaid.session.journal import read_only
from fieldaid.session.setting import journals_folder


def show(path: Path | None, out: TextIO) -> int:
    """Lists all journals, newest last; with `path`, the lines and replies of that one. 1 if a file is unreadable."""
    return _all(out) if path is None else _one(path, out)


def _all(out: TextIO) -> int:
    folder = journals_folder()
    paths = sorted(folder.glob("*.journal")) if folder.is_dir() else []
    if not paths:
        print(f"No journals in {folder}. `fieldaid type` and `fieldaid hear` keep one for each session.", file=out)
        return 0
    bad = 0
    for path in paths:
        try:
            journal = read_only(path)
            try:
                for row in journal.sessions():
                    state = "never closed" if row.closed is None else f"closed {stamp(row.closed)}"
                    print(f"{path}  {row.mode}  {stamp(row.started)}  {state}  {row.events} events", file=out)
            finally:
                journal.close()
        except JournalError as error:
            bad += 1
            print(str(error), file=out)
    return 1 if bad else 0


def _one(path: Path, out: TextIO) -> int:
    journal = read_only(path)
    try:
        for row in journal.sessions():
            print(f"Session {row.id}, {row.mode}, {stamp(row.started)}", file=out)
            for event in journal.events(row.id):
                if event.kind == "line":
                    print(f"{stamp(event.at)}  {event.body['u']:>3}  {event.body['parsed']['line']}", file=out)
                elif event.kind in ("answer", "tick"):
                    for reply in event.body["replies"]:
                        print(f"{'':27}{reply['kind']}: {reply['text']}", file=out)
                elif event.kind == "times":
                    stages = ", ".join(f"{name} {value:g}" for name, value in event.body["ms"].items())
                    print(f"{'':27}times [ms]: {stages}", file=out)
    finally:
        journal.close()
    return 0
