"""Tries for relief wherever the hole is: an act in the opening of a section counts like one in the main roof.

The order of looking for relief is G21; that two failed tries bring the crew down is the pack's own rule. The house is
invented.
"""

from __future__ import annotations

import pytest

from fieldaid.facts import Picture, Telling
from fieldaid.session.journal import Journal
from fieldaid.session.marks import marks
from fieldaid.session.session import Session

NO_CHANGE = ("interior.relief", "no change")


def tried(*rows):
    """What was tried, after these facts were told one after the other."""
    picture = Picture().tell(*(Telling(n, name, value, at=float(n)) for n, (name, value) in enumerate(rows, 1)))
    return {name.removeprefix("tried."): one.value for name, one in picture.known(60.0).items()
            if name.startswith("tried.")}


@pytest.mark.parametrize("section", ["", "@garage", "@neighbour_B"])
def test_a_ceiling_pushed_after_no_change_is_a_try_in_every_section(section):
    pushed = (f"opening.ceiling{section}", "pushed")
    assert tried(NO_CHANGE, pushed) == {"ceiling": "done"}
    assert tried(NO_CHANGE, pushed, NO_CHANGE) == {"ceiling": "no relief"}
    assert tried(pushed, NO_CHANGE) == {}
    assert tried(pushed, NO_CHANGE, pushed) == {}, "told again, it is no new act"


def test_a_hole_that_is_open_in_a_second_place_is_the_try_of_another_bay():
    main, garage = ("opening.made", "full"), ("opening.made@garage", "full")
    assert tried(main, NO_CHANGE, garage) == {"bay": "done"}
    assert tried(garage, NO_CHANGE, main, NO_CHANGE) == {"bay": "no relief"}
    assert tried(NO_CHANGE, garage) == {}, "the first hole of the job is no try"
    assert tried(main, garage, NO_CHANGE) == {}, "both were open before anyone missed relief"
    assert tried(main, NO_CHANGE, ("opening.made@garage", "inspection")) == {}, "an inspection cut lets nothing out"


def test_the_ceiling_under_a_second_hole_is_a_second_try():
    holes = (("opening.made", "full"), ("opening.made@garage", "full"), NO_CHANGE)
    once = (*holes, ("opening.ceiling", "pushed"), NO_CHANGE)
    assert tried(*once) == {"ceiling": "no relief"}
    assert tried(*once, ("opening.ceiling@garage", "pushed"), NO_CHANGE) == {"ceiling": "no relief", "bay": "no relief"}


def test_two_failed_tries_over_the_garage_bring_the_crew_down(shared):
    session = Session(*shared, Journal(":memory:"))
    session.begin()
    lines = ("on the roof", "hole is open over the garage", "no change inside", "ceiling pushed over the garage",
             "no change inside", "extended the hole over the garage", "no change inside")
    access, failed = [], []
    for n, line in enumerate(lines):
        data = session.line(line, at=1000.0 + n).data
        assert data["result"] == "taken", line
        access.append(data["guidance"]["access"])
        failed.append(data["computed"].get("tries.failed", 0))
    assert failed == [0, 0, 0, 0, 1, 1, 2]
    assert session.line("why", at=1100.0).data["guidance"]["access_rules"][:1] == ["RELIEF-210"]
    assert access[-1] == "come down" and set(access[:-1]) == {"stay off"}


def test_marks_say_in_which_section(shared):
    session = Session(*shared, Journal(":memory:"))
    session.begin()
    for n, line in enumerate(("first cut", "hole is open over the garage", "ceiling pushed over the garage")):
        session.line(line, at=1000.0 + n)
    assert [one.called for one in marks(session.state.picture)] == ["first cut", "open garage", "ceiling pushed garage"]
