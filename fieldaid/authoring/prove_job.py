"""One stretch of a proof: each situation through both channels, and every property asked. Runs in any process.

What is asked of each situation:
    both channels give one outcome, the facts told to them in different orders
    no property of an invariant is broken, and none about one more telling
    a fact made worse never loosens access or gate
    a value that is not marked as loosening never loosens them when told
"""

from __future__ import annotations

import base64
import functools
import itertools
import random
import zlib
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fieldaid.authoring.properties import PROPERTIES
from fieldaid.authoring.properties_seen import Seen
from fieldaid.authoring.properties_session import TALKS
from fieldaid.authoring.properties_steps import (
    STEPS,
    garage_keeps_off,
    loosened,
    random_unmarked,
    unmarked_holds,
    worsened,
)
from fieldaid.authoring.situations import picture_of, seeded, shuffled, stream, told_after
from fieldaid.authoring.situations_gate import GATE_FACTS, LEVELS, situation_of_row
from fieldaid.errors import EngineError
from fieldaid.facts.situation import Situation
from fieldaid.guidance.engine import Engine, is_installed
from fieldaid.guidance.guide import Guide
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import Pack, load_pack
from fieldaid.guidance.reference import Reference

MOST_EXAMPLES = 3
ENGINE_S = 30.0
# The level of each gate fact that bars and holds nothing; a factor that is not named is at its first level, unknown.
GOOD_LEVELS: Mapping[str, str] = {
    "fire.attic": "not seen", "roof.framing": "solid", "deck": "solid", "roof.wires": "none", "roof.solar": "none",
    "roof.surface": "dry", "crew.count": "2 or 3 or 4", "crew.masks": "breathing air", "crew.ways_off": "2 or 3",
    "command.roof": "go up", "interior.calls": "open now", "interior.answers": "yes", "water.on_fire": "yes",
    "fire.side": "C or BC or CD", "roof.form": "gable or gambrel or saltbox or a-frame", "roof.ridge_runs": "B-D",
    "site.a_faces": "south or north or east or west or southeast or northwest", "wind.from": "A or D",
}
PLACES = ("ground", "roof")
Job = Mapping[str, Any]


def good_row(place: str) -> list[int]:
    """Everything good, the crew at `place`."""
    wanted = {**GOOD_LEVELS, "crew.where": place}
    row = []
    for factor in GATE_FACTS:
        names = [level.name for level in factor.levels]
        row.append(names.index(wanted[factor.name]) if factor.name in wanted else 0)
    return row


@functools.cache
def pairs() -> tuple[tuple[int, ...], ...]:
    """Everything good, and any two gate facts changed in every way: a covering array hides a danger behind others,
    this does not."""
    rows = []
    for place in PLACES:
        good = good_row(place)
        for i in range(len(LEVELS)):
            for j in range(i):
                for a in range(LEVELS[i]):
                    for b in range(LEVELS[j]):
                        if a != good[i] and b != good[j]:
                            row = list(good)
                            row[i], row[j] = a, b
                            rows.append(tuple(row))
    return tuple(rows)


def pack_array(array: np.ndarray) -> str:
    """A covering array as text, for the arguments of a job."""
    return base64.b64encode(zlib.compress(array.astype(np.uint8).tobytes(), 9)).decode()


@functools.lru_cache(maxsize=2)
def _rows(text: str) -> np.ndarray:
    return np.frombuffer(zlib.decompress(base64.b64decode(text)), dtype=np.uint8).reshape(-1, len(LEVELS))


class Bench:
    """A pack loaded for proof: the reference, and the engine if it is wanted."""

    def __init__(self, pack: Pack, engine: bool) -> None:
        from fieldaid.workings import compute

        self.pack, self._compute = pack, compute
        self.reference = Reference(pack)
        self.parameters = pack.parameter_values()
        self.engine = Engine(pack, ready_s=60.0) if engine else None
        if self.engine is not None and not self.engine.wait_ready(60.0):
            raise EngineError("the first channel did not start", why="it was to be compared with the second")

    def see(self, situation: Situation) -> Seen:
        """A situation with its computed facts and what the reference concludes."""
        computed = {name: one.value for name, one in self._compute(situation, self.parameters).items()}
        return Seen(situation, computed, self.reference.run(situation, computed))

    def ask_engine(self, situation: Situation, computed: Mapping[str, Any]) -> Outcome | None:
        """What the engine concludes; None without one. Raises EngineError."""
        return self.engine.run(situation, computed, ENGINE_S) if self.engine is not None else None

    def close(self) -> None:
        """Ends the engine's child."""
        if self.engine is not None:
            self.engine.close()


@functools.lru_cache(maxsize=1)
def _bench(folder: str, overlays: tuple[str, ...], engine: bool) -> Bench:
    return Bench(load_pack(Path(folder), [Path(one) for one in overlays]), engine)


@functools.lru_cache(maxsize=1)
def _guide(folder: str, overlays: tuple[str, ...]) -> Guide:
    return Guide(load_pack(Path(folder), [Path(one) for one in overlays]), engine=False)


class Tally:
    """What a stretch came to, as numbers that add up."""

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self.applied: Counter[str] = Counter()
        self.broken: Counter[str] = Counter()
        self.answers: Counter[str] = Counter()
        self.examples: list[str] = []

    def ask(self, key: str, holds: bool | None, about: Any) -> None:
        """Counts an answer of a property; None is one that does not apply."""
        if holds is None:
            return
        self.applied[key] += 1
        if not holds:
            self.broken[key] += 1
            if len(self.examples) < MOST_EXAMPLES:
                self.examples.append(f"{key}: {about() if callable(about) else about}")

    def to_data(self) -> dict[str, Any]:
        """The tally as JSON data that `mass.add_up` adds up."""
        return {"counts": dict(self.counts), "applied": dict(self.applied), "broken": dict(self.broken),
                "answers": dict(self.answers), "examples": self.examples}


CHANNELS = "both channels give one outcome, whatever the order of the facts"
ORDER = "the order of the facts changes nothing"
WORSE = "a more dangerous fact never loosens access or gate"
MARKS = "a value not marked as loosening never loosens access, gate or a leave"
GENERAL = (CHANNELS, ORDER, WORSE, MARKS)


def situations(args: Job, start: int, stop: int) -> dict[str, Any]:
    """The job over situations: `kind` array, pairs or seeded; `engine` for both channels."""
    bench = _bench(args["pack"], tuple(args["overlays"]), args["engine"] and is_installed())
    tally = Tally()
    for number in range(start, stop):
        prove_one(bench, situation(args, number), stream(args["seed"], number, args["kind"]), number, tally)
    return tally.to_data()


def situation(args: Job, number: int) -> Situation:
    """The situation with this number of one kind."""
    if args["kind"] == "seeded":
        return seeded(args["seed"], number)
    row: Sequence[int] = pairs()[number] if args["kind"] == "pairs" else _rows(args["array"])[number].tolist()
    return situation_of_row(row, stream(args["seed"], number, "ways"))


def prove_one(bench: Bench, one: Situation, rng: random.Random, number: int, tally: Tally) -> Seen:
    """Everything asked of one situation."""
    seen = bench.see(one)
    tally.counts["situations"] += 1
    tally.answers[seen.out.access] += 1
    tally.answers[f"gate {seen.out.gate}"] += 1

    def about() -> str:
        return f"{seen.out.access} ({seen.out.access_reason}), {seen.out.gate} on {dict(one.values)} {_known(one)}"

    for prop in PROPERTIES:
        tally.ask(prop.key, prop.check(seen), about)
    if number % 2:
        again = bench.reference.run(shuffled(one, rng), _shuffled(seen.computed, rng))
        tally.ask(ORDER, again == seen.out, about)
    theirs = bench.ask_engine(shuffled(one, rng), _shuffled(seen.computed, rng))
    if theirs is not None:
        tally.ask(CHANNELS, theirs == seen.out, lambda: f"{theirs.differences(seen.out)}: {about()}")
    for name, value, worse in itertools.islice(worsened(one, rng), 1):
        after = bench.see(worse).out
        tally.ask(WORSE, not loosened(seen.out, after), f"{name}: {value} gives {after.access}, {after.gate}; "
                  f"before {dict(one.values)}")
    _tell_more(bench, seen, rng, number, tally, about)
    return seen


def _tell_more(bench: Bench, seen: Seen, rng: random.Random, number: int, tally: Tally, about: Any) -> None:
    picture = picture_of(seen.situation)
    if picture.situation(0.0).values != seen.situation.values:
        seen = bench.see(picture.situation(0.0))  # what follows from the order of telling is there before the step too
    step = STEPS[number % len(STEPS)]
    told = step.tell(seen, rng)
    if told is not None:
        after = bench.see(told_after(picture, *told).situation(0.0))
        tally.ask(step.key, step.check(seen, after), lambda: f"{told} gives {after.out.access}, {after.out.gate}; "
                  f"before {about()}")
    name, value = random_unmarked(rng)
    out = bench.see(told_after(picture, name, value).situation(0.0)).out
    tally.ask(MARKS, unmarked_holds(name, seen.out, out),
              lambda: f"{name}: {value} gives {out.access}, {out.gate}; before {about()}")
    if number % 5 == 0:
        garage = bench.see(picture.situation(0.0, "garage")).out
        tally.ask("31 the main roof's good news frees no section, and its bad deck is a danger there",
                  garage_keeps_off(seen, garage), about)


def talks(args: Job, start: int, stop: int) -> dict[str, Any]:
    """The job over sessions: every talk of each number."""
    guide = _guide(args["pack"], tuple(args["overlays"]))
    tally = Tally()
    for number in range(start, stop):
        for talk in TALKS:
            tally.counts["talks"] += 1
            for invariant, says, held, what in talk(guide, args["seed"], number):
                key = says if isinstance(invariant, str) else f"{invariant:02d} {says}"
                tally.ask(key, held, what)
    return tally.to_data()


def _shuffled(computed: Mapping[str, Any], rng: random.Random) -> dict[str, Any]:
    return dict(rng.sample(sorted(computed.items()), len(computed)))


def _known(one: Situation) -> str:
    known = {name: how for name, how in one.basis.items() if how != "told"}
    return f"known by {known}" if known else ""
