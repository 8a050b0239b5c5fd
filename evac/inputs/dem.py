"""Terrain files become heights on a square grid of the lift's frame."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from evac.errors import InputError
from evac.facts.finding import Finding, Severity
from evac.facts.lift import Assumption, FloatArray, Terrain
from evac.frame import Frame
from evac.ground import bilinear, sample_grid
from evac.inputs.contour_files import is_contour_file
from evac.inputs.contours import (
    SD_SHARE,
    contour_grid,
    read_contours,
)
from evac.inputs.dem_file import NoGroundError, problem
from evac.inputs.dem_tile import (
    Bounds,
    Tile,
    cells_of,
    footprint_deg,
    geotiff,
    read_tile,
    shifted,
)
from evac.words import Words

RADAR_SD_M = 6.1
"""Assumed for SRTM: its specification asks for a relative error of at most 10 m at 90 %
(T. G. Farr and others, "The Shuttle Radar Topography Mission", Reviews of Geophysics
45, 2007, RG2004), which is 6.1 m as a standard deviation. Relative, because supports
that take their ground from the same terrain share its common error."""
LEAST_SD_M = 0.3
FINEST_CELL_M, COARSEST_CELL_M = 1.0, 10.0
MOST_GRID_CELLS = 9_000_000
ROWS_AT_ONCE = 256
NODE_STEP_M = 100.0
SEAM_DOUBT_M = 1.0
LEAST_RIM_CELLS = 20
"""Fewer cells along a join say nothing about a step."""
SD_OF_MEDIAN_DEVIATION = 1.4826
"""Standard deviation of a normal law in its median absolute deviations."""
"""A step of less than this between two files is told to nobody."""
CONTOUR_CELL_M = 5.0
CONTOUR_NAME = "terrain.geojson"


def read_terrain(
    path: Path | Sequence[Path],
    *,
    frame: Frame,
    bounds: Bounds,
    crs: str | None = None,
    sd_m: float | None = None,
) -> Terrain:
    """Read terrain around a lift from one file or several tiles.

    Heights between cell centres are bilinear. Where one of the four cells around a
    place has no height, the place has none (NaN): nothing is filled or extrapolated.
    Where tiles overlap, the first that has a height is used.

    Parameters
    ----------
    path : Path or sequence of Path
        GeoTIFF, ESRI ASCII grid (needs `crs`), ``.hgt``, or one of these zipped; or
        contour lines as GeoJSON, GeoPackage or KML.
    frame : Frame
        The lift's frame.
    bounds : (x_min, y_min, x_max, y_max)
        The rectangle to read [m] in the frame.
    crs : str, optional
        Coordinate reference system of files that name none, such as "EPSG:31287".
    sd_m : float, optional
        Standard deviation of a height [m]; assumed if absent (`sd_assumption`).

    Returns
    -------
    Terrain
        Cells of half the source's, no finer than 1 m and no coarser than 10 m.

    Raises
    ------
    InputError
        If a file cannot be read, has no CRS, or none covers any of the bounds.
    """
    paths = [path] if isinstance(path, Path) else list(path)
    if _are_contours(paths):
        return _from_contours(paths, frame=frame, bounds=bounds, sd_m=sd_m)
    tiles = [read_tile(one, frame=frame, bounds=bounds, crs=crs) for one in paths]
    used = [tile for tile in tiles if tile.values_m.size]
    if not used:
        raise _elsewhere(paths, frame, crs)
    source_cell_m = max(tile.cell_m for tile in used)
    cell_m = float(np.clip(source_cell_m / 2, FINEST_CELL_M, COARSEST_CELL_M))
    area_m2 = (bounds[2] - bounds[0]) * (bounds[3] - bounds[1])
    # A wide area, for a team that starts far away, is held in coarser cells.
    cell_m = max(cell_m, math.sqrt(area_m2 / MOST_GRID_CELLS) * 1.01)
    x_m, y_m = _axes(bounds, cell_m)
    elevation_m = np.full((y_m.size, x_m.size), np.nan)
    seam_step_m = 0.0
    for tile in _joined(used):
        more_m = _sampled(tile, frame, x_m, y_m)
        seam_step_m = max(seam_step_m, tile.seam_step_m, _step_m(elevation_m, more_m))
        elevation_m = np.where(np.isnan(elevation_m), more_m, elevation_m)
    if np.isnan(elevation_m).all():
        raise NoGroundError(
            used[0].name,
            [
                problem(
                    "no_height",
                    where="band 1",
                    found="only voids",
                    lift=_place_name(frame),
                )
            ],
        )
    radar = any(tile.driver == "SRTMHGT" for tile in used)
    return Terrain(
        west_m=float(x_m[0]),
        south_m=float(y_m[0]),
        cell_m=cell_m,
        elevation_m=elevation_m,
        source_cell_m=source_cell_m,
        sd_m=_default_sd_m(source_cell_m, radar=radar) if sd_m is None else sd_m,
        source=_source_name(used, source_cell_m),
        seam_step_m=seam_step_m,
    )


def _from_contours(
    paths: Sequence[Path], *, frame: Frame, bounds: Bounds, sd_m: float | None
) -> Terrain:
    contours = read_contours(paths, frame=frame, bounds=bounds)
    area_m2 = (bounds[2] - bounds[0]) * (bounds[3] - bounds[1])
    cell_m = max(CONTOUR_CELL_M, math.sqrt(area_m2 / MOST_GRID_CELLS) * 1.01)
    x_m, y_m = _axes(bounds, cell_m)
    elevation_m, apart_m = contour_grid(contours, x_m=x_m, y_m=y_m)
    words = Words()
    name = paths[0].name if len(paths) == 1 else words.say("dem.many", count=len(paths))
    return Terrain(
        west_m=float(x_m[0]),
        south_m=float(y_m[0]),
        cell_m=cell_m,
        elevation_m=elevation_m,
        source_cell_m=apart_m,
        sd_m=SD_SHARE * contours.interval_m if sd_m is None else sd_m,
        source=words.say(
            "dem.contour_source", name=name, interval_m=contours.interval_m
        ),
    )


def _are_contours(paths: Sequence[Path]) -> bool:
    """Whether terrain comes as contours; refuses contours mixed with rasters."""
    kinds = {is_contour_file(path) for path in paths}
    if len(kinds) > 1:
        raster = next(path for path in paths if not is_contour_file(path))
        lines = next(path for path in paths if is_contour_file(path))
        raise InputError(
            lines.name,
            [problem("mixed_terrain", where="terrain", found=f"{raster.name} as well")],
        )
    return kinds == {True}


def crop(
    path: Path | Sequence[Path], *, frame: Frame, bounds: Bounds, crs: str | None = None
) -> dict[str, bytes]:
    """The cells of terrain files around a lift as GeoTIFF, heights unchanged.

    Parameters
    ----------
    path, frame, bounds, crs
        As for `read_terrain`.

    Returns
    -------
    dict
        ``terrain.geojson`` of contours, else ``terrain.tif``, or ``terrain_1.tif``,
        ``terrain_2.tif`` and so on where the files lie on different grids.
    """
    paths = [path] if isinstance(path, Path) else list(path)
    if _are_contours(paths):
        contours = read_contours(paths, frame=frame, bounds=bounds)
        whole = {"type": "FeatureCollection", "features": contours.features}
        return {CONTOUR_NAME: json.dumps(whole).encode("utf-8")}
    tiles = [read_tile(one, frame=frame, bounds=bounds, crs=crs) for one in paths]
    used = _joined([tile for tile in tiles if tile.values_m.size])
    if not used:
        raise _elsewhere(paths, frame, crs)
    if len(used) == 1:
        return {"terrain.tif": geotiff(used[0])}
    return {f"terrain_{n}.tif": geotiff(tile) for n, tile in enumerate(used, start=1)}


def doubts(terrain: Terrain) -> tuple[Finding, ...]:
    """What a reader of the plan must know about its terrain."""
    if terrain.seam_step_m <= max(SEAM_DOUBT_M, terrain.sd_m):
        return ()
    return (
        Finding(
            key="dem.seam",
            severity=Severity.WARN,
            where=terrain.source,
            values={"step_m": terrain.seam_step_m, "sd_m": terrain.sd_m},
        ),
    )


def sd_assumption(terrain: Terrain) -> Assumption:
    """The height error that was assumed for a terrain, as a printed assumption."""
    words = Words()
    by_cell = _default_sd_m(terrain.source_cell_m, radar=False)
    reason = "dem.sd.contours"
    if terrain.sd_m == RADAR_SD_M:
        reason = "dem.sd.radar"
    elif terrain.sd_m == by_cell:
        reason = "dem.sd.by_cell"
    return Assumption(
        key="files.terrain_sd_m",
        value=words.say("dem.sd.value", sd_m=terrain.sd_m),
        reason=words.say(reason, cell_m=terrain.source_cell_m),
        accepted=False,
    )


def require_cover(
    file: str, *, terrain: Terrain, supports: Iterable[tuple[str, float, float]]
) -> None:
    """Refuse terrain that has no height under a support.

    Parameters
    ----------
    file : str
        Name of the terrain file, for the message.
    terrain : Terrain
        What was read from it.
    supports : iterable of (id, x_m, y_m)
        The supports that take their ground from it.

    Raises
    ------
    InputError
        Naming every support without a height.
    """
    rows = list(supports)
    x_m = np.array([x for _, x, _ in rows])
    y_m = np.array([y for _, _, y in rows])
    void = np.isnan(sample_grid(terrain, x_m=x_m, y_m=y_m))
    names = [name for (name, _, _), bare in zip(rows, void, strict=True) if bare]
    if names:
        where = "support " + ", ".join(names[:8]) + (" ..." if names[8:] else "")
        found = f"no height under {len(names)} of {len(rows)} supports"
        raise NoGroundError(file, [problem("not_covered", where=where, found=found)])


def _default_sd_m(source_cell_m: float, *, radar: bool) -> float:
    # SRTM is published in cells of 1 or 3 arc seconds, and cut out as GeoTIFF too.
    if radar or 60 <= source_cell_m <= 100:
        return RADAR_SD_M
    return max(LEAST_SD_M, source_cell_m / 10)


def _axes(bounds: Bounds, cell_m: float) -> tuple[FloatArray, FloatArray]:
    """Cell centres that cover the bounds, on whole multiples of the cell."""
    first_x, first_y = (math.floor(value / cell_m) for value in bounds[:2])
    last_x, last_y = (math.ceil(value / cell_m) for value in bounds[2:])
    x_m = np.arange(first_x, last_x + 1, dtype=np.float64) * np.float64(cell_m)
    y_m = np.arange(first_y, last_y + 1, dtype=np.float64) * np.float64(cell_m)
    return np.asarray(x_m, np.float64), np.asarray(y_m, np.float64)


def _sampled(tile: Tile, frame: Frame, x_m: FloatArray, y_m: FloatArray) -> FloatArray:
    """The tile's heights at every crossing of the axes, shape (y, x)."""
    # Over 100 m two map projections differ from a straight relation by less than
    # 1 mm: places are projected that far apart, and those between are interpolated.
    node_x, node_y = _nodes(x_m), _nodes(y_m)
    grid_x, grid_y = np.meshgrid(node_x, node_y)
    node_cells = [
        cells.reshape(grid_x.shape)
        for cells in cells_of(
            tile.crs, tile.transform, frame, grid_x.ravel(), grid_y.ravel()
        )
    ]
    along_x = [
        np.array([np.interp(x_m, node_x, row) for row in cells]) for cells in node_cells
    ]
    heights = np.empty((y_m.size, x_m.size))
    place = np.interp(y_m, node_y, np.arange(node_y.size))
    below = np.minimum(place.astype(np.int64), node_y.size - 2)
    for first in range(0, y_m.size, ROWS_AT_ONCE):
        some = slice(first, first + ROWS_AT_ONCE)
        low, share = below[some], (place[some] - below[some])[:, None]
        column, row = (
            cells[low] * (1 - share) + cells[low + 1] * share for cells in along_x
        )
        block = bilinear(tile.values_m, row=row.ravel(), column=column.ravel())
        heights[some] = block.reshape(row.shape)
    return heights


def _nodes(axis_m: FloatArray) -> FloatArray:
    """Some places along an axis, its ends among them, at most 100 m apart."""
    count = max(2, math.ceil((axis_m[-1] - axis_m[0]) / NODE_STEP_M) + 1)
    return np.linspace(axis_m[0], axis_m[-1], count)


def _step_m(first_m: FloatArray, second_m: FloatArray) -> float:
    """Median step between two sets of heights where both are known, 0 if nowhere."""
    apart_m = (second_m - first_m)[~(np.isnan(first_m) | np.isnan(second_m))]
    return float(abs(np.median(apart_m))) if apart_m.size else 0.0


def _rim_step_m(
    laid_m: FloatArray, more_m: FloatArray, *, row: int, column: int
) -> float:
    """Greatest sure step where a tile is laid beside cells that are there already.

    Parameters
    ----------
    laid_m : ndarray of float, shape (rows, columns)
        What is laid so far [m]; NaN where nothing is.
    more_m : ndarray of float, shape (r, c)
        The tile, to be laid with its first cell at ``row`` and ``column``.

    Notes
    -----
    Tiles cut edge to edge share no cell. Across the join the ground goes on with the
    mean of its slopes on either side. What the median is beyond that is a step, less
    three times its own scatter (from the median deviation): rough ground in coarse
    cells makes steps of its own.
    """
    rows, columns = more_m.shape
    span_rows, span_columns = slice(row, row + rows), slice(column, column + columns)
    sides = (
        (laid_m[max(row - 2, 0) : row, span_columns][::-1], more_m[:2]),
        (laid_m[row + rows : row + rows + 2, span_columns], more_m[::-1][:2]),
        (laid_m[span_rows, max(column - 2, 0) : column].T[::-1], more_m.T[:2]),
        (laid_m[span_rows, column + columns :][:, :2].T, more_m.T[::-1][:2]),
    )
    steps = [0.0]
    for outside, inside in sides:
        if len(outside) < 2 or len(inside) < 2:
            continue
        slope = (inside[1] - inside[0] + outside[0] - outside[1]) / 2.0
        step = (inside[0] - outside[0]) - slope
        step = step[np.isfinite(step)]
        if step.size >= LEAST_RIM_CELLS:
            middle_m = float(np.median(step))
            deviation_m = float(np.median(np.abs(step - middle_m)))
            scatter_m = SD_OF_MEDIAN_DEVIATION * deviation_m / math.sqrt(step.size)
            steps.append(abs(middle_m) - 3.0 * scatter_m)
    return max(steps)


def _joined(tiles: list[Tile]) -> list[Tile]:
    """Tiles of one grid laid together, so that no strip is lost between them."""
    groups: list[list[Tile]] = []
    for tile in tiles:
        for group in groups:
            if _same_grid(group[0], tile):
                group.append(tile)
                break
        else:
            groups.append([tile])
    return [group[0] if len(group) == 1 else _mosaic(group) for group in groups]


def _offset(one: Tile, other: Tile) -> tuple[float, float]:
    """Column and row of the other tile's first corner in the grid of the one."""
    inverse = ~one.transform
    east, north = other.transform.c, other.transform.f
    column = inverse.a * east + inverse.b * north + inverse.c
    row = inverse.d * east + inverse.e * north + inverse.f
    return column, row


def _same_grid(one: Tile, other: Tile) -> bool:
    first, second = (
        np.array([*tile.transform[:2], *tile.transform[3:5]]) for tile in (one, other)
    )
    if not (np.allclose(first, second, rtol=1e-6, atol=0) and one.crs == other.crs):
        return False
    return all(abs(value - round(value)) < 0.02 for value in _offset(one, other))


def _mosaic(tiles: list[Tile]) -> Tile:
    places = [tuple(round(value) for value in _offset(tiles[0], t)) for t in tiles]
    first_column = min(column for column, _ in places)
    first_row = min(row for _, row in places)
    width = max(
        c + t.values_m.shape[1] for (c, _), t in zip(places, tiles, strict=True)
    )
    height = max(
        r + t.values_m.shape[0] for (_, r), t in zip(places, tiles, strict=True)
    )
    values_m = np.full((height - first_row, width - first_column), np.nan)
    seam_step_m = 0.0
    for (column, row), tile in zip(places, tiles, strict=True):
        rows, columns = tile.values_m.shape
        part = values_m[
            row - first_row : row - first_row + rows,
            column - first_column : column - first_column + columns,
        ]
        seam_step_m = max(
            seam_step_m,
            _step_m(part, tile.values_m),
            _rim_step_m(
                values_m,
                tile.values_m,
                row=row - first_row,
                column=column - first_column,
            ),
        )
        np.copyto(part, tile.values_m, where=np.isnan(part))
    first = tiles[0]
    return Tile(
        name=first.name,
        driver=first.driver,
        crs=first.crs,
        transform=shifted(first.transform, first_column, first_row),
        values_m=values_m,
        cell_m=max(tile.cell_m for tile in tiles),
        seam_step_m=seam_step_m,
    )


def _source_name(tiles: list[Tile], cell_m: float) -> str:
    words = Words()
    name = tiles[0].name if len(tiles) == 1 else words.say("dem.many", count=len(tiles))
    return words.say("dem.source", name=name, cell_m=cell_m)


def _place_name(frame: Frame) -> str:
    return f"lat {frame.latitude_deg:.4f}, lon {frame.longitude_deg:.4f}"


def _elsewhere(paths: list[Path], frame: Frame, crs: str | None) -> InputError:
    """The error for terrain of another place; swapped axes are recognised."""
    west, south, east, north = footprint_deg(paths[0], crs=crs)
    found = f"lat {south:.3f} to {north:.3f}, lon {west:.3f} to {east:.3f}"
    swapped = (
        south <= frame.longitude_deg <= north and west <= frame.latitude_deg <= east
    )
    key = "swapped" if swapped else "elsewhere"
    detail = problem(key, where="extent", found=found, lift=_place_name(frame))
    return NoGroundError(paths[0].name, [detail])
