"""Invariants as properties of a session: the dialogue, the replies, the journal. Each talk is a function of a seed and
a number. Lines are given as what they mean, so that the grammar's own tests stay apart from these.

A talk yields (invariant or "undo", what was to hold, whether it held, what happened).
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from fieldaid.authoring.properties_seen import NO_GO
from fieldaid.authoring.properties_steps import access_fell, loosened
from fieldaid.authoring.situations import GOOD, STARTS, Facts, seeded_facts, situation_of, stream, values_of
from fieldaid.facts.picture import CANNOT_TELL, Picture
from fieldaid.facts.vocabulary import FACTS
from fieldaid.grammar.model import Parsed, Reading
from fieldaid.guidance.guide import Guide
from fieldaid.guidance.pack import ACCESS, GATE
from fieldaid.session.dialogue import reduce
from fieldaid.session.dialogue_state import State, Utterance
from fieldaid.session.journal import Journal
from fieldaid.session.judging import judge
from fieldaid.session.session import Answer, Session

Found = tuple[int | str, str, bool, str]
Talk = Callable[[Guide, int, int], Iterator[Found]]

MINUTES = (0.0, 6 * 60.0, 40 * 60.0)
BANNED = re.compile(r"\b(safe|safely|unsafe|okay|ok|allowed|permitted|cleared)\b", re.IGNORECASE)
DANGERS = (("deck.C", "soft"), ("deck.unsaid", "sagging"), ("opening.shows", "truss"), ("fire.cockloft", "confirmed"),
           ("command.roof", "come off"), ("crew.ways_off", 1), ("crew.air", {"low": "yes"}))


def phrase(name: str, value: Any, basis: str) -> str:
    return f"{name}: {value}"


def line(*facts: tuple[str, Any], **parsed: Any) -> Parsed:
    """A line that tells these facts."""
    return Parsed("", readings=tuple(Reading(name, value) for name, value in facts), **parsed)


class Told:
    """A dialogue reduced line by line."""

    def __init__(self) -> None:
        self.state, self.n = State(), 0

    def say(self, parsed: Parsed, spoken: bool = False) -> None:
        self.n += 1
        self.state, _ = reduce(self.state, Utterance(self.n, 0.0, parsed, spoken), phrase)

    def affirm_all(self) -> None:
        for _ in range(20):
            if not self.state.asked:
                return
            self.say(line(answer="yes"), spoken=True)

    def say_often(self, said: Parsed, spoken: bool, times: int) -> None:
        """Says a line again and again, and affirms whatever it asks."""
        for _ in range(times):
            self.say(said, spoken)
            self.affirm_all()

    def seen(self) -> list[Any]:
        return situations(self.state.picture)


def situations(picture: Picture) -> list[Any]:
    """What guidance would see of every section, now and later."""
    return [picture.situation(at, section) for at in MINUTES for section in ("", "garage")]


def _told(facts: Facts, rng: random.Random) -> Told:
    """A talk in which these facts were told."""
    talk = Told()
    for told in _lines(facts, rng):
        talk.say(told)
    return talk


def _lines(facts: Facts, rng: random.Random) -> Iterator[Parsed]:
    """Facts as lines of one to three."""
    left = list(facts.items())
    while left:
        take = rng.randint(1, 3)
        batch, left = left[:take], left[take:]
        told = [(name, value) for name, value in batch if value != CANNOT_TELL]
        if told:
            yield line(*told)
        for name, value in batch:
            if value == CANNOT_TELL:
                yield line(command="cannot tell", command_fact=name)


def _something(facts: Facts, rng: random.Random) -> tuple[str, Parsed]:
    """One act that may be undone."""
    names = sorted(FACTS)
    told = [name for name in facts if facts[name] != CANNOT_TELL]
    pick = [(name, rng.choice(values_of(name))) for name in rng.sample(names, rng.randint(1, 3))]
    if told and rng.random() < 0.5:
        name = rng.choice(told)
        pick.append((name, rng.choice(values_of(name))))
    kind = rng.choice(("tell", "tell", "tell", "correction", "forget", "cannot tell", "crew change", "new job",
                       "garage"))
    if kind == "forget" and told:
        return kind, line(command="forget", command_fact=rng.choice(told))
    if kind == "cannot tell":
        return kind, line(command="cannot tell", command_fact=rng.choice(told or names))
    if kind == "crew change":
        return kind, line(command="crew change")
    if kind == "new job":
        return kind, line(command="clear")
    if kind == "correction" and told:
        name = rng.choice(told)
        return kind, line((name, rng.choice(values_of(name))), command="correction")
    if kind == "garage":
        return kind, line(("deck.eave@garage", "solid"), ("fire.attic@garage", rng.choice(values_of("fire.attic"))))
    return "tell", line(*dict(pick).items())


def undo_equals_never_done(guide: Guide, seed: int, number: int) -> Iterator[Found]:
    """Do, then scratch: as if never done. Put back: as if never scratched. Typed, and spoken with "affirm".

    A spoken line may do two things: its danger counts at once, its good news with the "affirm". Each is scratched and
    put back by itself.
    """
    rng = stream(seed, number, "undo")
    facts, _ = seeded_facts(seed, number)
    talk = _told(facts, rng)
    before, first = talk.seen(), len(talk.state.done)
    kind, act = _something(facts, rng)
    spoken = number % 3 == 2 and kind != "tell"
    talk.say(act, spoken)
    talk.affirm_all()
    after = talk.seen()
    done = talk.state.done
    things = max(1, len(done) - first)
    talk.say_often(line(command="scratch that"), spoken, things)
    what = f"{kind} {[(one.name, one.value) for one in act.readings]} {act.command_fact or ''} after {facts}"
    yield "undo", "do, then undo, equals never done", talk.seen() == before, what
    talk.say_often(line(command="restore"), spoken, things)
    yield "undo", "undo, then put back, equals done", talk.seen() == after and talk.state.done == done, what


def spoken_good_news_waits(guide: Guide, seed: int, number: int) -> Iterator[Found]:
    """Invariants 19, 26, 32: a spoken value that may loosen counts only once affirmed, in no picture before."""
    rng = stream(seed, number, "waits")
    facts, _ = seeded_facts(seed, number)
    talk = _told(facts, rng)
    before = talk.seen()
    names = sorted(name for name, fact in FACTS.items() if any(map(fact.is_loosening, values_of(name))))
    name = rng.choice(names)
    value = rng.choice([one for one in values_of(name) if FACTS[name].is_loosening(one)])
    talk.say(line((name, value)), spoken=True)
    what = f"{name}: {value} after {facts}"
    waits = talk.state.with_pending().situation(0.0).values.get(name) is not None and bool(talk.state.asked)
    yield 32, "a spoken value that may loosen is read back and waits", waits and talk.seen() == before, what
    talk.say(line(answer="no"), spoken=True)
    yield 19, "a negative leaves everything as it was", talk.seen() == before and not talk.state.pending, what
    talk.say(line(("deck.C", "soft")), spoken=True)
    yield 32, "a spoken danger counts at once", talk.state.picture.situation(0.0).values.get("deck.C") in (
        "soft", "sagging", "burned through"), what


def time_and_crews_free_nothing(guide: Guide, seed: int, number: int) -> Iterator[Found]:
    """Invariants 4, 29: time passing, and a change of crew, never loosen; the crew's good news goes with it."""
    rng = stream(seed, number, "crew")
    facts, _ = seeded_facts(seed, number)
    talk = _told(facts, rng)
    before = guide.evaluate(talk.state.picture.situation(0.0)).outcome
    for minutes in (6, 11, 40, 240):
        later = guide.evaluate(talk.state.picture.situation(minutes * 60.0)).outcome
        yield 4, "time alone never lowers access, gate or a leave", not loosened(before, later), f"{minutes} {facts}"
    name = rng.choice(sorted(facts)) if facts else "crew.count"
    talk.say(line(command="cannot tell", command_fact=name))
    after = guide.evaluate(talk.state.picture.situation(0.0)).outcome
    yield 2, "cannot tell never lowers access, gate or a leave", not loosened(before, after), f"{name} {facts}"
    before = after
    talk.say(line(command="crew change"))
    after = guide.evaluate(talk.state.picture.situation(0.0)).outcome
    good = [one for one in ("crew.masks", "crew.count", "crew.in_contact") if one in facts
            and facts[one] != CANNOT_TELL and not FACTS[one].lasts(facts[one])]
    known = talk.state.picture.situation(0.0).values
    yield 29, "a change of crew never lowers access, gate or a leave", not loosened(before, after), f"{facts}"
    if good:
        yield 29, "after a change of crew its good news is unknown", not any(one in known for one in good), f"{facts}"


def good_news_stays_in_its_section(guide: Guide, seed: int, number: int) -> Iterator[Found]:
    """Invariant 31: the main roof's good news frees no section; its bad deck is a danger there too."""
    rng = stream(seed, number, "section")
    if number % 2:
        # All good, so that nothing but the section itself can keep it from being free.
        facts = dict(GOOD)
    else:
        facts = {**STARTS[number % len(STARTS)], **dict([rng.choice(DANGERS)])}
        facts = {name: value for name, value in facts.items() if rng.random() < 0.9}
    talk = _told(facts, rng)
    picture = talk.state.picture
    garage = guide.evaluate(picture.situation(0.0, "garage")).outcome
    main = guide.evaluate(picture.situation(0.0)).outcome
    decks = {name for name in main.triggers if "deck" in name}
    yield 31, "a section of which nothing was told is never free", garage.access in NO_GO, f"{facts}"
    yield 31, "the main roof's bad deck is a danger to its sections", decks <= set(garage.triggers), f"{facts}"


class Scripted:
    """Stands in for the grammar: each line is what it means."""

    def __init__(self) -> None:
        self.next = Parsed("")

    def parse(self, text: str, expecting: str | None = None) -> Parsed:
        return self.next

    def spoken(self, reading: Reading) -> str:
        return phrase(reading.name, reading.value, reading.basis)


class Voice:
    """Stands in for the voice: what it was given, and whether it was silenced."""

    def __init__(self) -> None:
        self.lines: list[tuple[str, str]] = []
        self.stopped, self.muted, self.notices = 0, False, []

    def say(self, lines: list[tuple[str, str]], **how: Any) -> float:
        self.lines = lines
        return 0.0

    def stop(self, **how: Any) -> None:
        self.stopped += 1

    def mute(self, on: bool, **how: Any) -> None:
        self.muted = on


def _session(guide: Guide, journal: Journal | str = ":memory:") -> tuple[Session, Scripted, Voice]:
    grammar, voice = Scripted(), Voice()
    kept = Journal(journal) if isinstance(journal, str) else journal
    session = Session(grammar, guide, kept, speaker=voice)  # type: ignore[arg-type]
    session.begin()
    return session, grammar, voice


def _tell(session: Session, grammar: Scripted, parsed: Parsed, spoken: bool = False) -> Answer:
    grammar.next = parsed
    return session.line("", spoken=spoken, at=0.0)


def answers_keep_their_order(guide: Guide, seed: int, number: int) -> Iterator[Found]:
    """Invariants 18, 19, 20, 26: danger first in every answer, a leave repeated until "leaving", no word that clears,
    the voice silent on a mayday, and a restart that keeps a standing leave-now."""
    rng = stream(seed, number, "answers")
    facts = dict(STARTS[number % len(STARTS)], **{"crew.where": "roof"})
    session, grammar, voice = _session(guide)
    said: list[Any] = []
    for told in _lines(facts, rng):
        said += _tell(session, grammar, told).replies
    danger = rng.choice(DANGERS)
    beside = rng.choice((None, "status", "why", "what do you need", "marks", "say again", "quiet"))
    answer = _tell(session, grammar, line(danger, command=beside))
    what = f"{danger} beside {beside} after {facts}"
    leave = answer.judged.main.access == "leave now"
    yield 20, "a danger told is answered first, in one short sentence", leave and answer.replies[0].kind == "leave" \
        and len(answer.replies[0].text.split()) <= 9, f"{what}: {answer.replies[:1]}"
    for command in ("why", "status", "what do you need", "why not", "help"):
        answer = _tell(session, grammar, line(command=command))
        said += answer.replies
        yield 18, "a leave now is repeated with every answer until leaving", answer.replies[0].kind == "leave", what
    ranks = [("leave", "stop").index(one.kind) if one.kind in ("leave", "stop") else 9 for one in answer.replies]
    yield 20, "asked anything, the danger comes first", ranks == sorted(ranks), what
    answer = _tell(session, grammar, line(command="leaving"))
    later = _tell(session, grammar, line(command="status"))
    yield 18, "leaving ends the repeat and never the leave", (
        not any(one.kind == "leave" for one in later.replies) and later.judged.main.access == "leave now"), what
    stopped = voice.stopped
    _tell(session, grammar, line(command="mayday"))
    yield 18, "on a mayday the voice is stopped and stays silent", voice.stopped > stopped and voice.muted, what
    again, _, _ = _session(guide, session.journal)
    restarted = judge(guide, again.state, 0.0).main
    yield 26, "a restart keeps a standing leave now", restarted.access == "leave now", what
    yield 19, "no reply says safe or allowed", not any(BANNED.search(one.text) for one in said), what
    session.close()


def an_exercise_hides_nothing(guide: Guide, seed: int, number: int) -> Iterator[Found]:
    """Invariant 30: a danger told as an exercise is judged as a danger, and an untagged one stays real beside it."""
    rng = stream(seed, number, "exercise")
    facts, _ = seeded_facts(seed, number)
    base = list(_lines(facts, rng))
    danger, other = rng.choice(DANGERS), ("deck.A", "burned through")
    tagged, plain = Told(), Told()
    for told in base:
        tagged.say(told)
        plain.say(told)
    tagged.say(line(danger, command="exercise"))
    plain.say(line(danger))
    one, two = (guide.evaluate(talk.state.picture.situation(0.0)).outcome for talk in (tagged, plain))
    yield 30, "a danger tagged as exercise counts as the danger", one == two, f"{danger} after {facts}"
    tagged.say(line(other))
    tagged.say(line(danger, command="exercise"))
    after = guide.evaluate(tagged.state.picture.situation(0.0)).outcome
    yield 30, "an untagged danger stays beside an exercise", (
        "deck burned through" in after.triggers and not access_fell(one, after)), f"{danger} after {facts}"


MEASURES: Mapping[str, tuple[Any, ...]] = {
    "roof.form": ("gable", "hip", "flat", "pyramid"), "roof.ridge_runs": ("A-C", "B-D"),
    "roof.length_ft": (24, 40, 60), "roof.width_ft": (16, 28), "roof.pitch": (3, 6, 10), "roof.spacing_in": (16, 24),
    "fire.side": ("A", "C", "BC", "D", "centre"), "wind.from": ("A", "C", "west", "northeast"),
    "roof.solar": ("none", ["A"], ["C"]), "roof.wires": ("none",), "roof.skylight": ("none", ["C"]),
    "crew.where": ("ground", "roof"), "roof.deck": ("plank", "osb"),
    "crew.ladders": ([{"place": "A", "kind": "ground", "usable": "yes"}, {"place": "CD", "kind": "ground",
                                                                           "usable": "yes"}],
                     [{"place": "AB", "kind": "aerial", "usable": "yes"}, {"place": "C", "kind": "ground",
                                                                            "usable": "yes"}]),
}
# The solver takes a hundred times what an evaluation takes.
EVERY = 10


def a_worked_out_place_only_adds_holds(guide: Guide, seed: int, number: int) -> Iterator[Found]:
    """Invariants 5, 8, 16: on a roof told with its measures, what the placement solver finds frees nothing, and never
    lies to windward or under panels."""
    from fieldaid.workings import compute

    if number % EVERY:
        return
    rng = stream(seed, number, "place")
    told = situation_of({**GOOD, **{name: rng.choice(values) for name, values in MEASURES.items()}})
    rough = {name: one.value for name, one in compute(told, guide.pack.parameter_values()).items()}
    before, after = guide.reference.run(told, rough), guide.evaluate(told)
    what = f"{told.values}: {after.access}, {after.gate}"
    yield 8, "a worked-out place frees neither roof nor cut", (
        ACCESS.index(after.access) <= ACCESS.index(before.access) and GATE.index(after.gate) <= GATE.index(
            before.gate)), what
    face = after.computed.get("place.face")
    if after.gate == "no hold reported" and face is not None:
        lie = after.computed.get(f"wind.on.{face.value}")
        yield 16, "a worked-out place is never to windward", lie is not None and lie.value != "windward", what
        panels = told.values["roof.solar"]
        yield 5, "a worked-out place is of a kind that leaves the frame whole", after.kind in (
            "rectangle", "louvred panels", "triangle", "trapezoid", "existing opening", None), what
        yield 13, "a worked-out place carries no panels", panels == "none" or not any(
            face.value in place for place in panels), what


TALKS: tuple[Talk, ...] = (undo_equals_never_done, spoken_good_news_waits, time_and_crews_free_nothing,
                           good_news_stays_in_its_section, answers_keep_their_order, an_exercise_hides_nothing,
                           a_worked_out_place_only_adds_holds)
