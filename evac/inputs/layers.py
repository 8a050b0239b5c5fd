"""Map layers as files hold them: GeoJSON, GPX, KML, KMZ and GeoPackage.

GeoJSON as RFC 7946 says: longitude before latitude, degrees, WGS 84.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely
from shapely.geometry import shape

from evac.errors import InputError, Problem
from evac.inputs.features import (
    MOST_BYTES,
    MOST_FEATURES,
    Feature,
    named,
    place_fault,
    property_cell,
)
from evac.inputs.layers_gpkg import geopackage_features
from evac.inputs.layers_xml import gpx_features, kml_features
from evac.inputs.problems import problem
from evac.inputs.tables import decode

ENDINGS = (".geojson", ".json", ".gpkg", ".kml", ".kmz", ".gpx")
"""Files that can be read as a layer."""

_WGS_84_NAMES = ("CRS84", "EPSG::4326", "EPSG:4326")


def read_layer(content: bytes, *, file: str) -> tuple[Feature, ...]:
    """All features of a layer, checked to lie on the earth.

    Parameters
    ----------
    content : bytes
        The whole file.
    file : str
        Its name, whose ending says what it is.

    Raises
    ------
    InputError
        Listing every feature that cannot be used.
    """
    if len(content) > MOST_BYTES:
        found = f"{len(content):,} bytes"
        raise _refused(file, "too_large", found=found, most=MOST_BYTES)
    ending = "." + file.lower().rpartition(".")[2]
    if ending == ".gpx":
        found_here = gpx_features(content, file=file)
    elif ending in (".kml", ".kmz"):
        found_here = kml_features(content, file=file)
    elif ending == ".gpkg":
        found_here = geopackage_features(content, file=file)
    elif ending in ENDINGS:
        found_here = geojson_features(content, file=file)
    else:
        raise _refused(file, "not_a_layer", found=ending, endings=", ".join(ENDINGS))
    if not found_here:
        raise _refused(file, "no_features", found="")
    return found_here


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
    require_wgs_84(whole, file=file)
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


def require_wgs_84(whole: Mapping[str, Any], *, file: str) -> None:
    """Refuse a GeoJSON file whose member ``crs`` names anything but WGS 84."""
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
    where = named(number, "")
    if not isinstance(entry, dict) or entry.get("type") != "Feature":
        return problem("not_a_feature", where=where, found=str(entry)[:30])
    properties = entry.get("properties") or {}
    if not isinstance(properties, dict):
        return problem("not_a_feature", where=where, found=str(properties)[:30])
    where = named(number, properties.get("id") or properties.get("name"))
    geometry = entry.get("geometry")
    if geometry is None:
        return problem("no_geometry", where=where)
    try:
        with np.errstate(invalid="ignore"):  # odd places are refused below
            made = shapely.force_2d(shape(geometry))
    except (AttributeError, LookupError, TypeError, ValueError, OverflowError):
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
            str(key).lower(): property_cell(value) for key, value in properties.items()
        },
        geometry=made,
    )
