"""Where along the line a hazard lies, for drawing it under the profile."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from evac.facts.heights import Line
from evac.facts.lift import Hazard, Lift

BESIDE_M = 10.0
"""A hazard this near to the rope counts as below it: the belayer's radius."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A run along the line that a hazard lies under."""

    hazard: Hazard
    start_m: float
    end_m: float


def stretches(lift: Lift, line: Line) -> tuple[Stretch, ...]:
    """Every hazard below either side, in order of distance.

    A hazard under both sides is one stretch, from its first to its last metre.
    """
    found: list[Stretch] = []
    # A side is straight; its hundreds of samples would only cost time.
    ropes = [
        (
            LineString(np.column_stack([ground.x_m, ground.y_m])).simplify(0.1),
            float(ground.distance_m[0]),
        )
        for ground in line.ground.values()
    ]
    for hazard in lift.hazards:
        near = hazard.geometry.buffer(BESIDE_M)
        runs = sorted(
            run for rope, offset in ropes for run in _runs(near, rope, offset)
        )
        for start, end in runs:
            last = found[-1] if found and found[-1].hazard is hazard else None
            if last is not None and start <= last.end_m + BESIDE_M:
                found[-1] = Stretch(
                    hazard=hazard, start_m=last.start_m, end_m=max(end, last.end_m)
                )
            else:
                found.append(Stretch(hazard=hazard, start_m=start, end_m=end))
    return tuple(sorted(found, key=lambda item: (item.start_m, item.hazard.id)))


def _runs(
    near: BaseGeometry, rope: BaseGeometry, offset_m: float
) -> list[tuple[float, float]]:
    under = near.intersection(rope)
    runs = []
    for part in getattr(under, "geoms", [under]):
        if part.is_empty:
            continue
        # Plan distance along the side equals distance along the line but for its
        # offset at the start.
        along = [rope.project(Point(xy[0], xy[1])) for xy in part.coords]
        runs.append((min(along) + offset_m, max(along) + offset_m))
    return runs


def packed_rows(runs: list[tuple[float, float]]) -> list[int]:
    """A row for each run so that runs in one row do not touch; fewest rows, in order.

    Examples
    --------
    >>> packed_rows([(0.0, 5.0), (4.0, 9.0), (6.0, 8.0)])
    [0, 1, 0]
    """
    ends: list[float] = []
    rows = []
    for start, end in runs:
        row = next((number for number, full in enumerate(ends) if full < start), None)
        if row is None:
            row = len(ends)
            ends.append(end)
        ends[row] = end
        rows.append(row)
    return rows
