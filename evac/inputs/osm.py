"""The lifts of an OpenStreetMap extract, and which of them can be planned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from pyproj import Geod

from evac.facts.lift import FloatArray
from evac.frame import meets_antimeridian
from evac.inputs.osm_extract import OsmExtract, OsmNode, OsmWay, read_extract
from evac.words import Words

LIFT_TYPES = ("chair_lift", "gondola", "cable_car", "mixed_lift")
"""Values of the tag ``aerialway`` whose passengers hang above the ground."""
LONGEST_WITHOUT_SUPPORT_M = 400.0
"""A longer stretch without a support was hardly drawn in full."""
SHARPEST_BEND_DEG = 3.0
"""A rope turns so little at rollers that a sharper bend is an angle station."""
SHORTEST_LEG_M = 30.0
"""Bends between shorter stretches come from drawing by hand."""

_WGS84 = Geod(ellps="WGS84")


@dataclass(frozen=True, slots=True, kw_only=True)
class OsmLift:
    """One lift of an extract.

    ``length_m`` is geodesic along the drawn line. ``supports`` counts vertices tagged
    as pylons, ``unlabelled`` inner vertices without any such tag. ``reason`` is a
    words key below ``osm.reason.`` where the lift is not usable, "" otherwise.
    """

    way_id: int
    type: str
    name: str
    length_m: float
    supports: int
    stations: int
    unlabelled: int
    longest_span_m: float
    usable: bool
    reason: str
    reason_values: Mapping[str, str | float | int] = field(default_factory=dict)


def list_lifts(extract: Path) -> list[OsmLift]:
    """Every lift of an extract, in order of type and way id.

    Parameters
    ----------
    extract : Path
        OSM XML, also gzipped, PBF (with the extra ``pbf``) or GeoJSON.

    Returns
    -------
    list of OsmLift
        Usable or not; drag lifts and other surface lifts are left out.

    Raises
    ------
    InputError
        If the extract cannot be read.
    """
    return lifts_of(read_extract(extract))


def lifts_of(read: OsmExtract) -> list[OsmLift]:
    """As `list_lifts`, of an extract that was read already."""
    return [judged(way, read) for way in lift_ways(read)]


def left_out(read: OsmExtract, words: Words) -> str:
    """What else is tagged as an aerialway and is no lift here; "" where nothing is."""
    kinds = [way.tags["aerialway"] for way in read.ways if "aerialway" in way.tags]
    outlines = kinds.count("station")
    others = [kind for kind in kinds if kind not in (*LIFT_TYPES, "station")]
    said = []
    if outlines:
        said.append(words.say("osm.left_out_outlines", count=outlines))
    if others:
        names = ", ".join(sorted(set(others)))
        said.append(words.say("osm.left_out_others", count=len(others), kinds=names))
    return " ".join(said)


def reason_text(lift: OsmLift, words: Words) -> str:
    """Why a lift is not usable, as a sentence; "" where it is."""
    if not lift.reason:
        return ""
    return words.say(f"osm.reason.{lift.reason}", **lift.reason_values)


def lift_ways(extract: OsmExtract) -> list[OsmWay]:
    """The ways of an extract that are lifts, in order of type and id."""
    found = [way for way in extract.ways if way.tags.get("aerialway") in LIFT_TYPES]
    return sorted(found, key=lambda way: (way.tags["aerialway"], way.id))


def judged(way: OsmWay, extract: OsmExtract) -> OsmLift:
    """One lift with what its drawing tells, and whether that is enough."""
    places = extract.places(way)
    distance_m = along_m(places)
    pylon = np.array([is_pylon(node) for node in places], dtype=bool)
    station = np.array([_is_station(node) for node in places], dtype=bool)
    inner = np.zeros(len(places), dtype=bool)
    inner[1:-1] = True
    kept_m = distance_m[(pylon & inner) | ~inner] if len(places) else distance_m
    longest_m = float(np.diff(kept_m).max()) if kept_m.size > 1 else 0.0
    reason, values = _reason(
        way,
        extract,
        places=places,
        distance_m=distance_m,
        pylons=int(pylon.sum()),
        middle=np.flatnonzero(station & inner),
        unlabelled=int((inner & ~pylon & ~station).sum()),
        longest_m=longest_m,
    )
    return OsmLift(
        way_id=way.id,
        type=way.tags["aerialway"],
        name=" ".join(way.tags.get("name", "").split()),
        length_m=float(distance_m[-1]) if distance_m.size else 0.0,
        supports=int(pylon.sum()),
        stations=int(station.sum()),
        unlabelled=int((inner & ~pylon & ~station).sum()),
        longest_span_m=longest_m,
        usable=not reason,
        reason=reason,
        reason_values=values,
    )


def along_m(places: list[OsmNode]) -> FloatArray:
    """Geodesic distance [m] of each place from the first, along the drawn line."""
    if not places:
        return np.empty(0)
    longitude = [place.longitude_deg for place in places]
    latitude = [place.latitude_deg for place in places]
    legs = _WGS84.line_lengths(longitude, latitude)
    return np.concatenate([[0.0], np.cumsum(np.atleast_1d(legs))])[: len(places)]


def is_pylon(node: OsmNode) -> bool:
    """Whether a node is tagged as a support of a lift."""
    return node.tags.get("aerialway") == "pylon"


def _is_station(node: OsmNode) -> bool:
    return node.tags.get("aerialway") == "station"


def _reason(
    way: OsmWay,
    extract: OsmExtract,
    *,
    places: list[OsmNode],
    distance_m: FloatArray,
    pylons: int,
    middle: np.ndarray,
    unlabelled: int,
    longest_m: float,
) -> tuple[str, Mapping[str, str | float | int]]:
    """The first thing that keeps a lift from being planned; "" if there is none."""
    lost = len(way.nodes) - len(places)
    if lost:
        return "cut", {"count": lost}
    if len(places) < 2 or distance_m[-1] == 0:
        return "no_line", {}
    if meets_antimeridian(
        latitude_deg=places[0].latitude_deg, longitude_deg=places[0].longitude_deg
    ):
        return "antimeridian", {}
    if way.closed:
        return "closed", {}
    if sum(other.id == way.id for other in extract.ways) > 1:
        return "id_twice", {}
    if way.tags["aerialway"] == "cable_car":
        return "reversible", {}
    if way.tags["aerialway"] == "mixed_lift":
        return "mixed", {}
    other = _continued_in(way, extract)
    if other is not None:
        return "several_ways", {"other": str(other)}
    if middle.size:
        return "middle_station", {"at_m": float(distance_m[middle[0]])}
    if pylons == 0 and unlabelled:
        return "untagged", {"count": unlabelled}
    if pylons == 0:
        return "no_supports", {}
    if longest_m > LONGEST_WITHOUT_SUPPORT_M:
        return "too_few_supports", {
            "span_m": longest_m,
            "most_m": LONGEST_WITHOUT_SUPPORT_M,
            "supports": pylons,
        }
    bend_deg, at_m = sharpest_bend(places, distance_m)
    if bend_deg > SHARPEST_BEND_DEG:
        return "bend", {"bend_deg": bend_deg, "at_m": at_m}
    return "", {}


def sharpest_bend(places: list[OsmNode], distance_m: FloatArray) -> tuple[float, float]:
    """The sharpest bend [deg] between long stretches, and where along the line [m]."""
    keep = [0]
    for index in range(1, len(places)):
        if distance_m[index] - distance_m[keep[-1]] >= SHORTEST_LEG_M:
            keep.append(index)
    corner = [places[index] for index in keep]
    if len(corner) < 3:
        return 0.0, 0.0
    azimuth, _, _ = _WGS84.inv(
        [node.longitude_deg for node in corner[:-1]],
        [node.latitude_deg for node in corner[:-1]],
        [node.longitude_deg for node in corner[1:]],
        [node.latitude_deg for node in corner[1:]],
    )
    turn = np.abs((np.diff(azimuth) + 180) % 360 - 180)
    worst = int(np.argmax(turn))
    return float(turn[worst]), float(distance_m[keep[worst + 1]])


def _continued_in(way: OsmWay, extract: OsmExtract) -> int | None:
    """Another way that carries this lift on beyond one of its ends, if there is one."""
    for other in extract.ways:
        same = other.tags.get("aerialway") == way.tags["aerialway"]
        named = other.tags.get("name", "") == way.tags.get("name", "")
        if other.id == way.id or not (same and named) or other.closed:
            continue
        for end in {way.nodes[0], way.nodes[-1]} & {other.nodes[0], other.nodes[-1]}:
            if _straight_through(way, other, end, extract):
                return other.id
    return None


def _straight_through(
    way: OsmWay, other: OsmWay, end: int, extract: OsmExtract
) -> bool:
    """Whether two ways that share an end go on in about the same direction."""
    outward = []
    for one in (way, other):
        places = extract.places(one)
        if one.nodes[0] != end:
            places = places[::-1]
        if len(places) < 2:
            return False
        azimuth, _, _ = _WGS84.inv(
            places[0].longitude_deg,
            places[0].latitude_deg,
            places[-1].longitude_deg,
            places[-1].latitude_deg,
        )
        outward.append(azimuth)
    opposite = abs((outward[0] - outward[1]) % 360 - 180)
    return bool(opposite < 20)
