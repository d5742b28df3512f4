"""The append-only journal: every event of a session in one SQLite file, committed before it is acknowledged.

One file may hold several sessions, one after the other; the last one is open until it is closed. Nothing is ever
changed or deleted: undo is an event too. WAL with synchronous FULL: what `append` returned for survives a kill of the
process and, as far as the disk keeps its word, of the machine.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldaid.errors import JournalError

FORMAT = 1
_TABLES = """
CREATE TABLE IF NOT EXISTS about (key TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS sessions (
    id INTEGER PRIMARY KEY, started REAL NOT NULL, mode TEXT NOT NULL, version TEXT NOT NULL, closed REAL);
CREATE TABLE IF NOT EXISTS events (
    seq INTEGER PRIMARY KEY AUTOINCREMENT, session INTEGER NOT NULL REFERENCES sessions(id),
    at REAL NOT NULL, kind TEXT NOT NULL, body TEXT NOT NULL);
CREATE INDEX IF NOT EXISTS events_of_session ON events(session, seq);
"""
_OWN = frozenset(("about", "sessions", "events", "sqlite_sequence"))


@dataclass(frozen=True)
class Event:
    """One journaled event: `seq` grows by one, `at` is wall time in seconds, `body` is plain JSON data."""

    seq: int
    at: float
    kind: str
    body: dict[str, Any]


@dataclass(frozen=True)
class SessionRow:
    """One session of a journal. `closed` is None while it was never closed."""

    id: int
    started: float
    mode: str
    version: str
    closed: float | None
    events: int


class Journal:
    """One journal file, with the session that is being written.

    Parameters
    ----------
    path : the file, made with its folder when missing; ":memory:" keeps nothing

    Raises
    ------
    JournalError : the file cannot be opened, is not a journal, or is of a later format
    """

    def __init__(self, path: Path | str) -> None:
        self.path = path
        self.session = 0
        try:
            if path != ":memory:":
                Path(path).parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(str(path), timeout=5.0, isolation_level=None, check_same_thread=False)
            self._check_own()
            self._db.execute("PRAGMA journal_mode=WAL")
            self._db.execute("PRAGMA synchronous=FULL")
            self._db.executescript(_TABLES)
            self._check_format()
        except (sqlite3.Error, OSError) as error:
            raise self._error("the journal cannot be opened", error) from error

    def _check_own(self) -> None:
        """Before anything is written: a database of another program is left as it is."""
        rows = self._db.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        others = sorted({str(name) for (name,) in rows} - _OWN)
        if others:
            raise JournalError("the file is a database of another program", where=str(self.path),
                               why=f"it holds the table {others[0]}, which no journal has",
                               next_step="name another file with --journal")

    def _check_format(self) -> None:
        row = self._db.execute("SELECT value FROM about WHERE key = 'format'").fetchone()
        if row is None:
            self._db.execute("INSERT OR IGNORE INTO about VALUES ('format', ?)", (str(FORMAT),))
        elif not row[0].isdigit() or int(row[0]) > FORMAT:
            raise JournalError("the journal is of a later format", where=str(self.path),
                               why=f"it says format {row[0]}, this program knows up to {FORMAT}",
                               next_step="open it with a newer fieldaid, or name another file")

    def _error(self, what: str, error: Exception) -> JournalError:
        return JournalError(what, where=str(self.path), why=str(error),
                            next_step="name another file with --journal, or check its folder's permissions and space")

    def sessions(self) -> list[SessionRow]:
        """All sessions of the file, oldest first."""
        try:
            rows = self._db.execute(
                "SELECT s.id, s.started, s.mode, s.version, s.closed, COUNT(e.seq) FROM sessions s"
                " LEFT JOIN events e ON e.session = s.id GROUP BY s.id ORDER BY s.id").fetchall()
        except sqlite3.Error as error:
            raise self._error("the journal cannot be read", error) from error
        return [SessionRow(*row) for row in rows]

    def open_session(self) -> SessionRow | None:
        """The last session if it was never closed."""
        rows = self.sessions()
        return rows[-1] if rows and rows[-1].closed is None else None

    def begin(self, at: float, mode: str, version: str) -> int:
        """Begins a new session and returns its number."""
        try:
            cursor = self._db.execute("INSERT INTO sessions (started, mode, version) VALUES (?, ?, ?)",
                                      (at, mode, version))
        except sqlite3.Error as error:
            raise self._error("a session cannot be begun", error) from error
        self.session = int(cursor.lastrowid or 0)
        return self.session

    def resume(self, session: int) -> None:
        """Goes on with a session: the next events are its own."""
        self.session = session

    def append(self, at: float, kind: str, body: dict[str, Any]) -> Event:
        """Writes one event and returns once it is committed.

        Raises
        ------
        JournalError : it could not be written; nothing of it is kept
        """
        text = json.dumps(body, ensure_ascii=False, separators=(",", ":"))
        try:
            cursor = self._db.execute("INSERT INTO events (session, at, kind, body) VALUES (?, ?, ?, ?)",
                                      (self.session, at, kind, text))
        except sqlite3.Error as error:
            raise self._error(f"the event {kind} cannot be written", error) from error
        return Event(int(cursor.lastrowid or 0), at, kind, body)

    def events(self, session: int | None = None) -> Iterator[Event]:
        """The events of a session (the present one by default), in order."""
        try:
            rows = self._db.execute("SELECT seq, at, kind, body FROM events WHERE session = ? ORDER BY seq",
                                    (self.session if session is None else session,)).fetchall()
            for seq, at, kind, body in rows:
                yield Event(seq, at, kind, json.loads(body))
        except (sqlite3.Error, ValueError) as error:
            raise self._error("the journal cannot be read", error) from error

    def close_session(self, at: float) -> None:
        """Marks the session as ended at wall time `at` [s]: it will not be resumed. A second call changes nothing.

        Raises
        ------
        JournalError : it could not be written
        """
        try:
            self._db.execute("UPDATE sessions SET closed = ? WHERE id = ? AND closed IS NULL", (at, self.session))
        except sqlite3.Error as error:
            raise self._error("the session cannot be closed", error) from error

    def close(self) -> None:
        """Closes the file; the session stays as it is, and may be resumed."""
        self._db.close()


def read_only(path: Path) -> Journal:
    """A journal that must exist already.

    Raises
    ------
    JournalError : no such file, or not a journal
    """
    if not path.is_file():
        raise JournalError("there is no such journal", where=str(path), why="the file does not exist",
                           next_step="list the journals with: fieldaid journals")
    return Journal(path)
