"""A job told in a session, line by line; the house and all times are invented."""

from __future__ import annotations

from fieldaid.session.journal import Journal
from fieldaid.session.judging import judge
from fieldaid.session.session import Session

READY = (
    "gable roof, ridge bravo delta, alpha faces south, rafters seen",
    "fire on charlie, attic clear seen, wind from the west",
    "three of us on air, command sent us up",
    "ladders bravo charlie corner and alpha, eave sounds solid",
    "wires clear, no panels, dry",
    "water on the fire, interior wants it open, interior answers",
)

OPEN = (*READY, "on the roof", "opening full", "interior reports no change")
NEXT_ACTS = {"RELIEF-105", "RELIEF-110", "RELIEF-120", "RELIEF-130", "RELIEF-140", "RELIEF-150", "RELIEF-160",
             "RELIEF-165", "RELIEF-170", "RELIEF-175", "RELIEF-190"}


class Talk:
    """A session that is told lines at times of ours [s]."""

    def __init__(self, shared, journal=None, **options):
        self.session = Session(*shared, journal or Journal(":memory:"), **options)
        self.session.begin()
        self.at = 1000.0

    def say(self, *lines, after=1.0):
        for line in lines:
            self.at += after
            answer = self.session.line(line, at=self.at)
            assert answer.data["result"] in ("taken", "command"), (line, [one.text for one in answer.replies])
        return answer

    def acts(self):
        """The rules that name a next act now."""
        found = judge(self.session.guide, self.session.state, self.at).main
        return {rule for line in found.advice for rule in line.rules} & NEXT_ACTS


def texts(answer):
    return [one.text for one in answer.replies]
