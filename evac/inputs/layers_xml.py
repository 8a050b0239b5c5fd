"""GPX and KML layers, read without ever expanding an entity or fetching anything."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from typing import Any

import defusedxml
from defusedxml import ElementTree
from shapely.geometry import LineString, MultiLineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from evac.errors import InputError, Problem
from evac.inputs.features import (
    MOST_BYTES,
    MOST_FEATURES,
    Feature,
    named,
    place_fault,
)
from evac.inputs.problems import problem


def gpx_features(content: bytes, *, file: str) -> tuple[Feature, ...]:
    """Waypoints, routes and tracks of a GPX file, with or without its namespace.

    ``name`` is also the id, ``type`` the kind; children of ``extensions`` are
    properties of their own. Heights are not used.

    Raises
    ------
    InputError
        If it is no GPX, or a feature has no usable place.
    """
    root = _root(content, file=file, name="gpx")
    entries: list[tuple[Any, BaseGeometry | None]] = []
    for element in root:
        name = _local(element)
        if name == "wpt":
            entries.append((element, _gpx_line([element])))
        elif name == "rte":
            entries.append((element, _gpx_line(_children(element, "rtept"))))
        elif name == "trk":
            parts = [
                _gpx_line(_children(segment, "trkpt"))
                for segment in _children(element, "trkseg")
            ]
            lines = [part for part in parts if isinstance(part, LineString)]
            entries.append((element, MultiLineString(lines) if lines else None))
    return _checked(
        [(_gpx_properties(element), geometry) for element, geometry in entries],
        file=file,
    )


def kml_features(content: bytes, *, file: str) -> tuple[Feature, ...]:
    """Placemarks of a KML file, or of the document inside a KMZ.

    ``name`` is also the id; the values of ``ExtendedData`` are properties.

    Raises
    ------
    InputError
        If it is no KML, or a placemark has no usable place.
    """
    if content[:2] == b"PK":
        content = _unzipped(content, file=file)
    root = _root(content, file=file, name="kml")
    return _checked(
        [
            (_kml_properties(element), _kml_geometry(element))
            for element in root.iter()
            if _local(element) == "Placemark"
        ],
        file=file,
    )


def _checked(
    entries: list[tuple[dict[str, str], BaseGeometry | None]], *, file: str
) -> tuple[Feature, ...]:
    if len(entries) > MOST_FEATURES:
        found = f"{len(entries):,} features"
        raise InputError(
            file,
            [problem("too_large", where="the file", found=found, most=MOST_FEATURES)],
        )
    features: list[Feature] = []
    problems: list[Problem] = []
    for number, (properties, geometry) in enumerate(entries, start=1):
        where = named(number, properties.get("name", ""))
        if geometry is None:
            problems.append(problem("no_geometry", where=where))
            continue
        fault = place_fault(geometry, where=where)
        if fault is not None:
            problems.append(fault)
            continue
        cells = {"id": properties.get("name", "") or str(number), **properties}
        features.append(Feature(where=where, properties=cells, geometry=geometry))
    if problems:
        raise InputError(file, problems)
    return tuple(features)


def _root(content: bytes, *, file: str, name: str) -> Any:
    """The root element; refuses what is no XML of that name, and any entity."""
    try:
        root = ElementTree.fromstring(content.strip(), forbid_dtd=True)
    except defusedxml.DefusedXmlException:
        raise InputError(file, [problem("xml_entities", where="the file")]) from None
    except (ElementTree.ParseError, ValueError, LookupError):
        # An unknown encoding in the declaration raises a LookupError or ValueError.
        found = content.strip()[:30].decode("utf-8", "replace")
        raise InputError(
            file, [problem("not_xml", where="the file", found=found, name=name.upper())]
        ) from None
    if _local(root).lower() != name:
        raise InputError(
            file,
            [
                problem(
                    "not_xml",
                    where="the file",
                    found=f"<{_local(root)}>",
                    name=name.upper(),
                )
            ],
        )
    return root


def _local(element: Any) -> str:
    tag = element.tag
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def _children(element: Any, name: str) -> list[Any]:
    return [child for child in element if _local(child) == name]


def _gpx_line(points: list[Any]) -> BaseGeometry | None:
    """A point or line of elements with ``lat`` and ``lon``; None where none is usable.

    A single place that cannot be read makes the whole unusable: a line with a gap
    would lead a team somewhere else.
    """
    places = []
    for point in points:
        try:
            places.append((float(point.get("lon", "")), float(point.get("lat", ""))))
        except ValueError:
            return None
    if not places:
        return None
    if len(places) == 1:
        return Point(places[0])
    return LineString(places)


def _gpx_properties(element: Any) -> dict[str, str]:
    found = {
        _local(child).lower(): (child.text or "").strip()
        for child in element
        if not len(child)
    }
    for extensions in _children(element, "extensions"):
        for child in extensions.iter():
            if child is not extensions and not len(child):
                found[_local(child).lower()] = (child.text or "").strip()
    if "type" in found:
        found.setdefault("kind", found["type"])
    return found


def _kml_properties(element: Any) -> dict[str, str]:
    found: dict[str, str] = {}
    for child in element.iter():
        name = _local(child)
        if name == "name" and "name" not in found:
            found["name"] = (child.text or "").strip()
        elif name == "SimpleData":
            found[str(child.get("name", "")).lower()] = (child.text or "").strip()
        elif name == "Data":
            values = _children(child, "value")
            text = (values[0].text or "").strip() if values else ""
            found[str(child.get("name", "")).lower()] = text
    return found


def _kml_geometry(element: Any) -> BaseGeometry | None:
    shapes = list(_kml_shapes(element))
    if not shapes or any(made is None for made in shapes):
        return None
    made = [each for each in shapes if each is not None]
    return made[0] if len(made) == 1 else unary_union(made)


def _kml_shapes(element: Any) -> Iterator[BaseGeometry | None]:
    for child in element.iter():
        name = _local(child)
        if name in ("Point", "LineString"):
            places = _kml_places(child)
            if not places:
                yield None
            elif name == "Point" or len(places) == 1:
                yield Point(places[0])
            else:
                yield LineString(places)
        elif name == "outerBoundaryIs":
            places = _kml_places(child)
            yield Polygon(places) if len(places) >= 4 else None


def _kml_places(element: Any) -> list[tuple[float, float]]:
    """The coordinates inside an element; [] where one cannot be read."""
    places = []
    for child in element.iter():
        if _local(child) != "coordinates":
            continue
        for triple in (child.text or "").split():
            parts = triple.split(",")
            try:
                places.append((float(parts[0]), float(parts[1])))
            except (ValueError, IndexError):
                return []
    return places


def _unzipped(content: bytes, *, file: str) -> bytes:
    """The first document of a KMZ, if it stays within bounds."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            names = [n for n in packed.namelist() if n.lower().endswith(".kml")]
            if not names:
                raise InputError(
                    file,
                    [problem("not_xml", where="the file", found="a zip", name="KML")],
                )
            with packed.open(names[0]) as document:
                unpacked = document.read(MOST_BYTES + 1)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, OSError):
        # Encrypted or exotic archives raise the middle ones.
        raise InputError(
            file, [problem("not_xml", where="the file", found="a zip", name="KML")]
        ) from None
    if len(unpacked) > MOST_BYTES:
        raise InputError(
            file,
            [
                problem(
                    "too_large",
                    where=names[0],
                    found=f"more than {MOST_BYTES:,} bytes unpacked",
                    most=MOST_BYTES,
                )
            ],
        )
    return unpacked
