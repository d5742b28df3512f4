"""From a changed fact to guidance: both channels with the whole pack, the reference alone, CLIPS, and memory.

    python tests/bench/bench_guidance.py [--pack rules/house] [--count 1000]

Each row is one evaluation of a situation near the pack's own, with the computed facts already there except in the
rows "fact to guidance", which are all of `Guide.evaluate`: workings, channels, comparison and lines. The target is a
p95 of 10 ms for both channels. On a machine that others use, the wall times hold their turns too: the quietest tenth
and the processor time show what the work itself takes.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
from collections.abc import Callable
from pathlib import Path
from time import process_time

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "guidance"))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from guidance_situations import HOUSE, Case, example_cases, random_cases

from fieldaid.clock import Stopwatch
from fieldaid.guidance.engine import is_installed
from fieldaid.guidance.guide import Guide
from fieldaid.guidance.pack import Pack, load_pack
from fieldaid.guidance.reference import Reference

TARGET_MS = 10.0


def timed(what: Callable[[Case], object], cases: list[Case]) -> list[float]:
    """Milliseconds of each call, sorted; ten calls before it warm up."""
    for one in cases[:10]:
        what(one)
    found = []
    for one in cases:
        watch = Stopwatch()
        what(one)
        found.append(watch.ms())
    return found


def percentiles(times: list[float]) -> tuple[float, float, float]:
    """p50, p95 and p99."""
    ranked = sorted(times)
    p50, p95, p99 = (ranked[min(len(ranked) - 1, int(len(ranked) * share))] for share in (0.50, 0.95, 0.99))
    return p50, p95, p99


def quietest(times: list[float]) -> list[float]:
    """The run of a tenth of the calls, one after another, with the lowest p95."""
    length = max(1, len(times) // 10)
    return min((times[n:n + length] for n in range(0, len(times) - length + 1, length)),
               key=lambda part: percentiles(part)[1])


def row(name: str, times: list[float], base: list[float]) -> None:
    p50, p95, p99 = percentiles(times)
    best = percentiles(quietest(times))
    print(f"{name:<40}{p50:8.2f}{p95:8.2f}{p99:8.2f}{best[0]:12.2f}{best[1]:8.2f}"
          f"{best[0] / percentiles(quietest(base))[0]:12.1f} x")


def processor_ms(pid: int | None) -> float:
    """Time that the main thread of a process has spent on a processor [ms], from /proc."""
    with open(f"/proc/{pid}/schedstat") as file:
        return int(file.read().split()[0]) / 1e6


def memory_mb(pid: int | str) -> dict[str, float]:
    """Resident and private memory of a process [MB], from /proc."""
    found = {"resident": 0.0, "private": 0.0}
    with open(f"/proc/{pid}/smaps_rollup") as file:
        for line in file:
            key, _, rest = line.partition(":")
            if key == "Rss":
                found["resident"] = int(rest.split()[0]) / 1024
            elif key.startswith("Private_"):
                found["private"] += int(rest.split()[0]) / 1024
    return found


def loading(folder: Path) -> Pack:
    """Loads the pack five times and prints the best and the first."""
    times = []
    for _ in range(5):
        watch = Stopwatch()
        pack = load_pack(folder)
        times.append(watch.ms())
    print(f"pack {pack.name}: {len(pack.live_rules)} rules take part of {len(pack.rules)}; "
          f"loaded and checked in {times[0]:.0f} ms at first, {min(times):.0f} ms at best")
    return pack


def main() -> None:
    parser = argparse.ArgumentParser(description="time and memory of guidance")
    parser.add_argument("--pack", type=Path, default=HOUSE)
    parser.add_argument("--count", type=int, default=1000)
    options = parser.parse_args()
    pack = loading(options.pack)
    cases = [*example_cases(pack), *random_cases(pack, options.count, seed=41)][-options.count:]
    told = statistics.mean(len(situation.values) for situation, _ in cases)
    print(f"{len(cases)} situations of {told:.0f} told facts on average; load of the machine {os.getloadavg()[0]:.1f} "
          f"on {os.cpu_count()} processors\n")
    print(f"{'milliseconds':<40}{'p50':>8}{'p95':>8}{'p99':>8}{'quiet p50':>12}{'p95':>8}{'to reference':>14}")
    reference = Reference(pack)
    alone = timed(lambda one: reference.run(*one), cases)
    if is_installed():
        watch = Stopwatch()
        with Guide(pack) as guide:
            guide.engine.wait_ready(10)  # type: ignore[union-attr]
            ready = watch.ms()
            spent = process_time() * 1e3, processor_ms(guide.engine.pid)  # type: ignore[union-attr]
            both = timed(lambda one: guide.evaluate(one[0]), cases)
            here = (process_time() * 1e3 - spent[0]) / len(cases)
            there = (processor_ms(guide.engine.pid) - spent[1]) / len(cases)  # type: ignore[union-attr]
            row("fact to guidance, both channels", both, alone)
            row("engine alone, child included", timed(lambda one: guide.engine.run(*one), cases), alone)  # type: ignore[union-attr]
            child, parent = memory_mb(guide.engine.pid), memory_mb("self")  # type: ignore[union-attr, arg-type]
            for _ in range(5):
                for one in cases:
                    guide.engine.run(*one)  # type: ignore[union-attr]
            later = memory_mb(guide.engine.pid)  # type: ignore[union-attr, arg-type]
    with Guide(pack, engine=False) as guide:
        row("fact to guidance, reference alone", timed(lambda one: guide.evaluate(one[0]), cases), alone)
    row("reference alone", alone, alone)
    try:
        from clips_translation import Translation
    except ImportError:
        print("CLIPS: clipspy is not installed")
    else:
        translation = Translation(pack)
        row("CLIPS, access, gate and triggers only", timed(lambda one: translation.run(*one), cases), alone)
    if is_installed():
        print(f"\nprocessor time of one evaluation: {here:.2f} ms here and {there:.2f} ms in the child")
        print(f"engine ready after {ready:.0f} ms")
        print(f"memory: parent {parent['resident']:.0f} MB ({parent['private']:.0f} private), "
              f"child {child['resident']:.0f} MB ({child['private']:.0f} private), "
              f"child after {5 * len(cases)} more evaluations {later['resident']:.0f} MB")
        p95 = percentiles(both)[1]
        verdict = "met" if p95 <= TARGET_MS else "missed"
        print(f"p95 of fact to guidance: {p95:.2f} ms; target {TARGET_MS:.0f} ms: {verdict}")


if __name__ == "__main__":
    main()
