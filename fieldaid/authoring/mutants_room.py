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
from fieldaid.authoring.mutants import Mutant, mutants
from fieldaid.authoring.mutants_near import Notice, notices
from fieldaid.authoring.mutants_run import Mutation, Shipped, Survivor, Trial, mutate, shipped
from fieldaid.authoring.pack_form import flow, written
from fieldaid.authoring.prove_job import PLACES, Bench, pairs, situation
from fieldaid.authoring.situations import GOOD
from fieldaid.errors import BrokenData
from fieldaid.facts.situation import Situation
from fieldaid.guidance.pack import Pack, Rule, load_pack

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
        out.write(in_words(found, options.survivors, str(overlays[-1] if overlays else folder), bool(overlays)) + "\n")
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
                         next_step=f"mend what fieldaid rules test {tests}"
                                   f"{f' --on {folder}' if overlays else ''} lists first")
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
    return Mutation(data.get("made", {}), data.get("caught", {}), [
        Survivor(by_key[one["of"], one["says"]], one["reason"],
                 None if one["situation"] is None else Situation(one["situation"]["values"], one["situation"]["basis"]))
        for one in data.get("survivors", ())])


def _progress(done: int, of: int) -> None:
    print(f"\r{done} of {of} mutants", end="\n" if done == of else "", file=sys.stderr, flush=True)


def to_data(found: Mutation) -> dict[str, Any]:
    """The result as JSON data."""
    return {"made": found.made, "caught": found.caught, "share": round(found.share, 4),
            "share_of_real": round(found.share_of_real, 4),
            "survivors": [{"rule": one.mutant.of, "kind": one.mutant.kind, "mutant": one.mutant.says,
                           "reason": one.reason} for one in found.survivors]}


def in_words(found: Mutation, survivors: bool, of: str = "the pack", overlay: bool = False) -> str:
    """The result as a person reads it; `of` names what was tried."""
    made, caught = sum(found.made.values()), sum(found.caught.values())
    if not made:
        return f"No fault can be planted: {of} adds no rule and sets no threshold that a rule reads."
    lines = [f"{caught} of {made} planted faults noticed by the situations of {of}: {100 * found.share:.1f} %; "
             f"of those that change an answer anywhere {100 * found.share_of_real:.1f} %."]
    if overlay:
        lines.append("Planted in the rules that it adds and the thresholds that it sets; the base has situations of "
                     "its own.")
    lines.append("")
    lines += [f"{found.caught.get(kind, 0):>6} of {count:>5}  {kind}" for kind, count in sorted(found.made.items())]
    reasons = Counter(one.reason.split(" in ")[0].rstrip(",") for one in found.survivors)
    if found.survivors:
        lines += ["", *(f"{count:>6} unnoticed: {reason}" for reason, count in reasons.most_common())]
    if survivors and found.survivors:
        lines += ["", *(f"{one.mutant.key} - {one.reason}" for one in found.survivors)]
    elif found.survivors:
        lines += ["", "Add --survivors to see which, --stubs for situations to paste that would notice them."]
    return "\n".join(lines)


# Situations that would notice a survivor


BEGINNING = "everything told and good"


def stubs(pack: Pack, survivors: Iterable[Survivor]) -> Iterator[str]:
    """A file of situations in pieces, each with what the sound rules give, that would notice what nothing shipped
    notices."""
    yield f"begin:\n  {BEGINNING}:\n    {written(GOOD, {})}\n\nsituations:\n"
    by_rule: dict[str, list[Mutant]] = {}
    for one in survivors:
        by_rule.setdefault(one.mutant.of, []).append(one.mutant)
    names: set[str] = set()
    for of in by_rule.values():
        for one in notices(pack, of)[0]:
            yield _stub(pack, one, names)


def _stub(pack: Pack, one: Notice, names: set[str]) -> str:
    rule = pack.rule(one.mutants[0].of)
    facts = {**one.near.facts, **one.near.computed}
    same = [name for name, value in GOOD.items() if facts.get(name) == value and name not in one.near.basis]
    start, given = "", facts
    if len(same) > len(GOOD) // 2:
        start = f"    from: {BEGINNING}\n"
        given = {name: value for name, value in facts.items() if name not in same}
        given |= {name: "not told" for name in GOOD if name not in facts}
    name = _name(rule, one, facts)
    while name in names:
        name += " again"
    names.add(name)
    expect = ", ".join(f"{key}: {'none' if value is None else flow(value)}" for key, value in one.expect.items())
    return (f"  - name: {quoted(name)}\n{start}    given: {written(given, one.near.basis)}\n"
            f"    expect: {{{expect}}}\n")


def _name(rule: Rule, one: Notice, facts: Mapping[str, Any]) -> str:
    """A sentence with the facts that the rule looks at, or with all that are not plainly good."""
    looked = {name for condition in rule.conditions for name in condition.names}
    told = [name for name in facts if name in looked] or [name for name in facts if GOOD.get(name) != facts[name]]
    said = ", ".join(f"{name} {_spoken(facts[name])}" for name in told) or "nothing that it looks at"
    known = "".join(f", {name} by {how}" for name, how in one.near.basis.items())
    fires = "silent" not in one.expect
    also = "".join(f", {key} {_spoken(value)}" for key, value in one.expect.items() if key not in ("fires", "silent"))
    unknown = [name for name in GOOD if name not in facts and name in looked]
    lacking = f" and {' and '.join(unknown)} not told" if unknown and len(facts) > 8 else ""
    return f"{rule.id} {'fires' if fires else 'is silent'} with {said}{lacking}{known}{also}"


def quoted(text: str) -> str:
    return '"' + text.replace('"', "'") + '"'


def _spoken(value: Any) -> str:
    if isinstance(value, dict):
        return " ".join(f"{key} {_spoken(one)}" for key, one in value.items())
    if value is None:
        return "none"
    return " and ".join(map(_spoken, value)) if isinstance(value, (list, tuple)) else str(value)
