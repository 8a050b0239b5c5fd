"""GeoPackage layers, brought to WGS 84.

A GeoPackage is an SQLite database (OGC 12-128r18); it is opened in memory with the
standard library, so that reading a lift folder need not load a geodata stack.
"""

from __future__ import annotations

import itertools
import sqlite3
from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError
from shapely.geometry.base import BaseGeometry

from evac.errors import InputError, Problem
from evac.frame import transformer
from evac.inputs.features import (
    MOST_BYTES,
    MOST_FEATURES,
    Feature,
    named,
    place_fault,
    property_cell,
)
from evac.inputs.problems import problem

MOST_STEPS, STEP_SIZE = 500, 100_000
"""A query is given up after so many times so many instructions: a few seconds."""

MOST_VALUE_BYTES = 20_000_000
"""Longest text or geometry."""

_ENVELOPE_BYTES = (0, 32, 48, 48, 64)
"""By the envelope code in the flags of a geometry (clause 2.1.3)."""


def geopackage_features(content: bytes, *, file: str) -> tuple[Feature, ...]:
    """The features of the one layer of a GeoPackage.

    Raises
    ------
    InputError
        If it is no GeoPackage, has several layers or no reference system, or a
        feature has no usable place.

    References
    ----------
    OGC GeoPackage Encoding Standard, 12-128r18, clauses 1.1.2 and 2.1.
    """
    if not content.startswith(b"SQLite format 3\x00"):
        raise InputError(file, [problem("not_gpkg", where="the file")])
    database = sqlite3.connect(":memory:")
    try:
        database.deserialize(content)
        # A view may hide a query that never ends, or call what it should not.
        database.execute("PRAGMA trusted_schema = OFF")
        database.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MOST_VALUE_BYTES)
        steps = itertools.count()
        database.set_progress_handler(lambda: next(steps) > MOST_STEPS, STEP_SIZE)
        database.row_factory = sqlite3.Row
        layers = database.execute(
            "SELECT g.table_name, g.column_name, s.definition, s.organization, "
            "s.organization_coordsys_id AS code FROM gpkg_geometry_columns AS g "
            "JOIN gpkg_spatial_ref_sys AS s ON g.srs_id = s.srs_id"
        ).fetchall()
        if len(layers) != 1:
            found = ", ".join(str(layer["table_name"]) for layer in layers)
            raise InputError(
                file, [problem("several_layers", where="the file", found=found)]
            )
        layer = layers[0]
        table = str(layer["table_name"]).replace('"', '""')
        rows = []
        left = MOST_BYTES
        for row in database.execute(
            f'SELECT * FROM "{table}" LIMIT {MOST_FEATURES + 1}'  # noqa: S608 - quoted
        ):
            # A view or a computed column makes of a small file as much as it likes.
            left -= sum(len(v) for v in row if isinstance(v, (str, bytes)))
            if left < 0:
                raise InputError(
                    file,
                    [
                        problem(
                            "too_large",
                            where="the file",
                            found=f"more than {MOST_BYTES // 1_000_000} MB of values",
                            most=f"{MOST_BYTES // 1_000_000} MB",
                        )
                    ],
                )
            rows.append(dict(row))
    except (sqlite3.Error, UnicodeDecodeError, MemoryError):
        raise InputError(file, [problem("not_gpkg", where="the file")]) from None
    finally:
        database.close()
    if len(rows) > MOST_FEATURES:
        found = f"more than {MOST_FEATURES:,} features"
        raise InputError(
            file,
            [problem("too_large", where="the file", found=found, most=MOST_FEATURES)],
        )
    to_wgs_84 = _to_wgs_84(layer, file=file)
    column = str(layer["column_name"])
    return _checked(rows, column=column, to_wgs_84=to_wgs_84, file=file)


def _to_wgs_84(layer: sqlite3.Row, *, file: str) -> Transformer:
    """From the layer's reference system; refuses the undefined ones (-1 and 0)."""
    try:
        if str(layer["organization"]).upper() == "EPSG":
            crs = CRS.from_epsg(int(layer["code"]))
        else:
            crs = CRS.from_wkt(str(layer["definition"]))
        # In two dimensions: a round trip of a 3D system may lose the place.
        return transformer(crs.to_2d(), "EPSG:4326")
    except (ProjError, ValueError, TypeError):
        where = f"layer {layer['table_name']}"
        raise InputError(file, [problem("no_crs", where=where)]) from None


def _checked(
    rows: Sequence[Mapping[str, object]],
    *,
    column: str,
    to_wgs_84: Transformer,
    file: str,
) -> tuple[Feature, ...]:
    def moved(places: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(to_wgs_84.transform(places[:, 0], places[:, 1]))

    features: list[Feature] = []
    problems: list[Problem] = []
    for number, row in enumerate(rows, start=1):
        cells = {
            name.lower(): property_cell(value)
            for name, value in row.items()
            if name != column and not isinstance(value, bytes)
        }
        where = named(number, cells.get("id") or cells.get("name") or "")
        geometry = _geometry(row.get(column))
        if geometry is None or geometry.is_empty:
            problems.append(problem("no_geometry", where=where))
            continue
        placed = shapely.transform(geometry, moved)
        fault = place_fault(placed, where=where)
        if fault is not None:
            problems.append(fault)
            continue
        features.append(Feature(where=where, properties=cells, geometry=placed))
    if problems:
        raise InputError(file, problems)
    return tuple(features)


def _geometry(blob: object) -> BaseGeometry | None:
    """The geometry of a GeoPackage blob without heights; None where there is none."""
    if not isinstance(blob, bytes) or blob[:2] != b"GP" or len(blob) < 8:
        return None
    envelope = (blob[3] >> 1) & 0b111
    if envelope >= len(_ENVELOPE_BYTES):
        return None
    made = shapely.from_wkb(blob[8 + _ENVELOPE_BYTES[envelope] :], on_invalid="ignore")
    return None if made is None else shapely.force_2d(made)
