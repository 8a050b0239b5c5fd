"""The line: where supports stand, and the ground under both sides.

The two ropes run a gauge apart, half a gauge beside the line of the supports, and
each hangs above its own ground.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from evac.errors import NoPlanError
from evac.facts.finding import Finding, Severity
from evac.facts.heights import Line, SideGround, Span
from evac.facts.lift import (
    FloatArray,
    GroundTable,
    Lift,
    Side,
    Support,
    SupportKind,
    Terrain,
)
from evac.ground import lowest_along, lowest_within, sample_grid, slope_deg
from evac.words import Words

SAMPLE_M = 1.0
"""Distance between two samples of the ground along the line."""

BELAYER_RADIUS_M = 10.0
"""A belayer stands at the lowest ground within this radius (rule 13)."""

COARSE_CELL_M = 15.0
"""Above this cell size of the source a reach is not to be trusted (common practice,
no source)."""

BEND_NOTED_M = 3.0
BEND_REFUSED_M = 10.0
BEND_REFUSED_SHARE = 0.01
"""Of the line's length; drawn lines are rarely straighter."""


def lay_out(lift: Lift) -> Line:
    """Supports, spans and the ground of both sides, sampled every metre.

    Parameters
    ----------
    lift : Lift
        With a terrain or a ground table; a surveyed table is preferred where a folder
        gives both.

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
    ground = {side: _side_ground(lift, side, distance_m) for side in Side}
    for side in Side:
        _refuse_ground(ground[side], supports, rope_m)
    table = lift.ground_table
    terrain = lift.terrain
    from_table = table is not None
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
        ground_sd_m=table.sd_m if table else terrain.sd_m if terrain else 0.0,
        terrain_cell_m=None if from_table or not terrain else terrain.source_cell_m,
    )


def side_places(
    lift: Lift, side: Side, *, distance_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Places (x_m, y_m) in the lift's frame of points on one side of the line.

    Parameters
    ----------
    lift : Lift
    side : Side
        Its rope runs half a gauge to the right of the line (seen from the first
        station) if it is the ascending side and ``ascending_on_right``, or neither.
    distance_m : ndarray, shape (n,)

    Returns
    -------
    tuple of ndarray, each of shape (n,)
    """
    first, last = lift.supports[0], lift.supports[-1]
    length_m = last.distance_m - first.distance_m
    east = (last.x_m - first.x_m) / length_m
    north = (last.y_m - first.y_m) / length_m
    scale = float(np.hypot(east, north))
    on_right = (side is Side.ASCENDING) == lift.ascending_on_right
    right_m = lift.gauge_m / 2 if on_right else -lift.gauge_m / 2
    along_m = distance_m - first.distance_m
    return (
        first.x_m + along_m * east + right_m * north / scale,
        first.y_m + along_m * north - right_m * east / scale,
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
    if cell_m is None:
        findings.append(
            Finding(
                key="line.table_along_only",
                severity=Severity.NOTE,
                values={"radius_m": BELAYER_RADIUS_M},
            )
        )
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


def _side_ground(lift: Lift, side: Side, support_m: FloatArray) -> SideGround:
    first_m, last_m = support_m[0], support_m[-1]
    count = int(np.floor((last_m - first_m) / SAMPLE_M + 1e-9))
    # The last support is a sample of its own where the line is no whole metres long.
    distance_m = np.unique(np.append(first_m + SAMPLE_M * np.arange(count + 1), last_m))
    x_m, y_m = side_places(lift, side, distance_m=distance_m)
    if lift.ground_table is not None:
        ground, stance, slope = _table_ground(
            lift.ground_table, side, gauge_m=lift.gauge_m, distance_m=distance_m
        )
    elif lift.terrain is not None:
        ground, stance, slope = _terrain_ground(lift.terrain, x_m, y_m)
    else:
        raise NoPlanError(Words().say("line.no_ground"))
    return SideGround(
        side=side,
        distance_m=distance_m,
        elevation_m=ground,
        stance_m=stance,
        slope_deg=slope,
        x_m=x_m,
        y_m=y_m,
    )


def _terrain_ground(
    terrain: Terrain, x_m: FloatArray, y_m: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    return (
        sample_grid(terrain, x_m=x_m, y_m=y_m),
        lowest_within(
            terrain.elevation_m,
            west_m=terrain.west_m,
            south_m=terrain.south_m,
            cell_m=terrain.cell_m,
            x_m=x_m,
            y_m=y_m,
            radius_m=BELAYER_RADIUS_M,
        ),
        slope_deg(
            terrain.elevation_m,
            west_m=terrain.west_m,
            south_m=terrain.south_m,
            cell_m=terrain.cell_m,
            x_m=x_m,
            y_m=y_m,
        ),
    )


def _refuse_short_table(table: GroundTable, distance_m: FloatArray) -> None:
    first_m, last_m = float(table.distance_m[0]), float(table.distance_m[-1])
    if first_m > distance_m[0] or last_m < distance_m[-1]:
        message = Words().say(
            "line.leaves_table",
            first_m=first_m,
            last_m=last_m,
            start_m=float(distance_m[0]),
            end_m=float(distance_m[-1]),
        )
        raise NoPlanError(message)


def _table_ground(
    table: GroundTable, side: Side, *, gauge_m: float, distance_m: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    _refuse_short_table(table, distance_m)
    own, other = table.ascending_m, table.descending_m
    if side is Side.DESCENDING:
        own, other = other, own
    stance_m = lowest_along(
        table.distance_m, own, at_m=distance_m, reach_m=BELAYER_RADIUS_M
    )
    if gauge_m < BELAYER_RADIUS_M:
        # Within the radius the belayer also stands below the other rope.
        across_m = float(np.sqrt(BELAYER_RADIUS_M**2 - gauge_m**2))
        stance_m = np.minimum(
            stance_m,
            lowest_along(table.distance_m, other, at_m=distance_m, reach_m=across_m),
        )
    elevation_m = np.interp(distance_m, table.distance_m, own)
    # Over 10 m, so that one survey point does not make a cliff.
    ahead_m = np.interp(distance_m + 5, table.distance_m, own)
    behind_m = np.interp(distance_m - 5, table.distance_m, own)
    run_m = np.minimum(distance_m + 5, table.distance_m[-1]) - np.maximum(
        distance_m - 5, table.distance_m[0]
    )
    slope = np.degrees(np.arctan(np.abs(ahead_m - behind_m) / run_m))
    return elevation_m, stance_m, slope


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
