"""How fast `type` is ready, how fast it answers, and what memory it takes. Prints numbers and ratios, judges nothing.

    python tests/bench/bench_start.py [runs]

The machine decides the milliseconds; compare the ratios and the medians of one run.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import time
from pathlib import Path

LINES = ["gable, ridge bravo delta", "built nineteen fifty eight", "wind from the west", "top floor fire charlie",
         "rafters at the eave", "three of us on air", "soft on charlie"] * 6
PYTHON = [sys.executable, "-m", "fieldaid", "type", "--json", "--journal"]


def resident_mb(pid: int) -> float:
    """Resident memory of a process and its children [MB]."""
    total = 0
    for task in Path(f"/proc/{pid}/task").iterdir():
        for child in (task / "children").read_text().split():
            total += int(float(resident_mb(int(child))) * 1024)
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            total += int(line.split()[1])
    return total / 1024


def one_run(journal: Path) -> tuple[float, list[float], float]:
    """Seconds to the first answer, seconds of the later ones, and memory at the end [MB]."""
    began = time.perf_counter()
    process = subprocess.Popen([*PYTHON, str(journal)], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    times = []
    for line in LINES:
        sent = time.perf_counter()
        process.stdin.write(f"{line}\n".encode())
        process.stdin.flush()
        json.loads(process.stdout.readline())
        times.append(time.perf_counter() - (sent if times else began))
    memory = resident_mb(process.pid)
    process.stdin.close()
    process.wait()
    return times[0], times[1:], memory


def main(runs: int) -> None:
    import tempfile

    baseline = []
    for _ in range(runs):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-c", "pass"], check=True)
        baseline.append(time.perf_counter() - began)
    with tempfile.TemporaryDirectory() as folder:
        results = [one_run(Path(folder) / f"{n}.journal") for n in range(runs)]
    ready = statistics.median(first for first, _, _ in results)
    later = sorted(one for _, times, _ in results for one in times)
    print(f"runs {runs}, lines a run {len(LINES)}")
    print(f"ready with the first answer   median {ready * 1000:7.0f} ms   "
          f"{ready / statistics.median(baseline):.1f} x a bare interpreter")
    for share in (50, 95, 99):
        at = later[min(len(later) - 1, len(later) * share // 100)]
        print(f"line to answer                p{share:<5} {at * 1000:7.1f} ms")
    print(f"memory, child included        median {statistics.median(mb for _, _, mb in results):7.0f} MB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
