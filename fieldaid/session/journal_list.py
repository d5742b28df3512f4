"""`fieldaid journals`: the journals kept, or the lines and the marks of one."""

from __future__ import annotations

from pathlib import Path
from typing import TextIO

from fieldaid.clock import stamp
from fieldaid.errors import FieldaidError, JournalError
from fieldaid.session.journal import Event, read_only
from fieldaid.session.marks import marks
from fieldaid.session.retold import retold
from fieldaid.session.setting import journals_folder


def show(path: Path | None, out: TextIO) -> int:
    """Lists all journals, newest last; with `path`, its lines, replies and marks. 1 if a file is unreadable."""
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
            events = list(journal.events(row.id))
            for event in events:
                if event.kind == "line":
                    print(f"{stamp(event.at)}  {event.body['u']:>3}  {event.body['parsed']['line']}", file=out)
                elif event.kind in ("answer", "tick"):
                    for reply in event.body["replies"]:
                        print(f"{'':27}{reply['kind']}: {reply['text']}", file=out)
                elif event.kind == "times":
                    stages = ", ".join(f"{name} {value:g}" for name, value in event.body["ms"].items())
                    print(f"{'':27}times [ms]: {stages}", file=out)
            for text in _marks(events):
                print(text, file=out)
    finally:
        journal.close()
    return 0


def _marks(events: list[Event]) -> list[str]:
    """The marks of one session by the clock; they are worked out from its lines and stand nowhere in the journal."""
    try:
        found = marks(retold(events).picture)
    except (FieldaidError, KeyError, TypeError) as error:
        return [f"Marks cannot be told: {error}"]
    if not found:
        return ["No marks told."]
    return ["Marks", *(f"{stamp(one.at)}       {'exercise ' if one.exercise else ''}{one.called}" for one in found)]
