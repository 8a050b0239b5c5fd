"""Supports that the user adds to a lift of a map, from a table of places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from shapely.geometry import LineString, Point

from evac.errors import InputError
from evac.frame import Frame
from evac.inputs.osm_extract import OsmExtract, OsmNode, OsmWay, problem, refused
from evac.inputs.rows import PlaceRow
from evac.inputs.tables import raw_table, read_table

FARTHEST_M = 30.0
"""From the drawn line: beyond this a place belongs to another lift, or is wrong."""
SAME_PLACE_M = 5.0
"""A vertex as near as this is the support itself, drawn without its tag."""

PYLON = {"aerialway": "pylon"}


def with_supports(read: OsmExtract, way: OsmWay, table: Path) -> OsmExtract:
    """The extract with the supports of a table drawn on one of its ways.

    A place at a vertex marks that vertex as a support; any other becomes a vertex of
    the way, between those that it stands between.

    Parameters
    ----------
    read : OsmExtract
        As read.
    way : OsmWay
        The way of the lift, whole.
    table : Path
        CSV or XLSX with the columns ``lat`` and ``lon``, in any order of rows.

    Raises
    ------
    InputError
        If the table cannot be used, or a place is not on the line between its ends.
    """
    try:
        raw = raw_table(table.read_bytes(), file=table.name)
    except OSError as error:
        raise refused(table.name, "missing_table", found=str(error.strerror)) from None
    rows = read_table(raw, model=PlaceRow, name="places")
    places = read.places(way)
    if len(places) < max(2, len(way.nodes)) or way.closed:
        # Not one line with two ends: that is told when the lift is judged.
        return read
    frame = Frame(
        latitude_deg=places[0].latitude_deg, longitude_deg=places[0].longitude_deg
    )
    drawn_m = _in_frame(frame, [(p.latitude_deg, p.longitude_deg) for p in places])
    line = LineString(drawn_m)
    along_m = [float(line.project(Point(place))) for place in drawn_m]
    added_m = _in_frame(frame, [(row.lat, row.lon) for row in rows])
    nodes = dict(read.nodes)
    order = list(zip(along_m, way.nodes, strict=True))
    problems = []
    for row, number, place in zip(rows, raw.numbers, added_m, strict=True):
        here_m = float(line.project(Point(place)))
        off_m = float(line.distance(Point(place)))
        inside = SAME_PLACE_M < here_m < line.length - SAME_PLACE_M
        if off_m > FARTHEST_M or not inside:
            where = f"row {number}, column lat"
            found = f"a place {off_m:,.0f} m off the line, {here_m:,.0f} m along it"
            problems.append(
                problem("off_line", where=where, found=found, most_m=FARTHEST_M)
            )
            continue
        near = int(np.argmin([abs(at_m - here_m) for at_m in along_m]))
        if 0 < near < len(places) - 1 and _apart_m(drawn_m[near], place) < SAME_PLACE_M:
            node = way.nodes[near]
            nodes[node] = replace(nodes[node], tags={**nodes[node].tags, **PYLON})
            continue
        node = min(0, *nodes) - 1
        nodes[node] = OsmNode(latitude_deg=row.lat, longitude_deg=row.lon, tags=PYLON)
        order.append((here_m, node))
    if problems:
        raise InputError(table.name, problems)
    changed = replace(way, nodes=tuple(node for _, node in sorted(order)))
    return replace(
        read,
        nodes=nodes,
        ways=tuple(changed if one is way else one for one in read.ways),
    )


def _in_frame(
    frame: Frame, degrees: Sequence[tuple[float, float]]
) -> list[tuple[float, float]]:
    latitude, longitude = np.array(degrees).T
    x_m, y_m = frame.from_degrees(latitude_deg=latitude, longitude_deg=longitude)
    return [(float(x), float(y)) for x, y in zip(x_m, y_m, strict=True)]


def _apart_m(one: tuple[float, float], other: tuple[float, float]) -> float:
    return float(np.hypot(one[0] - other[0], one[1] - other[1]))
