"""No relief: one next act at a time, none after a no-go, and always one while the job goes on [G21].

Every combination of what bears on the next act is drawn from, seeds fixed; the house is invented.
"""

from __future__ import annotations

import random
from collections import Counter

from house import NO_GO, run

from fieldaid.authoring.situations import GOOD
from fieldaid.facts.situation import Situation

ACTS = {"relief ask", "relief ceiling", "relief hook", "relief second deck", "relief wrong bay", "relief insulation",
        "relief larger", "relief look", "relief inlet", "relief wind", "relief nothing left"}
BEARS = {
    "opening.made": ("part", "full"),
    "opening.shows": (None, "nothing", "lazy smoke", "pressure", "second deck", "insulation"),
    "opening.ceiling": (None, "closed", "pushed", "none", "cannot reach"),
    "opening.wind": (None, "clear", "into"),
    "attic.knee_wall": (None, "yes", "no"),
    "attic.party_wall": (None, "yes"),
    "roof.deck": (None, "two decks"),
    "door.A": (None, "open", "closed"),
    "window.D": (None, "failed"),
    "tried.ceiling": (None, None, "done", "no relief"),
    "tried.bay": (None, None, None, "done", "no relief"),
    "tried.size": (None, None, None, "done", "no relief"),
    "tried.inlet": (None, None, None, "done", "no relief"),
    "deck.C": (None, None, None, None, "soft"),
    "roof.wires": ("none", "none", "none", "none", ["C"]),
}


def drawn(rng: random.Random) -> dict[str, object]:
    picked = {name: rng.choice(values) for name, values in BEARS.items()}
    return {**GOOD, "crew.where": "roof", "interior.relief": "no change",
            **{name: value for name, value in picked.items() if value is not None}}


def test_one_next_act_and_none_after_a_no_go() -> None:
    rng = random.Random(21)
    seen: Counter[str] = Counter()
    for _ in range(2500):
        facts = drawn(rng)
        out = run(Situation.of(facts))
        named = ACTS & set(out.advice)
        if out.access in NO_GO:
            assert not named, (named, facts)
            seen[out.access] += 1
        else:
            assert len(named) == 1, (named, facts)
            seen[named.pop()] += 1
    assert ACTS | set(NO_GO) <= set(seen), seen


def test_two_failed_tries_never_leave_the_crew_up() -> None:
    rng = random.Random(22)
    failed = 0
    for _ in range(2000):
        facts = drawn(rng)
        tries = sum(facts.get(f"tried.{act}") == "no relief" for act in ("ceiling", "bay", "size", "inlet"))
        if tries >= 2:
            failed += 1
            assert run(Situation.of(facts)).access in ("leave now", "come down"), facts
    assert failed > 100
