"""Heights of the ground: arrays in, arrays out; nothing beside a void is invented.

A grid is ``values[row, column]`` at cell centres. Between four centres the ground is
bilinear; where any centre that would count is NaN, or a place lies outside the outer
centres, the answer is NaN.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from evac.facts.lift import FloatArray, Terrain

CIRCLE_POINTS = 48
"""Least directions in which the rim of a circle is searched for its lowest ground; more
where points on the rim would else lie farther apart than a cell."""


def bilinear(values: FloatArray, *, row: ArrayLike, column: ArrayLike) -> FloatArray:
    """Ground between the centres of a grid.

    Parameters
    ----------
    values : ndarray, shape (rows, columns)
        Heights at the centres [m], NaN where not known; at least 2 by 2.
    row, column : array_like, shape (n,)
        Fractional indices, 0 at the first centre.

    Returns
    -------
    ndarray, shape (n,)
        Heights [m]; NaN outside the outer centres and wherever a centre that
        counts (weight above 0) is NaN.

    Examples
    --------
    >>> grid = np.array([[0.0, 1.0], [2.0, np.nan]])
    >>> bilinear(grid, row=[0.0, 0.5, 0.5], column=[0.25, 0.0, 0.5])
    array([0.25, 1.  ,  nan])
    """
    row, column = np.broadcast_arrays(
        np.asarray(row, dtype=float), np.asarray(column, dtype=float)
    )
    rows, columns = values.shape
    inside = (row >= 0) & (row <= rows - 1) & (column >= 0) & (column <= columns - 1)
    safe_row = np.where(inside, row, 0.0)
    safe_column = np.where(inside, column, 0.0)
    top = np.minimum(safe_row.astype(np.int64), max(rows - 2, 0))
    left = np.minimum(safe_column.astype(np.int64), max(columns - 2, 0))
    down, right = safe_row - top, safe_column - left
    total = np.zeros(row.shape)
    for add_row, weight_row in ((0, 1 - down), (1, down)):
        for add_column, weight_column in ((0, 1 - right), (1, right)):
            weight = weight_row * weight_column
            near = values[
                np.minimum(top + add_row, rows - 1),
                np.minimum(left + add_column, columns - 1),
            ]
            # A void counts only where it has weight: 0 * NaN would spread it.
            total += np.where(weight > 0, weight * near, 0.0)
    return np.where(inside, total, np.nan)


def at_places(
    values: FloatArray,
    *,
    west_m: float,
    south_m: float,
    cell_m: float,
    x_m: ArrayLike,
    y_m: ArrayLike,
) -> FloatArray:
    """Ground [m] at places of a map frame; row 0 is the southern edge.

    Examples
    --------
    >>> grid = np.array([[0.0, 5.0], [10.0, 15.0]])
    >>> at_places(grid, west_m=100, south_m=0, cell_m=10, x_m=[105], y_m=[5])
    array([7.5])
    """
    return bilinear(
        values,
        row=(np.asarray(y_m, dtype=float) - south_m) / cell_m,
        column=(np.asarray(x_m, dtype=float) - west_m) / cell_m,
    )


def sample_grid(terrain: Terrain, *, x_m: ArrayLike, y_m: ArrayLike) -> FloatArray:
    """Ground [m] of a lift's terrain at places of its frame; NaN where not known."""
    return at_places(
        terrain.elevation_m,
        west_m=terrain.west_m,
        south_m=terrain.south_m,
        cell_m=terrain.cell_m,
        x_m=x_m,
        y_m=y_m,
    )


def lowest_within(
    values: FloatArray,
    *,
    west_m: float,
    south_m: float,
    cell_m: float,
    x_m: ArrayLike,
    y_m: ArrayLike,
    radius_m: float,
) -> FloatArray:
    """Lowest ground [m] within ``radius_m`` of each place; NaN if any of it is void.

    Parameters
    ----------
    values : ndarray, shape (rows, columns)
        Heights [m], NaN where not known.
    west_m, south_m, cell_m : float
        Place of the first centre and the size of a cell.
    x_m, y_m : array_like, shape (n,)
        Places.
    radius_m : float
        0 or more.

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    Inside a cell the ground is ``a + b x + c y + d x y``, a harmonic function, whose
    least value over any area lies on the area's edge; along a cell's edge it is
    linear. So the lowest ground of a disc is at a centre inside it or on its rim, which
    is tried where it crosses the edges of cells and at points between.
    """
    place_x, place_y = np.asarray(x_m, dtype=float), np.asarray(y_m, dtype=float)
    points = max(CIRCLE_POINTS, int(np.ceil(2 * np.pi * radius_m / cell_m)))
    angle = np.linspace(0, 2 * np.pi, points, endpoint=False)
    reach = int(np.ceil(radius_m / cell_m))
    # The ground has kinks where the rim leaves a cell: those places are met exactly.
    near_lines = cell_m * np.arange(-reach, reach + 1)
    beside_x = near_lines - np.remainder(place_x - west_m, cell_m)[:, None]
    beside_y = near_lines - np.remainder(place_y - south_m, cell_m)[:, None]
    across_x, across_y = (
        np.sqrt(np.maximum(radius_m**2 - np.square(beside), 0.0))
        for beside in (beside_x, beside_y)
    )
    away_x = np.clip(beside_x, -radius_m, radius_m)
    away_y = np.clip(beside_y, -radius_m, radius_m)
    round_x = np.broadcast_to(radius_m * np.sin(angle), (place_x.size, points))
    round_y = np.broadcast_to(radius_m * np.cos(angle), (place_x.size, points))
    rim = at_places(
        values,
        west_m=west_m,
        south_m=south_m,
        cell_m=cell_m,
        x_m=place_x[:, None]
        + np.hstack([round_x, away_x, away_x, across_y, -across_y]),
        y_m=place_y[:, None]
        + np.hstack([round_y, across_x, -across_x, away_y, away_y]),
    )
    lowest: FloatArray = np.min(rim, axis=1)
    middle_row = np.rint((place_y - south_m) / cell_m).astype(np.int64)
    middle_column = np.rint((place_x - west_m) / cell_m).astype(np.int64)
    rows, columns = values.shape
    for add_row in range(-reach, reach + 1):
        for add_column in range(-reach, reach + 1):
            row, column = middle_row + add_row, middle_column + add_column
            away_m = np.hypot(
                west_m + column * cell_m - place_x, south_m + row * cell_m - place_y
            )
            near = away_m <= radius_m
            inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
            height = np.where(
                inside,
                values[row.clip(0, rows - 1), column.clip(0, columns - 1)],
                np.nan,
            )
            lowest = np.where(near, np.minimum(lowest, height), lowest)
    return lowest


def slope_deg(
    values: FloatArray,
    *,
    west_m: float,
    south_m: float,
    cell_m: float,
    x_m: ArrayLike,
    y_m: ArrayLike,
) -> FloatArray:
    """Steepness of the ground [deg] in its steepest direction at each place.

    The gradient is taken over 3 by 3 centres; NaN where one of them is void.

    References
    ----------
    .. [1] B. K. P. Horn, "Hill shading and the reflectance map", Proceedings of the
       IEEE 69(1), 1981, doi:10.1109/PROC.1981.11918.

    Examples
    --------
    >>> y, x = np.mgrid[0:5, 0:5]
    >>> slope_deg(10.0 * x, west_m=0, south_m=0, cell_m=10, x_m=[20], y_m=[20])
    array([45.])
    """
    rows, columns = values.shape
    east = np.full((rows, columns), np.nan)
    north = np.full((rows, columns), np.nan)
    across = values[:, 2:] - values[:, :-2]
    along = values[2:, :] - values[:-2, :]
    east[1:-1, 1:-1] = (across[:-2] + 2 * across[1:-1] + across[2:]) / (8 * cell_m)
    north[1:-1, 1:-1] = (along[:, :-2] + 2 * along[:, 1:-1] + along[:, 2:]) / (
        8 * cell_m
    )
    parts = [
        at_places(part, west_m=west_m, south_m=south_m, cell_m=cell_m, x_m=x_m, y_m=y_m)
        for part in (east, north)
    ]
    steepness: FloatArray = np.degrees(np.arctan(np.hypot(*parts)))
    return steepness


def lowest_along(
    distance_m: FloatArray, elevation_m: FloatArray, *, at_m: FloatArray, reach_m: float
) -> FloatArray:
    """Lowest ground of a surveyed profile within ``reach_m`` along the line.

    The profile is straight between its points, so its lowest point within a stretch
    is a point of the table inside it or one of the stretch's ends. The stretch is cut
    at the ends of the table.

    Parameters
    ----------
    distance_m, elevation_m : ndarray, shape (k,)
        The profile, distances rising [m].
    at_m : ndarray, shape (n,)
    reach_m : float

    Returns
    -------
    ndarray, shape (n,)

    Examples
    --------
    >>> lowest_along(np.array([0.0, 50.0, 100.0]), np.array([10.0, 0.0, 10.0]),
    ...              at_m=np.array([0.0, 45.0]), reach_m=10.0)
    array([8., 0.])
    """
    first = np.clip(at_m - reach_m, distance_m[0], distance_m[-1])
    last = np.clip(at_m + reach_m, distance_m[0], distance_m[-1])
    ends = np.minimum(
        np.interp(first, distance_m, elevation_m),
        np.interp(last, distance_m, elevation_m),
    )
    within = (distance_m >= first[:, None]) & (distance_m <= last[:, None])
    inner = np.where(within, elevation_m, np.inf).min(axis=1)
    lowest: FloatArray = np.minimum(ends, inner)
    return lowest
