"""The marks of a plan, of our own making; the legend explains each in words. Sizes in page units."""

from __future__ import annotations

import math

from fieldaid.drawing.shapes import Disc, Path, Shape, Spot, Text

NUMBER = 15.0


def number(at: Spot, text: str) -> list[Shape]:
    """A cut's number: white on a black disc."""
    return [Disc(at, NUMBER, 1.0, "black", "black"), Text((at[0], at[1] + 7), text, 20, "middle", True, "white")]


def letter(at: Spot, text: str) -> list[Shape]:
    """A side's letter in a ring."""
    return [Disc(at, 22, 3.0), Text((at[0], at[1] + 10), text, 28, "middle", True)]


def person(at: Spot) -> list[Shape]:
    """Somebody who stands there: a head over shoulders, on a white ground."""
    x, y = at
    return [
        Disc(at, 13, 0.0, "none", "white"),
        Disc((x, y - 5), 5, 1.0, "black", "black"),
        Path(
            tuple(
                (x + 10 * math.cos(math.radians(a)), y + 9 + 9 * math.sin(math.radians(a))) for a in range(180, 361, 30)
            ),
            2.0,
            "black",
            "black",
            True,
        ),
    ]


def flame(at: Spot, size: float = 26.0) -> list[Shape]:
    """The fire: a black star of many points with a white middle."""
    points = tuple(
        (
            at[0] + math.cos(math.radians(n * 18)) * size * (1.0 if n % 2 == 0 else 0.55),
            at[1] + math.sin(math.radians(n * 18)) * size * (1.0 if n % 2 == 0 else 0.55),
        )
        for n in range(20)
    )
    return [Path(points, 2.0, "white", "black", True), Disc(at, size * 0.3, 0.0, "none", "white")]


def smoke(at: Spot, volume: str) -> list[Shape]:
    """Smoke: one to three rising curls by volume; a barred ring where it was looked for and none was seen."""
    x, y = at
    if volume == "none":
        return [Disc(at, 11, 2.0), Path(((x - 8, y + 8), (x + 8, y - 8)), 2.0)]
    count = {"light": 1, "moderate": 2, "heavy": 3}.get(volume, 1)
    found: list[Shape] = [Disc(at, 19, 0.0, "none", "white")]
    for n in range(count):
        left = x + (n - (count - 1) / 2) * 12
        curl = tuple((left + 5 * math.sin(step * math.pi / 4), y + 16 - step * 4) for step in range(9))
        found.append(Path(curl, 3.0))
    return found


def ladder(at: Spot, out: Spot, told: bool = True) -> list[Shape]:
    """A ladder that leans against the edge at `at` from outside; `out` is the unit vector away from the house.

    A white ladder with open feet stands for one of which only the side is told.
    """
    (x, y), (ox, oy) = at, out
    sx, sy = -oy, ox
    rail, half = 58.0, 10.0
    found: list[Shape] = []
    for side in (-half, half):
        found.append(
            Path(
                (
                    (x + sx * side - ox * 10, y + sy * side - oy * 10),
                    (x + sx * side + ox * rail, y + sy * side + oy * rail),
                ),
                4.0,
                dash=() if told else (8.0, 5.0),
            )
        )
    for step in range(5):
        away = 2 + step * 12
        found.append(
            Path(
                (
                    (x + sx * half + ox * away, y + sy * half + oy * away),
                    (x - sx * half + ox * away, y - sy * half + oy * away),
                ),
                2.5,
            )
        )
    return found


def arrow(start: Spot, stop: Spot, width: float = 3.0, head: float = 14.0, dash: tuple[float, ...] = ()) -> list[Shape]:
    """A line with a filled head at `stop`."""
    long = math.dist(start, stop)
    if long < 1e-6:
        return []
    ux, uy = (stop[0] - start[0]) / long, (stop[1] - start[1]) / long
    base = (stop[0] - ux * head, stop[1] - uy * head)
    wing = head * 0.5
    return [
        Path((start, base), width, dash=dash),
        Path(
            (stop, (base[0] - uy * wing, base[1] + ux * wing), (base[0] + uy * wing, base[1] - ux * wing)),
            1.0,
            "black",
            "black",
            True,
        ),
    ]


def wind(at: Spot, towards: Spot) -> list[Shape]:
    """Three parallel arrows that blow `towards` (unit vector)."""
    ux, uy = towards
    found: list[Shape] = []
    for off in (-18, 0, 18):
        x, y = at[0] - uy * off, at[1] + ux * off
        found += arrow((x - ux * 34, y - uy * 34), (x + ux * 34, y + uy * 34), 4.0, 16.0)
    return found


def north(at: Spot, towards: Spot) -> list[Shape]:
    """A needle whose black half points north (unit vector), with an N at its tip."""
    (x, y), (ux, uy) = at, towards
    tip, tail = (x + ux * 30, y + uy * 30), (x - ux * 30, y - uy * 30)
    left, right = (x - uy * 9, y + ux * 9), (x + uy * 9, y - ux * 9)
    return [
        Path((tip, left, right), 2.0, "black", "black", True),
        Path((tail, left, right), 2.0, "black", "white", True),
        Text((x + ux * 46, y + uy * 46 + 8), "N", 24, "middle", True),
    ]


def crossed_square(points: tuple[Spot, ...]) -> list[Shape]:
    """A skylight or scuttle: its outline with both diagonals."""
    (x0, y0), (x1, y1) = (
        (min(x for x, _ in points), min(y for _, y in points)),
        (max(x for x, _ in points), max(y for _, y in points)),
    )
    return [Path(points, 2.5, "black", "white", True), Path(((x0, y0), (x1, y1)), 1.5), Path(((x0, y1), (x1, y0)), 1.5)]
