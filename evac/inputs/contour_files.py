"""Files of contour lines: their features, and the height of each.

GeoJSON, GeoPackage and KML; the height is an attribute, in GeoJSON also Z.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from shapely.geometry import mapping

from evac.errors import InputError
from evac.inputs.dem_file import problem
from evac.inputs.dem_tile import HIGHEST_M, LOWEST_M
from evac.inputs.layers import read_layer, require_wgs_84
from evac.units import FOOT_M

MOST_BYTES = 200_000_000
CONTOUR_ENDINGS = (".geojson", ".json", ".gpkg", ".kml", ".kmz")
HEIGHT_NAMES = (
    "elevation_m",
    "elevation",
    "elev_m",
    "elev",
    "ele",
    "height_m",
    "height",
    "contour",
    "level",
    "altitude",
    "hoehe",
    "z",
    "elevation_ft",
    "elev_ft",
    "contour_ft",
)
_TWO_READINGS = re.compile(r"\d\.\d{3}")
"""A text such as 1.270: a point between thousands, or 1 m and a bit."""
_HEIGHT = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*(m|ft|feet|')?\s*", re.IGNORECASE)


def is_contour_file(path: Path) -> bool:
    """Whether a terrain file holds lines rather than a raster."""
    return path.suffix.lower() in CONTOUR_ENDINGS


def contour_lines(path: Path) -> list[tuple[dict[str, Any], float]]:
    """Every line of a file as a GeoJSON feature, with its height [m].

    Raises
    ------
    InputError
        If it is no such file, or a line has no height.
    """
    found: list[tuple[dict[str, Any], float]] = []
    problems = []
    for number, feature in enumerate(_features(path), start=1):
        if not any(lines_of(feature.get("geometry"))):
            continue
        height_m = _height_m(feature)
        if height_m is None:
            where = f"feature {number}"
            problems.append(problem("contour_height", where=where, found="no height"))
        else:
            found.append((feature, height_m))
    if problems:
        raise InputError(path.name, problems[:20])
    return found


def _features(path: Path) -> list[Any]:
    if path.suffix.lower() in (".geojson", ".json"):
        return _geojson(path)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise InputError(
            path.name, [problem("missing", where="file", found="no such file")]
        ) from error
    return [
        {
            "type": "Feature",
            "properties": dict(feature.properties),
            "geometry": mapping(feature.geometry),
        }
        for feature in read_layer(content, file=path.name)
    ]


def _geojson(path: Path) -> list[Any]:
    try:
        if path.stat().st_size > MOST_BYTES:
            found = f"{path.stat().st_size:,} bytes"
            raise InputError(
                path.name, [problem("too_large", where="file", found=found)]
            )
        whole = json.loads(path.read_bytes().decode("utf-8-sig"))
        features = whole["features"]
        require_wgs_84(whole, file=path.name)
        if not all(isinstance(feature, dict) for feature in features):
            message = "a feature is not an object"
            raise TypeError(message)
    except OSError as error:
        raise InputError(
            path.name, [problem("missing", where="file", found="no such file")]
        ) from error
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError(
            path.name, [problem("not_contours", where="file", found=str(error)[:60])]
        ) from error
    return list(features)


def lines_of(geometry: Any) -> Iterator[Any]:
    """Coordinate lists of a line or of several; nothing for other geometries."""
    if not isinstance(geometry, dict):
        return
    kind, coordinates = geometry.get("type"), geometry.get("coordinates")
    if not isinstance(coordinates, (list, tuple)) or not coordinates:
        return
    if kind == "LineString":
        yield coordinates
    elif kind == "MultiLineString":
        yield from (line for line in coordinates if isinstance(line, (list, tuple)))


def _height_m(feature: dict[str, Any]) -> float | None:
    """Height of a contour by its property, else by its Z; None where neither says."""
    properties = feature.get("properties")
    if not isinstance(properties, dict):
        properties = {}
    named = {str(key).lower(): value for key, value in properties.items()}
    for name in HEIGHT_NAMES:
        value = named.get(name, "")
        if isinstance(value, str) and _TWO_READINGS.fullmatch(value.strip()):
            return None
        match = _HEIGHT.fullmatch(str(value))
        if match:
            unit = (match[2] or "").lower()
            feet = name.endswith("_ft") or unit in {"ft", "feet", "'"}
            height_m = float(match[1]) * (FOOT_M if feet else 1.0)
            return height_m if LOWEST_M < height_m < HIGHEST_M else None
    heights = {_z_m(point) for line in lines_of(feature["geometry"]) for point in line}
    # All Z at 0 is what an export writes that knows no heights; and a contour with
    # heights at some of its corners only, or with several, is none.
    only = heights.pop() if len(heights) == 1 else None
    return only or None


def _z_m(point: Any) -> float | None:
    """The third coordinate of a corner, where it has a usable one."""
    if not isinstance(point, (list, tuple)) or len(point) < 3:
        return None
    height_m = point[2]
    if isinstance(height_m, bool) or not isinstance(height_m, (int, float)):
        return None
    return float(height_m) if LOWEST_M < height_m < HIGHEST_M else None
