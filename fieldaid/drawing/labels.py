"""Places labels so that none covers another, a mark or the page's edge; a line leads to what a far one belongs to."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple

from fieldaid.drawing.shapes import LEAST_TEXT, Page, Path, Spot, Text

Box = tuple[float, float, float, float]
_PAD = 4.0
_NEAR = 30.0


def overlap(a: Box, b: Box) -> bool:
    """Whether two boxes cover a common part.

    >>> overlap((0, 0, 2, 2), (1, 1, 3, 3)), overlap((0, 0, 1, 1), (1, 0, 2, 1))
    (True, False)
    """
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


class Wanted(NamedTuple):
    """A label that is asked for near `at`, in units of the page, `first` the distance to begin with. `outside`: off
    the roof where there is room for that. `others` are the marks that it must not seem to name."""

    text: str
    at: Spot
    bold: bool = False
    first: float = 0.0
    outside: bool = False
    others: tuple[Spot, ...] = ()


@dataclass
class Labels:
    """Labels inside one part of the page. `taken` are boxes that no label may cover."""

    area: Box
    taken: list[Box] = field(default_factory=list)
    unplaced: list[str] = field(default_factory=list)

    def keep_free(self, *boxes: Box) -> None:
        self.taken.extend(boxes)

    def mark(self, at: Spot, radius: float) -> None:
        """Keeps a round mark free."""
        self.taken.append((at[0] - radius, at[1] - radius, at[0] + radius, at[1] + radius))

    def is_free(self, box: Box) -> bool:
        left, top, right, bottom = self.area
        inside = box[0] >= left and box[1] >= top and box[2] <= right and box[3] <= bottom
        return inside and not any(overlap(box, other) for other in self.taken)

    def place(self, page: Page, one: Wanted, off: Box) -> None:
        """Writes a label; one that is wanted outside keeps out of the box `off` if there is room."""
        if one.outside:
            self.taken.append(off)
            placed = self.put(page, one.text, one.at, bold=one.bold, first=one.first)
            self.taken.remove(off)
            if placed:
                return
            self.unplaced.pop()
        self.put(page, one.text, one.at, bold=one.bold, first=one.first, others=one.others)

    def put(
        self, page: Page, text: str, at: Spot, size: float = LEAST_TEXT, bold: bool = False, first: float = 0.0,
        others: tuple[Spot, ...] = (),
    ) -> bool:
        """Writes `text` as near to `at` as there is room, `first` the distance to begin with; whether there was room.

        Lines are parted by a newline. Text lies on a white ground, so that lines under it do not cross it. Nearer to
        one of `others`, marks of the same kind, it would name that one: such a place is taken only with a line to `at`.
        """
        lines = text.split("\n")
        width = max(Text((0, 0), line, size, bold=bold).width for line in lines)
        step = size * 1.1
        height = step * len(lines)
        for reach in (first, first + 14, first + 28, *(first + 28 + more * 22 for more in range(1, 16))):
            for turn in range(16):
                angle = math.radians(turn * 22.5 + 90.0)
                x = at[0] + math.cos(angle) * (reach + width / 2 * abs(math.cos(angle)))
                y = at[1] + math.sin(angle) * (reach + height / 2 * abs(math.sin(angle)))
                box = (x - width / 2 - _PAD, y - height / 2 - _PAD / 2, x + width / 2 + _PAD, y + height / 2 + _PAD / 2)
                if not self.is_free(box):
                    continue
                strays = any(math.dist(_edge(box, one), one) < math.dist(_edge(box, at), at) + _PAD for one in others)
                if strays and reach <= first + _NEAR:
                    continue
                if reach > first + _NEAR:
                    page.add(Path((_edge(box, at), at), 1.5))
                page.add(
                    Path(
                        ((box[0], box[1]), (box[2], box[1]), (box[2], box[3]), (box[0], box[3])),
                        0.0,
                        "none",
                        "white",
                        True,
                    )
                )
                page.add(
                    *(
                        Text((x, y - height / 2 + step * (n + 0.5) + 0.28 * size), line, size, "middle", bold)
                        for n, line in enumerate(lines)
                    )
                )
                self.taken.append(box)
                return True
        self.unplaced.append(text.replace("\n", " "))
        return False


def _edge(box: Box, to: Spot) -> Spot:
    return min(max(to[0], box[0]), box[2]), min(max(to[1], box[1]), box[3])
