"""Where along the line a hazard lies, for drawing it under the profile."""

from __future__ import annotations

from dataclasses import dataclass

from evac.facts.heights import Line
from evac.facts.lift import Hazard, Lift
from evac.hazards import corridor_radius_m, under


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A run along the line that a hazard lies under."""

    hazard: Hazard
    start_m: float
    end_m: float


def stretches(lift: Lift, line: Line) -> tuple[Stretch, ...]:
    """Every hazard below either side, in order of distance.

    A hazard under both sides, or leaving the corridor for less than the corridor's
    radius, is one stretch from its first to its last metre.
    """
    hazards = {hazard.id: hazard for hazard in lift.hazards}
    gap_m = corridor_radius_m(lift)
    found: dict[str, list[Stretch]] = {}
    for below in sorted(under(lift, line), key=lambda item: item.from_m):
        of_hazard = found.setdefault(below.hazard_id, [])
        start_m, end_m = below.from_m, below.to_m
        if of_hazard and start_m <= of_hazard[-1].end_m + gap_m:
            last = of_hazard.pop()
            start_m, end_m = last.start_m, max(end_m, last.end_m)
        of_hazard.append(
            Stretch(hazard=hazards[below.hazard_id], start_m=start_m, end_m=end_m)
        )
    return tuple(
        sorted(
            (item for items in found.values() for item in items),
            key=lambda item: (item.start_m, item.hazard.id),
        )
    )


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
