"""What the workings cost, and how often a roof over a random footprint fails to close.

    python tests/bench/bench_workings.py [--roofs N] [--seed S]

Prints processor milliseconds (not wall time, so that a busy machine changes little) to build a roof, by form and by
number of faces, the cost of the other workings, and the failures among random footprints: an exception that is not a
plain refusal, faces that leave a gap or overlap, or faces that do not meet at one height.
"""

from __future__ import annotations

import argparse
import collections
import random
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

from shapely.ops import unary_union

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fieldaid.workings import air, ladder, opening, wind_pressure
from fieldaid.workings.limits import ImpossibleShape
from fieldaid.workings.roof import FORMS, build
from fieldaid.workings.roof_model import FOOT, INCH, RoofModel
from fieldaid.workings.roof_wings import Wing


def spent(work: Callable[[], object], times: int) -> list[float]:
    """Processor milliseconds of each of `times` runs, in order of size."""
    found = []
    for _ in range(times):
        begun = time.process_time()
        work()
        found.append((time.process_time() - begun) * 1e3)
    return sorted(found)


def shown(name: str, spans: list[float]) -> None:
    print(f"  {name:<34} p50 {statistics.median(spans):7.2f} ms   p95 {spans[int(len(spans) * 0.95)]:7.2f} ms")


def random_footprint(draw: random.Random) -> tuple[tuple, dict]:
    """Arguments of `build` for a hip or gable with up to two wings."""
    form = draw.choice(["gable", "hip", "cross-gable"])
    width = draw.randint(40, 200) / 4 * FOOT
    length = width + draw.randint(0, 240) / 4 * FOOT
    how = {"overhang_m": draw.randint(0, 12) / 4 * FOOT, "ridge_runs": draw.choice(["B-D", "A-C"]),
           "spacing_m": draw.choice([12, 16, 24]) * INCH}
    slopes = ("A", "C") if how["ridge_runs"] == "B-D" else ("B", "D")
    wings = []
    for side in draw.choice([slopes[:1], slopes[1:], slopes] + ([()] if form != "cross-gable" else [])):
        wide = min(draw.uniform(8, max(length / FOOT - 2, 9)) * FOOT, length)
        wings.append(Wing(side, draw.uniform(0 if form == "cross-gable" else 4, 30) * FOOT, wide,
                          draw.choice([0.0, 1.0, draw.random()]) * (length - wide)))
    return (form, length, width, draw.randint(2, 48) / 24), {**how, "wings": wings}


def fault(model: RoofModel) -> str:
    """What is wrong with a roof, in a word; "" when it closes."""
    total = sum(face.plan.area for face in model.faces)
    if abs(total - model.outline.area) > 1e-6 * total:
        return "gap"
    if abs(unary_union([face.plan for face in model.faces]).area - total) > 1e-6 * total:
        return "overlap"
    for line in model.lines:
        for name in line.faces:
            for point, z in zip(line.plan.coords, line.z, strict=True):
                if abs(model.face(name).height(*point) - z) > 1e-3:
                    return "step"
    return ""


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--roofs", type=int, default=1000)
    options.add_argument("--seed", type=int, default=1)
    told = options.parse_args()

    print("Roofs of 40 x 24 ft, rafters at 16 in")
    for form in FORMS:
        pitch = {"flat": 0.0, "mansard": 2.0, "gambrel": 1.5}.get(form, 0.5)
        how = {"wings": [Wing("A", 0.0, 14 * FOOT, 10 * FOOT)]} if form == "cross-gable" else {}
        length = 24 if form == "pyramid" else 40

        def one(form=form, length=length, pitch=pitch, how=how) -> RoofModel:
            return build(form, length * FOOT, 24 * FOOT, pitch, overhang_m=FOOT, **how)

        shown(f"{form}, {len(one().faces)} faces", spent(one, 20))

    draw = random.Random(told.seed)
    outcome: collections.Counter[str] = collections.Counter()
    by_faces: dict[int, list[float]] = {}
    for _ in range(told.roofs):
        arguments, how = random_footprint(draw)
        begun = time.process_time()
        try:
            model = build(*arguments, **how)
        except ImpossibleShape as error:
            outcome[f"refused: {error.where}"] += 1
            continue
        except Exception as error:  # counted, not hidden: this is what the number is about
            outcome[f"FAILED: {type(error).__name__}"] += 1
            continue
        by_faces.setdefault(len(model.faces), []).append((time.process_time() - begun) * 1e3)
        wrong = fault(model)
        outcome[f"FAILED: {wrong}" if wrong else "closed"] += 1
    print(f"{told.roofs} random footprints (hips and gables with wings), seed {told.seed}")
    for name, number in outcome.most_common():
        print(f"  {name:<34} {number}")
    print("Growth with faces")
    for faces, spans in sorted(by_faces.items()):
        shown(f"{faces} faces ({len(spans)} roofs)", sorted(spans))

    print("Other workings")
    for name, work in (("wind pressure on a slope", lambda: wind_pressure.on_slope(0.5, "windward")),
                       ("ladder", lambda: ladder.reach(18 * FOOT, length=24 * FOOT)),
                       ("air", lambda: air.lasts(1.8, [0.5, 0.7])),
                       ("opening", lambda: opening.rectangle(4 * FOOT, 8 * FOOT))):
        shown(name, spent(lambda work=work: [work() for _ in range(1000)], 5))
        print(f"  {'':<34} (a thousand of them)")


if __name__ == "__main__":
    main()
