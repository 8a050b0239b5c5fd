"""The line: where supports stand, and the ground under both sides.

The two ropes run a gauge apart, half a gauge beside the line of the supports, and
each hangs above its own ground.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise

import numpy as np

from evac.errors import NoPlanError
from evac.facts.finding import Finding, Severity
from evac.facts.heights import Line, SideGround, Span
from evac.facts.lift import FloatArray, Lift, Side, Support, SupportKind
from evac.ground import sample_grid
from evac.side_ground import (
    lowest_terrain_m,
    row_gap_m,
    side_ground,
    side_slope,
    stance_radius_m,
    terrain_between_rows,
)
from evac.words import Words

SAMPLE_M = 1.0
"""Distance between two samples of the ground along the line."""

COARSE_CELL_M = 15.0
"""Above this cell size of the source, or gap between two rows of a ground table, a
reach is not to be trusted (common practice, no source)."""

SIDE_SLOPE_DEG = 10.0
"""A slope across the line from which on the ground beside it matters to the stance
(common practice, no source)."""

BEND_NOTED_M = 3.0
BEND_REFUSED_M = 10.0
BEND_REFUSED_SHARE = 0.01
"""Of the line's length; drawn lines are rarely straighter."""


def lay_out(lift: Lift) -> Line:
    """Supports, spans and the ground of both sides, sampled every metre.

    Parameters
    ----------
    lift : Lift
        With a terrain or a ground table; the heights of a surveyed table count where a
        folder gives both.

    Returns
    -------
    Line
        Ground is NaN in voids of the terrain.

    Raises
    ------
    NoPlanError
        If supports are out of order, beside the line or a station within it, a rope
        lies at or below its ground, or a support's ground is not known.

    See Also
    --------
    find_doubts : What the plan must say about the line.
    """
    supports = lift.supports
    _refuse_supports(supports)
    _refuse_bend(supports)
    distance_m = np.array([support.distance_m for support in supports])
    rope_m = np.array([s.ground_m + s.rope_height_m for s in supports])
    samples_m = _samples_m(distance_m)
    ground = {side: side_ground(lift, side, distance_m=samples_m) for side in Side}
    for side in Side:
        _refuse_ground(ground[side], supports, rope_m)
    terrain = None if lift.ground_table is not None else lift.terrain
    return Line(
        supports=supports,
        spans=tuple(
            Span(
                index=index,
                id=f"{start.id}-{end.id}",
                start_m=start.distance_m,
                end_m=end.distance_m,
                start_support=start.id,
                end_support=end.id,
            )
            for index, (start, end) in enumerate(pairwise(supports))
        ),
        distance_m=distance_m,
        rope_elevation_m=rope_m,
        ground=ground,
        ground_step_m=_ground_step_m(supports, ground),
        terrain_cell_m=terrain.source_cell_m if terrain else None,
    )


def find_doubts(lift: Lift, line: Line) -> tuple[Finding, ...]:
    """What the plan must say about the line: coarse terrain, bends, voids, datum."""
    findings: list[Finding] = []
    shortest_m = min(span.end_m - span.start_m for span in line.spans)
    cell_m = line.terrain_cell_m
    if cell_m is not None and cell_m > min(COARSE_CELL_M, shortest_m / 2):
        findings.append(
            Finding(
                key="line.terrain_coarse",
                severity=Severity.WARN,
                values={"cell_m": cell_m, "span_m": shortest_m},
            )
        )
    off_m = _beside_line_m(line.supports)
    worst = int(np.argmax(off_m))
    if off_m[worst] > BEND_NOTED_M:
        findings.append(
            Finding(
                key="line.bend",
                severity=Severity.WARN,
                where=line.supports[worst].id,
                values={
                    "support": line.supports[worst].id,
                    "off_m": float(off_m[worst]),
                },
            )
        )
    findings += _table_doubts(lift, line)
    findings += _base_doubts(lift, line)
    findings += _void_doubts(line)
    return tuple(findings)


def _refuse_supports(supports: tuple[Support, ...]) -> None:
    if len(supports) < 2:
        raise NoPlanError(Words().say("line.few_supports", found=len(supports)))
    for before, support in pairwise(supports):
        if not support.distance_m > before.distance_m:
            message = Words().say(
                "line.order", support=support.id, distance_m=support.distance_m
            )
            raise NoPlanError(message)
    for support in supports[1:-1]:
        if support.kind is SupportKind.STATION:
            # Its rope may be held, or led off at an angle: no frictionless roller.
            message = Words().say("line.mid_station", support=support.id)
            raise NoPlanError(message)
    for support in supports:
        if not support.rope_height_m > 0:
            message = Words().say(
                "line.rope_low", support=support.id, height_m=support.rope_height_m
            )
            raise NoPlanError(message)


def _beside_line_m(supports: tuple[Support, ...]) -> FloatArray:
    """How far each support stands beside the straight line of the stations."""
    x_m = np.array([support.x_m for support in supports])
    y_m = np.array([support.y_m for support in supports])
    east, north = x_m[-1] - x_m[0], y_m[-1] - y_m[0]
    across = (x_m - x_m[0]) * north - (y_m - y_m[0]) * east
    beside_m: FloatArray = np.abs(across) / np.hypot(east, north)
    return beside_m


def _refuse_bend(supports: tuple[Support, ...]) -> None:
    beside_m = _beside_line_m(supports)
    length_m = supports[-1].distance_m - supports[0].distance_m
    worst = int(np.argmax(beside_m))
    if beside_m[worst] > max(BEND_REFUSED_M, BEND_REFUSED_SHARE * length_m):
        message = Words().say(
            "line.bend", support=supports[worst].id, off_m=float(beside_m[worst])
        )
        raise NoPlanError(message)


def _refuse_ground(
    ground: SideGround, supports: tuple[Support, ...], rope_m: FloatArray
) -> None:
    at_support_m = np.interp(
        [support.distance_m for support in supports],
        ground.distance_m,
        ground.elevation_m,
    )
    for support, elevation_m, rope in zip(supports, at_support_m, rope_m, strict=True):
        names = {"side": ground.side.value, "support": support.id}
        if np.isnan(elevation_m):
            raise NoPlanError(Words().say("line.leaves_terrain", **names))
        if elevation_m >= rope:
            message = Words().say(
                "line.under_ground", **names, depth_m=float(elevation_m - rope)
            )
            raise NoPlanError(message)


def _samples_m(support_m: FloatArray) -> FloatArray:
    first_m, last_m = support_m[0], support_m[-1]
    count = int(np.floor((last_m - first_m) / SAMPLE_M + 1e-9))
    # The last support is a sample of its own where the line is no whole metres long.
    return np.unique(np.append(first_m + SAMPLE_M * np.arange(count + 1), last_m))


def _ground_step_m(
    supports: tuple[Support, ...], ground: Mapping[Side, SideGround]
) -> float:
    """How far the ground stands above the supports' surveyed ground, on the whole."""
    surveyed = [support for support in supports if support.surveyed]
    if not surveyed:
        return 0.0
    at_m = [support.distance_m for support in surveyed]
    # A support stands midway between the two ropes.
    below_m = np.mean(
        [
            np.interp(at_m, each.distance_m, each.elevation_m)
            for each in ground.values()
        ],
        axis=0,
    )
    return float(np.median(below_m - [support.ground_m for support in surveyed]))


def _table_doubts(lift: Lift, line: Line) -> list[Finding]:
    """What a ground table does not show: ground between its rows, and beside it."""
    if lift.ground_table is None:
        return []
    return [*_sparse_rows(lift, line), *_filled_rows(lift, line), *_beside(lift, line)]


def _sparse_rows(lift: Lift, line: Line) -> list[Finding]:
    """Spans in which rows of the table stand farther apart than coarse terrain's."""
    table, terrain = lift.ground_table, lift.terrain
    if table is None:
        return []
    widest_m: dict[str, float] = {}
    for side, ground in line.ground.items():
        at_m = ground.distance_m
        gap_m = row_gap_m(table, at_m=at_m)
        if terrain is not None:
            used, _ = terrain_between_rows(lift, side, distance_m=at_m)
            seen_m = np.minimum(gap_m, terrain.source_cell_m)
            gap_m = np.where(used, seen_m, gap_m)
        for span in line.spans:
            inside = (at_m > span.start_m) & (at_m < span.end_m)
            most_m = float(gap_m[inside].max(initial=0.0))
            if most_m > max(COARSE_CELL_M, widest_m.get(span.id, 0.0)):
                widest_m[span.id] = most_m
    if not widest_m:
        return []
    values: dict[str, str | float | int] = {
        "count": len(widest_m),
        "spans": ", ".join(span.id for span in line.spans if span.id in widest_m),
        "gap_m": max(widest_m.values()),
        "most_m": COARSE_CELL_M,
    }
    return [Finding(key="line.table_sparse", severity=Severity.WARN, values=values)]


def _filled_rows(lift: Lift, line: Line) -> list[Finding]:
    """Gaps of the table in which the ground follows the terrain."""
    shapes = [
        terrain_between_rows(lift, side, distance_m=ground.distance_m)
        for side, ground in line.ground.items()
    ]
    if not any(used.any() for used, _ in shapes):
        return []
    shape_m = np.concatenate([shape for _, shape in shapes])
    values = {
        "below_m": max(0.0, -float(shape_m.min())),
        "above_m": max(0.0, float(shape_m.max())),
    }
    return [Finding(key="line.table_filled", severity=Severity.NOTE, values=values)]


def _beside(lift: Lift, line: Line) -> list[Finding]:
    """No terrain tells the ground beside the table, so none tells the stance there."""
    table = lift.ground_table
    if table is None or _terrain_all_along(lift, line):
        return []
    radius_m = stance_radius_m(lift)
    findings = [
        Finding(
            key="line.table_along_only",
            severity=Severity.NOTE,
            values={"radius_m": radius_m},
        )
    ]
    at_m = line.ground[Side.ASCENDING].distance_m
    slope = side_slope(table, at_m=at_m, gauge_m=lift.gauge_m)
    steep = np.degrees(np.arctan(slope)) > SIDE_SLOPE_DEG
    spans = [
        span.id
        for span in line.spans
        if steep[(at_m >= span.start_m) & (at_m <= span.end_m)].any()
    ]
    if spans:
        steepest = float(slope.max())
        values: dict[str, str | float | int] = {
            "count": len(spans),
            "spans": ", ".join(spans),
            "slope_deg": float(np.degrees(np.arctan(steepest))),
            "radius_m": radius_m,
            "fall_m": radius_m * steepest,
        }
        findings.append(
            Finding(key="line.table_side_slope", severity=Severity.WARN, values=values)
        )
    return findings


def _terrain_all_along(lift: Lift, line: Line) -> bool:
    """Whether the terrain is known below both ropes and as far as belayers stand."""
    terrain, radius_m = lift.terrain, stance_radius_m(lift)
    if terrain is None:
        return False
    return all(
        np.isfinite(
            lowest_terrain_m(terrain, x_m=ground.x_m, y_m=ground.y_m, radius_m=radius_m)
        ).all()
        for ground in line.ground.values()
    )


def _base_doubts(lift: Lift, line: Line) -> list[Finding]:
    """Surveyed bases that the terrain does not confirm: another datum, a wrong row."""
    if lift.terrain is None:
        return []
    surveyed = [support for support in line.supports if support.surveyed]
    if not surveyed:
        return []
    terrain_m = sample_grid(
        lift.terrain,
        x_m=[support.x_m for support in surveyed],
        y_m=[support.y_m for support in surveyed],
    )
    difference_m = terrain_m - np.array([support.ground_m for support in surveyed])
    worst = int(np.argmax(np.nan_to_num(np.abs(difference_m))))
    if abs(difference_m[worst]) <= max(2.0, 3 * lift.terrain.sd_m):
        return []
    return [
        Finding(
            key="line.base_differs",
            severity=Severity.WARN,
            where=surveyed[worst].id,
            values={
                "support": surveyed[worst].id,
                "difference_m": float(difference_m[worst]),
            },
        )
    ]


def _void_doubts(line: Line) -> list[Finding]:
    findings = []
    for side, ground in line.ground.items():
        for span in line.spans:
            inside = (ground.distance_m > span.start_m) & (
                ground.distance_m <= span.end_m
            )
            unknown = inside & (
                np.isnan(ground.elevation_m) | np.isnan(ground.stance_m)
            )
            if unknown.any():
                findings.append(
                    Finding(
                        key="line.void",
                        severity=Severity.STOP,
                        where=f"{span.id} {side.value}",
                        values={"length_m": float(unknown.sum() * SAMPLE_M)},
                    )
                )
    return findings


def line_length_m(lift: Lift) -> float:
    """Length of the line along its supports' rope, one side [m]."""
    supports = [support for support in lift.supports if not support.mark]
    return sum(
        math.hypot(
            there.distance_m - here.distance_m,
            there.ground_m + there.rope_height_m - here.ground_m - here.rope_height_m,
        )
        for here, there in pairwise(supports)
    )


def ride_s(lift: Lift) -> float:
    """How long one ride takes from station to station, at the stated line speed [s]."""
    return line_length_m(lift) / lift.drives.line_speed_m_per_s
