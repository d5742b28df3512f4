"""From a changed fact to guidance: both channels with the whole pack, the reference alone, CLIPS, and memory.

    python tests/bench/bench_guidance.py [--pack rules/house] [--count 1000]

Each row is one evaluation of a situation near the pack's own, with the computed facts already there except in the
first row, which is all of `Guide.evaluate`: workings, both channels, comparison and lines. The target is a p95 of
10 ms for that row.
"""

from __future__ import annotations

import argparse
import statistics
import sys
from collections.abc import Callable
from pathlib import Path

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
    return sorted(found)


def row(name: str, times: list[float], base: list[float] | None = None) -> None:
    p50, p95, p99 = (times[min(len(times) - 1, int(len(times) * share))] for share in (0.50, 0.95, 0.99))
    ratio = f"{p50 / statistics.median(base):8.2f} x" if base else ""
    print(f"{name:<44}{p50:8.2f}{p95:8.2f}{p99:8.2f}  {ratio}")


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
    print(f"{len(cases)} situations of {told:.0f} told facts on average\n")
    print(f"{'milliseconds':<44}{'p50':>8}{'p95':>8}{'p99':>8}  {'p50 to the reference':>10}")
    reference = Reference(pack)
    alone = timed(lambda one: reference.run(*one), cases)
    if is_installed():
        watch = Stopwatch()
        with Guide(pack) as guide:
            guide.engine.wait_ready(10)  # type: ignore[union-attr]
            ready = watch.ms()
            both = timed(lambda one: guide.evaluate(one[0]), cases)
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
        print(f"\nengine ready after {ready:.0f} ms")
        print(f"memory: parent {parent['resident']:.0f} MB ({parent['private']:.0f} private), "
              f"child {child['resident']:.0f} MB ({child['private']:.0f} private), "
              f"child after {5 * len(cases)} more evaluations {later['resident']:.0f} MB")
        p95 = both[int(len(both) * 0.95)]
        verdict = "met" if p95 <= TARGET_MS else "missed"
        print(f"p95 of fact to guidance: {p95:.2f} ms; target {TARGET_MS:.0f} ms: {verdict}")


if __name__ == "__main__":
    main()
