"""What a drawing is made of: a page and a list of plain shapes in page units, y downwards.

SVG and PNG are both written from this list, so that they show the same. Black and white only: what differs is line
style, width and pattern, never colour.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Spot = tuple[float, float]
Ink = Literal["black", "white", "none"]
Anchor = Literal["start", "middle", "end"]

# Widths of the printable characters of a plain sans-serif face, in thousandths of its size (Helvetica's metrics as
# published with PostScript, from memory); others count as wide.
_WIDTHS = dict(
    zip(
        map(chr, range(32, 127)),
        (
            278,
            278,
            355,
            556,
            556,
            889,
            667,
            191,
            333,
            333,
            389,
            584,
            278,
            333,
            278,
            278,
            556,
            556,
            556,
            556,
            556,
            556,
            556,
            556,
            556,
            556,
            278,
            278,
            584,
            584,
            584,
            556,
            1015,
            667,
            667,
            722,
            722,
            667,
            611,
            778,
            722,
            278,
            500,
            667,
            556,
            833,
            722,
            778,
            667,
            778,
            722,
            667,
            611,
            722,
            667,
            944,
            667,
            667,
            611,
            278,
            278,
            278,
            469,
            556,
            333,
            556,
            556,
            500,
            556,
            556,
            278,
            556,
            556,
            222,
            222,
            500,
            222,
            833,
            556,
            556,
            556,
            556,
            333,
            500,
            278,
            556,
            500,
            722,
            500,
            500,
            500,
            334,
            260,
            334,
            584,
        ),
        strict=True,
    )
)
_BOLD = 1.08
# Nobody reads less at arm's length: 20 of 1400 units are 4.2 mm on a landscape A4 page.
LEAST_TEXT = 20.0


@dataclass(frozen=True)
class Path:
    """A line or an area. `dash` are lengths of line and gap; without it the line is whole."""

    points: tuple[Spot, ...]
    width: float = 2.0
    ink: Ink = "black"
    fill: Ink = "none"
    closed: bool = False
    dash: tuple[float, ...] = ()


@dataclass(frozen=True)
class Disc:
    """A circle."""

    at: Spot
    radius: float
    width: float = 2.0
    ink: Ink = "black"
    fill: Ink = "white"


@dataclass(frozen=True)
class Text:
    """One line of text. `at` is on its base line; `box` is what it covers."""

    at: Spot
    text: str
    size: float = LEAST_TEXT
    anchor: Anchor = "start"
    bold: bool = False
    ink: Ink = "black"

    @property
    def width(self) -> float:
        return text_width(self.text, self.size, self.bold)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """(left, top, right, bottom)."""
        left = self.at[0] - {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor] * self.width
        return left, self.at[1] - 0.78 * self.size, left + self.width, self.at[1] + 0.22 * self.size


Shape = Path | Disc | Text


@dataclass
class Page:
    """A sheet of `width` by `height` units. `title` and `about` are what a screen reader says of it."""

    width: float
    height: float
    title: str
    about: str
    shapes: list[Shape] = field(default_factory=list)

    def add(self, *shapes: Shape) -> None:
        self.shapes.extend(shapes)

    @property
    def texts(self) -> list[Text]:
        return [one for one in self.shapes if isinstance(one, Text)]


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of a line of text.

    >>> round(text_width("ridge", 20), 1)
    44.5
    """
    return sum(_WIDTHS.get(one, 889) for one in text) / 1000 * size * (_BOLD if bold else 1.0)


def wrapped(text: str, width: float, size: float, bold: bool = False) -> list[str]:
    """`text` broken between words into lines of at most `width`; a longer word is broken itself."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        while text_width(word, size, bold) > width:
            if line:
                lines.append(line)
                line = ""
            keep = next(n for n in range(len(word), 0, -1) if n == 1 or text_width(word[:n], size, bold) <= width)
            lines.append(word[:keep])
            word = word[keep:]
        more = f"{line} {word}".strip()
        if text_width(more, size, bold) > width:
            lines.append(line)
            line = word
        else:
            line = more
    return [*lines, line] if line else lines
