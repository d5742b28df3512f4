"""How long it takes to check and to test a whole pack, and what each check takes.

    python tests/bench/bench_rules.py [--pack rules/house] [--rounds 3]

Each command runs as its own process, as an author runs it: the wall time of the quietest round, and the processor time
of the process and its child. The target is 3 s for check and test together on a quiet machine. On a machine that
others use the wall times hold their turns too. Below, each check alone in one process, with the pack already read.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from pathlib import Path
from time import process_time

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fieldaid.authoring.check import all_checks
from fieldaid.authoring.check_bench import Bench
from fieldaid.authoring.test_files import read_tests
from fieldaid.clock import Stopwatch

ROOT = Path(__file__).resolve().parents[2]
TARGET_S = 3.0


def command(words: list[str]) -> tuple[float, float]:
    """Wall and processor seconds of one run of the command, the child's included."""
    before = os.times()
    watch = Stopwatch()
    subprocess.run([sys.executable, "-m", "fieldaid", *words], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    wall = watch.ms() / 1000
    after = os.times()
    return wall, after.children_user + after.children_system - before.children_user - before.children_system


def main() -> None:
    """Prints the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pack", type=Path, default=ROOT / "rules" / "house")
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args()
    pack = str(options.pack)
    load = os.getloadavg()[0]
    print(f"{os.cpu_count()} cores, load {load:.1f}" + ("  (not quiet: wall times hold the others' turns)"
                                                          if load > 1 else ""))
    print(f"{'command':<34}{'wall s':>8}{'cpu s':>8}")
    total = [0.0, 0.0]
    for words in (["rules", "check", pack], ["rules", "test", pack], ["rules", "test", pack, "--no-engine"]):
        runs = [command(words) for _ in range(options.rounds)]
        wall, cpu = min(one[0] for one in runs), min(one[1] for one in runs)
        print(f"{' '.join(words[:2] + words[3:]):<34}{wall:>8.2f}{cpu:>8.2f}")
        if "--no-engine" not in words:
            total = [total[0] + wall, total[1] + cpu]
    print(f"{'check and test':<34}{total[0]:>8.2f}{total[1]:>8.2f}   target {TARGET_S:g} s, wall is "
          f"{total[0] / TARGET_S:.2f} of it")

    start = process_time()
    bench = Bench(options.pack)
    tests, _ = read_tests(options.pack, bench.pack)
    read_s = process_time() - start
    print(f"\n{len(bench.pack.rules)} rules, {len(tests)} situations; reading {read_s * 1000:.0f} ms of processor time")
    start = process_time()
    ran = len(bench.ran)
    print(f"the {ran} situations that rules carry: {(process_time() - start) * 1000:.0f} ms")
    start = process_time()
    lines = len(bench.logic.lines)
    print(f"the pack as a program: {lines} lines, {(process_time() - start) * 1000:.0f} ms")
    for check in all_checks():
        start = process_time()
        found = len(list(check.find(bench)))
        print(f"{check.page.code} {check.page.title:<52}{(process_time() - start) * 1000:>7.1f} ms{found:>4} found")


if __name__ == "__main__":
    main()
