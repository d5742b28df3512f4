"""The journal: acknowledged means committed, nothing is changed, and what cannot be read says so."""

from __future__ import annotations

import argparse
import os
import signal
import sqlite3
import subprocess
import sys
import time

import pytest

from fieldaid.errors import JournalError
from fieldaid.session.journal import Journal, read_only
from fieldaid.session.setting import Setting

WRITER = """
import sys
from fieldaid.session.journal import Journal
journal = Journal(sys.argv[1])
journal.begin(0.0, "type", "test")
for n in range(100000):
    journal.append(float(n), "line", {"n": n})
    print(n, flush=True)
"""


def test_events_come_back_in_order(tmp_path):
    journal = Journal(tmp_path / "a.journal")
    journal.begin(1.0, "type", "0")
    for n in range(3):
        journal.append(float(n), "line", {"n": n, "text": "soft on Charlie \u2013 \"quoted\""})
    journal.close()
    again = read_only(tmp_path / "a.journal")
    again.resume(again.open_session().id)
    assert [event.body["n"] for event in again.events()] == [0, 1, 2]


def test_a_closed_session_is_not_resumed_and_the_file_takes_another(tmp_path):
    journal = Journal(tmp_path / "a.journal")
    journal.begin(1.0, "type", "0")
    journal.close_session(2.0)
    assert journal.open_session() is None
    journal.begin(3.0, "hear", "0")
    assert [row.closed for row in journal.sessions()] == [2.0, None]


@pytest.mark.parametrize("delay", [0.05, 0.1, 0.2, 0.3, 0.4])
def test_kill_9_loses_nothing_that_was_acknowledged(tmp_path, delay):
    """Commits before it acknowledges: SQLite, write-ahead log, synchronous FULL (sqlite.org/pragma.html)."""
    path = tmp_path / "k.journal"
    writer = subprocess.Popen([sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True)
    first = writer.stdout.readline()
    time.sleep(delay)
    os.kill(writer.pid, signal.SIGKILL)
    rest = writer.communicate()[0].splitlines()
    acknowledged = [int(first), *(int(line) for line in rest if line.isdigit())]
    journal = read_only(path)
    kept = {event.body["n"] for event in journal.events(journal.open_session().id)}
    assert acknowledged and set(acknowledged) <= kept


def test_a_file_that_is_no_journal_is_refused_in_one_sentence(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("not a database " * 100, encoding="utf-8")
    with pytest.raises(JournalError, match="cannot be opened"):
        Journal(path)
    assert path.read_text(encoding="utf-8").startswith("not a database")


def test_a_later_format_is_refused(tmp_path):
    Journal(tmp_path / "a.journal").close()
    with sqlite3.connect(tmp_path / "a.journal") as db:
        db.execute("UPDATE about SET value = '99' WHERE key = 'format'")
    with pytest.raises(JournalError, match="later format"):
        Journal(tmp_path / "a.journal")


def test_a_missing_journal_says_how_to_list_them(tmp_path):
    with pytest.raises(JournalError, match="fieldaid journals"):
        read_only(tmp_path / "none.journal")


def test_an_event_that_cannot_be_written_is_an_error_not_a_loss(tmp_path):
    journal = Journal(tmp_path / "a.journal")
    journal.begin(1.0, "type", "0")
    journal.append(1.0, "line", {"n": 1})
    other = sqlite3.connect(tmp_path / "a.journal")
    other.execute("DROP TABLE events")
    other.commit()
    with pytest.raises(JournalError, match="cannot be written"):
        journal.append(2.0, "line", {"n": 2})


def test_a_database_of_another_program_is_refused_and_left_as_it_is(tmp_path):
    path = tmp_path / "recipes.db"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE recipes (name TEXT)")
    before = path.read_bytes()
    with pytest.raises(JournalError, match=r"database of another program.*recipes"):
        Journal(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize(("line", "closed", "told"), [
    ("soft on charlie", False, True), ("garage soft on charlie", False, True), ("soft on charlie", True, False),
    ("gable roof", False, False)])
def test_a_leave_in_a_session_that_was_never_closed_is_told_to_the_next_one(tmp_path, monkeypatch, line, closed, told):
    monkeypatch.setenv("FIELDAID_HOME", str(tmp_path))
    setting = Setting(argparse.Namespace(journal=None, rules=None, overlay=[], grammar=None, say_to=None, speak=False,
                                         no_engine=True), "type")
    broken_off = setting.session()
    broken_off.line("on the roof")
    broken_off.line(line)
    broken_off.close() if closed else broken_off.journal.close()
    [path] = (tmp_path / "journals").glob("*.journal")
    notices = setting.session().take_notices()
    assert any("leave now still stands" in text and str(path) in text for text in notices) == told
    setting.close()
