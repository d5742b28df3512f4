"""How many planted faults a comparison of packs shows, and what a comparison costs.

Mutants of rules (a condition lost, negated, a value swapped, a limit moved, a conclusion loosened …) are drawn with a
seed. One counts as behavioural when it changes an answer in the comparison's own situations or in as many others with
another seed; shown is what the comparison's own situations change.

    python tests/bench/bench_compare.py [--mutants 400] [--count 3000] [--seed 1]
"""

from __future__ import annotations

import argparse
import collections
import random
import resource
from collections.abc import Iterator
from pathlib import Path

from fieldaid.authoring.compare import Situations, answers_of, changes
from fieldaid.authoring.mutants import Mutant, mutants
from fieldaid.authoring.mutants_run import Shipped, Trial
from fieldaid.clock import Stopwatch
from fieldaid.guidance.pack import Pack, load_pack
from fieldaid.workings.computed import compute

HOUSE = Path(__file__).resolve().parents[2] / "rules" / "house"


def shipped(pack: Pack, situations: Situations) -> Iterator[Shipped]:
    for number in range(situations.count):
        situation = situations[number]
        computed = {name: one.value for name, one in compute(situation, pack.parameter_values()).items()}
        yield Shipped(str(number), situation, computed, lambda outcome, computed: True)


def shows(trial: Trial, mutant: Mutant, pack: Pack) -> bool:
    for one, after in trial.changed(mutant):
        situation, computed = one.of.situation, {}
        if changes(answers_of(pack, situation, computed, one.outcome), answers_of(pack, situation, computed, after)):
            return True
    return False


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--mutants", type=int, default=400)
    parser.add_argument("--count", type=int, default=3000, help="seeded situations, as of `rules compare`")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    pack = load_pack(HOUSE)
    everything = list(mutants(pack))
    drawn = random.Random(options.seed).sample(everything, min(options.mutants, len(everything)))
    watch = Stopwatch()
    own = Trial(pack, shipped(pack, Situations(pack, pack, options.count, options.seed)))
    once = watch.lap()
    other = Trial(pack, shipped(pack, Situations(pack, pack, options.count, options.seed + 1000)))
    seen: collections.Counter[str] = collections.Counter()
    missed: list[str] = []
    for mutant in drawn:
        if shows(own, mutant, pack):
            seen["shown"] += 1
        elif shows(other, mutant, pack):
            missed.append(mutant.key)
        else:
            seen["no answer changes"] += 1
    behavioural = seen["shown"] + len(missed)
    print(f"{len(drawn)} of {len(everything)} mutants, {len(own.ran)} situations, seed {options.seed}")
    print(f"shown {seen['shown']} of {behavioural} behavioural ({seen['shown'] / max(1, behavioural):.1%}); "
          f"{seen['no answer changes']} change no answer in either set")
    print(f"one pack over all situations {once / 1000:.1f} s on one core; a comparison takes twice that, over the "
          f"cores; {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB here")
    for key in missed:
        print(f"  not shown: {key}")


if __name__ == "__main__":
    main()
