"""Hip roofs with wings against the straight skeleton of CGAL (through compas_cgal), where that is installed.

CGAL's straight skeleton is a well-tested implementation that shares nothing with ours. The roof over a footprint with
equal pitches is its skeleton: the same inner corners, at heights that are the pitch times the offset.
"""

from __future__ import annotations

import math
import random
import warnings

import pytest
from shapely.geometry import Point

from fieldaid.workings.limits import ImpossibleShape
from fieldaid.workings.roof import build
from fieldaid.workings.roof_model import FOOT
from fieldaid.workings.roof_wings import Wing


def skeleton():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        module = pytest.importorskip("compas_cgal.straight_skeleton_2", reason="compas_cgal is not installed")
    return module.interior_straight_skeleton


def inner_corners(outline, straight_skeleton):
    """The skeleton's corners inside the outline."""
    ring = list(outline.exterior.coords)[:-1]
    if not outline.exterior.is_ccw:
        ring.reverse()
    points = straight_skeleton([(x, y, 0.0) for x, y in ring], as_graph=False)[0]
    corners = [(float(x), float(y)) for x, y, _ in points]
    return [corner for corner in corners if outline.exterior.distance(Point(corner)) > 1e-6]


def random_hip(draw: random.Random):
    width = draw.randint(40, 160) / 4 * FOOT
    length = width + draw.randint(1, 200) / 4 * FOOT
    wings = []
    for side in draw.choice([("A",), ("C",), ("A", "C"), ()]):
        wide = min(draw.randint(8, 60) * FOOT, length)
        wings.append(Wing(side, draw.randint(4, 30) * FOOT, wide, draw.choice([0, 0.3, 0.61, 1]) * (length - wide)))
    return length, width, draw.randint(3, 24) / 24, wings, draw.choice([0.0, 0.3, 0.6])


@pytest.mark.parametrize("seed", range(60))
def test_corners_of_hips_with_wings_are_those_of_the_reference_skeleton(seed):
    straight_skeleton = skeleton()
    length, width, pitch, wings, overhang = random_hip(random.Random(seed))
    try:
        model = build("hip", length, width, pitch, wings=wings, overhang_m=overhang)
    except ImpossibleShape as error:
        assert error.where == "overhang"
        return
    theirs = inner_corners(model.outline, straight_skeleton)
    ours = {point for line in model.lines_of("ridge", "hip", "valley") for point in line.plan.coords
            if model.outline.exterior.distance(Point(point)) > 1e-4}
    assert theirs
    for corner in theirs:
        # The skeleton also has a seam between the two eaves beside a wing, which are one plane; where it ends on a line
        # of the roof it has a corner that the roof has not.
        assert min(line.plan.distance(Point(corner)) for line in model.lines) < 1e-3
        if min(math.dist(corner, point) for point in ours) >= 1e-3:
            assert wings
    for point in ours:
        assert min(math.dist(corner, point) for corner in theirs) < 1e-3
        offset = model.outline.exterior.distance(Point(point))
        # Beside an inside corner the skeleton's offset is square to the walls, and so less than the plain distance.
        assert offset * pitch / math.sqrt(2) - 1e-3 <= model.height(*point) + overhang * pitch <= offset * pitch + 1e-3
