"""One face of a roof made ready for placement: its own coordinates, its bays, and where a kerf may lie at all.

Coordinates on a face are (along the eave, up the slope), both true lengths [m]; a flat face is turned so that its
joists run "up".
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from fieldaid.workings import placement_limits as limits
from fieldaid.workings.placement_model import Lie, Obstacle, Question, Spot
from fieldaid.workings.roof_model import Face, RoofModel

NORMALS: dict[str, Spot] = {"A": (0.0, -1.0), "B": (-1.0, 0.0), "C": (0.0, 1.0), "D": (1.0, 0.0)}
# A side up to 45 degrees off the wind is faced by it, as in `wind.lie_of_sides`.
_FACING = math.cos(math.radians(45.0)) - 1e-9
# Members this close along the eave are one row [m].
_ONE_ROW = 1e-3
_KEPT_BACK = ("ridge", "hip", "valley", "curb", "break", "high edge")


def lie_to_wind(outward: Spot, wind: Spot) -> Lie:
    """How something that looks `outward` lies to the wind; both are unit vectors in plan, (0, 0) is calm.

    >>> lie_to_wind((0.0, 1.0), (-1.0, 0.0)), lie_to_wind((-1.0, 0.0), (-1.0, 0.0))
    ('along', 'windward')
    """
    if wind == (0.0, 0.0):
        return "calm"
    facing = outward[0] * wind[0] + outward[1] * wind[1]
    return "windward" if facing >= _FACING else "leeward" if facing <= -_FACING else "along"


@dataclass(frozen=True)
class Ground:
    """A face with everything around it that limits an opening."""

    face: Face
    roof: RoofModel

    @property
    def name(self) -> str:
        return self.face.name

    @property
    def flat(self) -> bool:
        return self.face.pitch == 0.0

    @cached_property
    def down(self) -> Spot:
        """The way water runs in plan; on a flat face, against the run of its joists."""
        if not self.flat:
            return self.face.down
        for member in self.roof.members_under(self.face.name):
            (x0, y0), (x1, y1) = member.plan.coords[0], member.plan.coords[-1]
            return (0.0, -1.0) if abs(y1 - y0) >= abs(x1 - x0) else (-1.0, 0.0)
        return (0.0, -1.0)

    def on_slope(self, shape: BaseGeometry) -> BaseGeometry:
        """A plan shape in the face's own coordinates."""
        (dx, dy), factor = self.down, self.face.factor
        return affinity.affine_transform(shape, [-dy, dx, -dx * factor, -dy * factor, 0.0, 0.0])

    def in_plan(self, shape: BaseGeometry) -> BaseGeometry:
        """A shape in the face's own coordinates as it lies in plan."""
        (dx, dy), factor = self.down, self.face.factor
        return affinity.affine_transform(shape, [-dy, -dx / factor, dx, -dy / factor, 0.0, 0.0])

    def plan_matrix(self) -> tuple[float, float, float, float]:
        """(x from along, x from up, y from along, y from up)."""
        (dx, dy), factor = self.down, self.face.factor
        return -dy, -dx / factor, dx, -dy / factor

    @cached_property
    def shape(self) -> Polygon:
        return self.on_slope(self.face.plan)  # type: ignore[return-value]

    @cached_property
    def lines(self) -> tuple[tuple[str, LineString], ...]:
        """The lines that bound the face, by kind."""
        return tuple(
            (line.kind, self.on_slope(line.plan))
            for line in self.roof.lines  # type: ignore[misc]
            if self.face.name in line.faces
        )

    @cached_property
    def members(self) -> tuple[tuple[str, LineString], ...]:
        """The members under the face, by kind."""
        found = self.roof.members_under(self.face.name)
        (dx, dy), factor = self.down, self.face.factor
        lines = shapely.transform(
            np.array([one.plan for one in found], dtype=object),
            lambda points: np.stack(
                [dx * points[:, 1] - dy * points[:, 0], -factor * (dx * points[:, 0] + dy * points[:, 1])], axis=1
            ),
        )
        return tuple((one.kind, line) for one, line in zip(found, lines, strict=True))

    @cached_property
    def pointed(self) -> bool:
        """Whether the face ends in a point at the top: a hip end, or a face of a pyramid."""
        kinds = [kind for kind, _ in self.lines]
        return kinds.count("hip") >= 2 and not {"ridge", "high edge", "curb", "break"} & set(kinds)

    @cached_property
    def rows(self) -> tuple[float, ...]:
        """Where members stand along the eave, each once."""
        middles = shapely.get_x(shapely.centroid(np.array([line for _, line in self.members], dtype=object)))
        found: list[float] = []
        for at in sorted(middles.tolist()):
            if not found or at - found[-1] > _ONE_ROW:
                found.append(at)
        return tuple(found)

    @cached_property
    def bays(self) -> tuple[float, ...]:
        """The middle of each bay along the eave, where a kerf can run up the slope between members."""
        middles = [(left + right) / 2 for left, right in zip(self.rows, self.rows[1:], strict=False)]
        return tuple(at for at in middles if all(abs(at - row) >= limits.MEMBER_CLEAR.value for row in self.rows))

    @cached_property
    def edges_kept(self) -> BaseGeometry:
        """The face less what a kerf keeps from ridge, hips, valleys and edges."""
        back = [
            line.buffer(limits.RIDGE_CLEAR.value if kind in _KEPT_BACK else limits.EDGE_CLEAR.value, cap_style="square")
            for kind, line in self.lines
        ]
        return self.shape.difference(shapely.union_all(back)) if back else self.shape

    @cached_property
    def cut_shapes(self) -> dict[str, Any]:
        """What `placement` keeps here: the shapes that fit the bare face, by kind of opening."""
        return {}

    def clear(self, obstacles: tuple[Obstacle, ...], but: Obstacle | None = None) -> BaseGeometry:
        """Where a kerf may lie with these obstacles on the roof; `but` is what is itself to be opened."""
        taken = [
            self.on_slope(one.plan).buffer(limits.CLEAR_OF[one.kind].value, join_style="mitre")
            for one in obstacles
            if one is not but
        ]
        return self.edges_kept.difference(shapely.union_all(taken)) if taken else self.edges_kept


@lru_cache(maxsize=16)
def grounds(roof: RoofModel) -> tuple[Ground, ...]:
    """The faces of a roof made ready; kept, since the same house is asked about again and again."""
    return tuple(Ground(face, roof) for face in roof.faces)


def inside_section(ground: Ground, question: Question) -> BaseGeometry | None:
    """The part of the face in the fire's section, compartment and knee-wall bay; None when all of it is."""
    part: BaseGeometry | None = None
    if question.within is not None:
        part = ground.on_slope(question.within)
    if question.knee_wall_m is not None and ground.face.pitch > 0:
        # Height over the plate divides the voids: the knee wall stands where the roof is that high.
        low, up = ground.shape.bounds[1], ground.shape.bounds[3]
        a, b, c = ground.face.plane
        foot = ground.in_plan(shapely.Point(0.0, 0.0))
        sine = ground.face.pitch / ground.face.factor
        at = (question.knee_wall_m - (a * foot.x + b * foot.y + c)) / sine
        left, right = ground.shape.bounds[0], ground.shape.bounds[2]
        band = shapely.box(left, at, right, up) if question.void == "peak" else shapely.box(left, low, right, at)
        part = band if part is None else part.intersection(band)
    return part
