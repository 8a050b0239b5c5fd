"""Lifts and ways from GeoJSON that was exported from OpenStreetMap.

Exports differ: tags stand as properties (``aerialway``), or a lift map has renamed
them (``liftType``). Vertices carry no tags in GeoJSON; a pylon or station exported as
a point is tied to the vertex at the same place.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from evac.errors import InputError
from evac.inputs.osm_extract import (
    KEPT_TAGS,
    OsmExtract,
    OsmNode,
    OsmWay,
    assembled,
    kept,
    refused,
)

MOST_BYTES = 200_000_000
DIGITS = 7
"""Places that agree to this many decimals of a degree are one (about 1 cm)."""

_NUMBER = re.compile(r"(?:way/)?(\d{1,18})")


def read_geojson(path: Path) -> OsmExtract:
    """Read a GeoJSON export.

    Raises
    ------
    InputError
        If it is no feature collection, too large, or a place is not on Earth.
    """
    if path.stat().st_size > MOST_BYTES:
        raise refused(path.name, "too_large", found=f"{path.stat().st_size:,} bytes")
    try:
        whole = json.loads(path.read_bytes().decode("utf-8-sig"))
        features = whole["features"]
        if not isinstance(features, list):
            message = "features is not a list"
            raise TypeError(message)
        return _extract(path.name, features)
    except InputError:
        raise
    except (ValueError, KeyError, TypeError, IndexError, RecursionError) as error:
        found = f"{type(error).__name__}: {error}"[:80]
        raise refused(path.name, "broken_geojson", found=found) from error


def _extract(file: str, features: list[Any]) -> OsmExtract:
    node_of: dict[tuple[float, float], int] = {}
    nodes: dict[int, OsmNode] = {}
    ways: list[OsmWay] = []

    def node_at(position: list[float], tags: dict[str, str]) -> int:
        longitude, latitude = float(position[0]), float(position[1])
        # NaN fails the comparison as well.
        if not (abs(latitude) <= 90 and abs(longitude) <= 180):
            message = f"a place at lat {latitude}, lon {longitude}"
            raise ValueError(message)
        key = (round(longitude, DIGITS), round(latitude, DIGITS))
        node = node_of.setdefault(key, len(node_of) + 1)
        before = nodes[node].tags if node in nodes else {}
        nodes[node] = OsmNode(
            latitude_deg=latitude, longitude_deg=longitude, tags={**before, **tags}
        )
        return node

    for number, feature in enumerate(features, start=1):
        geometry = feature.get("geometry")
        if not geometry:
            continue
        tags = _tags(feature.get("properties") or {})
        if geometry["type"] == "Point":
            node_at(geometry["coordinates"], tags)
            continue
        for part in _lines(geometry):
            way = OsmWay(
                id=_id(feature, fallback=number),
                nodes=tuple(node_at(position, {}) for position in part),
                tags=tags,
            )
            if kept(way):
                ways.append(way)
    return assembled(file, nodes, ways)


def _lines(geometry: dict[str, Any]) -> list[list[list[float]]]:
    """Lines of a geometry; the outer ring of an area is a closed line."""
    kind: str = geometry["type"]
    coordinates: list[Any] = geometry.get("coordinates", [])
    if kind == "LineString":
        return [coordinates]
    if kind == "MultiLineString":
        return list(coordinates)
    if kind == "Polygon":
        return [coordinates[0]]
    if kind == "MultiPolygon":
        return [polygon[0] for polygon in coordinates]
    return []


def _tags(properties: dict[str, Any]) -> dict[str, str]:
    """Properties as tags; nested and empty ones say nothing here."""
    tags = {
        key: str(value)
        for key, value in properties.items()
        if isinstance(value, (str, int, float)) and not isinstance(value, bool)
    }
    if "liftType" in tags:
        tags.setdefault("aerialway", tags["liftType"])
        if "occupancy" in tags:
            tags.setdefault("aerialway:occupancy", tags["occupancy"])
    uses = properties.get("uses")
    if properties.get("type") == "run" and isinstance(uses, list):
        tags.setdefault("piste:type", ";".join(str(use) for use in uses))
    return {
        key: value
        for key, value in tags.items()
        if key in {*KEPT_TAGS, "name", "piste:name", "tunnel"}
        or key.startswith("aerialway:")
    }


def _id(feature: dict[str, Any], *, fallback: int) -> int:
    """The number of ``way/257995912``, wherever the export put it."""
    properties = feature.get("properties") or {}
    sources = [
        source.get("id")
        for source in properties.get("sources") or []
        if isinstance(source, dict)
    ]
    given = (feature.get("id"), properties.get("@id"), properties.get("id"), *sources)
    for value in given:
        match = _NUMBER.fullmatch(str(value))
        if match:
            return int(match[1])
    return fallback
