"""The lift's own map frame: metres east and north of its first station.

A transverse Mercator projection centred on the lift has scale 1 there: over a line
of 5 km its lengths are right to 1 mm, so plan distances can be taken from it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Transformer

ANTIMERIDIAN_FREE_M = 50_000.0
"""A lift at least this far from the 180th meridian has nothing beyond it: a line is
20 km long at most, and nothing farther than 30 km from it belongs to its folder."""

_METRES_PER_DEGREE = 111_320.0


def meets_antimeridian(*, latitude_deg: float, longitude_deg: float) -> bool:
    """Whether a lift here may have places on both sides of the 180th meridian.

    Maps and map files jump from 180 to -180 degrees there, so that a line across it
    would be drawn round the world.

    Examples
    --------
    >>> meets_antimeridian(latitude_deg=51.9, longitude_deg=-179.9)
    True
    >>> meets_antimeridian(latitude_deg=46.8, longitude_deg=9.9)
    False
    """
    away_deg = 180.0 - abs(longitude_deg)
    parallel = math.cos(math.radians(latitude_deg))
    return away_deg * _METRES_PER_DEGREE * parallel < ANTIMERIDIAN_FREE_M


@lru_cache(maxsize=64)
def transformer(source: CRS | str, target: CRS | str) -> Transformer:
    """The way from one reference system to another, x before y; made once.

    Making one takes some 10 ms, and reading a folder asks for dozens.
    """
    return Transformer.from_crs(source, target, always_xy=True)


@dataclass(frozen=True, kw_only=True)
class Frame:
    """A local frame centred on a place given in WGS 84 degrees.

    Examples
    --------
    >>> frame = Frame(latitude_deg=46.0, longitude_deg=7.0)
    >>> x_m, y_m = frame.from_degrees(latitude_deg=46.0, longitude_deg=7.01)
    >>> round(float(x_m)), round(float(y_m))
    (775, 0)
    """

    latitude_deg: float
    longitude_deg: float

    @cached_property
    def crs(self) -> CRS:
        """The frame as a coordinate reference system."""
        return CRS.from_proj4(
            f"+proj=tmerc +lat_0={self.latitude_deg:.8f} "
            f"+lon_0={self.longitude_deg:.8f} +k=1 +x_0=0 +y_0=0 "
            "+datum=WGS84 +units=m +no_defs"
        )

    # A map asks for hundreds of places.
    @cached_property
    def _from_degrees(self) -> Transformer:
        return transformer("EPSG:4326", self.crs)

    @cached_property
    def _to_degrees(self) -> Transformer:
        return transformer(self.crs, "EPSG:4326")

    def from_degrees(
        self, *, latitude_deg: ArrayLike, longitude_deg: ArrayLike
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Metres east and north of the origin for WGS 84 latitude and longitude."""
        x_m, y_m = self._from_degrees.transform(
            np.asarray(longitude_deg, float), np.asarray(latitude_deg, float)
        )
        return np.asarray(x_m), np.asarray(y_m)

    def to_degrees(
        self, *, x_m: ArrayLike, y_m: ArrayLike
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """WGS 84 (latitude, longitude) in degrees of places in the frame."""
        longitude, latitude = self._to_degrees.transform(
            np.asarray(x_m, float), np.asarray(y_m, float)
        )
        return np.asarray(latitude), np.asarray(longitude)
