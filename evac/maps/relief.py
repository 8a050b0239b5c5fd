"""The base map: a shaded relief picture and contour lines from the lift's terrain."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass

import numpy as np
from contourpy import LineType, contour_generator
from matplotlib.colors import LightSource
from numpy.typing import NDArray
from PIL import Image
from shapely.geometry import LineString

from evac.facts.lift import Terrain
from evac.frame import Frame, transformer
from evac.ground import sample_grid

_LONGEST_PICTURE_PX = 1200
_CONTOURS_WANTED = 25
_INTERVALS_M = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Relief:
    """A picture of the relief and where it lies, as a map page wants it."""

    address: str
    """The picture as a ``data:`` address."""
    south_west_deg: tuple[float, float]
    north_east_deg: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Contour:
    """One contour line: (latitude, longitude) pairs in degrees."""

    elevation_m: float
    index: bool
    """Every fifth line, drawn stronger and labelled."""
    places_deg: tuple[tuple[float, float], ...]


def shaded_relief(terrain: Terrain, frame: Frame) -> Relief:
    """Shade the terrain from the north-west and lay it out for a web map.

    A web map stretches a picture evenly in its own projection (EPSG:3857), so the
    shading is computed on the terrain's square grid and then looked up there.
    """
    shade = LightSource(azdeg=315, altdeg=45).hillshade(
        # Row 0 of a terrain is its south; a picture's is its north.
        terrain.elevation_m[::-1],
        dx=terrain.cell_m,
        dy=terrain.cell_m,
    )[::-1]
    rows, columns = terrain.elevation_m.shape
    east_m = terrain.west_m + (columns - 1) * terrain.cell_m
    north_m = terrain.south_m + (rows - 1) * terrain.cell_m
    to_web = transformer(frame.crs, "EPSG:3857")
    west, south, east, north = to_web.transform_bounds(
        terrain.west_m, terrain.south_m, east_m, north_m
    )
    scale = _LONGEST_PICTURE_PX / max(east - west, north - south)
    width = max(2, round((east - west) * scale))
    height = max(2, round((north - south) * scale))
    web_x, web_y = np.meshgrid(
        west + (np.arange(width) + 0.5) / width * (east - west),
        north - (np.arange(height) + 0.5) / height * (north - south),
    )
    x_m, y_m = to_web.transform(web_x, web_y, direction="INVERSE")
    shaded = Terrain(
        west_m=terrain.west_m,
        south_m=terrain.south_m,
        cell_m=terrain.cell_m,
        elevation_m=shade,
        source_cell_m=terrain.source_cell_m,
        sd_m=terrain.sd_m,
        source=terrain.source,
    )
    value = sample_grid(shaded, x_m=x_m, y_m=y_m)
    # Light enough that thin black lines and text stay readable on it.
    grey = np.where(np.isfinite(value), 150 + 105 * np.nan_to_num(value), 255)
    picture = io.BytesIO()
    Image.fromarray(grey.astype(np.uint8)).save(picture, "JPEG", quality=70)
    to_degrees = transformer("EPSG:3857", "EPSG:4326")
    lon_west, lat_south = to_degrees.transform(west, south)
    lon_east, lat_north = to_degrees.transform(east, north)
    coded = base64.b64encode(picture.getvalue()).decode("ascii")
    return Relief(
        address=f"data:image/jpeg;base64,{coded}",
        south_west_deg=(lat_south, lon_west),
        north_east_deg=(lat_north, lon_east),
    )


def contours(terrain: Terrain, frame: Frame) -> tuple[Contour, ...]:
    """Contour lines at a round interval that suits the terrain, simplified."""
    elevation: NDArray[np.float64] = terrain.elevation_m
    known = elevation[np.isfinite(elevation)]
    if known.size == 0 or min(elevation.shape) < 2:
        return ()
    low, high = float(known.min()), float(known.max())
    interval = next(
        (step for step in _INTERVALS_M if (high - low) / step <= _CONTOURS_WANTED),
        _INTERVALS_M[-1],
    )
    rows, columns = elevation.shape
    generator = contour_generator(
        terrain.west_m + np.arange(columns) * terrain.cell_m,
        terrain.south_m + np.arange(rows) * terrain.cell_m,
        np.ma.masked_invalid(elevation),
        line_type=LineType.Separate,
    )
    found = []
    first = int(np.ceil(low / interval))
    for number in range(first, int(np.floor(high / interval)) + 1):
        for line in generator.lines(number * interval):
            simple = LineString(np.asarray(line)).simplify(terrain.cell_m / 3)
            if simple.length < 6 * terrain.cell_m:
                continue
            xy = np.asarray(simple.coords)
            latitude, longitude = frame.to_degrees(x_m=xy[:, 0], y_m=xy[:, 1])
            places = zip(
                latitude.round(6).tolist(), longitude.round(6).tolist(), strict=True
            )
            found.append(
                Contour(
                    elevation_m=number * interval,
                    index=number % 5 == 0,
                    places_deg=tuple(places),
                )
            )
    return tuple(found)
