"""Lay things out on an invented mountain: places beside a line, layers, terrain.

Places are metres along the line from the lower station and metres to its right.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import Transformer

from evac.frame import Frame

FloatArray = NDArray[np.float64]
Place = tuple[float, float]
Feature = dict[str, Any]

CRS = "EPSG:32633"


@dataclass(frozen=True, kw_only=True)
class Site:
    """Where the lower station stands and which way the line runs."""

    latitude_deg: float
    longitude_deg: float
    bearing_deg: float
    """Clockwise from north."""

    @cached_property
    def frame(self) -> Frame:
        """Metres east and north of the lower station."""
        return Frame(latitude_deg=self.latitude_deg, longitude_deg=self.longitude_deg)

    def place(self, along_m: float, right_m: float = 0.0) -> tuple[float, float]:
        """Metres east and north of the lower station of a place beside the line."""
        bearing = np.radians(self.bearing_deg)
        east = along_m * np.sin(bearing) + right_m * np.cos(bearing)
        north = along_m * np.cos(bearing) - right_m * np.sin(bearing)
        return float(east), float(north)

    def degrees(self, places: Iterable[Place]) -> list[tuple[float, float]]:
        """Longitude and latitude of places beside the line, to about 1 cm."""
        x_m, y_m = np.array([self.place(along, right) for along, right in places]).T
        latitude, longitude = self.frame.to_degrees(x_m=x_m, y_m=y_m)
        return [
            (round(float(lon), 7), round(float(lat), 7))
            for lat, lon in zip(latitude, longitude, strict=True)
        ]

    def line(self, points: Iterable[Place], **properties: Any) -> Feature:
        """A GeoJSON line."""
        return _feature("LineString", self.degrees(points), properties)

    def polygon(self, points: Iterable[Place], **properties: Any) -> Feature:
        """A GeoJSON polygon without holes."""
        ring = self.degrees(points)
        return _feature("Polygon", [[*ring, ring[0]]], properties)

    def point(self, at: Place, **properties: Any) -> Feature:
        """A GeoJSON point."""
        return _feature("Point", self.degrees([at])[0], properties)


def _feature(kind: str, coordinates: Any, properties: dict[str, Any]) -> Feature:
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": {"type": kind, "coordinates": coordinates},
    }


def geojson(features: Iterable[Feature]) -> str:
    """A feature collection in WGS 84, one feature a line."""
    lines = ",\n".join(json.dumps(feature) for feature in features)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'


def write_terrain(
    path: Path,
    site: Site,
    ground_m: Callable[[FloatArray, FloatArray], FloatArray],
    *,
    along_m: tuple[float, float],
    beside_m: float,
    cell_m: float,
) -> None:
    """Write the ground around a line as a GeoTIFF, heights to 0.1 m."""
    to_grid = Transformer.from_crs(site.frame.crs, CRS, always_xy=True)
    corners = [site.place(a, r) for a in along_m for r in (-beside_m, beside_m)]
    east, north = to_grid.transform(*np.array(corners).T)
    west_m, north_m = np.floor(min(east) / 10) * 10, np.ceil(max(north) / 10) * 10
    columns = int((max(east) - west_m) // cell_m) + 1
    rows = int((north_m - min(north)) // cell_m) + 1

    east = west_m + cell_m * (np.arange(columns) + 0.5)
    north = north_m - cell_m * (np.arange(rows) + 0.5)
    grid_east, grid_north = np.meshgrid(east, north)
    x_m, y_m = to_grid.transform(grid_east, grid_north, direction="INVERSE")
    bearing = np.radians(site.bearing_deg)
    along = x_m * np.sin(bearing) + y_m * np.cos(bearing)
    right = x_m * np.cos(bearing) - y_m * np.sin(bearing)
    heights = np.round(ground_m(along, right), 1).astype(np.float32)
    path.parent.mkdir(exist_ok=True)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=columns,
        height=rows,
        count=1,
        dtype="float32",
        crs=CRS,
        transform=Affine(cell_m, 0, west_m, 0, -cell_m, north_m),
        nodata=-9999.0,
        compress="deflate",
        predictor=3,
        zlevel=9,
        tiled=True,
        blockxsize=256,
        blockysize=256,
    ) as target:
        target.write(heights, 1)
