"""Ways and off-way walks as strands of short pieces, joined where they meet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry import LineString, Point

from evac.facts.lift import FloatArray, Lift

PIECE_M = 20.0
"""Longest piece over which the ground is taken as straight."""

SNAP_M = 10.0
"""A way that ends this near to another is meant to meet it."""

OFF_WAY_M = 400.0
"""Off any way nobody is sent farther than this, unless there is no nearer way."""

NEAREST_WAYS = 4
BOARD_M = 60.0
"""A vehicle stands this near to the way that it drives."""

LIFT_KIND = "lift"
ON_FOOT = ("foot",)
FOOT_AND_VEHICLE = ("foot", "snow vehicle")


@dataclass(frozen=True, slots=True, kw_only=True)
class Strand:
    """A polyline cut into pieces; ``way_id`` is "" off any way."""

    places: FloatArray
    """(m, 2)"""
    way_id: str
    travel: tuple[str, ...]
    one_way: bool
    speed_m_per_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Join:
    """Two strands meet: (strand, node) and (strand, node), this far apart."""

    first: tuple[int, int]
    second: tuple[int, int]
    length_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Web:
    """All strands and joins; ``place_node`` says where each named place is."""

    strands: tuple[Strand, ...]
    joins: tuple[Join, ...]
    place_node: Mapping[str, tuple[int, int]]


@dataclass(slots=True)
class _Cuts:
    """A way while it is being cut: its line, its attributes, where it is cut."""

    line: LineString
    strand: Strand
    is_lift: bool
    at_m: list[float] = field(default_factory=list)


def weave(
    lift: Lift,
    places: Mapping[str, tuple[float, float]],
    *,
    walks: Sequence[tuple[str, str]] = (),
    vehicle_places: Sequence[str] = (),
) -> Web:
    """Ways cut where they meet, and walks from every place to the nearest ways.

    Ways meet where they cross and where one ends within a few metres of another. A
    lift is joined at its two ends only: it hangs over what it crosses.

    Parameters
    ----------
    lift : Lift
    places : mapping
        Name -> (x_m, y_m) of start places, supports, muster points.
    walks : sequence of (str, str)
        Pairs of places with a straight off-way walk between them.
    vehicle_places : sequence of str
        Places from which a vehicle may drive to a way that passes near.
    """
    ways = _cut_ways(lift)
    meetings = _meetings(ways)
    links = _links(ways, places, vehicle_places)
    for (first, first_m), (second, second_m), _ in meetings:
        ways[first].at_m.append(first_m)
        ways[second].at_m.append(second_m)
    for _, number, at_m, _ in links:
        ways[number].at_m.append(at_m)
    strands, positions = [], []
    for way in ways:
        at = _positions(way)
        positions.append(at)
        strands.append(_with_places(way.strand, _along(way.line, at)))

    def node(way: int, at_m: float) -> tuple[int, int]:
        return way, int(np.argmin(np.abs(positions[way] - at_m)))

    joins = [
        Join(first=node(*first), second=node(*second), length_m=gap_m)
        for first, second, gap_m in meetings
    ]
    place_node: dict[str, tuple[int, int]] = {}
    for name, place in places.items():
        place_node[name] = (len(strands), 0)
        strands.append(_walk(np.array([place]), travel=FOOT_AND_VEHICLE))
    for name, number, at_m, travel in links:
        end = strands[number].places[node(number, at_m)[1]]
        _lay(strands, joins, place_node[name], node(number, at_m), end, travel)
    for start, end_name in walks:
        end = np.asarray(places[end_name], dtype=float)
        _lay(strands, joins, place_node[start], place_node[end_name], end, ON_FOOT)
    return Web(strands=tuple(strands), joins=tuple(joins), place_node=place_node)


def _lay(
    strands: list[Strand],
    joins: list[Join],
    start: tuple[int, int],
    end: tuple[int, int],
    end_place: FloatArray,
    travel: tuple[str, ...],
) -> None:
    """Lay a straight off-way strand between two nodes."""
    start_place = strands[start[0]].places[start[1]]
    line = LineString([start_place, end_place])
    count = max(int(np.ceil(line.length / PIECE_M)), 1)
    places = _along(line, np.linspace(0.0, line.length, count + 1))
    number = len(strands)
    strands.append(_walk(places, travel=travel))
    joins.append(Join(first=start, second=(number, 0), length_m=0.0))
    joins.append(Join(first=(number, count), second=end, length_m=0.0))


def _walk(places: FloatArray, *, travel: tuple[str, ...]) -> Strand:
    return Strand(
        places=places, way_id="", travel=travel, one_way=False, speed_m_per_s=None
    )


def _with_places(strand: Strand, places: FloatArray) -> Strand:
    return Strand(
        places=places,
        way_id=strand.way_id,
        travel=strand.travel,
        one_way=strand.one_way,
        speed_m_per_s=strand.speed_m_per_s,
    )


def _cut_ways(lift: Lift) -> list[_Cuts]:
    ways = []
    for way in lift.ways:
        strand = Strand(
            places=np.empty((0, 2)),
            way_id=way.id,
            travel=way.travel,
            one_way=way.one_way,
            speed_m_per_s=way.speed_m_per_s,
        )
        for part in shapely.get_parts(way.geometry):
            if part.geom_type == "LineString" and part.length > 0:
                is_lift = way.kind == LIFT_KIND
                if is_lift and is_own_line(lift, part):
                    continue
                ways.append(_Cuts(line=part, strand=strand, is_lift=is_lift))
    return ways


def is_own_line(lift: Lift, line: LineString) -> bool:
    """Whether a lift of the access layer is the very lift that stands still."""
    supports = lift.supports
    own = LineString([(s.x_m, s.y_m) for s in supports])
    near = line.intersection(own.buffer(lift.gauge_m + SNAP_M))
    return bool(near.length > 0.9 * line.length)


Meeting = tuple[tuple[int, float], tuple[int, float], float]


def _meetings(ways: list[_Cuts]) -> list[Meeting]:
    """Where two ways meet: (way, metres along) twice, and the gap between."""
    found: list[Meeting] = []
    if len(ways) < 2:
        return found
    lines = [way.line for way in ways]
    tree = shapely.STRtree(lines)
    pairs = {
        (int(min(a, b)), int(max(a, b)))
        for a, b in tree.query(lines, predicate="dwithin", distance=SNAP_M).T
        if a != b
    }
    for first, second in sorted(pairs):
        places: list[Point] = []
        if not (ways[first].is_lift or ways[second].is_lift):
            crossing = lines[first].intersection(lines[second])
            places += [Point(xy) for xy in shapely.get_coordinates(crossing)]
        if not ways[first].is_lift:
            places += _ends_near(lines[second], lines[first])
        if not ways[second].is_lift:
            places += _ends_near(lines[first], lines[second])
        if ways[first].is_lift and ways[second].is_lift:
            for end, other in _ends(lines[first], lines[second]):
                if end.distance(other) <= SNAP_M:
                    places.append(end)
        for place in places:
            on_first, on_second = (
                lines[first].project(place),
                lines[second].project(place),
            )
            gap_m = (
                lines[first]
                .interpolate(on_first)
                .distance(lines[second].interpolate(on_second))
            )
            if gap_m <= SNAP_M:
                found.append(((first, on_first), (second, on_second), float(gap_m)))
    return found


def _ends(first: LineString, second: LineString) -> list[tuple[Point, Point]]:
    return [
        (Point(first.coords[a]), Point(second.coords[b]))
        for a in (0, -1)
        for b in (0, -1)
    ]


def _ends_near(ending: LineString, other: LineString) -> list[Point]:
    ends = [Point(ending.coords[0]), Point(ending.coords[-1])]
    return [end for end in ends if end.distance(other) <= SNAP_M]


Link = tuple[str, int, float, tuple[str, ...]]


def _links(
    ways: list[_Cuts],
    places: Mapping[str, tuple[float, float]],
    vehicle_places: Sequence[str],
) -> list[Link]:
    """From every place to its nearest ways: (place, way, metres along, travel)."""
    found: list[Link] = []
    if not ways:
        return found
    for name, xy in places.items():
        place = Point(xy)
        gaps = [
            min(place.distance(Point(way.line.coords[end])) for end in (0, -1))
            if way.is_lift
            else place.distance(way.line)
            for way in ways
        ]
        nearest = np.argsort(gaps, kind="stable")
        for rank, way in enumerate(int(number) for number in nearest[:NEAREST_WAYS]):
            if rank > 0 and gaps[way] > OFF_WAY_M:
                break
            line = ways[way].line
            at_m = float(line.project(place))
            if ways[way].is_lift:
                at_m = 0.0 if at_m < line.length / 2 else float(line.length)
            drives = (
                name in vehicle_places
                and gaps[way] <= BOARD_M
                and "snow vehicle" in ways[way].strand.travel
            )
            found.append((name, way, at_m, FOOT_AND_VEHICLE if drives else ON_FOOT))
    return found


def _positions(way: _Cuts) -> FloatArray:
    """Where a way is cut: its corners, its meetings, and every few metres."""
    corners = [way.line.project(Point(xy)) for xy in way.line.coords]
    count = max(int(np.ceil(way.line.length / PIECE_M)), 1)
    every = np.linspace(0.0, way.line.length, count + 1)
    at = np.unique(np.concatenate([corners, every, way.at_m]).round(3))
    # Rounding must not lose the end, at which other ways are joined.
    positions: FloatArray = np.minimum(at, way.line.length)
    return positions


def _along(line: LineString, at_m: FloatArray) -> FloatArray:
    places: FloatArray = shapely.get_coordinates(
        shapely.line_interpolate_point(line, at_m)
    )
    return places
