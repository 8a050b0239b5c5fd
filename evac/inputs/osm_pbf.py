"""OpenStreetMap extracts in PBF, by the optional package osmium."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from evac.inputs.osm_extract import (
    MOST_NODES,
    OsmExtract,
    OsmNode,
    OsmWay,
    assembled,
    kept,
    refused,
)

osmium: Any
try:
    import osmium
except ImportError:  # the extra "pbf" is not installed
    osmium = None


def read_pbf(path: Path) -> OsmExtract:
    """Read a PBF extract.

    Raises
    ------
    InputError
        If osmium is not installed, or the file is damaged or too large.
    """
    if osmium is None:
        raise refused(path.name, "no_osmium", found="a PBF file")
    nodes: dict[int, OsmNode] = {}
    ways: list[OsmWay] = []
    try:
        for thing in osmium.FileProcessor(str(path)):
            if thing.is_node():
                nodes[thing.id] = _node(thing)
            elif thing.is_way():
                way = _way(thing)
                if kept(way):
                    ways.append(way)
            if len(nodes) > MOST_NODES:
                found = f"more than {MOST_NODES:,} places"
                raise refused(path.name, "too_large", found=found)
    except (RuntimeError, ValueError) as error:
        # osmium has no error class of its own: damaged files end in these two.
        raise refused(path.name, "unreadable", found=str(error)) from error
    return assembled(path.name, nodes, ways)


def _node(thing: Any) -> OsmNode:
    return OsmNode(
        latitude_deg=thing.location.lat,
        longitude_deg=thing.location.lon,
        tags={tag.k: tag.v for tag in thing.tags},
    )


def _way(thing: Any) -> OsmWay:
    return OsmWay(
        id=thing.id,
        nodes=tuple(node.ref for node in thing.nodes),
        tags={tag.k: tag.v for tag in thing.tags},
    )
