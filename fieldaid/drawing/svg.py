"""Writes a page as SVG: text stays text, and a title and a description say what is shown to who cannot see it."""

from __future__ import annotations

from xml.sax.saxutils import escape

from fieldaid.drawing.shapes import Disc, Page, Path, Shape, Text

FONTS = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"


def svg(page: Page) -> str:
    """The page as the text of an SVG file; the same page gives the same text."""
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(page.width)} {_n(page.height)}" '
        f'width="{_n(page.width)}" height="{_n(page.height)}" role="img" aria-labelledby="title about" '
        f'font-family="{FONTS}">'
    )
    body = [
        f'<title id="title">{escape(page.title)}</title>',
        f'<desc id="about">{escape(page.about)}</desc>',
        f'<rect width="{_n(page.width)}" height="{_n(page.height)}" fill="white"/>',
        *(_shape(one) for one in page.shapes),
    ]
    return "\n".join(['<?xml version="1.0" encoding="UTF-8"?>', head, *body, "</svg>", ""])


def _shape(one: Shape) -> str:
    if isinstance(one, Text):
        bold = ' font-weight="bold"' if one.bold else ""
        # The length keeps the text in its box whatever typeface the reader's machine has.
        return (
            f'<text x="{_n(one.at[0])}" y="{_n(one.at[1])}" font-size="{_n(one.size)}" text-anchor="{one.anchor}" '
            f'textLength="{_n(one.width)}" lengthAdjust="spacingAndGlyphs" fill="{one.ink}"{bold}>'
            f"{escape(one.text)}</text>"
        )
    if isinstance(one, Disc):
        return (
            f'<circle cx="{_n(one.at[0])}" cy="{_n(one.at[1])}" r="{_n(one.radius)}" fill="{one.fill}" '
            f'stroke="{one.ink}" stroke-width="{_n(one.width)}"/>'
        )
    return _path(one)


def _path(one: Path) -> str:
    points = " ".join(f"{_n(x)},{_n(y)}" for x, y in one.points)
    dash = f' stroke-dasharray="{" ".join(_n(part) for part in one.dash)}"' if one.dash else ""
    kind = "polygon" if one.closed else "polyline"
    return (
        f'<{kind} points="{points}" fill="{one.fill}" stroke="{one.ink}" stroke-width="{_n(one.width)}" '
        f'stroke-linejoin="round" stroke-linecap="{"butt" if one.dash else "round"}"{dash}/>'
    )


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
