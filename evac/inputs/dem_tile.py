"""One terrain file, read only where the lift stands.

GeoTIFF, ESRI ASCII grid, SRTM ``.hgt`` and the same zipped.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.exceptions import CRSError
from rasterio.enums import ColorInterp
from rasterio.errors import RasterioError
from rasterio.io import DatasetReader, MemoryFile
from rasterio.windows import Window

from evac.errors import InputError
from evac.frame import Frame, transformer
from evac.inputs.dem_file import opened, problem
from evac.units import FOOT_M

FloatArray = NDArray[np.float64]
Bounds = tuple[float, float, float, float]

MOST_CELLS = 36_000_000
"""Most cells kept of one file, a square of 6 km in cells of 1 m; of more, every second
or third is kept."""
MOST_WINDOW_CELLS = 150_000_000
"""Most cells that are looked at for it."""
ROWS_AT_ONCE = 1024
NO_UNIT = frozenset({"", "unknown", "none", "n/a", "na"})
METRE_NAMES = frozenset(
    {"m", "metre", "metres", "meter", "meters", "m a.s.l.", "m asl"}
    | {"meters above sea level", "metres above sea level"}
)
FOOT_NAMES = frozenset(
    {"ft", "foot", "feet", "international foot", "foot (international)", "[ft_i]"}
)
US_FOOT_NAMES = frozenset(
    {"us-ft", "ftus", "us survey foot", "us survey feet", "us foot", "foot_us"}
    | {"us_survey_foot", "us_survey_feet", "ft_us", "us ft", "[ft_us]"}
)
US_FOOT_M = 1200 / 3937
PICTURE = frozenset(
    {ColorInterp.red, ColorInterp.green, ColorInterp.blue, ColorInterp.palette}
)
VOID_VALUES = (-32768.0, -9999.0, 32767.0, -99999.0)
"""Values that mean "no height" even where the file does not say so."""
LOWEST_M, HIGHEST_M = -450.0, 9000.0
"""No ground on Earth is lower or higher."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """The part of one terrain file around the lift.

    ``values_m`` (rows, columns) with NaN for voids; ``transform`` maps (column, row)
    of a cell's corner to the file's coordinates. ``cell_m`` is the longer edge of a
    cell in true metres.
    """

    name: str
    driver: str
    crs: CRS
    transform: Affine
    values_m: FloatArray
    cell_m: float
    seam_step_m: float = 0.0
    """Median step where files of one grid were laid together; 0 for one file."""


def read_tile(path: Path, *, frame: Frame, bounds: Bounds, crs: str | None) -> Tile:
    """Read the cells of one terrain file that lie within ``bounds``.

    Parameters
    ----------
    path : Path
        A GeoTIFF, ESRI ASCII grid, ``.hgt`` or a zip with one of these.
    frame : Frame
        The lift's frame.
    bounds : (x_min, y_min, x_max, y_max)
        The rectangle needed [m] in the frame.
    crs : str or None
        The file's coordinate reference system where it names none itself.

    Returns
    -------
    Tile
        With no cells (shape (0, 0)) where the file lies elsewhere.

    Raises
    ------
    InputError
        If the file cannot be opened, has no CRS, or holds no plausible heights.
    """
    with opened(path) as source:
        if source.transform.is_identity:
            raise InputError(
                path.name,
                [problem("not_placed", where="raster", found="no position")],
            )
        _require_heights(path, source)
        file_crs = _crs_of(path, source, crs)
        window = _window(source, file_crs, frame, bounds)
        step = 1
        if window is None:
            values_m: FloatArray = np.empty((0, 0))
            transform = source.transform
        else:
            step = math.ceil(math.sqrt(window.width * window.height / MOST_CELLS))
            values_m = _heights(path, source, window, file_crs, step=step)
            # Every step-th cell stands in the middle of a cell step times as large.
            middle = 0.5 - 0.5 * step
            transform = shifted(
                source.transform, window.col_off + middle, window.row_off + middle
            )
            transform = scaled(transform, step)
        return Tile(
            name=path.name,
            driver=source.driver,
            crs=file_crs,
            transform=transform,
            values_m=values_m,
            cell_m=step * _cell_m(path, source.transform, file_crs, frame, bounds),
        )


def footprint_deg(path: Path, *, crs: str | None) -> Bounds:
    """West, south, east and north of a terrain file in WGS 84 degrees."""
    with opened(path) as source:
        file_crs = _crs_of(path, source, crs)
        to_degrees = transformer(file_crs, "EPSG:4326")
        west, south, east, north = to_degrees.transform_bounds(*source.bounds)
        return west, south, east, north


def geotiff(tile: Tile) -> bytes:
    """A tile as a small GeoTIFF; voids are nodata -9999."""
    rows, columns = tile.values_m.shape
    with MemoryFile() as memory:
        with memory.open(
            driver="GTiff",
            width=columns,
            height=rows,
            count=1,
            dtype="float32",
            # Of a compound system only where it lies: the heights are metres now.
            crs=_flat(tile.crs).to_wkt(),
            transform=tile.transform,
            nodata=VOID_VALUES[1],
            compress="deflate",
            predictor=3,
        ) as target:
            filled = np.where(np.isnan(tile.values_m), VOID_VALUES[1], tile.values_m)
            target.write(filled.astype(np.float32), 1)
            target.units = ("m",)
        return bytes(memory.read())


def _crs_of(path: Path, source: DatasetReader, stated: str | None) -> CRS:
    """The file's CRS, or the stated one where the file names none."""
    from_user = _crs_from_text(path, stated) if stated else None
    if source.crs is None:
        if from_user is None:
            raise InputError(
                path.name, [problem("no_crs", where="raster", found="no CRS")]
            )
        return from_user
    try:
        own = CRS.from_wkt(source.crs.to_wkt())
    except CRSError as error:
        raise InputError(
            path.name, [problem("bad_crs", where="raster", found=str(error))]
        ) from error
    if from_user is not None and not _same_place(own, from_user):
        raise InputError(
            path.name,
            [
                problem(
                    "two_crs",
                    where="terrain_crs",
                    found=f"{from_user.name!r}",
                    own=own.name,
                )
            ],
        )
    if from_user is not None and from_user.is_compound and not own.is_compound:
        # The user says what the file does not: the system of its heights.
        return from_user
    return own


def _crs_from_text(path: Path, text: str) -> CRS:
    try:
        return CRS.from_user_input(text)
    except CRSError as error:
        raise InputError(
            path.name,
            [problem("bad_crs", where="terrain_crs", found=repr(text))],
        ) from error


def _same_place(one: CRS, other: CRS) -> bool:
    """Whether two references agree in the horizontal, however they are written."""
    return bool(_flat(one).equals(_flat(other), ignore_axis_order=True))


def _flat(crs: CRS) -> CRS:
    return crs.sub_crs_list[0] if crs.is_compound else crs


def _require_heights(path: Path, source: DatasetReader) -> None:
    """Refuse a picture, such as a hillshade or a map, in the place of heights."""
    colours = [c for c in source.colorinterp if c is not ColorInterp.alpha]
    bytes_only = source.dtypes[0] in {"uint8", "int8"}
    unscaled = source.scales[0] == 1 and source.offsets[0] == 0
    if PICTURE & set(colours):
        key, found = "picture", "colours"
    elif bytes_only and unscaled:
        key, found = "picture", "shades from 0 to 255"
    elif len(colours) > 1:
        key, found = "several_bands", f"{len(colours)} bands"
    else:
        return
    raise InputError(path.name, [problem(key, where="raster", found=found)])


def _window(
    source: DatasetReader, crs: CRS, frame: Frame, bounds: Bounds
) -> Window | None:
    """The cells that cover the bounds and two more a side; None if there are none."""
    x_min, y_min, x_max, y_max = bounds
    x_m, y_m = np.meshgrid(np.linspace(x_min, x_max, 9), np.linspace(y_min, y_max, 9))
    column, row = cells_of(crs, source.transform, frame, x_m.ravel(), y_m.ravel())
    if not (np.isfinite(column).all() and np.isfinite(row).all()):
        return None
    first_column = max(0, math.floor(column.min()) - 2)
    last_column = min(source.width, math.ceil(column.max()) + 3)
    first_row = max(0, math.floor(row.min()) - 2)
    last_row = min(source.height, math.ceil(row.max()) + 3)
    if first_column >= last_column or first_row >= last_row:
        return None
    return Window(
        first_column, first_row, last_column - first_column, last_row - first_row
    )


def shifted(transform: Affine, column: float, row: float) -> Affine:
    """The transform of a part that begins at (column, row)."""
    return Affine(
        transform.a,
        transform.b,
        transform.c + transform.a * column + transform.b * row,
        transform.d,
        transform.e,
        transform.f + transform.d * column + transform.e * row,
    )


def scaled(transform: Affine, factor: float) -> Affine:
    """The transform of cells that are larger by a factor, from the same corner."""
    return Affine(
        transform.a * factor,
        transform.b * factor,
        transform.c,
        transform.d * factor,
        transform.e * factor,
        transform.f,
    )


def cells_of(
    crs: CRS, transform: Affine, frame: Frame, x_m: FloatArray, y_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Fractional column and row of cell centres for places in the frame, shape (n,)."""
    to_file = transformer(frame.crs, crs)
    east, north = to_file.transform(x_m, y_m)
    inverse = ~transform
    column = inverse.a * east + inverse.b * north + inverse.c - 0.5
    row = inverse.d * east + inverse.e * north + inverse.f - 0.5
    return np.asarray(column, float), np.asarray(row, float)


def _heights(
    path: Path, source: DatasetReader, window: Window, crs: CRS, *, step: int
) -> FloatArray:
    """Every step-th height of the window in metres, NaN where the file has none."""
    if window.width * window.height > MOST_WINDOW_CELLS:
        found = f"{int(window.width)} x {int(window.height)} cells around the lift"
        raise InputError(path.name, [problem("too_large", where="raster", found=found)])
    try:
        strips = [
            source.read(1, window=strip, masked=True)[::step, ::step]
            for strip in _strips(window, rows=ROWS_AT_ONCE // step * step)
        ]
    except (RasterioError, MemoryError) as error:
        raise InputError(
            path.name, [problem("unreadable", where="band 1", found=str(error))]
        ) from error
    values: Any = np.ma.concatenate(strips)  # type: ignore[no-untyped-call]  # numpy.ma
    if np.iscomplexobj(values):
        found = f"numbers of type {values.dtype}"
        raise InputError(
            path.name, [problem("not_raster", where="band 1", found=found)]
        )
    with np.errstate(invalid="ignore"):
        # Damaged files hold odd kinds of NaN; a NaN is a void whatever its kind.
        heights = np.ma.filled(values.astype(np.float64), np.nan)
    heights[np.isin(heights, VOID_VALUES) | (np.abs(heights) > 1e30)] = np.nan
    heights = heights * float(source.scales[0]) + float(source.offsets[0])
    heights = heights * _metres_per_unit(path, source, crs)
    wrong = heights[(heights < LOWEST_M) | (heights > HIGHEST_M)]
    if wrong.size:
        found = f"heights such as {wrong[0]:.0f}"
        raise InputError(
            path.name, [problem("not_heights", where="band 1", found=found)]
        )
    return heights


def _strips(window: Window, *, rows: int) -> Iterator[Window]:
    """The window in strips of some rows."""
    for first in range(0, int(window.height), rows):
        height = min(rows, int(window.height) - first)
        yield Window(window.col_off, window.row_off + first, window.width, height)


def _metres_per_unit(path: Path, source: DatasetReader, crs: CRS) -> float:
    """Metres in one unit of the heights, by the band or by the vertical CRS.

    Where neither says it, heights are metres, but not on a grid in feet: there they
    are mostly feet too, and somebody has to say so.
    """
    unit = (source.units[0] or "").strip().lower()
    if unit in METRE_NAMES:
        return 1.0
    if unit in FOOT_NAMES:
        return FOOT_M
    if unit in US_FOOT_NAMES:
        return US_FOOT_M
    if unit not in NO_UNIT:
        found = f"heights in {unit!r}"
        raise InputError(path.name, [problem("odd_unit", where="band 1", found=found)])
    for part in crs.sub_crs_list:
        if part.is_vertical and part.axis_info:
            return float(part.axis_info[0].unit_conversion_factor)
    axis = _flat(crs).axis_info[0]
    if "foot" in axis.unit_name.lower() or "feet" in axis.unit_name.lower():
        found = f"a grid in {axis.unit_name} that does not say the unit of its heights"
        raise InputError(path.name, [problem("no_unit", where="band 1", found=found)])
    return 1.0


def _cell_m(
    path: Path, transform: Affine, crs: CRS, frame: Frame, bounds: Bounds
) -> float:
    """The longer edge of a cell in true metres, measured at the lift."""
    x_m = np.array([(bounds[0] + bounds[2]) / 2])
    y_m = np.array([(bounds[1] + bounds[3]) / 2])
    column, row = cells_of(crs, transform, frame, x_m, y_m)
    columns = np.array([column[0], column[0] + 1, column[0]]) + 0.5
    rows = np.array([row[0], row[0], row[0] + 1]) + 0.5
    east = transform.a * columns + transform.b * rows + transform.c
    north = transform.d * columns + transform.e * rows + transform.f
    back = transformer(crs, frame.crs)
    x, y = back.transform(east, north)
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        # Such a cell reaches past the edge of the map projection, or of the earth.
        found = f"cells of {transform.a:g} by {-transform.e:g}"
        raise InputError(path.name, [problem("odd_cells", where="raster", found=found)])
    return float(max(math.hypot(x[n] - x[0], y[n] - y[0]) for n in (1, 2)))
