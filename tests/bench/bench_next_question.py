"""How many answers it takes until access and gate are decided, by the order in which the missing facts are asked for.

Invented situations: a house of which little is told, and an officer who answers whatever is asked with what is true.
The orders: the vocabulary's own (every fact in turn, or only those that the rules miss), the pack's, and the computed
one. Prints the mean number of answers with a 95 % interval (normal approximation over situations), the mean saving
within situations against the vocabulary's order with its interval, and what one ranking costs.

    python tests/bench/bench_next_question.py [--count 2000] [--seed 1]
"""

from __future__ import annotations

import argparse
import math
import random
import statistics
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "guidance"))

import house

from fieldaid.authoring.situations import GOOD, values_of
from fieldaid.clock import Stopwatch
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.next_question import NextQuestion, is_settled

TOLD_AT_ONCE = ("roof.form", "roof.ridge_runs", "fire.side")
TABLE = list(FACTS)
Chooser = Callable[[Situation, tuple[str, ...]], str]


def truths(count: int, seed: int) -> Iterable[dict[str, Any]]:
    """Everything that is true of one house: each fact that the rules ask for is good with p = .85 or else any other
    of its values, and three more facts of any kind are told."""
    rng = random.Random(seed)
    for _ in range(count):
        truth = {name: value if rng.random() < 0.85 else rng.choice(values_of(name))
                 for name, value in GOOD.items()}
        yield truth | house.random_facts(rng, {}, 3)


def answers_needed(truth: dict[str, Any], choose: Chooser) -> int:
    """Answers until the matter is settled. What the truth does not hold is answered with "cannot tell"."""
    facts = {name: truth[name] for name in TOLD_AT_ONCE}
    cannot: set[str] = set()
    asked = 0
    while True:
        situation = Situation(values=facts, basis=dict.fromkeys(facts, "told"), cannot_tell=frozenset(cannot))
        outcome = house.run(situation)
        missing = tuple(name for name in outcome.missing if name not in cannot and name not in facts)
        if is_settled(outcome) or not missing:
            return asked
        name = choose(situation, missing)
        asked += 1
        if name in truth and truth[name] != "cannot tell":
            facts = {**facts, name: truth[name]}
        else:
            cannot.add(name)


def every_fact(situation: Situation, missing: tuple[str, ...]) -> str:
    """The next of the facts that the house holds, in the vocabulary's order, whether it matters now or not."""
    left = (name for name in TABLE if name in NEEDED | set(missing)
            and name not in situation.values and name not in situation.cannot_tell)
    return next(left)


def table_order(situation: Situation, missing: tuple[str, ...]) -> str:
    return min(missing, key=TABLE.index)


def pack_order(situation: Situation, missing: tuple[str, ...]) -> str:
    return missing[0]


def interval(numbers: list[float]) -> str:
    mean = statistics.fmean(numbers)
    half = 1.96 * statistics.stdev(numbers) / math.sqrt(len(numbers))
    return f"{mean:6.2f}  [{mean - half:.2f}, {mean + half:.2f}]"


NEEDED = frozenset(GOOD)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    ranker = NextQuestion(house.reference(), house.plain_computed)
    times: list[float] = []

    def computed(situation: Situation, missing: tuple[str, ...]) -> str:
        watch = Stopwatch()
        first = ranker.order(situation, missing)[0]
        times.append(watch.ms())
        return first

    orders: dict[str, Chooser] = {"every fact in turn": every_fact, "vocabulary's order": table_order,
                                  "pack's order": pack_order, "computed": computed}
    counts = {name: [answers_needed(truth, choose) for truth in truths(options.count, options.seed)]
              for name, choose in orders.items()}
    print(f"answers until access and gate are decided, {options.count} situations, seed {options.seed}")
    for name, numbers in counts.items():
        saved = [float(a - b) for a, b in zip(counts["vocabulary's order"], numbers, strict=True)]
        print(f"  {name:20}{interval([float(one) for one in numbers])}   saves {interval(saved)}")
    times.sort()
    print(f"one ranking: p50 {statistics.median(times):.1f} ms, p95 {times[int(0.95 * len(times))]:.1f} ms")


if __name__ == "__main__":
    main()
