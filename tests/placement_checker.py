"""An independent check of a placement: the invariants on the plain geometry of the answer, without the solver's code.

Each fault is a sentence. Rows: N04, S02, C19, C25 (invariant 5); S02, S34, N07 (7); S34, G10 (8); W01-W06, W11 (16);
P12, P18 (obstacles).
"""

from __future__ import annotations

import math

from shapely.geometry import LineString, Point

from fieldaid.workings.placement_model import Opening, Question
from fieldaid.workings.roof_model import FOOT, INCH, Face

# The least distances of the trade limits, written again here [ft].
KEEP_FT = {
    "array": 3,
    "skylight": 1,
    "scuttle": 1,
    "chimney": 1.5,
    "roof vent": 1,
    "wires": 10,
    "load": 6,
    "bad deck": 6,
}
STEPS = 60


def faults(question: Question, opening: Opening) -> list[str]:
    """What is wrong with an answer; empty when nothing is."""
    face = question.roof.face(opening.face)
    found = [
        *carried(question, opening, face),
        *ways(question, opening),
        *stood(question, opening, face),
        *wind(question, opening, face),
        *clear(question, opening, face),
    ]
    if not face.plan.buffer(1e-6).covers(opening.plan):
        found.append("the opening leaves its face")
    return found


def carried(question: Question, opening: Opening, face: Face) -> list[str]:
    """Invariant 5: no kerf along a member, none across ridge, hip, valley, curb; what it crosses is said."""
    found = []
    ridden = 0
    for cut in opening.cuts:
        for line in question.roof.lines:
            if line.kind in ("ridge", "hip", "valley", "curb", "high edge") and cut.plan.distance(line.plan) < 6 * INCH:
                found.append(f"cut {cut.number} within 6 in of a {line.kind}")
        crossed = 0
        for member in question.roof.members:
            if member.kind in ("hip", "valley", "ridge"):
                if cut.plan.intersects(member.plan):
                    found.append(f"cut {cut.number} severs a {member.kind}")
                continue
            if member.face != face.name:
                continue
            steep = angle(cut.plan, member.plan)
            if steep < 10 and cut.plan.distance(member.plan) < 2 * INCH:
                found.append(f"cut {cut.number} runs along a {member.kind}")
            if cut.plan.distance(member.plan) < 1e-6:
                crossed += 1
                if steep < 10:
                    found.append(f"cut {cut.number} splits a {member.kind}")
        if crossed != sum(number for _, number in cut.rides_over):
            found.append(f"cut {cut.number} crosses {crossed} members and says {cut.rides_over}")
        ridden += crossed
    if opening.kind in ("rectangle", "louvred panels", "triangle", "trapezoid") and not ridden:
        found.append("the opening lies in one bay")
    if opening.cuts:
        ends = {(round(x, 6), round(y, 6)) for cut in opening.cuts for x, y in cut.plan.coords}
        corners = {(round(x, 6), round(y, 6)) for x, y in opening.plan.exterior.coords}
        if not corners <= ends:
            found.append("the kerfs do not go round the opening")
        if [cut.number for cut in opening.cuts] != list(range(1, len(opening.cuts) + 1)):
            found.append("the cuts are not numbered in order")
    return found


def angle(one: LineString, other: LineString) -> float:
    """Angle between two straight lines in plan [deg]."""

    def heading(line: LineString) -> float:
        (x0, y0), (x1, y1) = line.coords[0], line.coords[-1]
        return math.degrees(math.atan2(y1 - y0, x1 - x0))

    off = abs(heading(one) - heading(other)) % 180
    return min(off, 180 - off)


def ways(question: Question, opening: Opening) -> list[str]:
    """Invariant 7: two usable ways off at separate places."""
    usable = {way.name: way for way in question.ways if way.usable}
    if opening.way_off not in usable or opening.second_way not in usable:
        return ["a way off that is not usable"]
    first, second = usable[opening.way_off], usable[opening.second_way]
    return ["both ways off are one"] if first.name == second.name or first.ends == second.ends else []


def stood(question: Question, opening: Opening, face: Face) -> list[str]:
    """Invariant 8: nothing between crew and way off; nobody ends beyond or below; the way stays clear."""
    found = []
    last = Point(opening.stances[0].at)
    end = Point(opening.way.coords[-1])
    if opening.way.coords[0] != opening.stances[0].at:
        found.append("the way off does not begin at the last stance")
    if opening.cuts and opening.cuts[-1].stand != opening.stances[0].at:
        found.append("the last cut is not made from the last stance")
    if opening.way.intersects(opening.plan.buffer(1 * FOOT)):
        found.append("the opening is between the crew and the way off")
    corners = [Point(xy) for xy in opening.plan.exterior.coords]
    if last.distance(end) > max(corner.distance(end) for corner in corners) + 1e-6:
        found.append("the crew ends beyond the opening")
    for n in range(STEPS + 1):
        spot = opening.way.interpolate(n / STEPS, normalized=True)
        if below(spot, opening, face):
            found.append("the way off runs below the opening")
            break
        if not question.roof.outline.buffer(0.01).covers(spot):
            found.append("the way off leaves the roof")
            break
        for one in question.obstacles:
            if one.kind in ("array", "bad deck", "skylight", "chimney") and one.plan.buffer(-1e-6).covers(spot):
                found.append(f"the way off crosses {one.name}")
    for stance in opening.stances:
        at = Point(stance.at)
        if at.distance(opening.plan) < 1 * FOOT:
            found.append(f"{stance.who} stands at the edge of the opening")
        if below(at, opening, face):
            found.append(f"{stance.who} ends below the opening")
        if at.distance(end) > last.distance(end) + 1e-6:
            found.append(f"{stance.who} ends farther from the way off than the saw")
    return found


def below(spot: Point, opening: Opening, face: Face) -> bool:
    """Whether a stone that comes loose at the opening could run down over `spot`, on the face or off its eave."""
    if face.pitch == 0 or not face.plan.buffer(1e-3).covers(spot):
        return False
    up = LineString([spot, (spot.x - face.down[0] * 200, spot.y - face.down[1] * 200)])
    return up.intersects(opening.plan)


def wind(question: Question, opening: Opening, face: Face) -> list[str]:
    """Invariant 16: not on a face that looks within 45 degrees of where the wind comes from."""
    if question.wind == (0.0, 0.0):
        return []
    out = {"A": -90.0, "B": 180.0, "C": 90.0, "D": 0.0}[opening.side]
    off = abs(math.degrees(math.atan2(question.wind[1], question.wind[0])) - out) % 360
    return ["the wind blows onto the opening"] if min(off, 360 - off) <= 45 - 1e-6 else []


def clear(question: Question, opening: Opening, face: Face) -> list[str]:
    """Clear of panels, skylights, chimneys, bad deck; true distances are at most plan distances times the factor."""
    found = []
    for one in question.obstacles:
        if opening.kind == "existing opening" and one.plan.equals_exact(opening.plan, 1e-6):
            continue
        if opening.kind == "existing opening" and one.kind not in ("array", "wires", "bad deck"):
            continue
        if one.plan.distance(opening.plan) * face.factor < KEEP_FT[one.kind] * FOOT - 1e-6:
            found.append(f"{one.name} is closer than {KEEP_FT[one.kind]} ft")
    return found
