"""Fits the policies to the candidates that calibrate_hearing.py measured: of the first recogniser alone, with the
second, and with the second and the acoustic model.

The ranking comes first (how much the letters of the second and the acoustic model count), then for each stance (the
second agrees; both models do; the second is near, differs, is silent) the weights of `fit` by logistic regression with
a ridge, and the limits: the loosest ones that let through no more wrong answers than the share allowed. What is printed
is the calibration's own material; how well it holds elsewhere is for bench_hearing.py to say.
"""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import numpy as np

from fieldaid.grammar import Grammar
from fieldaid.hearing import two_models
from fieldaid.hearing import two_opinions as opinions
from fieldaid.hearing.likelihood import recogniser as recognising
from fieldaid.hearing.likelihood.accept import Figures, Limits
from fieldaid.hearing.likelihood.meanings import meaning_of
from fieldaid.hearing.measuring import NO_RIVAL

RIDGE = 0.02
"""Keeps the weights small where the data do not speak."""
SCALE = np.array([1.0, 4.0, 0.8, 2.0])
"""The usual spread of each feature, so that RIDGE weighs them alike."""
CLOSE = (0.0, 3.0, 6.0, 10.0, 15.0)
BESIDE = (0.0, 0.2, 0.35, 0.5, 0.75, 1.0)
WEIGHTS = ("base", "by_llr", "by_margin", "by_worst")
BANDS = ((-99, -2), (-2, 0), (0, 1), (1, 2), (2, 3), (3, 4), (4, 5), (5, 99))

ALLOWED = {opinions.AGREES: 0.002, opinions.MODELS: 0.002, opinions.NEAR: 0.004, opinions.DIFFERS: 0.004,
           opinions.SILENT: 0.004}
"""Wrong answers that the limits of each stance may let through, as a share of the segments with that stance."""

Row = dict[str, Any]


@dataclasses.dataclass(frozen=True)
class Case:
    """One segment as it was ranked: the figures of its best meaning, the stance of the second, and the truth."""

    figures: Figures
    stance: str
    states: bool
    verdict: str
    inside: bool
    row: Row
    text: str


class Ranking:
    """Ranks the candidates of a row again, as two_opinions.weigh does.

    Parameters
    ----------
    close : how much the letters of the second count
    beside : how much the acoustic model counts; at 0 nothing of it is used
    alone : whether nothing but the first's own counts
    """

    def __init__(self, grammar: Grammar, limits: Limits, close: float, beside: float = 0.0, alone: bool = False
                 ) -> None:
        self.grammar, self.limits, self.close, self.beside, self.alone = grammar, limits, close, beside, alone
        self.policy = opinions.read_policy()
        self._keys: dict[str, str] = {}

    def of(self, row: Row) -> Case | None:
        second = "" if self.alone else row["second"].replace("fieldaid", "field aid")
        theirs = {self._key(text) for text in (second, *row["others"]) if text and not self.alone}
        found = [one for one in row["candidates"] if one["own"] or self.beside or one["key"] in theirs]
        if not found:
            return None
        rank = {one["key"]: self._rank(one, second) for one in found}
        found.sort(key=lambda one: rank[one["key"]], reverse=True)
        best = found[0]
        margin = min((rank[best["key"]] - rank[one["key"]] for one in found[1:]), default=NO_RIVAL)
        figures = Figures(best["score"] - row["free_score"], best["row"] - best["prior"], margin, best["worst"],
                          best["last"], best["tokens"], None, sum(map(str.isalpha, best["text"])) / row["spoken"],
                          best["words"] if self.beside else None)
        close = opinions.closeness(best["text"], second)
        same = bool(second) and self._key(second) == best["key"]
        models = bool(self.beside and row["other"]) and self._key(row["other"]) == best["key"]
        stance = opinions.stance_of(bool(second), same, models, close, self.policy)
        return Case(figures, stance, best["states"], best["verdict"], row["set"] == "in", row, best["text"])

    def _rank(self, one: Row, second: str) -> float:
        own = one["score"] - self.limits.prior_weight * one["prior"] - self.limits.refused * one["refused"]
        return own + self.beside * one["beside"] + (self.close * opinions.closeness(one["text"], second) if second
                                                    else 0.0)

    def _key(self, text: str) -> str:
        if text not in self._keys:
            self._keys[text] = meaning_of(self.grammar.parse(text))
        return self._keys[text]


def cases(rows: list[Row], ranking: Ranking) -> list[Case]:
    return [one for one in map(ranking.of, rows) if one is not None]


def fit(rows: list[Row], grammar: Grammar, write: bool) -> None:
    """Prints what was found and, with `write`, stores it."""
    base = Limits()
    print(f"{len(rows)} segments: " + ", ".join(
        f"{sum(row['set'] == kind for row in rows)} {kind}" for kind in ("in", "out", "noise")))
    print("\nbest meaning right (share of the grammar's own speech), by how much the letters of the second count, "
          "down, and the acoustic model, across:\n          " + "".join(f"{one:7.2f}" for one in BESIDE))
    for close in CLOSE:
        print(f"  {close:6.1f}  " + "".join(f"{_right(cases(rows, Ranking(grammar, base, close, one))):7.3f}"
                                            for one in BESIDE))
    policy = opinions.read_policy()
    alone = cases(rows, Ranking(grammar, base, 0.0, alone=True))
    made = {"alone": _limits("the first alone", alone, base)}
    found = {"alone": alone}
    for name, path, beside in (("second", opinions.OPINIONS, 0.0), ("all", opinions.WITH_ACOUSTIC, two_models.WEIGHT)):
        found[name] = cases(rows, Ranking(grammar, base, policy.close, beside))
        for stance, allowed in ALLOWED.items():
            own = [one for one in found[name] if one.stance == stance]
            made[f"{name} {stance}"] = _limits(f"{name}: {stance}", own, _start(stance, made["alone"]), allowed)
        if write:
            stored = json.loads(path.read_text(encoding="utf-8"))
            stored |= {stance: made[f"{name} {stance}"].stored() for stance in ALLOWED}
            path.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")
    _together(found, made)
    if write:
        recognising.LIMITS.write_text(json.dumps(made["alone"].stored(), indent=1) + "\n", encoding="utf-8")


def _right(found: list[Case]) -> float:
    return float(np.mean([one.verdict == "right" for one in found if one.inside]))


def _start(stance: str, alone: Limits) -> Limits:
    """The limits that `fit` does not set: how bad a single figure may be, whatever the others say."""
    if stance in (opinions.AGREES, opinions.MODELS):
        return dataclasses.replace(alone, llr=-14.0, pmi=5.5, margin=0.0, worst=-10.0, last=-2.5)
    if stance == opinions.NEAR:
        return dataclasses.replace(alone, margin=0.5)
    return alone


def _limits(title: str, found: list[Case], start: Limits, allowed: float = 0.004) -> Limits:
    """Weights and the least `fit`; those of `start` where there is too little to fit."""
    speaking = [one for one in found if one.states and one.verdict != "asked" and one.figures.last >= start.last]
    right = np.array([one.verdict == "right" for one in speaking], bool)
    print(f"\n{title}: {len(found)} segments, {len(speaking)} state something, {int(right.sum())} rightly")
    limits = start
    if 8 <= (~right).sum() and right.sum() >= 20:
        weights = logistic(np.array([one.figures.features for one in speaking]) / SCALE, right.astype(float)) / SCALE
        limits = dataclasses.replace(start, **dict(zip(WEIGHTS, map(float, weights.round(3)), strict=True)))
        _reliability(speaking, right, limits)
    else:
        print("  too few wrong ones for weights of its own")
    best = None
    print("  limit of fit:  of the right ones accepted | wrong, of the grammar's own speech and of other sound")
    for limit in np.arange(-2.0, 6.01, 0.5):
        tried = dataclasses.replace(limits, fit=float(limit))
        taken = [one for one in found if one.states and one.figures.accepted(tried)]
        wrong = [one for one in taken if one.verdict == "wrong" or (one.verdict != "asked" and not one.inside)]
        share = sum(one.verdict == "right" for one in taken) / max(1, int(right.sum()))
        print(f"    {limit:5.1f}   {share:.3f} | {sum(one.inside for one in wrong)}, "
              f"{sum(not one.inside for one in wrong)}")
        if best is None and len(wrong) <= allowed * len(found):
            best = tried
            for one in wrong:
                print(f"      still wrong: {one.row['condition']}: {one.row['say']} | {one.text}")
    return best if best is not None else dataclasses.replace(limits, fit=6.0)


def _reliability(speaking: list[Case], right: np.ndarray, limits: Limits) -> None:
    fits = np.array([one.figures.fit(limits) for one in speaking])
    for low, high in BANDS:
        here = (fits >= low) & (fits < high)
        if here.any():
            predicted = float((1 / (1 + np.exp(-fits[here]))).mean())
            print(f"  fit {low:4} to {high:3}: {int(here.sum()):4} segments, right {right[here].mean():.3f}, "
                  f"predicted {predicted:.3f}")


def _together(found: dict[str, list[Case]], made: dict[str, Limits]) -> None:
    print("\naccepted right / wrong / n   " + "".join(f"{name:22}" for name in found))
    first = next(iter(found.values()))
    for kind in dict.fromkeys((one.row["set"], one.row["condition"]) for one in first):
        text = ""
        for name, some in found.items():
            here = [one for one in some if (one.row["set"], one.row["condition"]) == kind]
            taken = [one for one in here if one.states and one.figures.accepted(
                made[name if name == "alone" else f"{name} {one.stance}"])]
            wrong = sum(one.verdict == "wrong" or (one.verdict != "asked" and not one.inside) for one in taken)
            text += f"{sum(one.verdict == 'right' for one in taken):5} / {wrong:2} / {len(here):4}     "
        print(f"  {' '.join(kind):20} {text}")


def logistic(features: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Newton's method; the ridge spares the constant."""
    weights = np.zeros(features.shape[1])
    ridge = RIDGE * len(right) / 10 * np.diag([0.0, *np.ones(len(weights) - 1)])
    for _ in range(50):
        chance = 1 / (1 + np.exp(-features @ weights))
        slope = features.T @ (right - chance) - ridge @ weights
        bend = (features * (chance * (1 - chance))[:, None]).T @ features + ridge
        step = np.linalg.solve(bend + 1e-9 * np.eye(len(weights)), slope)
        weights += step
        if float(np.abs(step).max()) < 1e-8:
            break
    return weights
