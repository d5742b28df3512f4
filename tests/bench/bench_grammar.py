"""Speed, size and understanding of the grammar. Run: python tests/bench/bench_grammar.py

Prints the time to load, the time of a line (p50, p95, p99, worst) over the held-out and own sentences, the size of
the network and of the grammars for recognisers, and how many sentences are understood, misread and asked.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "sentences")]

import read  # noqa: E402

from fieldaid.grammar import Grammar, load_grammar  # noqa: E402
from fieldaid.grammar.fsg import Flat  # noqa: E402


def score(grammar: Grammar, rows: list[tuple[str, dict, dict]]) -> str:
    """Understood: exactly the facts that the words say. Wrong: a fact or value they do not say. Asked: the rest."""
    right = wrong = 0
    for line, facts, guesses in rows:
        parsed = grammar.parse(line)
        if parsed.facts == facts and parsed.guesses == guesses:
            right += 1
        elif any(facts.get(name) != value for name, value in parsed.facts.items()):
            wrong += 1
    return f"{right} understood, {wrong} wrong, {len(rows) - right - wrong} asked, of {len(rows)}"


def main() -> None:
    cpu, wall = time.process_time(), time.perf_counter()
    grammar = load_grammar()
    print(f"load: {time.perf_counter() - wall:.3f} s, of that computing {time.process_time() - cpu:.3f} s")
    code = "import time; t = time.perf_counter(); import fieldaid.facts; m = time.perf_counter();" \
           "import fieldaid.grammar; print(f'{m - t:.3f} {time.perf_counter() - m:.3f}')"
    facts, own = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True,
                                check=True).stdout.split()
    print(f"import: vocabulary {facts} s, grammar on top of it {own} s")
    print("network:", grammar.network.size(), "templates:", len(grammar.loaded.trees))
    flat = Flat(grammar.network, "line")
    print(f"as one finite-state grammar: {len(flat.states)} states, {sum(len(one.arcs) for one in flat.states)} arcs; "
          f"JSGF {len(grammar.jsgf()) // 1024} kB")
    held = read.load("heldout.yaml")["facts"]
    rows = [(row["say"], read.checked(row["means"]), {}) for row in held]
    own_rows = [(one.line, one.facts, one.guesses) for one in read.own()]
    lines = [line for line, _, _ in [*rows, *own_rows]]
    times = []
    for line in lines:
        begin = time.perf_counter()
        grammar.parse(line)
        times.append((time.perf_counter() - begin) * 1000)
    cuts = statistics.quantiles(times, n=100)
    print(f"parse: p50 {cuts[49]:.3f} ms, p95 {cuts[94]:.3f}, p99 {cuts[98]:.3f}, worst {max(times):.2f} "
          f"over {len(lines)} lines")
    print("own:", score(grammar, own_rows))
    print("held out:", score(grammar, rows))
    outside = read.load("out_of_grammar.yaml")["lines"]
    taken = [line for line in outside if grammar.parse("" if line is None else str(line)).readings]
    print(f"outside the grammar: {len(outside)} lines, {len(taken)} gave a fact")


if __name__ == "__main__":
    main()
