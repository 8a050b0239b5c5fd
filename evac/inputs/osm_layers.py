"""Hazards, ways and muster points that an OpenStreetMap extract shows near a line."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon, box, mapping
from shapely.geometry.base import BaseGeometry

from evac.frame import Frame
from evac.inputs.osm_extract import OsmExtract, OsmWay
from evac.words import Words

ACCESS_WITHIN_M = 700.0
"""Ways farther from the line than this are left out."""
HAZARD_WITHIN_M = 12.0
"""A thing this close to the line counts as lying under it (a gauge and a swing)."""
SHORTEST_WAY_M = 5.0
MOST_NAME = 120

ROADS = {
    "motorway", "trunk", "primary", "secondary", "tertiary", "unclassified",
    "residential", "living_street", "service", "motorway_link", "trunk_link",
    "primary_link", "secondary_link", "tertiary_link",
}  # fmt: skip
PATHS = {"path", "footway", "steps", "bridleway", "cycleway", "pedestrian"}
STREAMS = {"river", "stream", "canal", "drain", "ditch"}
AREAS = {"water", "building", "forest"}
GATES: Mapping[str, tuple[float, float, float]] = {
    "road": (5.0, 10.0, 20.0),
    "power line": (15.0, 30.0, 60.0),
}
"""Minutes after the order until such a thing is closed or switched off, as assumed."""


Placed = Sequence[tuple[OsmWay, LineString]]


def placed_near(extract: OsmExtract, *, frame: Frame, line: LineString) -> Placed:
    """Every way of an extract that comes near the line, as a line in the frame."""
    near = _near(line)
    ids = list(extract.nodes)
    places = list(extract.nodes.values())
    # One call for all: setting up a projection costs far more than using it.
    x_m, y_m = frame.from_degrees(
        latitude_deg=[place.latitude_deg for place in places],
        longitude_deg=[place.longitude_deg for place in places],
    )
    at = {
        node: (x, y)
        for node, x, y in zip(ids, x_m.tolist(), y_m.tolist(), strict=True)
        if np.isfinite(x) and np.isfinite(y)
    }
    found = []
    for way in extract.ways:
        points = [at[node] for node in way.nodes if node in at]
        if len(points) >= 2 and LineString(points).intersects(near):
            found.append((way, LineString(points)))
    return found


def _near(line: LineString) -> Polygon:
    return box(*line.buffer(ACCESS_WITHIN_M).bounds)


def access_layer(ways: Placed, *, frame: Frame, line: LineString) -> bytes:
    """Pistes, tracks, roads and paths near the line, as GeoJSON; b"" without any."""
    near = _near(line)
    features = []
    for way, place in ways:
        kind = _way_kind(way)
        if kind is None:
            continue
        # A closed piste is an area: its edge is no way down.
        if kind == "piste" and way.closed:
            continue
        for number, part in enumerate(_lines(place.intersection(near)), start=1):
            features.append(
                _feature(
                    part,
                    frame,
                    id=f"{way.id}/{number}",
                    kind=kind,
                    name=_name(way),
                    one_way="no",
                )
            )
    return _collection(features)


def hazard_layer(ways: Placed, *, frame: Frame, line: LineString) -> bytes:
    """What the extract shows under the line, as GeoJSON with assumed gates.

    b"" where nothing is drawn there.
    """
    under = line.buffer(HAZARD_WITHIN_M, cap_style="flat")
    beside = line.buffer(5 * HAZARD_WITHIN_M, cap_style="flat")
    words = Words()
    features = []
    for way, drawn in ways:
        kind = _hazard_kind(way)
        if kind is None:
            continue
        place: BaseGeometry = drawn
        if way.closed and len(drawn.coords) >= 4 and kind in AREAS:
            place = shapely.make_valid(Polygon(drawn.coords))
        part = place.intersection(beside)
        if part.is_empty or not place.intersects(under):
            continue
        gate = GATES.get(kind)
        opens: dict[str, float] = {}
        if gate is not None:
            opens = dict(
                zip(("opens_low_min", "opens_min", "opens_high_min"), gate, strict=True)
            )
        features.append(
            _feature(
                part,
                frame,
                id=str(way.id),
                kind=kind,
                name=_name(way),
                note=words.say("osm.hazard_note"),
                extra_people=1 if kind == "road" else 0,
                extra_s_per_passenger=30 if kind == "water" else 0,
                **opens,
            )
        )
    return _collection(features)


def muster_layer(*, frame: Frame, line: LineString, upper_is_last: bool) -> bytes:
    """Both stations as muster points, as GeoJSON."""
    words = Words()
    ends = [Point(line.coords[0]), Point(line.coords[-1])]
    names = ("lower", "upper") if upper_is_last else ("upper", "lower")
    return _collection(
        [
            _feature(
                end,
                frame,
                id=name,
                name=words.say(f"osm.{name}_station"),
                shelter_places=100,
                vehicle_seats=0,
                vehicle_round_min=0,
                receivers=1,
            )
            for end, name in zip(ends, names, strict=True)
        ]
    )


def _way_kind(way: OsmWay) -> str | None:
    piste = way.tags.get("piste:type", "")
    if {"downhill", "connection", "yes", "skitour"} & set(piste.split(";")):
        return "piste"
    highway = way.tags.get("highway")
    if highway == "track":
        return "track"
    if highway in ROADS:
        return "road"
    return "path" if highway in PATHS else None


def _hazard_kind(way: OsmWay) -> str | None:
    tags = way.tags
    if tags.get("power") in {"line", "minor_line"}:
        return "power line"
    # What runs in a tunnel is not under the rope; a bridge over the line is.
    if tags.get("tunnel", "no") != "no":
        return None
    if tags.get("highway") in ROADS:
        return "road"
    if tags.get("waterway") in STREAMS or tags.get("natural") == "water":
        return "water"
    if tags.get("natural") == "cliff":
        return "rocks"
    if tags.get("building", "no") != "no" and "aerialway" not in tags:
        return "building"
    if tags.get("natural") == "wood" or tags.get("landuse") == "forest":
        return "forest"
    return None


def _lines(geometry: BaseGeometry) -> list[LineString]:
    parts = shapely.get_parts(geometry)
    return [
        part
        for part in parts
        if isinstance(part, LineString) and part.length >= SHORTEST_WAY_M
    ]


def _name(way: OsmWay) -> str:
    name = way.tags.get("name") or way.tags.get("piste:name") or ""
    return "".join(c for c in " ".join(name.split()) if c.isprintable())[:MOST_NAME]


def _feature(geometry: BaseGeometry, frame: Frame, **properties: Any) -> dict[str, Any]:
    def degrees(places: np.ndarray) -> np.ndarray:
        latitude, longitude = frame.to_degrees(x_m=places[:, 0], y_m=places[:, 1])
        return np.column_stack([longitude, latitude]).round(7)

    transform: Callable[[np.ndarray], np.ndarray] = degrees
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": mapping(shapely.transform(geometry, transform)),
    }


def _collection(features: list[dict[str, Any]]) -> bytes:
    if not features:
        return b""
    rows = ",\n".join(json.dumps(feature, ensure_ascii=False) for feature in features)
    text = f'{{"type": "FeatureCollection", "features": [\n{rows}\n]}}\n'
    return text.encode("utf-8")
