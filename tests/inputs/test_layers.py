"""Map layers of every kind that people have give the same ways."""

from __future__ import annotations

import io
import sqlite3
import warnings
import zipfile
from pathlib import Path

import geopandas
import gpxpy
import gpxpy.gpx
import pytest
from shapely.geometry import LineString, Point
from small_folder import write_folder

from evac.errors import InputError
from evac.frame import Frame
from evac.inputs import geo
from evac.inputs.folder import open_lift
from evac.inputs.layers import read_layer

TRACK = [(9.901, 46.8), (9.9012, 46.802), (9.901, 46.804)]


def gpx_track() -> bytes:
    """A track as gpxpy, the reference here, writes it."""
    gpx = gpxpy.gpx.GPX()
    track = gpxpy.gpx.GPXTrack(name="t1")
    track.type = "track"
    track.segments.append(
        gpxpy.gpx.GPXTrackSegment(
            [gpxpy.gpx.GPXTrackPoint(lat, lon, elevation=1500) for lon, lat in TRACK]
        )
    )
    gpx.tracks.append(track)
    return gpx.to_xml().encode("utf-8")


def kml_track() -> bytes:
    """A placemark as map programs write it (OGC KML 2.2)."""
    places = " ".join(f"{lon},{lat},0" for lon, lat in TRACK)
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder/><Folder>
<Placemark><name>t1</name><ExtendedData><Data name="kind"><value>track</value></Data>
</ExtendedData><LineString><coordinates>{places}</coordinates></LineString>
</Placemark></Folder></Document></kml>""".encode()


def kmz_track() -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as file:
        file.writestr("doc.kml", kml_track())
    return packed.getvalue()


def gpkg_track(folder: Path, *, crs: str | None) -> bytes:
    """A GeoPackage as geopandas writes it, with heights, in `crs`."""
    line = LineString([(*place, 1500.0) for place in TRACK])
    frame = geopandas.GeoDataFrame(
        {"id": ["t1"], "kind": ["track"]}, geometry=[line], crs="EPSG:4326"
    )
    frame = frame.to_crs(crs) if crs else frame.set_crs(None, allow_override=True)
    path = folder / f"made-{crs}.gpkg".replace(":", "-")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # "crs was not provided" is what we want
        frame.to_file(path, layer="ways")
    return path.read_bytes()


@pytest.mark.parametrize("ending", ["gpx", "kml", "kmz", "gpkg"])
def test_a_track_reads_alike_from_every_format(tmp_path: Path, ending: str) -> None:
    content = {
        "gpx": gpx_track,
        "kml": kml_track,
        "kmz": kmz_track,
        "gpkg": lambda: gpkg_track(tmp_path, crs="EPSG:31287"),
    }[ending]()
    folder = write_folder(tmp_path / "lift", access_geojson=None)
    (folder / f"access.{ending}").write_bytes(content)

    (feature,) = read_layer(content, file=f"access.{ending}")
    (way,) = open_lift(folder).ways

    # 1e-5 degrees are about 1 m: the datum shift of EPSG:31287 is no better known.
    assert feature.geometry.distance(LineString(TRACK)) < 1e-9 + 1e-5
    assert feature.geometry.length == pytest.approx(LineString(TRACK).length, rel=1e-3)
    assert way.id == "t1"
    assert way.kind == "track"
    assert way.travel == ("foot", "snow vehicle")


@pytest.mark.parametrize(
    ("ending", "content", "message"),
    [
        (
            "gpx",
            b"<!DOCTYPE html><html><body>sign in</body></html>",
            "layer.gpx, the file: found nothing, expected a file without XML entities "
            "and document types. Such files are not read, because they can be used to "
            "attack a computer: export the layer again.",
        ),
        (
            "gpx",
            b"<html><body>sign in</body></html>",
            "layer.gpx, the file: found '<html>', expected GPX. This is another kind "
            "of file (web pages are sometimes saved under such a name): export it as "
            "GPX again.",
        ),
        (
            "kml",
            b'<!DOCTYPE x [<!ENTITY a "aaaa">]><kml>&a;</kml>',
            "layer.kml, the file: found nothing, expected a file without XML entities "
            "and document types. Such files are not read, because they can be used to "
            "attack a computer: export the layer again.",
        ),
        (
            "kml",
            b"<kml><Placemark><name>x</name></Placemark></kml>",
            "layer.kml, feature 1 (x): found nothing, expected a place on the map. "
            "Draw the feature again or delete it.",
        ),
        (
            "gpx",
            b'<gpx><wpt lat="nan" lon="9.9"><name>x</name></wpt></gpx>',
            "layer.gpx, feature 1 (x): found 'POINT (9.9 NaN)', expected coordinates "
            "of a point, line or area. Draw the feature again or delete it.",
        ),
        (
            "gpx",
            b"<gpx></gpx>",
            "layer.gpx, the file: found nothing, expected at least one feature. Draw "
            "the features, or delete the file and its name in [files].",
        ),
        (
            "gpkg",
            b"SQLite format 3\x00 and nothing more",
            "layer.gpkg, the file: found nothing, expected a GeoPackage. Export the "
            "layer as GeoPackage or GeoJSON again.",
        ),
        (
            "shp",
            b"\x00\x00\x27\x0a",
            "layer.shp, the file: found '.shp', expected a map layer: .geojson, .json, "
            ".gpkg, .kml, .kmz, .gpx. Export the layer as GeoJSON (RFC 7946).",
        ),
        (
            "kmz",
            b"PK\x03\x04broken",
            "layer.kmz, the file: found 'a zip', expected KML. This is another kind of "
            "file (web pages are sometimes saved under such a name): export it as KML "
            "again.",
        ),
    ],
)
def test_what_is_no_layer_is_refused(ending: str, content: bytes, message: str) -> None:
    with pytest.raises(InputError) as refused:
        read_layer(content, file=f"layer.{ending}")

    assert str(refused.value) == message


def test_a_geopackage_without_reference_system_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError) as refused:
        read_layer(gpkg_track(tmp_path, crs=None), file="layer.gpkg")

    assert "expected a coordinate reference system" in str(refused.value)


def test_gpx_files_of_the_wild_are_read(shared: Path) -> None:
    # Open data; INDEX.md there says what is awkward in each.
    with_bom = (shared / "real/gpxpy_unicode_with_bom.gpx").read_bytes()
    (only,) = read_layer(with_bom, file="a.gpx")
    assert isinstance(only.geometry, Point)

    many = (shared / "real/graphhopper_test-only-wpt.gpx").read_bytes()
    features = read_layer(many, file="b.gpx")
    kinds = [feature.geometry.geom_type for feature in features]
    reference = gpxpy.parse(many.decode("utf-8"))
    assert kinds.count("Point") == len(reference.waypoints) == 8
    assert kinds.count("LineString") == len(reference.routes)


def test_an_empty_track_of_a_gpx_is_refused_by_name(shared: Path) -> None:
    content = (shared / "real/gpxpy_gpx1.1_with_all_fields.gpx").read_bytes()
    with pytest.raises(InputError) as refused:
        read_layer(content, file="c.gpx")

    assert "expected a place on the map" in str(refused.value)


@pytest.mark.parametrize(
    "name",
    [
        "openskimap_runs_sample.geojson",
        "openskimap_lifts_sample.geojson",
        "dartmouth_skiway_context.geojson",
        "dartmouth_skiway_contours.geojson",
        "bigbear_overpass_AllRunsGeo.geojson",
    ],
)
def test_geojson_of_the_wild_reads_as_geopandas_reads_it(
    shared: Path, name: str
) -> None:
    path = shared / "real" / name
    features = read_layer(path.read_bytes(), file=name)

    reference = geopandas.read_file(path)
    assert len(features) == len(reference)
    for feature, geometry in zip(features, reference.geometry, strict=True):
        assert feature.geometry.equals_exact(
            geopandas.GeoSeries([geometry]).force_2d().iloc[0], 1e-7
        )


def test_a_geopackage_with_an_endless_view_is_given_up(tmp_path: Path) -> None:
    path = tmp_path / "endless.gpkg"
    path.write_bytes(gpkg_track(tmp_path, crs="EPSG:4326"))
    with sqlite3.connect(path) as database:
        # The layer's table becomes a view that counts without end.
        database.execute("UPDATE gpkg_geometry_columns SET table_name = 'endless'")
        database.execute(
            "CREATE VIEW endless AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL "
            "SELECT i + 1 FROM n) SELECT count(*) AS geom FROM n"
        )
    database.close()

    with pytest.raises(InputError) as refused:
        read_layer(path.read_bytes(), file="layer.gpkg")

    assert "expected a GeoPackage" in str(refused.value)


@pytest.mark.parametrize("length", [9_000_000, 300_000_000])
def test_a_geopackage_that_makes_much_of_little_is_refused(
    tmp_path: Path, length: int
) -> None:
    path = tmp_path / "much.gpkg"
    path.write_bytes(gpkg_track(tmp_path, crs="EPSG:4326"))
    with sqlite3.connect(path) as database:
        database.execute("UPDATE gpkg_geometry_columns SET table_name = 'much'")
        database.execute(
            "CREATE VIEW much AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL "
            "SELECT i + 1 FROM n LIMIT 50) "
            "SELECT i AS id, hex(zeroblob(LENGTH)) AS geom FROM n".replace(
                "LENGTH", str(length)
            )
        )
    database.close()

    with pytest.raises(InputError) as refused:
        read_layer(path.read_bytes(), file="layer.gpkg")

    told = str(refused.value)
    assert "expected a GeoPackage" in told or "more than 50 MB of values" in told


def test_more_ways_than_a_resort_has_are_refused(tmp_path: Path) -> None:
    (track,) = read_layer(gpkg_track(tmp_path, crs="EPSG:4326"), file="layer.gpkg")
    frame = Frame(latitude_deg=46.8, longitude_deg=9.9)
    with pytest.raises(InputError, match="found '1,001 ways', expected at most 1,000"):
        geo.ways([track] * 1001, frame=frame, file="access.gpkg")


def test_a_script_of_a_map_server_is_refused_as_no_layer(shared: Path) -> None:
    content = (shared / "real/bigbear_overpass_raw.js").read_bytes()
    with pytest.raises(InputError) as as_script:
        read_layer(content, file="raw.js")
    with pytest.raises(InputError) as as_layer:
        read_layer(content, file="raw.geojson")

    assert "found '.js', expected a map layer: .geojson" in str(as_script.value)
    assert "expected GeoJSON. Export the layer as GeoJSON (RFC 7946) again." in str(
        as_layer.value
    )


def test_pistes_of_the_wild_lack_what_a_way_must_say(
    shared: Path, tmp_path: Path
) -> None:
    # 42 runs without our properties: each is named, none is guessed.
    content = (shared / "real/openskimap_runs_sample.geojson").read_bytes()
    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path, access_geojson=content))

    first = str(refused.value.problems[0])
    assert first.endswith("Draw it as a line, or move it to the layer it belongs to.")
    assert len(refused.value.problems) == 4
