"""The proof of a pack: its invariants over a covering array, over pairs, over seeded situations and over talks.

`prove` runs it through the seam for mass runs and adds it up to a `Proof`, which is JSON data: what was asked, how
often, and what broke. The full proof is kept as a small file that the safety case quotes; `stale` says whether the
file still speaks of the pack and the code at hand.
"""

from __future__ import annotations

import hashlib
import json
import subprocess
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from fieldaid.authoring import mass
from fieldaid.authoring.covering import Array, covering_array, missing
from fieldaid.authoring.properties import PROPERTIES
from fieldaid.authoring.properties_pack import PACK_PROPERTIES
from fieldaid.authoring.properties_steps import STEPS
from fieldaid.authoring.prove_job import GENERAL, pack_array, pairs
from fieldaid.authoring.provenance import called
from fieldaid.authoring.situations_gate import GATE_FACTS, LEVELS
from fieldaid.clock import Stopwatch, now, stamp
from fieldaid.data import PACKAGE
from fieldaid.errors import BrokenData
from fieldaid.guidance.engine import is_installed
from fieldaid.guidance.pack import Pack, load_pack

JOB, TALK_JOB = "fieldaid.authoring.prove_job:situations", "fieldaid.authoring.prove_job:talks"
CHUNK, TALK_CHUNK = 250, 50
# What a proof speaks of besides the pack: a change in any of these makes a kept proof one of other code.
PROVED_CODE = ("facts", "workings", "guidance", "session/dialogue*.py", "session/judging.py", "session/replies.py",
               "session/session.py", "authoring/properties*.py", "authoring/prove_job.py", "authoring/situations*.py")


@dataclass(frozen=True)
class Extent:
    """How much is proved: strength of the covering array, how many pairs (all with None), situations and talks."""

    strength: int
    pairs: int | None
    situations: int
    talks: int
    seed: int = 1


FULL = Extent(strength=4, pairs=None, situations=100_000, talks=3_000)
SAMPLE = Extent(strength=3, pairs=1_000, situations=2_000, talks=60)


@dataclass
class Proof:
    """The result of a proof. `applied` and `broken` count by property; `examples` are a few of what broke."""

    date: str
    commit: str
    pack: str
    digest: str
    code: str
    extent: dict[str, Any]
    array: dict[str, int]
    both_channels: bool
    counts: dict[str, int] = field(default_factory=dict)
    applied: dict[str, int] = field(default_factory=dict)
    broken: dict[str, int] = field(default_factory=dict)
    answers: dict[str, int] = field(default_factory=dict)
    examples: list[str] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def holds(self) -> bool:
        """Whether nothing broke and the array covers all that it should."""
        return not self.broken and not self.array["missing"]

    def to_data(self) -> dict[str, Any]:
        """The proof as JSON data."""
        return {**asdict(self), "applied": dict(sorted(self.applied.items())),
                "broken": dict(sorted(self.broken.items())), "seconds": round(self.seconds, 1)}

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> Proof:
        """Raises TypeError when it is not what `to_data` wrote."""
        return cls(**data)

    def of(self, number: int) -> Iterator[tuple[str, int, int]]:
        """Each property of an invariant, how often it was asked, and how often it broke."""
        for key, count in sorted(self.applied.items()):
            if key.startswith(f"{number:02d} "):
                yield key[3:], count, self.broken.get(key, 0)


Said = Callable[[str, int, int], None]


def prove(folder: Path, extent: Extent, *, overlays: Sequence[Path] = (), engine: bool = True,
          workers: int | None = None, cluster: str | None = None, keep: Path | None = None,
          said: Said | None = None) -> Proof:
    """Proves the pack in `folder`.

    Parameters
    ----------
    keep : folder for what is finished, from which the same proof goes on after a stop
    said : called with the name of a part, numbers done and numbers in all

    Raises
    ------
    BrokenData : the pack cannot be loaded
    MassError : the workers died again and again
    """
    watch = Stopwatch()
    pack = load_pack(folder, list(overlays))
    engine = engine and is_installed()
    array = _array(extent, keep, (lambda done, all_: said("covering array", done, all_)) if said else None)
    lacking = missing(array, LEVELS, extent.strength)
    proof = Proof(
        date=stamp(now()), commit=commit_of(folder), pack=called(pack), digest=pack.digest,
        code=code_digest(), extent=asdict(extent), both_channels=engine,
        array={"factors": len(GATE_FACTS), "levels": sum(LEVELS), "strength": extent.strength, "rows": len(array),
               "combinations": _combinations(extent.strength), "missing": lacking})
    args = {"pack": str(folder), "overlays": [str(one) for one in overlays], "engine": engine, "seed": extent.seed}
    every = len(pairs()) if extent.pairs is None else min(extent.pairs, len(pairs()))
    parts = [("array", JOB, {**args, "kind": "array", "array": pack_array(array)}, len(array), CHUNK),
             ("pairs", JOB, {**args, "kind": "pairs"}, every, CHUNK),
             ("seeded", JOB, {**args, "kind": "seeded"}, extent.situations, CHUNK),
             ("talks", TALK_JOB, args, extent.talks, TALK_CHUNK)]
    for name, job, job_args, count, chunk in parts:
        # The digest keeps what was saved for one state of pack and code from being taken for another.
        work = mass.Work(job, {**job_args, "of": [proof.digest, proof.code]}, count, chunk)
        results = mass.run(work, workers=workers, cluster=cluster, save=keep / f"{name}-{work.digest}.jsonl"
                           if keep else None,
                           progress=(lambda done, all_, name=name: said(name, done, all_)) if said else None)
        total = mass.add_up(results)
        proof.counts[name] = count
        for key in ("applied", "broken", "answers"):
            mine: dict[str, int] = getattr(proof, key)
            for word, more in total.get(key, {}).items():
                mine[word] = mine.get(word, 0) + more
        proof.examples += total.get("examples", [])
    _ask_pack(pack, proof)
    proof.examples = proof.examples[:20]
    proof.seconds = watch.ms() / 1000.0
    return proof


def _array(extent: Extent, keep: Path | None, progress: mass.Progress | None) -> Array:
    """The covering array, from `keep` where it lies there already. Whether it covers is counted in any case."""
    levels = hashlib.sha256(repr((LEVELS, extent.strength, extent.seed)).encode()).hexdigest()[:16]
    file = keep / f"array-{levels}.npy" if keep is not None else None
    if file is not None and file.is_file():
        return np.load(file)
    array = covering_array(LEVELS, extent.strength, seed=extent.seed, progress=progress)
    if file is not None:
        file.parent.mkdir(parents=True, exist_ok=True)
        np.save(file, array)
    return array


def _ask_pack(pack: Pack, proof: Proof) -> None:
    for prop in PACK_PROPERTIES:
        wrong = list(prop.check(pack))
        proof.applied[prop.key] = len(pack.live_rules)
        if wrong:
            proof.broken[prop.key] = len(wrong)
            proof.examples += [f"{prop.key}: {one}" for one in wrong]


def never_asked(proof: Proof) -> list[str]:
    """Properties whose case never came up: they prove nothing."""
    keys = [*GENERAL, *(one.key for one in (*PROPERTIES, *STEPS, *PACK_PROPERTIES))]
    if not proof.both_channels:
        keys.remove(GENERAL[0])
    return [key for key in keys if not proof.applied.get(key)]


def _combinations(strength: int) -> int:
    """Combinations of levels of `strength` gate facts: the elementary symmetric polynomial of the level counts."""
    sums = [1] + [0] * strength
    for size in LEVELS:
        for n in range(strength, 0, -1):
            sums[n] += sums[n - 1] * size
    return sums[strength]


def code_digest() -> str:
    """A digest of the source that a proof speaks of."""
    found = hashlib.sha256()
    for name in PROVED_CODE:
        place = PACKAGE / name
        files = sorted(place.glob("*.py")) if place.is_dir() else sorted(place.parent.glob(place.name))
        for file in files:
            found.update(file.name.encode() + b"\0" + file.read_bytes())
    return found.hexdigest()[:16]


def commit_of(folder: Path) -> str:
    """The commit that the folder stands at, with "+" when its files differ from it; "" outside a checkout."""
    def git(*words: str) -> str:
        return subprocess.run(["git", "-C", str(folder), *words], capture_output=True, text=True, check=True,
                              timeout=20).stdout.strip()

    try:
        head = git("rev-parse", "--short=12", "HEAD")
        return head + ("+" if git("status", "--porcelain", "--untracked-files=no", "--", str(folder)) else "")
    except (OSError, subprocess.SubprocessError):
        return ""


def last_full(file: Path) -> Proof | None:
    """The full proof kept in `file`; None when there is none.

    Raises
    ------
    BrokenData : the file holds something else
    """
    if not file.is_file():
        return None
    try:
        return Proof.from_data(json.loads(file.read_text(encoding="utf-8")))
    except (TypeError, ValueError) as error:
        raise BrokenData("the kept proof cannot be read", where=str(file), why=str(error),
                         next_step="run fieldaid rules prove --full again") from error


def stale(proof: Proof, pack: Pack) -> str:
    """Why a kept proof does not speak of this pack and this code; "" when it does."""
    if proof.digest != pack.digest:
        return "it speaks of the base without the overlay" if pack.overlays else "the rules have changed since"
    if proof.code != code_digest():
        return "the code of facts, workings, guidance, dialogue or properties has changed since"
    return ""


def in_words(proof: Proof) -> str:
    """The proof as a person reads it."""
    held = {key: (count, proof.broken.get(key, 0)) for key, count in sorted(proof.applied.items())}
    array = proof.array
    lines = [
        f"Pack {proof.pack} at {proof.commit or 'no commit'}, {proof.date}, in {proof.seconds:.0f} s; "
        + ("both channels" if proof.both_channels else "ONE CHANNEL ONLY: durable-rules is not installed"),
        f"Covering array: {array['factors']} gate facts, strength {array['strength']}, {array['rows']} rows, "
        f"{array['combinations']} combinations, {array['missing']} missing",
        f"Situations: {proof.counts['array']} of the array, {proof.counts['pairs']} with two facts changed, "
        f"{proof.counts['seeded']} seeded; {proof.counts['talks']} talks of {_talk_count()} kinds",
        "",
        f"{'asked':>10} {'broken':>8}  property"]
    lines += [f"{count:>10} {broken:>8}  {key}" for key, (count, broken) in held.items()]
    lines += ["", *(f"Never asked: {key}" for key in never_asked(proof))]
    lines += [f"Broken: {one}" for one in proof.examples]
    lines.append("Nothing broke." if proof.holds else
                 f"{sum(proof.broken.values())} answers broke {len(proof.broken)} properties.")
    return "\n".join(lines)


def _talk_count() -> int:
    from fieldaid.authoring.properties_session import TALKS

    return len(TALKS)

