"""Random talks, typed and spoken: no danger is lost, no unaffirmed word loosens, a resumed session goes on the same.

The properties are the design's own: a leave-now is said with every answer until "leaving", every other danger at least
once, and a journal holds all that the next answer hangs on. The lines are those of the sentences of our own grammar
tests, and the commands and dangers that get in each other's way. Wording: common practice, no source.
"""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest
import yaml
from job_talk import READY

from fieldaid.guidance.pack import ACCESS, GATE
from fieldaid.session.conclusion_lines import sentence
from fieldaid.session.journal import Journal
from fieldaid.session.replies import waits
from fieldaid.session.session import Session

ACTS = (
    "affirm", "affirm", "affirm", "negative", "scratch that", "restore", "new job", "crew change", "no play", "leaving",
    "leaving", "on the roof", "on the roof", "on the ground", "mayday", "resume speaking", "status", "say again",
    "soft on alpha", "soft on charlie", "garage soft on alpha", "garage roof sagging", "attic fire in the garage",
    "flames in the attic", "attic clear seen", "truss roof", "correction attic fire", "one member alone",
    "exercise soft on delta", "exercise attic clear", "command says come off", "command sent us up", "low on air",
    "roll call two", "roll call three", "no way down", "two ways off", "opening full", "interior reports no change",
    "new job, soft on charlie", "affirm, and soft on delta", "correction deck solid on charlie", "member missing",
)
LINES = 25


@pytest.fixture(scope="module")
def told():
    text = (Path(__file__).resolve().parents[1] / "sentences" / "own.yaml").read_text(encoding="utf-8")
    single = yaml.compose(text, Loader=yaml.CSafeLoader).value[0][1]
    return sorted({line.value for _, values in single.value for _, lines in values.value for line in lines.value})


def parts(judged):
    return {"": judged.main, **judged.sections}


def talk(seed, told):
    """Lines with their moments [s], and whether each is spoken."""
    chosen, at = random.Random(seed), 1000.0
    for number in range(LINES):
        line = READY[number] if number < len(READY) and chosen.random() < 0.7 else chosen.choice(
            ACTS if chosen.random() < 0.6 else told)
        at += chosen.choice((1.0, 1.0, 5.0, 400.0))
        yield line, at, chosen.random() < 0.6


class Heard:
    """Which of the lines that stand were said since they began to stand."""

    def __init__(self):
        self.said: dict[tuple[str, str], bool] = {}
        self.since: dict[tuple[str, str], int] = {}

    def note(self, standing, replies):
        """`standing` by part and key; returns those that were never said, with the answers since they stand."""
        now, texts = {}, [one.text.lower() for one in replies]
        for place, line in standing.items():
            words = sentence(line.text, upper=False).rstrip(".").lower()
            shared = self.said.get(("", place[1]), False)
            now[place] = self.said.get(place, False) or shared or any(words in text for text in texts)
        self.since = {place: self.since.get(place, 0) + 1 for place in now}
        self.said = now
        return {place: self.since[place] for place, said in now.items() if not said}


@pytest.mark.parametrize("seed", range(12))
def test_every_danger_is_said(shared, told, seed):
    session = Session(*shared, Journal(":memory:"))
    session.begin()
    stops, leaves = Heard(), Heard()
    for line, at, spoken in talk(seed, told):
        answer = session.line(line, at=at, spoken=spoken)
        found, leaving = parts(answer.judged), session.state.leaving
        if any(one.access == "leave now" for one in found.values()) and not leaving:
            assert any(one.kind == "leave" for one in answer.replies), line
        standing = {(name, each.key): each for name, one in found.items() for each in one.stops}
        assert not stops.note(standing, answer.replies), line
        dangers = {(name, each.key): each for name, one in found.items() for each in one.triggers
                   if not each.key.endswith(":unsaid")}
        late = leaves.note(dangers, [one for one in answer.replies if one.kind in ("leave", "stop")])
        # Two of them are said at once, those first that were not said yet.
        assert leaving or all(answers <= len(dangers) / 2 for answers in late.values()), line


@pytest.mark.parametrize("seed", range(100, 112))
def test_no_spoken_word_but_a_yes_loosens_access_or_gate(shared, told, seed):
    session = Session(*shared, Journal(":memory:"))
    session.begin()
    before = {}
    for line, at, _ in talk(seed, told):
        parsed = shared[0].parse(line, expecting=session.state.expecting)
        answer = session.line(line, at=at, spoken=True)
        after = {name: (ACCESS.index(one.access), GATE.index(one.gate)) for name, one in parts(answer.judged).items()}
        if parsed.answer != "yes" and parsed.command != "affirm":
            for name in before.keys() & after.keys():
                assert after[name][0] <= before[name][0] and after[name][1] <= before[name][1], (line, name)
        before = after


@pytest.mark.parametrize("seed", range(200, 208))
def test_a_caution_that_waits_is_said_once_the_bar_is_gone(shared, told, seed):
    session = Session(*shared, Journal(":memory:"))
    session.begin()
    cautions = Heard()
    for line, at, _ in talk(seed, told):
        answer = session.line(line, at=at, spoken=False)
        main = answer.judged.main
        late = cautions.note({("", each.key): each for each in main.cautions}, answer.replies)
        leave = any(one.access == "leave now" for one in parts(answer.judged).values()) and not session.state.leaving
        assert leave or not [each for each in main.cautions if ("", each.key) in late and not waits(each, main)], line


@pytest.mark.parametrize("seed", range(300, 308))
def test_a_resumed_session_gives_the_answer_that_going_on_gives(shared, told, tmp_path, seed):
    path, copy = tmp_path / "a.journal", tmp_path / "b.journal"
    session = Session(*shared, Journal(path))
    session.begin()
    for number, (line, at, spoken) in enumerate(talk(seed, told)):
        other = None
        if number % 4 == 3:
            for end in ("", "-wal"):
                shutil.copy(f"{path}{end}", f"{copy}{end}")
            resumed = Session(*shared, Journal(copy))
            resumed.begin()
            resumed.take_notices()
            other = resumed.line(line, at=at, spoken=spoken).data
            resumed.journal.close()
        answer = session.line(line, at=at, spoken=spoken).data
        if other is not None:
            assert {**other, "n": 0} == {**answer, "n": 0}, line
    session.close()
