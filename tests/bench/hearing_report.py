"""Tables and a curve from the rows that bench_hearing.py writes."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from hearing_score import HARMS, VERDICTS, Line, lower_bound, rate_bound, upper_bound, verdict

Row = dict[str, Any]
GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("natural", ("natural",)), ("natural and plain", ("natural", "plain")), ("poor voice", ("poor",)))


def read(path: Path) -> list[Row]:
    """The rows of a file; a last line that was cut off is left out.

    Raises
    ------
    OSError : it cannot be read
    """
    rows = []
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            rows.append(json.loads(line))
        except ValueError:
            continue
    return rows


def heard(rows: Iterable[Row], part: str) -> list[Row]:
    return [row for row in rows if row["row"] == "clip" and row["part"] == part]


def table(groups: Iterable[tuple[str, list[str]]]) -> None:
    """Print verdicts group by group, as they are done."""
    for name, found in groups:
        if n := len(found):
            shares = " ".join(f"{one} {found.count(one) / n:.3f}" for one in VERDICTS)
            print(f"{name:28}{n:5}  {shares}  wrong at most {upper_bound(found.count('wrong'), n):.3f}", flush=True)


# ---- one run


def tables(rows: list[Row]) -> Iterator[str]:
    """All tables of one run, as text lines."""
    yield from _in_grammar(heard(rows, "in"))
    yield from _outside(rows)
    yield from _closed(heard(rows, "closed"))
    yield from _noise([row for row in rows if row["row"] == "noise"])
    yield from _simple("demo clips", heard(rows, "demo"))
    yield from _cost(rows)


def by_condition(rows: list[Row]) -> dict[str, list[Row]]:
    """Rows by condition, in the order they come in."""
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row["condition"], []).append(row)
    return found


def _in_grammar(rows: list[Row]) -> Iterator[str]:
    for name, kinds in GROUPS:
        group = [row for row in rows if row["kind"] in kinds]
        if len({row["kind"] for row in group}) < len(kinds):
            continue
        yield f"\nin the grammar, {name}"
        yield (f"{'':22}{'n':>5}" + "".join(f"{one:>8}" for one in VERDICTS)
               + "   right at least   wrong at most   at once  " + "  ".join(HARMS))
        for condition, those in by_condition(group).items():
            yield _row(condition, those)
        yield _row("all conditions", group)
        for kind in sorted({row["line_kind"] for row in group if row["line_kind"]}):
            yield _row(f"  {kind}", [row for row in group if row["line_kind"] == kind])


def _row(name: str, rows: list[Row]) -> str:
    n = len(rows)
    counts = {one: sum(row["verdict"] == one for row in rows) for one in VERDICTS}
    harms = [str(sum(row["verdict"] == "wrong" and row["harm"] == one for row in rows)) for one in HARMS]
    at_once = sum(row["verdict"] == "wrong" and row["at_once"] for row in rows)
    return (f"{name:22}{n:5}" + "".join(f"{counts[one] / n:8.3f}" for one in VERDICTS)
            + f"{lower_bound(counts['right'], n):14.3f}{upper_bound(counts['wrong'], n):16.3f}{at_once:10}  "
            + "  ".join(f"{one:>{len(name)}}" for one, name in zip(harms, HARMS, strict=True)))


def _outside(rows: list[Row]) -> Iterator[str]:
    groups = [("lines outside the grammar", row["condition"], row) for row in heard(rows, "out")]
    groups += [("lines outside the grammar", row["line_kind"], row) for row in heard(rows, "out") if row["line_kind"]]
    groups += [("people", row["kind"], row) for row in heard(rows, "people")]
    groups += [(f"{row['kind']} noise past the gate", row["condition"], row) for row in heard(rows, "alone")]
    if not groups:
        return
    yield "\nnothing to be heard in                  n    fact   at most   command alone"
    found: dict[str, dict[str, Row]] = {}
    for name, kind, row in groups:
        found.setdefault(f"{name}, {kind}", {})[row["key"]] = row
        found.setdefault(name, {})[row["key"]] = row
    for name, keyed in found.items():
        those = list(keyed.values())
        facts = sum(bool(row["facts"]) for row in those)
        commands = sum(bool(row["command"]) and not row["facts"] for row in those)
        yield f"{name:34}{len(those):7}{facts:8}{upper_bound(facts, len(those)):10.4f}{commands:12}"
    told = {row["key"]: row for _, _, row in groups if row["facts"] or row["command"]}
    for row in told.values():
        heard_as = " / ".join(one["heard"] for one in row["segments"])
        yield f"    {row['voice']}: {row['say']!r} gave {_told(row)} (heard {heard_as!r})"


def _closed(rows: list[Row]) -> Iterator[str]:
    if rows:
        yield "\nclosed sets said by a person"
        yield f"{'':34}{'n':>5}" + "".join(f"{one:>8}" for one in VERDICTS) + "   wrong at most"
    found: dict[str, list[Row]] = {}
    for row in rows:
        kind = row["kind"] if row["means"] else f"{row['kind']}, other words"
        found.setdefault(f"{kind}, {row['condition']}", []).append(row)
    for name, those in found.items():
        n = len(those)
        shares = [sum(row["verdict"] == one for row in those) / n for one in VERDICTS]
        wrong = sum(row["verdict"] == "wrong" for row in those)
        yield f"{name:34}{n:5}" + "".join(f"{one:8.3f}" for one in shares) + f"{upper_bound(wrong, n):16.3f}"


def _noise(rows: list[Row]) -> Iterator[str]:
    if not rows:
        return
    yield "\nnoise alone, through the voice gate   hours   segments   with a fact   at most an hour   command alone"
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row["kind"], []).append(row)
    for name, those in [*found.items(), ("all", rows)]:
        hours = sum(row["seconds"] for row in those) / 3600
        facts = sum(row["facts"] for row in those)
        yield (f"{name:36}{hours:7.3f}{sum(row['segments'] for row in those):11}{facts:14}"
               f"{rate_bound(facts, hours):18.1f}{sum(row['commands'] for row in those):16}")
    for row in rows:
        if row["facts"] or row["commands"]:
            yield f"    {row['kind']}: heard {row['heard']}"


def _simple(name: str, rows: list[Row]) -> Iterator[str]:
    if not rows:
        return
    yield f"\n{name}: " + ", ".join(f"{sum(row['verdict'] == one for row in rows)} {one}" for one in VERDICTS)
    for row in rows:
        if row["verdict"] != "right":
            yield f"    {row['voice']} {row['condition']}: {row['verdict']}: {row['say']}"


def costs(rows: list[Row]) -> dict[str, float]:
    """CPU of a clip [s], loading [s] and memory [MB]; what was not measured is left out."""
    cpu = [sum(one["cpu"] for one in row["segments"]) for row in heard(rows, "in") if row["segments"]]
    ends = [row for row in rows if row["row"] == "end"]
    found: dict[str, float] = {}
    if cpu:
        found |= {"CPU a clip, p50 [s]": float(np.percentile(cpu, 50)),
                  "CPU a clip, p95 [s]": float(np.percentile(cpu, 95))}
    if ends:
        found |= {"loading [s]": ends[-1]["load_s"], "loading, CPU [s]": ends[-1]["load_cpu_s"],
                  "memory at most [MB]": max(row["memory_mb"] for row in ends),
                  "of it before loading [MB]": ends[-1]["before_mb"]}
    return found


def _cost(rows: list[Row]) -> Iterator[str]:
    found = costs(rows)
    if found:
        yield "\n" + "; ".join(f"{name} {value:.2f}" for name, value in found.items())


def wrong_ones(rows: list[Row]) -> Iterator[str]:
    """Each wrong clip with what was said and what was understood."""
    for row in heard(rows, "in") + heard(rows, "closed"):
        if row["verdict"] == "wrong":
            when = ", at once" if row["at_once"] else ""
            yield f"    {row['harm']}{when}: {row['condition']}, {row['voice']}: {row['say']!r} gave {_told(row)}"


def _told(row: Row) -> str:
    parts = [f"{name} {value}" for name, value in row["facts"].items()]
    return ", ".join(parts + [row["command"]] * bool(row["command"]))


# ---- several runs


def comparison(runs: dict[str, list[Row]]) -> Iterator[str]:
    """One table of several runs on the clips that all of them heard; ratios are to the first."""
    keyed = {name: {row["key"]: row for row in heard(rows, "in")} for name, rows in runs.items()}
    common = set.intersection(*(set(one) for one in keyed.values()))
    width = max(20, *(len(name) + 2 for name in runs))
    yield f"the {len(common)} clips in the grammar that all heard; right / wrong / hurts, and at most wrong"
    yield f"{'':34}{'n':>5}" + "".join(f"{name:>{width + 12}}" for name in runs)
    first = next(iter(keyed.values()))
    for group, kinds in GROUPS:
        rows = [row for key, row in first.items() if key in common and row["kind"] in kinds]
        if len({row["kind"] for row in rows}) < len(kinds):
            continue
        for condition, those in [*by_condition(rows).items(), ("all conditions", rows)]:
            keys = [row["key"] for row in those]
            cells = [_cell([one[key] for key in keys]) for one in keyed.values()]
            yield f"{group + ', ' + condition:34.34}{len(keys):5}" + "".join(f"{cell:>{width + 12}}" for cell in cells)
    yield ""
    for name, measure in _MEASURES.items():
        values = [measure(rows) for rows in runs.values()]
        yield f"{name:39}" + "".join(f"{_ratio(value, values[0]):>{width + 12}}" for value in values)


def _cell(rows: list[Row]) -> str:
    n = len(rows)
    right, wrong = (sum(row["verdict"] == one for row in rows) for one in ("right", "wrong"))
    hurts = sum(row["verdict"] == "wrong" and row["harm"] == "hurts" for row in rows)
    return f"{right / n:.3f} / {wrong / n:.3f} / {hurts} ({upper_bound(wrong, n):.3f})"


def _ratio(value: float | None, first: float | None) -> str:
    if value is None:
        return "not measured"
    return f"{value:.2f} (x {value / first:.2f})" if first else f"{value:.2f}"


def _facts_of(part: str) -> Callable[[list[Row]], float | None]:
    def measure(rows: list[Row]) -> float | None:
        those = heard(rows, part)
        return float(sum(bool(row["facts"]) for row in those)) if those else None

    return measure


def _cost_of(name: str) -> Callable[[list[Row]], float | None]:
    return lambda rows: costs(rows).get(name)


def _noise_facts(rows: list[Row]) -> float | None:
    those = [row for row in rows if row["row"] == "noise"]
    return float(sum(row["facts"] for row in those)) if those else None


_MEASURES: dict[str, Callable[[list[Row]], float | None]] = {
    "facts from lines outside the grammar": _facts_of("out"),
    "facts from people outside the grammar": _facts_of("people"),
    "facts from noise alone": _noise_facts,
    **{name: _cost_of(name) for name in ("CPU a clip, p50 [s]", "CPU a clip, p95 [s]", "loading [s]",
                                         "loading, CPU [s]", "memory at most [MB]")},
}


# ---- reliability


def curve(rows: list[Row], score: str, steps: int = 25) -> list[tuple[float, float, float, int]]:
    """What a limit on one figure would let through: (limit, share right, share wrong, facts from lines outside the
    grammar), over the clips in the grammar that natural and plain voices said. The recogniser's other limits are not
    applied; a segment without the figure is never accepted."""
    clips = [row for row in heard(rows, "in") if row["kind"] != "poor"]
    outside = heard(rows, "out")
    values = sorted({one["figures"][score] for row in clips + outside for one in row["segments"]
                     if score in one["figures"]})
    if not values or not clips:
        return []
    limits = [values[0], *np.percentile(values, np.linspace(2, 100, steps)).tolist()]
    found = []
    for limit in sorted(set(limits)):
        verdicts = [_at(row, score, limit) for row in clips]
        false = sum(_at(row, score, limit) == "wrong" for row in outside)
        found.append((float(limit), verdicts.count("right") / len(clips), verdicts.count("wrong") / len(clips), false))
    return found


def _at(row: Row, score: str, limit: float) -> str:
    facts: dict[str, Any] = {}
    command = None
    for one in row["segments"]:
        if one["figures"].get(score, -np.inf) >= limit:
            facts |= one["best_facts"]
            command = command or one["best_command"]
    return verdict(Line(row["say"], row["means"], row["means_command"]), facts, command)


def curve_table(points: list[tuple[float, float, float, int]], score: str) -> Iterator[str]:
    yield f"\nif {score} alone decided: limit, share right, share wrong, wrong from lines outside the grammar"
    for limit, right, wrong, outside in points:
        yield f"{limit:10.2f}{right:9.3f}{wrong:9.3f}{outside:6}"


def curve_svg(curves: dict[str, list[tuple[float, float, float, int]]], title: str) -> str:
    """The share right against the share wrong as one limit rises: an SVG picture, a line for each name."""
    left, top, width, height = 70, 50, 560, 360
    most = max((point[2] for points in curves.values() for point in points), default=0.0) or 0.01
    colours = ("#1b5e9b", "#b3471d", "#3f7d20", "#7a3b8f", "#5c5c5c")
    lines = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {left + width + 30} {top + height + 60}" '
             'font-family="sans-serif" font-size="13">', '<rect width="100%" height="100%" fill="white"/>',
             f'<text x="{left}" y="28" font-size="16">{_escaped(title)}</text>']
    for step in range(6):
        y, x = top + height * (1 - step / 5), left + width * step / 5
        lines += [f'<path d="M{left},{y:.1f}h{width}M{x:.1f},{top}v{height}" stroke="#ddd"/>',
                  f'<text x="{left - 8}" y="{y + 4:.1f}" text-anchor="end">{step / 5:.1f}</text>',
                  f'<text x="{x:.1f}" y="{top + height + 18}" text-anchor="middle">{most * step / 5:.3f}</text>']
    lines += [f'<text x="{left + width / 2}" y="{top + height + 42}" text-anchor="middle">share wrong</text>',
              f'<text x="18" y="{top + height / 2}" text-anchor="middle" '
              f'transform="rotate(-90 18 {top + height / 2})">share right</text>']
    for number, (name, points) in enumerate(curves.items()):
        colour = colours[number % len(colours)]
        places = [(left + width * wrong / most, top + height * (1 - right)) for _, right, wrong, _ in points]
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
        lines += [f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2"/>',
                  *(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.5" fill="{colour}"/>' for x, y in places),
                  f'<text x="{left + width - 8}" y="{top + height - 12 - 18 * number}" text-anchor="end" '
                  f'fill="{colour}">{_escaped(name)}</text>']
    return "\n".join([*lines, "</svg>", ""])


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
