"""Contour lines with a height attribute become heights on a grid.

Between contours the ground is a net of triangles whose corners lie on them. Where no
contour is near, there is no height.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry import MultiPoint

from evac.errors import EvacError, InputError
from evac.facts.lift import FloatArray
from evac.frame import Frame
from evac.inputs.contour_files import contour_lines, lines_of
from evac.inputs.dem_file import NoGroundError, problem
from evac.inputs.dem_tile import Bounds

MOST_POINTS = 400_000
STEP_M = 15.0
"""Contours get a corner of the net at least this often."""
BEYOND_M = 250.0
"""Contours are used this far beyond the rectangle, so that its edges lie inside."""
LONGEST_EDGE_M = 500.0
"""A triangle with a longer edge spans a gap in the contours: no height there."""
NET_SHIFTS_M = (0.0, 0.01, 0.02, 0.04, 0.08)
SD_SHARE = 0.5 / 1.645
"""National Map Accuracy Standards (U.S. Bureau of the Budget, 1947): nine of ten
heights are within half an interval, so one standard deviation is this share of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contours:
    """Contour lines around a lift: corners (n, 3) in the frame, and the interval [m].

    ``features`` are the file's own features that come near, unchanged.
    """

    points_m: FloatArray
    interval_m: float
    features: tuple[dict[str, Any], ...]


def read_contours(paths: Sequence[Path], *, frame: Frame, bounds: Bounds) -> Contours:
    """Read the contour lines that come near a rectangle.

    Parameters
    ----------
    paths : sequence of Path
        GeoJSON, GeoPackage or KML of lines with the height as a property (in GeoJSON
        also as Z).
    frame : Frame
        The lift's frame.
    bounds : (x_min, y_min, x_max, y_max)
        The rectangle [m] in the frame.

    Raises
    ------
    InputError
        If one is no such file, a line has no height, or no two contours come near.
    """
    x_min, y_min, x_max, y_max = bounds
    near = shapely.box(
        x_min - BEYOND_M, y_min - BEYOND_M, x_max + BEYOND_M, y_max + BEYOND_M
    )
    corners: list[FloatArray] = []
    used: list[dict[str, Any]] = []
    for path in paths:
        for feature, height_m in contour_lines(path):
            parts = [
                _near_part(path, line, frame, near)
                for line in lines_of(feature.get("geometry"))
            ]
            parts = [part for part in parts if part.size]
            if parts:
                used.append(feature)
            corners += [
                np.column_stack([part, np.full(len(part), height_m)]) for part in parts
            ]
    points_m = np.vstack(corners) if corners else np.empty((0, 3))
    levels = np.unique(points_m[:, 2])
    if levels.size < 2:
        found = f"{levels.size} contours near the lift"
        raise NoGroundError(
            paths[0].name, [problem("contours_elsewhere", where="file", found=found)]
        )
    if len(points_m) > MOST_POINTS:
        found = f"{len(points_m):,} corners around the lift"
        raise InputError(
            paths[0].name, [problem("too_large", where="file", found=found)]
        )
    return Contours(
        points_m=points_m,
        interval_m=float(np.median(np.diff(levels))),
        features=tuple(used),
    )


def contour_grid(
    contours: Contours, *, x_m: FloatArray, y_m: FloatArray
) -> tuple[FloatArray, float]:
    """Heights at every crossing of two axes (y, x), and the contours' distance [m].

    The distance is the median between neighbouring contours on the ground: what the
    detail of such terrain can be trusted to.
    """
    heights = np.full((y_m.size, x_m.size), np.nan)
    # The same place twice would make triangles of no area.
    _, first = np.unique(contours.points_m[:, :2].round(2), axis=0, return_index=True)
    points = contours.points_m[np.sort(first)]
    points, triangles = _net(points)
    level = {(x, y): z for x, y, z in points.tolist()}
    slopes = []
    for triangle in triangles:
        corners = [(x, y, level[x, y]) for x, y in triangle.tolist()]
        steepness = _fill(heights, corners, x_m=x_m, y_m=y_m)
        if steepness > 0:
            slopes.append(steepness)
    typical = float(np.median(slopes)) if slopes else math.inf
    return heights, contours.interval_m / max(typical, 0.02)


def _net(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Corners as used (n, 3), and the triangles between them (t, 3, 2)."""
    for shift_m in NET_SHIFTS_M:
        # GEOS may lose its way among corners that stand exactly in line: then they
        # are moved by about a centimetre, the same way in every run.
        random = np.random.default_rng(1)
        moved = points.copy()
        moved[:, :2] += random.uniform(-shift_m, shift_m, (len(points), 2))
        try:
            net = shapely.delaunay_triangles(MultiPoint(moved[:, :2]))
        except shapely.errors.GEOSException:
            continue
        return moved, shapely.get_coordinates(net).reshape(-1, 4, 2)[:, :3]
    message = "no net of triangles can be laid between these contours"
    raise EvacError(message)


def _fill(
    heights: FloatArray,
    corners: list[tuple[float, float, float]],
    *,
    x_m: FloatArray,
    y_m: FloatArray,
) -> float:
    """Write one triangle's plane into the grid; returns its steepness."""
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = corners
    area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
    edge = max(
        math.hypot(bx - ax, by - ay),
        math.hypot(cx - bx, cy - by),
        math.hypot(ax - cx, ay - cy),
    )
    if edge > LONGEST_EDGE_M or abs(area) < 1e-6:
        return 0.0
    first_x, last_x = np.searchsorted(x_m, [min(ax, bx, cx), max(ax, bx, cx)])
    first_y, last_y = np.searchsorted(y_m, [min(ay, by, cy), max(ay, by, cy)])
    east = ((bz - az) * (cy - ay) - (cz - az) * (by - ay)) / area
    north = ((cz - az) * (bx - ax) - (bz - az) * (cx - ax)) / area
    x = x_m[first_x : last_x + 1][None, :] - ax
    y = y_m[first_y : last_y + 1][:, None] - ay
    if x.size and y.size:
        v = (x * (cy - ay) - y * (cx - ax)) / area
        w = (y * (bx - ax) - x * (by - ay)) / area
        inside = (v >= -1e-9) & (w >= -1e-9) & (v + w <= 1 + 1e-9)
        part = heights[first_y : last_y + 1, first_x : last_x + 1]
        np.copyto(part, az + east * x + north * y, where=inside)
    return math.hypot(east, north)


def _near_part(
    path: Path, line: Any, frame: Frame, near: shapely.Polygon
) -> FloatArray:
    """Corners (n, 2) of one line near the rectangle, close enough to each other."""
    try:
        degrees = np.array([point[:2] for point in line], dtype=float)
        longitude, latitude = degrees.T
    except (TypeError, ValueError, IndexError) as error:
        raise InputError(
            path.name, [problem("not_contours", where="line", found=str(line)[:40])]
        ) from error
    if not (np.abs(latitude) <= 90).all() or not (np.abs(longitude) <= 180).all():
        found = f"{longitude[0]:g}, {latitude[0]:g}"
        raise InputError(
            path.name, [problem("not_degrees", where="coordinates", found=found)]
        )
    x_m, y_m = frame.from_degrees(latitude_deg=latitude, longitude_deg=longitude)
    corners = np.column_stack([x_m, y_m])
    corners = corners[np.isfinite(corners).all(axis=1)]
    if len(corners) < 2:
        return np.empty((0, 2))
    drawn = shapely.segmentize(shapely.LineString(corners), STEP_M)
    return shapely.get_coordinates(drawn.intersection(near))
