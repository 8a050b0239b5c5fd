"""Every row of the shared index of real data: what is awkward in it is handled or said.

Source of what is awkward in each file: ``real/INDEX.md``. Terrain has tests of its own
(`tests/dem`): voids of the tile, the Austrian datum, the grid without a CRS.
"""

from __future__ import annotations

import json
import tomllib
from collections import Counter
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from test_lift_folders import hillside

from evac.errors import InputError
from evac.frame import Frame
from evac.inputs.contour_files import contour_lines
from evac.inputs.dem import read_terrain
from evac.inputs.layers import read_layer
from evac.inputs.osm import OsmLift, left_out, lifts_of, reason_text
from evac.inputs.osm_extract import OsmExtract, read_extract
from evac.inputs.osm_folder import lift_folder_files
from evac.words import Words


@cache
def read(path: Path) -> tuple[OsmExtract, tuple[OsmLift, ...]]:
    extract = read_extract(path)
    return extract, tuple(lifts_of(extract))


def lifts(shared: Path, name: str) -> tuple[OsmLift, ...]:
    return read(shared / "real" / name)[1]


def reasons(found: tuple[OsmLift, ...]) -> Counter[str]:
    return Counter(lift.reason for lift in found)


def test_andorra(shared):
    found = lifts(shared, "osm_andorra_2013.osm.gz")
    # "47 of 51 lifts have no pylon at all": each is told why it cannot be planned.
    assert sum(lift.supports == 0 for lift in found) == 47
    assert reasons(found) == {
        "no_supports": 36, "untagged": 10, "reversible": 1, "too_few_supports": 1, "": 3
    }  # fmt: skip
    names = Counter(lift.name for lift in found)
    assert names["la Coma"] == names["Soldeu"] == 2
    assert len({lift.way_id for lift in found}) == 51
    assert any("Set\u00faria" in name for name in names)


def test_liechtenstein(shared):
    found = lifts(shared, "osm_liechtenstein_2013.osm.pbf")
    assert [(lift.way_id, lift.name) for lift in found] == [
        (622, "T\u00e4li"), (623, "Hocheck"), (624, "Sareis")
    ]  # fmt: skip
    # Towers stand there as untagged vertices: they are counted, and not believed.
    assert [lift.unlabelled for lift in found] == [5, 7, 6]
    assert reason_text(found[0], Words()) == (
        "No vertex is tagged as a support (aerialway=pylon); untagged ones, which may "
        "be towers: 5."
    )


def test_purgatory(shared):
    found = lifts(shared, "osm_us_purgatory.osm")
    middle = {lift.name for lift in found if lift.stations == 3}
    assert middle == {"Legends Express", "Grizzly Lift", "Twilight Lift"}
    assert {lift.name for lift in found if lift.reason == "middle_station"} == middle
    twilight = next(lift for lift in found if lift.way_id == 52042183)
    assert (twilight.supports, twilight.unlabelled) == (25, 3)
    # A vertex that is neither pylon nor station does not become a support.
    hermosa = next(lift for lift in found if lift.name == "Hermosa Park Express")
    assert (hermosa.usable, hermosa.supports, hermosa.unlabelled) == (True, 18, 1)


def test_mount_snow(shared, tmp_path):
    name = "osm_us_mount_snow.osm"
    found = lifts(shared, name)
    assert all(lift.name.startswith("#") for lift in found)
    assert reasons(found) == {"": 13, "untagged": 1}
    extract = shared / "real" / name
    terrain = hillside(tmp_path / "hill.tif", extract)
    files = lift_folder_files(extract, way_id=143874600, terrain=terrain)
    # A number sign begins no comment: not in TOML, not in a table.
    toml = tomllib.loads(files["lift.toml"].decode("utf-8"))
    assert toml["lift"]["name"] == "#17 Bluebird Express"
    assert files["supports.csv"].count(b"\n") == 1 + 22 + 2
    # "piste:type=yes" is a piste to come in by.
    ways = json.loads(files["access.geojson"])["features"]
    assert "piste" in {way["properties"]["kind"] for way in ways}


def test_mount_hood_meadows(shared):
    extract, found = read(shared / "real" / "osm_us_mount_hood_meadows.osm")
    # Station outlines are no lifts, and that is said.
    assert reasons(found) == {"": 11}
    assert left_out(extract, Words()) == (
        "Left out as no lifts: outlines of stations (2). Left out, since nobody hangs "
        "above the ground on them or nothing is known of them here: 1 (magic_carpet)."
    )


def test_ski_apache(shared):
    found = lifts(shared, "osm_us_ski_apache.osm")
    gondola = next(lift for lift in found if lift.way_id == 14503870)
    # A station node at one end only: the other end is one all the same.
    assert (gondola.type, gondola.stations, gondola.usable) == ("gondola", 1, True)
    assert "Triple Chair #1" in {lift.name for lift in found}


def test_discovery(shared):
    extract, found = read(shared / "real" / "osm_us_discovery.osm")
    assert [lift.name for lift in found].count("") == 4
    assert all(lift.usable for lift in found)
    # 125 pylons stand in the file; the orphan is on no way and on no lift.
    assert sum(lift.supports for lift in found) == 124
    assert len(extract.ways) > len(found)


def test_big_powderhorn_mountain(shared):
    found = lifts(shared, "osm_us_big_powderhorn_mountain.osm")
    # Names begin with a digit and stay names.
    assert {lift.name for lift in found} >= {"9 Shotgun", "1 Alpen"}
    assert sum(lift.supports for lift in found) == 88


def test_dartmouth_skiway(shared):
    found = lifts(shared, "osm_us_dartmouth_skiway.osm")
    # No station nodes: the untagged end vertices are the stations.
    assert [(lift.stations, lift.supports, lift.usable) for lift in found] == [
        (0, 10, True), (0, 14, True)
    ]  # fmt: skip


def test_bigbear(shared):
    found = lifts(shared, "bigbear_overpass_AllRunsGeo.geojson")
    # Ids are strings such as "way/257995912".
    assert {257995912, 257995920} <= {lift.way_id for lift in found}
    assert sum(lift.stations for lift in found) == 18
    assert not any(lift.usable for lift in found)
    with pytest.raises(InputError, match="must first be cut down to the GeoJSON in it"):
        read_extract(shared / "real" / "bigbear_overpass_raw.js")


def test_openskimap_lifts(shared):
    extract, (lift,) = read(shared / "real" / "openskimap_lifts_sample.geojson")
    # Heights in the coordinates do not change places; the four others are no lifts
    # above the ground, one of them without a name.
    assert lift.name == "Sky Lift"
    assert lift.unlabelled == 14 - 2
    assert left_out(extract, Words()).endswith(
        "4 (drag_lift, magic_carpet, rope_tow, t-bar)."
    )


def test_the_srtm_tile_and_its_crop(shared):
    frame = Frame(latitude_deg=42.575, longitude_deg=1.47)
    bounds = (-3000.0, -3000.0, 3000.0, 3000.0)
    for name in ("N42E001.hgt.zip", "dem_andorra_arinsal_srtm3_crop.tif"):
        terrain = read_terrain(shared / "real" / name, frame=frame, bounds=bounds)
        # 3 arc seconds are 92.6 m north and 68 m east here: the longer one counts.
        assert terrain.source_cell_m == pytest.approx(92.6, abs=0.5)
        known = terrain.elevation_m[np.isfinite(terrain.elevation_m)]
        assert 835 <= known.min() < known.max() <= 2911
        assert terrain.sd_m == pytest.approx(6.1)


def test_nordkette(shared):
    frame = Frame(latitude_deg=47.3, longitude_deg=11.4315)
    terrain = read_terrain(
        shared / "real" / "dem_avaAlr_nordkette_5m_f32.tif",
        frame=frame,
        bounds=(-1500.0, -1500.0, 1500.0, 1500.0),
    )
    void = np.isnan(terrain.elevation_m)
    # 31 % of its cells are -9999: they are voids, and none is a depth of 9,999 m.
    assert void.any()
    assert 566 <= np.nanmin(terrain.elevation_m) <= np.nanmax(terrain.elevation_m)
    assert np.nanmax(terrain.elevation_m) <= 2452


def test_the_grid_without_a_crs(shared):
    path = shared / "real" / "dem_avaPfa_1m.asc"
    frame = Frame(latitude_deg=47.136, longitude_deg=10.27)
    bounds = (-50.0, -50.0, 50.0, 50.0)
    with pytest.raises(InputError, match=r"found no CRS.*--terrain-crs EPSG:31287"):
        read_terrain(path, frame=frame, bounds=bounds)
    terrain = read_terrain(path, frame=frame, bounds=bounds, crs="EPSG:31287")
    assert 1278 <= np.nanmin(terrain.elevation_m) <= np.nanmax(terrain.elevation_m)
    assert np.nanmax(terrain.elevation_m) <= 1394


def test_the_contours(shared):
    lines = contour_lines(shared / "real" / "dartmouth_skiway_contours.geojson")
    assert [height for _, height in lines] == pytest.approx(np.arange(280, 601, 20))


@pytest.mark.parametrize(
    ("name", "count", "kinds"),
    [
        ("openskimap_runs_sample.geojson", 42, {"LineString": 38, "Polygon": 4}),
        (
            "dartmouth_skiway_context.geojson",
            10,
            {"Polygon": None, "LineString": None, "MultiLineString": None},
        ),
    ],
)
def test_ground_routes_of_mixed_kinds(shared, name, count, kinds):
    found = read_layer((shared / "real" / name).read_bytes(), file=name)
    here = Counter(feature.geometry.geom_type for feature in found)
    assert len(found) == count
    assert set(here) == set(kinds)
    assert all(here[kind] == wanted for kind, wanted in kinds.items() if wanted)
    # Heights would be mixed with none: all are dropped.
    assert not any(feature.geometry.has_z for feature in found)
    # Nested properties stay text and break nothing.
    assert all(isinstance(cell, str) for f in found for cell in f.properties.values())


def test_the_gpx_files(shared):
    def features(name):
        return read_layer((shared / "real" / name).read_bytes(), file=name)

    (only,) = features("gpxpy_unicode_with_bom.gpx")
    assert only.geometry.geom_type == "Point"
    named = features("graphhopper_test-only-wpt.gpx")
    kinds = Counter(feature.geometry.geom_type for feature in named)
    assert kinds == {"Point": 8, "LineString": 1}
    # None of them has a name: each is known by its number in the file.
    assert [feature.properties["id"] for feature in named] == list("123456789")
    # Empty tracks are refused, each by its number and name.
    with pytest.raises(InputError, match="expected a place on the map") as refused:
        features("gpxpy_gpx1.1_with_all_fields.gpx")
    assert len(refused.value.problems) == 2
