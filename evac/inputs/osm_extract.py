"""An OpenStreetMap extract, as far as a lift needs it: ways, their places, tags.

Reads OSM XML, also gzipped, and PBF. XML is read as a stream with no document type,
entity or outside reference allowed, and with caps on size: an extract comes from
strangers.
"""

from __future__ import annotations

import gzip
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO
from xml.etree.ElementTree import Element, ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import iterparse

from evac.errors import InputError, Problem
from evac.words import Words

KEPT_TAGS = (
    "aerialway",
    "building",
    "highway",
    "landuse",
    "natural",
    "piste:type",
    "power",
    "waterway",
)
"""Ways that carry none of these say nothing about a lift."""
MOST_BYTES = 1_500_000_000
MOST_NODES = 4_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class OsmNode:
    """A place in WGS 84 degrees with its tags."""

    latitude_deg: float
    longitude_deg: float
    tags: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class OsmWay:
    """A way: node ids in order, as drawn."""

    id: int
    nodes: tuple[int, ...]
    tags: Mapping[str, str]

    @property
    def closed(self) -> bool:
        """Whether it ends where it begins."""
        return len(self.nodes) > 2 and self.nodes[0] == self.nodes[-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class OsmExtract:
    """What was read: ways in the file's order, and the nodes they need.

    ``nodes`` lacks those that the extract cut off.
    """

    file: str
    nodes: Mapping[int, OsmNode]
    ways: tuple[OsmWay, ...]

    def places(self, way: OsmWay) -> list[OsmNode]:
        """The nodes of a way that the extract holds, in order."""
        return [self.nodes[node] for node in way.nodes if node in self.nodes]


def problem(key: str, *, where: str, found: str, **values: str | float) -> Problem:
    """One problem of an extract in the words of ``evac/words/en/osm.toml``."""
    words = Words()
    return Problem(
        where=where,
        found=found,
        expected=words.say(f"osm.problem.{key}.expected", **values),
        remedy=words.say(f"osm.problem.{key}.remedy", **values),
    )


def refused(file: str, key: str, *, found: str, **values: str | float) -> InputError:
    """An error about a whole extract."""
    return InputError(file, [problem(key, where="file", found=found, **values)])


def read_extract(path: Path) -> OsmExtract:
    """Read an extract, whatever of the known forms it has.

    Parameters
    ----------
    path : Path
        ``.osm``, ``.osm.gz``, ``.osm.pbf`` or GeoJSON; recognised by its beginning.

    Raises
    ------
    InputError
        If it is none of these, damaged, too large, or PBF without the extra.
    """
    if not path.is_file():
        raise refused(path.name, "missing", found="no such file")
    with path.open("rb") as file:
        start = file.read(64)
    if start.startswith(b"\x1f\x8b"):
        return _from_xml(path, packed=True)
    text = start.lstrip(b"\xef\xbb\xbf \t\r\n")
    if text.startswith(b"<"):
        return _from_xml(path, packed=False)
    if b"OSMHeader" in start:
        from evac.inputs.osm_pbf import read_pbf  # osmium is an optional extra

        return read_pbf(path)
    if text.startswith(b"{"):
        from evac.inputs.osm_geojson import read_geojson

        return read_geojson(path)
    raise refused(path.name, "not_osm", found=f"a file that begins with {start[:24]!r}")


def kept(way: OsmWay) -> bool:
    """Whether a way says anything about a lift."""
    return any(tag in way.tags for tag in KEPT_TAGS)


def assembled(
    file: str, nodes: Mapping[int, OsmNode], ways: list[OsmWay]
) -> OsmExtract:
    """An extract without exact repetitions of ways and without unneeded nodes."""
    unique = list(dict.fromkeys((w.id, w.nodes, tuple(w.tags.items())) for w in ways))
    single = tuple(OsmWay(id=i, nodes=n, tags=dict(t)) for i, n, t in unique)
    needed = {node for way in single for node in way.nodes}
    return OsmExtract(
        file=file,
        nodes={key: node for key, node in nodes.items() if key in needed},
        ways=single,
    )


class _Capped(io.RawIOBase):
    """A stream that refuses to give more bytes than any honest extract has."""

    def __init__(self, stream: BinaryIO, file: str) -> None:
        self._stream = stream
        self._file = file
        self._given = 0

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        chunk = self._stream.read(size)
        self._given += len(chunk)
        if self._given > MOST_BYTES:
            found = f"more than {MOST_BYTES // 1_000_000} MB"
            raise refused(self._file, "too_large", found=found)
        return chunk


def _from_xml(path: Path, *, packed: bool) -> OsmExtract:
    nodes: dict[int, OsmNode] = {}
    ways: list[OsmWay] = []
    try:
        with path.open("rb") as raw:
            stream: BinaryIO = gzip.GzipFile(fileobj=raw) if packed else raw  # type: ignore[assignment]  # GzipFile reads as a BinaryIO does
            for element in _elements(_Capped(stream, path.name), path.name):
                if element.tag == "node":
                    _add_node(nodes, element)
                else:
                    way = _way(element)
                    if kept(way):
                        ways.append(way)
                if len(nodes) > MOST_NODES:
                    found = f"more than {MOST_NODES:,} places"
                    raise refused(path.name, "too_large", found=found)
    except DefusedXmlException as error:
        found = f"a forbidden part: {type(error).__name__}"
        raise refused(path.name, "unsafe_xml", found=found) from error
    except ParseError as error:
        raise refused(path.name, "broken_xml", found=str(error)) from error
    except (OSError, EOFError, UnicodeError) as error:
        raise refused(path.name, "unreadable", found=str(error)) from error
    except (KeyError, ValueError) as error:
        raise refused(path.name, "odd_element", found=str(error)) from error
    return assembled(path.name, nodes, ways)


def _elements(stream: _Capped, file: str) -> Iterator[Element]:
    """Nodes and ways one by one; what was read is let go at once."""
    root: Element | None = None
    for event, element in iterparse(stream, events=("start", "end"), forbid_dtd=True):
        if root is None:
            root = element
            if element.tag != "osm":
                found = f"an XML file of <{element.tag}>"
                raise refused(file, "not_osm", found=found)
        if event == "end" and element.tag in {"node", "way", "relation"}:
            # JOSM marks what was deleted in either of two ways.
            deleted = element.get("visible") == "false"
            deleted = deleted or element.get("action") == "delete"
            if element.tag != "relation" and not deleted:
                yield element
            root.clear()


def _tags(element: Element) -> dict[str, str]:
    return {tag.get("k", ""): tag.get("v", "") for tag in element.iterfind("tag")}


def _add_node(nodes: dict[int, OsmNode], element: Element) -> None:
    node = OsmNode(
        latitude_deg=float(element.attrib["lat"]),
        longitude_deg=float(element.attrib["lon"]),
        tags=_tags(element),
    )
    # NaN fails the comparison as well.
    if not (abs(node.latitude_deg) <= 90 and abs(node.longitude_deg) <= 180):
        message = f"node {element.attrib['id']} at {node.latitude_deg}, "
        raise ValueError(message + f"{node.longitude_deg}")
    nodes[int(element.attrib["id"])] = node


def _way(element: Element) -> OsmWay:
    return OsmWay(
        id=int(element.attrib["id"]),
        nodes=tuple(int(nd.attrib["ref"]) for nd in element.iterfind("nd")),
        tags=_tags(element),
    )
