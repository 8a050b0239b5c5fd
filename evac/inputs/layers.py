"""Map layers as files hold them: features with properties and a place in WGS 84.

GeoJSON as RFC 7946 says: longitude before latitude, degrees, WGS 84.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import shapely
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from evac.errors import InputError, Problem
from evac.inputs.cells import Cell
from evac.inputs.problems import problem
from evac.inputs.tables import decode

MOST_BYTES = 50_000_000
MOST_FEATURES = 20_000
MOST_POINTS = 500_000

_WGS_84_NAMES = ("CRS84", "EPSG::4326", "EPSG:4326")


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """One thing of a layer: where it stands in the file, what it says, where it is.

    ``geometry`` is in degrees, x the longitude and y the latitude, without heights.
    """

    where: str
    properties: Mapping[str, Cell]
    geometry: BaseGeometry


def read_layer(content: bytes, *, file: str) -> tuple[Feature, ...]:
    """All features of a layer, checked to lie on the earth.

    Raises
    ------
    InputError
        Listing every feature that cannot be used.
    """
    if len(content) > MOST_BYTES:
        found = f"{len(content):,} bytes"
        raise _refused(file, "too_large", found=found, most=MOST_BYTES)
    return geojson_features(content, file=file)


def geojson_features(content: bytes, *, file: str) -> tuple[Feature, ...]:
    """The features of a GeoJSON file.

    Raises
    ------
    InputError
        If it is no GeoJSON, in another reference system, or a feature has no usable
        geometry.
    """
    text = decode(content, file=file)
    try:
        whole = json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        line = getattr(error, "lineno", None)
        where = f"line {line}" if line else "the file"
        raise InputError(
            file, [problem("not_geojson", where=where, found=text[:30])]
        ) from None
    listed = whole.get("features") if isinstance(whole, dict) else None
    if not isinstance(listed, list) or whole.get("type") != "FeatureCollection":
        raise _refused(file, "not_a_collection", found=text[:30])
    _require_wgs_84(whole, file=file)
    if len(listed) > MOST_FEATURES:
        found = f"{len(listed):,} features"
        raise _refused(file, "too_large", found=found, most=MOST_FEATURES)
    features: list[Feature] = []
    problems: list[Problem] = []
    for number, entry in enumerate(listed, start=1):
        feature = _feature(entry, number=number)
        if isinstance(feature, Problem):
            problems.append(feature)
        else:
            features.append(feature)
    if problems:
        raise InputError(file, problems)
    return tuple(features)


def _refused(file: str, key: str, *, found: object, **values: Any) -> InputError:
    return InputError(file, [problem(key, where="the file", found=found, **values)])


def _no_constant(name: str) -> float:
    # RFC 8259: NaN and Infinity are no JSON; here they would be lost places.
    raise ValueError(name)


def _require_wgs_84(whole: Mapping[str, Any], *, file: str) -> None:
    crs = whole.get("crs")
    if crs is None:
        return
    properties = crs.get("properties") if isinstance(crs, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else crs
    if not str(name).endswith(_WGS_84_NAMES):
        raise InputError(
            file, [problem("other_crs", where="member crs", found=str(name))]
        )


def _feature(entry: Any, *, number: int) -> Feature | Problem:
    where = f"feature {number}"
    if not isinstance(entry, dict) or entry.get("type") != "Feature":
        return problem("not_a_feature", where=where, found=str(entry)[:30])
    properties = entry.get("properties") or {}
    if not isinstance(properties, dict):
        return problem("not_a_feature", where=where, found=str(properties)[:30])
    name = properties.get("id") or properties.get("name")
    if isinstance(name, (str, int)) and str(name).strip():
        where += f" ({str(name).strip()[:40]})"
    geometry = entry.get("geometry")
    if geometry is None:
        return problem("no_geometry", where=where)
    try:
        made = shapely.force_2d(shape(geometry))
    except (AttributeError, KeyError, TypeError, ValueError, IndexError):
        # shapely raises all of these for coordinates of a wrong form.
        return problem("broken_geometry", where=where, found=str(geometry)[:40])
    except shapely.errors.ShapelyError:
        return problem("broken_geometry", where=where, found=str(geometry)[:40])
    fault = place_fault(made, where=where)
    if fault is not None:
        return fault
    return Feature(
        where=where,
        properties={
            str(key).lower(): _cell(value) for key, value in properties.items()
        },
        geometry=made,
    )


def place_fault(geometry: BaseGeometry, *, where: str) -> Problem | None:
    """What is wrong with a geometry as a place on the earth, or None."""
    if geometry.is_empty:
        return problem("no_geometry", where=where)
    places = shapely.get_coordinates(geometry)
    if len(places) > MOST_POINTS:
        return problem(
            "too_large", where=where, found=f"{len(places):,} points", most=MOST_POINTS
        )
    west, south, east, north = geometry.bounds
    if not all(map(math.isfinite, (west, south, east, north))):
        return problem("broken_geometry", where=where, found=str(geometry)[:40])
    first = f"{places[0][0]:.10g}, {places[0][1]:.10g}"
    if max(abs(west), abs(east)) > 180 or max(abs(south), abs(north)) > 180:
        return problem("not_degrees", where=where, found=first)
    if max(abs(south), abs(north)) > 90:
        return problem("swapped_degrees", where=where, found=first)
    return None


def _cell(value: object) -> Cell:
    """A property as the cell of a table would say it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, date):
        return value
    if isinstance(value, list):
        return " | ".join(str(item) for item in value)
    return str(value)
