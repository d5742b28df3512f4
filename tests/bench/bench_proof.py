"""How long mass evaluation, a proof, coverage and mutants take.

    python tests/bench/bench_proof.py [--pack rules/house] [--count 10000] [--workers 2]

The target is 10,000 situations without the placement solver in 10 s on two processors, by the second channel; both
channels and everything that a proof asks are shown beside it. Times are wall times: on a machine that others use, the
processor time of this process and its children says what the work itself takes.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fieldaid.authoring import mass
from fieldaid.authoring.cover import cover
from fieldaid.authoring.covering import covering_array, missing
from fieldaid.authoring.mutants import mutants
from fieldaid.authoring.mutants_run import Trial, shipped
from fieldaid.authoring.prove_job import Bench, situation
from fieldaid.authoring.situations_gate import LEVELS
from fieldaid.clock import Stopwatch
from fieldaid.guidance.engine import is_installed
from fieldaid.guidance.pack import load_pack

HOUSE = Path(__file__).resolve().parents[2] / "rules" / "house"
TARGET_S, TARGET_COUNT = 10.0, 10_000
_benches: dict[tuple[str, bool], Bench] = {}


def evaluate(args: Mapping[str, Any], start: int, stop: int) -> dict[str, Any]:
    """The job: seeded situations through the second channel, or through both, and how many free the roof."""
    key = args["pack"], args["engine"]
    if key not in _benches:
        _benches[key] = Bench(load_pack(Path(args["pack"])), args["engine"])
    bench, free = _benches[key], 0
    for number in range(start, stop):
        seen = bench.see(situation({"kind": "seeded", "seed": 1}, number))
        bench.ask_engine(seen.situation, seen.computed)
        free += seen.free
    return {"free": free, "count": stop - start}


def processor_s() -> float:
    """Processor time of this process and of the children that have ended [s]."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def timed(name: str, count: int, what: Any) -> float:
    """Prints and returns the wall time of `what` [s]."""
    watch, spent = Stopwatch(), processor_s()
    what()
    wall = watch.ms() / 1000.0
    print(f"{name:<52}{count:>8}{wall:>9.2f} s{processor_s() - spent:>9.2f} s{1000.0 * wall / max(1, count):>10.3f} ms")
    return wall


def main() -> None:
    parser = argparse.ArgumentParser(description="time of mass evaluation, proof, coverage and mutants")
    parser.add_argument("--pack", type=Path, default=HOUSE)
    parser.add_argument("--count", type=int, default=TARGET_COUNT)
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    options = parser.parse_args()
    pack = load_pack(options.pack)
    print(f"{len(pack.live_rules)} rules; load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors; "
          f"{options.workers} workers\n")
    print(f"{'':<52}{'count':>8}{'wall':>11}{'processor':>11}{'each':>13}")

    def go(job: str, args: Mapping[str, Any], count: int) -> Any:
        return lambda: mass.run(mass.Work(job, args, count), workers=options.workers)

    folder = str(options.pack)
    second = timed("second channel, workings included", options.count,
                   go("bench_proof:evaluate", {"pack": folder, "engine": False}, options.count))
    if is_installed():
        both = timed("both channels", options.count,
                     go("bench_proof:evaluate", {"pack": folder, "engine": True}, options.count))
        print(f"{'both channels to the second alone':<52}{both / second:>17.1f} x")
    timed("a proof's questions, both channels", options.count // 5,
          go("fieldaid.authoring.prove_job:situations",
             {"pack": folder, "overlays": [], "engine": True, "seed": 1, "kind": "seeded"}, options.count // 5))
    for strength in (2, 3):
        timed(f"covering array of {len(LEVELS)} gate facts, strength {strength}, and its count", 1,
              lambda strength=strength: missing(covering_array(LEVELS, strength), LEVELS, strength))
    timed("coverage of every condition, with the solver", 1, lambda: cover(options.pack, pack))
    trial = Trial(pack, shipped(options.pack, pack))
    every = list(mutants(pack))
    timed("mutants on the shipped situations", len(every), lambda: [trial.catches(one) for one in every])
    rate = options.count / second
    verdict = "met" if rate * TARGET_S >= TARGET_COUNT else "missed"
    print(f"\n{rate:.0f} situations a second by the second channel; target {TARGET_COUNT / TARGET_S:.0f}: {verdict}")


if __name__ == "__main__":
    main()
