"""A feature of a map layer, and what is wrong with a geometry as a place on earth."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

import shapely
from shapely.geometry.base import BaseGeometry

from evac.errors import Problem
from evac.inputs.cells import Cell
from evac.inputs.problems import problem

MOST_BYTES = 50_000_000
MOST_FEATURES = 20_000
MOST_POINTS = 500_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """One thing of a layer: where it stands in the file, what it says, where it is.

    ``geometry`` is in degrees, x the longitude and y the latitude, without heights.
    """

    where: str
    properties: Mapping[str, Cell]
    geometry: BaseGeometry


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


def named(number: int, name: object) -> str:
    """How a feature is pointed at: its number, and its name where it has one."""
    shown = str(name).strip()[:40] if isinstance(name, (str, int)) else ""
    return f"feature {number} ({shown})" if shown else f"feature {number}"


def property_cell(value: object) -> Cell:
    """A property as the cell of a table would say it."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    if isinstance(value, list):
        return " | ".join(str(item) for item in value)
    return str(value)
