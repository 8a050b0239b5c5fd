"""The ground under one side of the line, from a ground table, a terrain, or both.

A surveyed table gives the heights below the rope; a terrain beside it tells what no
table can: the ground to the sides, and what lies between rows that are far apart.
"""

from __future__ import annotations

import numpy as np

from evac.errors import NoPlanError
from evac.facts.heights import BoolArray, SideGround
from evac.facts.lift import FloatArray, GroundTable, Lift, Side, Terrain
from evac.ground import lowest_along, lowest_within, sample_grid, slope_deg
from evac.words import Words

BELAYER_RADIUS_M = 10.0
"""A belayer stands at the lowest ground within this radius, where no technique says
otherwise (rule 13)."""

DENSE_ROWS_M = 5.0
"""The table's own standard deviation holds for rows no farther apart than this."""

GAP_SHARE = 0.1
"""Standard deviation of the ground between two rows, for every metre that they stand
farther apart than `DENSE_ROWS_M`: the share that terrain is given for its cells.
Measured on terrain of 1 m and 5 m cells (AvaFrame's avaPfa and Nordkette): in 93 of 100
gaps or more, 10 to 120 m wide, the ground between stays within two of it."""

SLOPE_REACH_M = 5.0
"""The slope along a table is taken over so far to both sides of a place, so that one
survey point does not make a cliff."""


def side_ground(lift: Lift, side: Side, *, distance_m: FloatArray) -> SideGround:
    """Ground, stance, slope and their doubt at places along one side.

    Parameters
    ----------
    lift : Lift
    side : Side
    distance_m : ndarray, shape (n,)

    Returns
    -------
    SideGround
        NaN in voids of a terrain without a table.

    Raises
    ------
    NoPlanError
        If the lift has neither table nor terrain, or the table is too short.

    Notes
    -----
    With a table and a terrain the table's heights count. Where rows stand so far apart
    that the terrain knows better, the ground between them follows the terrain, hung up
    on the rows. The stance lies as far below the ground as the terrain falls within
    the belayer's radius, or as the table does; of two slopes the steeper one counts.
    """
    x_m, y_m = side_places(lift, side, distance_m=distance_m)
    table, terrain = lift.ground_table, lift.terrain
    radius_m = stance_radius_m(lift)
    if table is not None:
        _refuse_short_table(table, distance_m)
        elevation_m = _table_m(table, side, at_m=distance_m)
        sd_m = table.sd_m + _gap_sd_m(row_gap_m(table, at_m=distance_m))
        stance_m = _table_stance_m(
            table, side, at_m=distance_m, gauge_m=lift.gauge_m, radius_m=radius_m
        )
        slope = _table_slope_deg(table, side, at_m=distance_m, gauge_m=lift.gauge_m)
        if terrain is not None:
            used, shape_m = terrain_between_rows(lift, side, distance_m=distance_m)
            elevation_m = elevation_m + shape_m
            sd_m = np.where(used, table.sd_m + terrain.sd_m, sd_m)
            fall_m = sample_grid(terrain, x_m=x_m, y_m=y_m) - lowest_terrain_m(
                terrain, x_m=x_m, y_m=y_m, radius_m=radius_m
            )
            # Beside a void of the terrain the table alone speaks.
            stance_m = np.fmin(stance_m, elevation_m - fall_m)
            slope = np.fmax(slope, _terrain_slope_deg(terrain, x_m=x_m, y_m=y_m))
        stance_m = np.minimum(stance_m, elevation_m)
    elif terrain is not None:
        elevation_m = sample_grid(terrain, x_m=x_m, y_m=y_m)
        stance_m = lowest_terrain_m(terrain, x_m=x_m, y_m=y_m, radius_m=radius_m)
        slope = _terrain_slope_deg(terrain, x_m=x_m, y_m=y_m)
        sd_m = np.full(distance_m.size, terrain.sd_m)
    else:
        raise NoPlanError(Words().say("line.no_ground"))
    return SideGround(
        side=side,
        distance_m=distance_m,
        elevation_m=elevation_m,
        stance_m=stance_m,
        slope_deg=slope,
        sd_m=sd_m,
        x_m=x_m,
        y_m=y_m,
    )


def stance_radius_m(lift: Lift) -> float:
    """Radius [m] within which the stance of a lift is sought.

    One stance serves every technique: the lowest ground within the greatest of their
    radii, ladders left out, since their height is counted from right below.
    """
    radii_m = [
        technique.belayer_radius_m
        for technique in lift.techniques
        if technique.most_seat_height_m is None
    ]
    return max(radii_m, default=BELAYER_RADIUS_M)


def side_places(
    lift: Lift, side: Side, *, distance_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Places (x_m, y_m) in the lift's frame of points on one side of the line.

    The rope runs straight from support to support, so a support that stands beside the
    straight line of the stations takes the rope along.

    Parameters
    ----------
    lift : Lift
    side : Side
        Its rope runs half a gauge to the right of the supports (seen from the first
        station) if it is the ascending side and ``ascending_on_right``, or neither.
    distance_m : ndarray, shape (n,)
        Beyond the ends the first and the last span are drawn out.

    Returns
    -------
    tuple of ndarray, each of shape (n,)
    """
    stand_m = np.array([support.distance_m for support in lift.supports])
    x_m = np.array([support.x_m for support in lift.supports])
    y_m = np.array([support.y_m for support in lift.supports])
    east, north = x_m[-1] - x_m[0], y_m[-1] - y_m[0]
    length_m = float(np.hypot(east, north))
    on_right = (side is Side.ASCENDING) == lift.ascending_on_right
    right_m = lift.gauge_m / 2 if on_right else -lift.gauge_m / 2
    span = np.clip(
        np.searchsorted(stand_m, distance_m, side="right") - 1, 0, stand_m.size - 2
    )
    share = (distance_m - stand_m[span]) / np.diff(stand_m)[span]
    return (
        x_m[span] + share * np.diff(x_m)[span] + right_m * north / length_m,
        y_m[span] + share * np.diff(y_m)[span] - right_m * east / length_m,
    )


def row_gap_m(table: GroundTable, *, at_m: FloatArray) -> FloatArray:
    """How far apart the two rows of the table stand that a place lies between, (n,).

    At a row itself, of the gaps to both sides the smaller one.

    Examples
    --------
    >>> rows = np.array([0.0, 5.0, 65.0])
    >>> table = GroundTable(distance_m=rows, ascending_m=rows, descending_m=rows,
    ...                     sd_m=0.3)
    >>> row_gap_m(table, at_m=np.array([2.0, 5.0, 40.0]))
    array([ 5.,  5., 60.])
    """
    gaps_m = np.diff(table.distance_m)
    beyond, before = (
        gaps_m[
            np.clip(
                np.searchsorted(table.distance_m, at_m, side=end) - 1,
                0,
                gaps_m.size - 1,
            )
        ]
        for end in ("left", "right")
    )
    gap_m: FloatArray = np.minimum(beyond, before)
    return gap_m


def terrain_between_rows(
    lift: Lift, side: Side, *, distance_m: FloatArray
) -> tuple[BoolArray, FloatArray]:
    """Where the terrain fills the gaps of the ground table, and by how much.

    Parameters
    ----------
    lift : Lift
        With a ground table.
    side : Side
    distance_m : ndarray, shape (n,)

    Returns
    -------
    tuple of ndarray, each of shape (n,)
        Whether the terrain is used there; and how far [m] it then lies above the
        straight line between its own heights at the two rows, 0 where it is not used.
        So a step between the two height datums does not matter.
    """
    table, terrain = lift.ground_table, lift.terrain
    if table is None or terrain is None:
        return np.zeros(distance_m.size, dtype=np.bool_), np.zeros(distance_m.size)

    def terrain_m(at_m: FloatArray) -> FloatArray:
        x_m, y_m = side_places(lift, side, distance_m=at_m)
        return sample_grid(terrain, x_m=x_m, y_m=y_m)

    rows_m = table.distance_m
    shape_m = terrain_m(distance_m) - np.interp(distance_m, rows_m, terrain_m(rows_m))
    better = _gap_sd_m(row_gap_m(table, at_m=distance_m)) > terrain.sd_m
    used = better & np.isfinite(shape_m)
    return used, np.where(used, shape_m, 0.0)


def _gap_sd_m(gap_m: FloatArray) -> FloatArray:
    wider_m: FloatArray = np.maximum(gap_m - DENSE_ROWS_M, 0.0)
    return GAP_SHARE * wider_m


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


def _columns_m(table: GroundTable, side: Side) -> tuple[FloatArray, FloatArray]:
    """The table's heights below this side's rope and below the other's."""
    if side is Side.ASCENDING:
        return table.ascending_m, table.descending_m
    return table.descending_m, table.ascending_m


def _table_m(table: GroundTable, side: Side, *, at_m: FloatArray) -> FloatArray:
    return np.interp(at_m, table.distance_m, _columns_m(table, side)[0])


def _table_stance_m(
    table: GroundTable,
    side: Side,
    *,
    at_m: FloatArray,
    gauge_m: float,
    radius_m: float,
) -> FloatArray:
    own, other = _columns_m(table, side)
    stance_m = lowest_along(table.distance_m, own, at_m=at_m, reach_m=radius_m)
    if gauge_m < radius_m:
        # Within the radius the belayer also stands below the other rope.
        across_m = float(np.sqrt(radius_m**2 - gauge_m**2))
        stance_m = np.minimum(
            stance_m,
            lowest_along(table.distance_m, other, at_m=at_m, reach_m=across_m),
        )
    return stance_m


def _table_slope_deg(
    table: GroundTable, side: Side, *, at_m: FloatArray, gauge_m: float
) -> FloatArray:
    """Steepness along the line and, from one rope to the other, across it."""
    ahead_m = _table_m(table, side, at_m=at_m + SLOPE_REACH_M)
    behind_m = _table_m(table, side, at_m=at_m - SLOPE_REACH_M)
    run_m = np.minimum(at_m + SLOPE_REACH_M, table.distance_m[-1]) - np.maximum(
        at_m - SLOPE_REACH_M, table.distance_m[0]
    )
    along = (ahead_m - behind_m) / run_m
    steepness: FloatArray = np.degrees(
        np.arctan(np.hypot(along, side_slope(table, at_m=at_m, gauge_m=gauge_m)))
    )
    return steepness


def side_slope(table: GroundTable, *, at_m: FloatArray, gauge_m: float) -> FloatArray:
    """Rise over run across the line, as the table's two columns show it, (n,)."""
    across_m = np.abs(table.ascending_m - table.descending_m)
    return np.interp(at_m, table.distance_m, across_m) / gauge_m


def lowest_terrain_m(
    terrain: Terrain, *, x_m: FloatArray, y_m: FloatArray, radius_m: float
) -> FloatArray:
    """Lowest terrain [m] within a radius of places; NaN where any of it is void."""
    return lowest_within(
        terrain.elevation_m,
        west_m=terrain.west_m,
        south_m=terrain.south_m,
        cell_m=terrain.cell_m,
        x_m=x_m,
        y_m=y_m,
        radius_m=radius_m,
    )


def _terrain_slope_deg(
    terrain: Terrain, *, x_m: FloatArray, y_m: FloatArray
) -> FloatArray:
    return slope_deg(
        terrain.elevation_m,
        west_m=terrain.west_m,
        south_m=terrain.south_m,
        cell_m=terrain.cell_m,
        x_m=x_m,
        y_m=y_m,
    )
