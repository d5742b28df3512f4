"""`fieldaid journals FILE`: lines, replies, and the marks of each session by the clock.

Which events are marks: benchmarks of the roof crew [S37], its calls [R16]. The house and all times are invented.
"""

from __future__ import annotations

import io

from fieldaid.hearing.heard import Heard
from fieldaid.session.doubt import take
from fieldaid.session.journal import Journal
from fieldaid.session.journal_list import show
from fieldaid.session.marks import marks
from fieldaid.session.retold import retold
from fieldaid.session.session import Session

NOON = 1935835200.0  # 2031-05-06T12:00:00Z, by `date -u -d @1935835200`


def told(shared, path, *lines, **options):
    """Tells a session one line a minute from noon on, and closes it. Returns the session as it stood."""
    session = Session(*shared, Journal(path), **options)
    session.begin()
    for n, line in enumerate(lines):
        session.line(line, at=NOON + 60 * n)
    session.close()
    return session


def listed(path):
    out = io.StringIO()
    assert show(path, out) == 0
    return out.getvalue().splitlines()


def marks_of(rows):
    return rows[rows.index("Marks") + 1:]


def test_marks_stand_after_the_lines_with_the_clock(shared, tmp_path):
    path = tmp_path / "a.journal"
    told(shared, path, "three of us on air", "on the roof", "first cut", "the roof is open", "ceiling pushed",
         "interior reports no change", "interior says better", "off the roof", "par of three")
    rows = listed(path)
    assert marks_of(rows) == [
        "2031-05-06T12:01:00Z       up",
        "2031-05-06T12:02:00Z       first cut",
        "2031-05-06T12:03:00Z       open",
        "2031-05-06T12:04:00Z       ceiling pushed",
        "2031-05-06T12:05:00Z       no relief",
        "2031-05-06T12:06:00Z       relief",
        "2031-05-06T12:07:00Z       off the roof",
        "2031-05-06T12:08:00Z       roll call 3",
    ]
    assert any(row.endswith("  9  par of three") for row in rows[:rows.index("Marks")])


def test_each_session_has_its_own_marks_and_one_without_says_so(shared, tmp_path):
    path = tmp_path / "b.journal"
    told(shared, path, "on the roof")
    told(shared, path, "gable roof")
    rows = listed(path)
    assert rows.count("Marks") == 1 and rows[-1] == "No marks told."
    assert rows.index("Marks") < next(n for n, row in enumerate(rows) if row.startswith("Session 2"))


def test_a_mark_of_an_exercise_is_labelled(shared, tmp_path):
    path = tmp_path / "c.journal"
    told(shared, path, "exercise, on the roof", "first cut")
    assert marks_of(listed(path)) == ["2031-05-06T12:00:00Z       exercise up", "2031-05-06T12:01:00Z       first cut"]


def test_what_was_scratched_or_never_affirmed_is_no_mark(shared, tmp_path):
    path = tmp_path / "d.journal"
    told(shared, path, "on the roof", "scratch that", "first cut")
    assert marks_of(listed(path)) == ["2031-05-06T12:02:00Z       first cut"]
    heard = tmp_path / "e.journal"
    told(shared, heard, "on the roof", "off the roof", as_heard=True)
    assert marks_of(listed(heard)) == ["2031-05-06T12:00:00Z       up"]
    affirmed = tmp_path / "f.journal"
    told(shared, affirmed, "on the roof", "off the roof", "affirm", as_heard=True)
    assert marks_of(listed(affirmed))[-1] == "2031-05-06T12:02:00Z       off the roof"


def test_a_session_told_again_ends_with_the_picture_that_it_had(shared, tmp_path):
    """Also where the judging had asked for the confirmation: without that "affirm" would affirm nothing."""
    path = tmp_path / "g.journal"
    session = Session(*shared, Journal(path), as_heard=True)
    session.begin()
    lines = ("three of us on air", "affirm", "pitch is six twelve", "affirm", "on the roof", "first cut", "affirm",
             "soft on delta", "undo that", "affirm", "crew change", "no change inside")
    for n, line in enumerate(lines):
        take(session, Heard(line, "x", once=frozenset({"roof.pitch"})), at=NOON + 60 * n)
    events = list(session.journal.events())
    session.close()
    assert [event.body["names"] for event in events if event.kind == "confirm"] == [["roof.pitch"]]
    again = retold(events)
    assert again.picture == session.state.picture
    assert [one.tellings for one in again.pending] == [one.tellings for one in session.state.pending] != []
    assert [one.called for one in marks(again.picture)] == ["up", "first cut", "crew change"]
    assert "deck.D" not in again.picture.known(NOON + 3600)


def test_a_line_of_another_version_leaves_the_listing_and_says_why(tmp_path):
    path = tmp_path / "h.journal"
    journal = Journal(path)
    journal.begin(NOON, "type", "0")
    journal.append(NOON, "line", {"u": 1, "spoken": False, "parsed": {"line": "on the roof"}})
    journal.close()
    rows = listed(path)
    assert rows[1].endswith("on the roof")
    assert rows[-1].startswith("Marks cannot be told: ") and "another version" in rows[-1]
