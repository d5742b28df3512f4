"""Writes a page as PNG with Pillow, which brings its own typeface; it is an extra, and said so when absent."""

from __future__ import annotations

import io
import math
from typing import Any

from fieldaid.drawing.shapes import Disc, Page, Path, Spot, Text
from fieldaid.errors import FieldaidError

# Drawn larger and then reduced: Pillow's lines are jagged otherwise.
_FINER = 2
HOW_TO_GET_IT = "install Pillow (the extra `draw`), or ask for SVG"


def png(page: Page, scale: float = 1.0) -> bytes:
    """The page as the bytes of a PNG file.

    Raises
    ------
    FieldaidError : Pillow is not installed
    """
    try:
        from PIL import Image, ImageDraw
    except ImportError as error:
        raise FieldaidError("no PNG can be written", why="Pillow is not installed", next_step=HOW_TO_GET_IT) from error
    by = scale * _FINER
    image = Image.new("L", (round(page.width * by), round(page.height * by)), 255)
    draw = ImageDraw.Draw(image)
    for one in page.shapes:
        if isinstance(one, Text):
            _text(draw, one, by)
        elif isinstance(one, Disc):
            x, y, r = one.at[0] * by, one.at[1] * by, one.radius * by
            draw.ellipse(
                (x - r, y - r, x + r, y + r),
                fill=_grey(one.fill),
                outline=_grey(one.ink),
                width=max(1, round(one.width * by)),
            )
        else:
            _path(draw, one, by)
    image = image.resize((round(page.width * scale), round(page.height * scale)), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    image.save(out, "PNG", optimize=True)
    return out.getvalue()


def _grey(ink: str) -> int | None:
    return {"black": 0, "white": 255}.get(ink)


def _text(draw: Any, one: Text, by: float) -> None:
    from PIL import ImageFont

    size = one.size * by
    font = ImageFont.load_default(size)
    long = draw.textlength(one.text, font=font)
    if long > one.width * by:
        size *= one.width * by / long
        font = ImageFont.load_default(size)
        long = draw.textlength(one.text, font=font)
    x = one.at[0] * by - {"start": 0.0, "middle": 0.5, "end": 1.0}[one.anchor] * long
    stroke = round(size * 0.035) if one.bold else 0
    draw.text(
        (x, one.at[1] * by),
        one.text,
        font=font,
        fill=_grey(one.ink),
        anchor="ls",
        stroke_width=stroke,
        stroke_fill=_grey(one.ink),
    )


def _path(draw: Any, one: Path, by: float) -> None:
    points = [(x * by, y * by) for x, y in one.points]
    if one.fill != "none" and len(points) > 2:
        draw.polygon(points, fill=_grey(one.fill))
    if one.ink == "none" or one.width <= 0:
        return
    width = max(1, round(one.width * by))
    ring = [*points, points[0]] if one.closed else points
    for part in _dashes(ring, [part * by for part in one.dash]) if one.dash else [ring]:
        draw.line(part, fill=_grey(one.ink), width=width, joint="curve")


def _dashes(points: list[Spot], dash: list[float]) -> list[list[Spot]]:
    """The pieces of a line that a dash pattern leaves."""
    found: list[list[Spot]] = []
    turn, left, on = 0, dash[0], True
    piece = [points[0]]
    for here, there in zip(points, points[1:], strict=False):
        gone, length = 0.0, math.dist(here, there)
        while length - gone > left:
            gone += left
            spot = (here[0] + (there[0] - here[0]) * gone / length, here[1] + (there[1] - here[1]) * gone / length)
            if on:
                found.append([*piece, spot])
            piece, on, turn = [spot], not on, turn + 1
            left = dash[turn % len(dash)]
        left -= length - gone
        piece.append(there)
    return [*found, piece] if on and len(piece) > 1 else found
