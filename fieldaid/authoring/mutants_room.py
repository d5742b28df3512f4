"""`fieldaid rules mutate`: how many planted faults the shipped situations notice, and which they do not."""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, TextIO

from fieldaid.authoring import mass
from fieldaid.authoring.check_situations import written
from fieldaid.authoring.mutants import mutants
from fieldaid.authoring.mutants_run import Mutation, Shipped, Survivor, Trial, mutate, shipped
from fieldaid.authoring.prove_job import PLACES, Bench, pairs, situation
from fieldaid.errors import BrokenData
from fieldaid.facts.situation import Situation
from fieldaid.guidance.pack import Pack, load_pack
from fieldaid.guidance.reference import Reference

JOB = "fieldaid.authoring.mutants_room:stretch"
CHUNK = 100
# Situations that expect nothing, on which a survivor is tried to see whether it changes anything at all.
PROBE_PAIRS_STEP, PROBE_SEEDED, PROBE_SEED = 40, 900, 3


def show(folder: Path, overlays: Sequence[Path], options: argparse.Namespace, out: TextIO) -> int:
    """Tries every mutant; 1 when less than the wanted share is noticed, or a shipped situation fails by itself.

    Raises
    ------
    BrokenData : the pack or its situations cannot be read, or a shipped situation fails with the sound pack
    """
    progress = _progress if sys.stderr.isatty() else None
    found = run(folder, overlays, workers=options.workers, cluster=options.cluster, keep=options.keep,
                progress=progress)
    pack = load_pack(folder, list(overlays))
    if options.stubs:
        out.write("# What is expected is what the rules give now: keep what is right, and say in each name why.\n")
        for one in stubs(pack, found.survivors):
            out.write(one)
    elif options.json:
        json.dump(to_data(found), out, ensure_ascii=False)
        out.write("\n")
    else:
        out.write(in_words(found, options.survivors) + "\n")
    return 0 if found.share >= options.least else 1


def run(folder: Path, overlays: Sequence[Path] = (), *, workers: int | None = None, cluster: str | None = None,
        keep: Path | None = None, progress: mass.Progress | None = None) -> Mutation:
    """Every mutant of the pack through the seam for mass runs."""
    pack = load_pack(folder, list(overlays))
    tests = folder if not overlays else Path(overlays[-1])
    failing = Trial(pack, shipped(tests, pack)).failing()
    if failing:
        raise BrokenData("shipped situations fail with the sound pack", where=str(tests),
                         why=f"{', '.join(failing[:3])}" + (f" and {len(failing) - 3} more" if failing[3:] else ""),
                         next_step=f"mend what fieldaid rules test {tests} lists first")
    args = {"pack": str(folder), "overlays": [str(one) for one in overlays], "tests": str(tests),
            "of": [pack.digest, _digest_of_tests(tests)]}
    work = mass.Work(JOB, args, sum(1 for _ in mutants(pack)), CHUNK)
    results = mass.run(work, workers=workers, cluster=cluster, progress=progress,
                       save=keep / f"mutants-{work.digest}.jsonl" if keep else None)
    return _from_data(mass.add_up(results), pack)


def _digest_of_tests(folder: Path) -> str:
    import hashlib

    found = hashlib.sha256()
    for file in sorted((folder / "tests").glob("*.yaml")):
        found.update(file.read_bytes())
    return found.hexdigest()[:16]


_loaded: dict[str, tuple[Trial, Trial]] = {}


def stretch(args: Mapping[str, Any], start: int, stop: int) -> dict[str, Any]:
    """The mass job: mutants start to stop, in pack order."""
    key = json.dumps(args, sort_keys=True)
    if key not in _loaded:
        _loaded.clear()
        pack = load_pack(Path(args["pack"]), [Path(one) for one in args["overlays"]])
        _loaded[key] = Trial(pack, shipped(Path(args["tests"]), pack)), Trial(pack, probes(pack))
    found = mutate(*_loaded[key], start, stop)
    return {"made": found.made, "caught": found.caught, "survivors": [
        {"of": one.mutant.of, "says": one.mutant.says, "reason": one.reason,
         "situation": None if one.situation is None else
         {"values": dict(one.situation.values), "basis": dict(one.situation.basis)}} for one in found.survivors]}


def probes(pack: Pack) -> Iterator[Shipped]:
    """Situations that expect nothing."""
    bench = Bench(pack, engine=False)
    numbers = [("pairs", n) for n in range(0, len(pairs()), PROBE_PAIRS_STEP // len(PLACES))]
    numbers += [("seeded", n) for n in range(PROBE_SEEDED)]
    for kind, n in numbers:
        one = situation({"seed": PROBE_SEED, "kind": kind}, n)
        yield Shipped(f"{kind} {n}", one, bench.see(one).computed, lambda outcome, computed: True)


def _from_data(data: Mapping[str, Any], pack: Pack) -> Mutation:
    by_key = {(one.of, one.says): one for one in mutants(pack)}
    return Mutation(data["made"], data["caught"], [
        Survivor(by_key[one["of"], one["says"]], one["reason"],
                 None if one["situation"] is None else Situation(one["situation"]["values"], one["situation"]["basis"]))
        for one in data["survivors"]])


def _progress(done: int, of: int) -> None:
    print(f"\r{done} of {of} mutants", end="\n" if done == of else "", file=sys.stderr, flush=True)


def to_data(found: Mutation) -> dict[str, Any]:
    """The result as JSON data."""
    return {"made": found.made, "caught": found.caught, "share": round(found.share, 4),
            "share_of_real": round(found.share_of_real, 4),
            "survivors": [{"rule": one.mutant.of, "kind": one.mutant.kind, "mutant": one.mutant.says,
                           "reason": one.reason} for one in found.survivors]}


def in_words(found: Mutation, survivors: bool) -> str:
    """The result as a person reads it."""
    made, caught = sum(found.made.values()), sum(found.caught.values())
    lines = [f"{caught} of {made} planted faults noticed by the shipped situations: {100 * found.share:.1f} %; "
             f"of those that change an answer anywhere {100 * found.share_of_real:.1f} %.", ""]
    lines += [f"{found.caught.get(kind, 0):>6} of {count:>5}  {kind}" for kind, count in sorted(found.made.items())]
    reasons = Counter(one.reason.split(" in ")[0] for one in found.survivors)
    lines += ["", *(f"{count:>6} unnoticed: {reason}" for reason, count in reasons.most_common())]
    if survivors:
        lines += ["", *(f"{one.mutant.key} - {one.reason}" for one in found.survivors)]
    return "\n".join(lines)


# Situations that would notice a survivor


def stubs(pack: Pack, survivors: Iterable[Survivor]) -> Iterator[str]:
    """For each survivor that changes something, its situation cut down, with what the sound rules give."""
    from fieldaid.workings import compute

    parameters = pack.parameter_values()

    def shipped_as(one: Situation) -> Shipped:
        computed = {name: value.value for name, value in compute(one, parameters).items()}
        return Shipped("", one, computed, lambda outcome, computed: True)

    for survivor in survivors:
        if survivor.situation is None:
            continue
        one = _cut_down(survivor, pack, shipped_as)
        outcome = Reference(pack).run(one, shipped_as(one).computed)
        fires = any(firing.rule == survivor.mutant.of for firing in outcome.firings)
        expect = [f"access: {outcome.access}", f"gate: {outcome.gate}",
                  f"{'fires' if fires else 'silent'}: [{survivor.mutant.of}]"]
        name = survivor.mutant.key.replace('"', "'")
        yield (f'- name: "{name}"\n  given: {written(one.values, one.basis)}\n'
               f"  expect: {{{', '.join(expect)}}}\n")


def _cut_down(survivor: Survivor, pack: Pack, shipped_as: Any) -> Situation:
    """The situation without every fact that the fault does not need in order to show."""
    one = survivor.situation
    assert one is not None
    for name in list(one.values):
        left = {key: value for key, value in one.values.items() if key != name}
        fewer = Situation(left, {key: how for key, how in one.basis.items() if key in left})
        if any(_as_visible(survivor, before.outcome, after)
               for before, after in Trial(pack, [shipped_as(fewer)]).changed(survivor.mutant)):
            one = fewer
    return one


def _as_visible(survivor: Survivor, before: Any, after: Any) -> bool:
    if not survivor.reason.startswith("changes an answer"):
        return True
    return (before.access, before.gate, before.triggers, before.stops) != (
        after.access, after.gate, after.triggers, after.stops)
