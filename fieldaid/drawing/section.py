"""A section through the opening, square to its eave: roof, plate, ceiling where it is told, and the depth between."""

from __future__ import annotations

from shapely.geometry import LineString, Point

from fieldaid.drawing.labels import Box, Labels
from fieldaid.drawing.shapes import Page, Path, Text
from fieldaid.workings.placement_model import Opening, Question
from fieldaid.workings.roof_model import FOOT

_STEPS = 120


def draw_section(page: Page, area: Box, question: Question, opening: Opening) -> None:
    """Draws the section into `area`: the opening's side on the right."""
    roof = question.roof
    face = roof.face(opening.face)
    down = face.down
    middle = opening.plan.centroid
    reach = 2 * max(roof.bounds[2] - roof.bounds[0], roof.bounds[3] - roof.bounds[1])
    ray = LineString(
        [
            (middle.x - down[0] * reach, middle.y - down[1] * reach),
            (middle.x + down[0] * reach, middle.y + down[1] * reach),
        ]
    )
    through = roof.outline.intersection(ray)
    parts = [part for part in getattr(through, "geoms", [through]) if part.distance(middle) < 1e-6]
    line = parts[0]
    if (line.coords[-1][0] - line.coords[0][0]) * down[0] + (line.coords[-1][1] - line.coords[0][1]) * down[1] < 0:
        line = line.reverse()
    profile = []
    for n in range(_STEPS + 1):
        along = line.length * n / _STEPS
        spot = line.interpolate(along)
        height = roof.height(spot.x, spot.y)
        profile.append((along, height if height is not None else 0.0))
    top = max(height for _, height in profile)
    left, upper, right, lower = area
    wall = 1.2
    room = (right - left - 60, lower - upper - 112)
    scale = min(room[0] / line.length, room[1] / (top + wall))
    x0 = (left + right) / 2 - line.length * scale / 2
    base = upper + 68 + top * scale

    def at(along: float, height: float) -> tuple[float, float]:
        return x0 + along * scale, base - height * scale

    page.add(Text((left, upper + 20), "Section through the opening", 22, bold=True))
    hole = opening.plan.intersection(line)
    start, stop = sorted(line.project(Point(point)) for point in (hole.coords[0], hole.coords[-1]))
    before = [point for point in profile if point[0] < start]
    after = [point for point in profile if point[0] > stop]
    h0, h1 = (roof.height(*line.interpolate(one).coords[0]) or 0.0 for one in (start, stop))
    page.add(
        Path(tuple(at(*point) for point in [*before, (start, h0)]), 5.0),
        Path(tuple(at(*point) for point in [(stop, h1), *after]), 5.0),
    )
    for along in (0.0, line.length):
        page.add(Path((at(along, 0.0), at(along, -wall)), 4.0))
    labels = Labels((left, upper + 26, right, lower))
    for point in profile[::2]:
        labels.mark(at(*point), 5.0)
    mid = at((start + stop) / 2, (h0 + h1) / 2)
    depth = (h0 + h1) / 2
    if question.ceiling == "flat":
        page.add(Path((at(0.0, 0.0), at(line.length, 0.0)), 3.0, dash=(14.0, 5.0)))
        page.add(Path((mid, at((start + stop) / 2, 0.0)), 2.0, dash=(4.0, 4.0)))
        for n in range(_STEPS // 2 + 1):
            labels.mark(at(line.length * 2 * n / _STEPS, 0.0), 4.0)
            labels.mark(at((start + stop) / 2, depth * 2 * n / _STEPS), 3.0)
    labels.put(page, "opening", mid, bold=True, first=14)
    if question.ceiling == "flat":
        labels.put(page, "flat ceiling", at(line.length * 0.25, 0.0), first=14)
        deep = face.height(middle.x, middle.y) / FOOT    # where the words beside the plan measure it
        if deep > 0.5:
            labels.put(page, f"about {deep:.0f} ft", at((start + stop) / 2, depth / 2), first=8)
    else:
        labels.put(
            page,
            "ceiling not told" if question.ceiling is None else f"{question.ceiling} ceiling",
            at(line.length / 2, 0.0),
            first=0,
        )
