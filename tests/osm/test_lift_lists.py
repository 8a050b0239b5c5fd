"""Lifts of OpenStreetMap extracts: all listed, measured, judged with a reason."""

from __future__ import annotations

import csv
import gzip
from pathlib import Path

import pytest
from places import shared_folder

from evac.errors import InputError
from evac.inputs import osm_extract, osm_pbf
from evac.inputs.osm import OsmLift, list_lifts, reason_text
from evac.words import Words


def measured() -> list[dict[str, str]]:
    """Rows of LIFTS.csv; none where the shared data is missing."""
    folder = shared_folder()
    if folder is None:
        return []
    with (folder / "real" / "LIFTS.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def lifts(shared) -> dict[tuple[str, int], OsmLift]:
    files = sorted({row["file"] for row in measured()})
    return {
        (name, lift.way_id): lift
        for name in files
        for lift in list_lifts(shared / "real" / name)
    }


def expected_reason(row: dict[str, str]) -> str:
    """The verdict that follows from the columns of LIFTS.csv alone."""
    pylons, stations = int(row["pylons"]), int(row["stations"])
    if row["type"] == "cable_car":
        return "reversible"
    if stations > 2:
        return "middle_station"
    if pylons == 0:
        inner = int(row["nodes"]) - 2
        return "untagged" if inner > 0 else "no_supports"
    return "too_few_supports" if float(row["max_span_m"]) > 400 else ""


def test_all_115_ways_are_listed_and_no_other(lifts):
    wanted = {(row["file"], int(row["way_id"])) for row in measured()}
    assert len(wanted) == 115
    assert set(lifts) == wanted


@pytest.mark.parametrize(
    "row", measured(), ids=lambda row: f"{row['file'][4:-4]}-{row['way_id']}"
)
def test_each_way_has_its_length_pylons_and_verdict(lifts, row):
    # Source: real/LIFTS.csv, measured by others from the same extracts.
    lift = lifts[row["file"], int(row["way_id"])]
    # LIFTS.csv rounds to 1 m, which is 0.5 % of the shortest lift (104 m).
    tolerance_m = max(0.005 * float(row["plan_length_m"]), 0.5)
    assert lift.length_m == pytest.approx(float(row["plan_length_m"]), abs=tolerance_m)
    assert lift.supports == int(row["pylons"])
    assert lift.stations == int(row["stations"])
    assert lift.type == row["type"]
    assert lift.name == row["name"]
    assert lift.reason == expected_reason(row)
    assert lift.usable == (not lift.reason)
    if lift.reason:
        sentence = reason_text(lift, Words())
        assert sentence.endswith(".")
        assert "{" not in sentence


def test_the_longest_span_is_the_reference_one(lifts):
    for row in measured():
        lift = lifts[row["file"], int(row["way_id"])]
        if lift.supports:
            assert lift.longest_span_m == pytest.approx(
                float(row["max_span_m"]), abs=0.1 + 0.003 * float(row["max_span_m"])
            )


@pytest.mark.parametrize(
    ("file", "way_id", "sentence"),
    [
        ("osm_andorra_2013.osm.gz", 52114952, "too few supports (3): 1,295 m without"),
        ("osm_andorra_2013.osm.gz", 29376254, "reversible ropeway"),
        ("osm_andorra_2013.osm.gz", 48271354, "No support is drawn on it"),
        ("osm_liechtenstein_2013.osm.pbf", 622, "which may be towers: 5"),
        ("osm_us_purgatory.osm", 52042183, "It has a middle station at 53"),
    ],
)
def test_reasons_are_told_in_words(lifts, file, way_id, sentence):
    assert sentence in reason_text(lifts[file, way_id], Words())


def test_a_map_editors_geojson_is_listed_too(shared):
    # INDEX.md: 9 chair lifts without pylons, ids such as "way/257995912".
    lifts = list_lifts(shared / "real" / "bigbear_overpass_AllRunsGeo.geojson")
    assert len(lifts) == 9
    assert 257995912 in {lift.way_id for lift in lifts}
    assert not any(lift.usable for lift in lifts)


def test_a_lift_map_with_heights_and_nested_columns_is_listed(shared):
    # INDEX.md: chair "Sky Lift", 14 vertices with Z; the others are surface lifts.
    (lift,) = list_lifts(shared / "real" / "openskimap_lifts_sample.geojson")
    assert (lift.name, lift.way_id, lift.unlabelled) == ("Sky Lift", 252693149, 12)
    assert lift.reason == "untagged"


def test_what_is_no_extract_is_refused_in_words(shared):
    for name in ("bigbear_overpass_raw.js", "INDEX.md", "N42E001.hgt.zip"):
        with pytest.raises(InputError, match=r"expected OSM XML \(\.osm, \.osm\.gz\)"):
            list_lifts(shared / "real" / name)
    with pytest.raises(InputError, match="an XML file of <gpx>"):
        list_lifts(shared / "real" / "gpxpy_unicode_with_bom.gpx")


# ---- invented extracts ----

NODES = {
    1: (46.0000, 9.0, "station"),
    2: (46.0010, 9.0, "pylon"),
    3: (46.0020, 9.0, "pylon"),
    4: (46.0030, 9.0, "station"),
    5: (46.0040, 9.0, "pylon"),
    6: (46.0050, 9.0, "station"),
    7: (46.0030, 9.0012, "station"),
}


def osm(*ways: str, head: str = "") -> str:
    nodes = "".join(
        f'<node id="{key}" lat="{lat}" lon="{lon}">'
        f'<tag k="aerialway" v="{tag}"/></node>'
        for key, (lat, lon, tag) in NODES.items()
    )
    return f'<?xml version="1.0"?>{head}<osm version="0.6">{nodes}{"".join(ways)}</osm>'


def way(way_id: int, *nodes: int, kind: str = "chair_lift", name: str = "Alpha") -> str:
    references = "".join(f'<nd ref="{node}"/>' for node in nodes)
    return (
        f'<way id="{way_id}">{references}<tag k="aerialway" v="{kind}"/>'
        f'<tag k="name" v="{name}"/></way>'
    )


def listed(folder: Path, text: str, name: str = "a.osm") -> list[OsmLift]:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return list_lifts(path)


def test_a_whole_small_lift_is_usable(tmp_path):
    (lift,) = listed(tmp_path, osm(way(10, 1, 2, 3, 4)))
    assert lift.usable
    assert (lift.supports, lift.stations, lift.unlabelled) == (2, 2, 0)
    # 0.003 degrees of latitude at 46 N: 333.4 m (GeographicLib, by hand).
    assert lift.length_m == pytest.approx(333.4, abs=0.1)


@pytest.mark.parametrize(
    ("ways", "reason"),
    [
        ([way(10, 1, 2, 3, 99)], "cut"),
        ([way(10, 1)], "no_line"),
        ([way(10, 1, 1)], "no_line"),
        ([way(10, 1, 2, 7, 1)], "closed"),
        ([way(10, 1, 2, 3, 4), way(10, 1, 2, 4)], "id_twice"),
        ([way(10, 1, 2, 3, 4, kind="mixed_lift")], "mixed"),
        ([way(10, 1, 2, 3, 4), way(11, 4, 5, 6)], "several_ways"),
        ([way(10, 1, 2, 4, 5, 6)], "middle_station"),
        ([way(10, 1, 2, 3, 7)], "bend"),
    ],
)
def test_a_line_that_is_not_one_line_with_two_ends_is_not_usable(
    tmp_path, ways, reason
):
    assert listed(tmp_path, osm(*ways))[0].reason == reason


def test_a_lift_at_the_antimeridian_is_not_usable(tmp_path):
    text = osm(way(10, 1, 2, 3, 4)).replace('lon="9.0"', 'lon="-179.99"')
    assert listed(tmp_path, text)[0].reason == "antimeridian"


def test_an_exact_repetition_of_a_way_is_one_lift(tmp_path):
    lifts = listed(tmp_path, osm(way(10, 1, 2, 3, 4), way(10, 1, 2, 3, 4)))
    assert [lift.usable for lift in lifts] == [True]


def test_two_lifts_that_meet_at_a_station_are_two_lifts(tmp_path):
    lifts = listed(tmp_path, osm(way(10, 1, 2, 3, 4), way(11, 4, 5, 6, name="Beta")))
    assert [lift.usable for lift in lifts] == [True, True]


def test_surface_lifts_and_station_buildings_are_left_out(tmp_path):
    ways = [
        way(10, 1, 2, 3, 4, kind="drag_lift"),
        way(11, 1, 2, 7, 1, kind="station"),
    ]
    assert listed(tmp_path, osm(*ways)) == []


def test_deleted_things_are_left_out(tmp_path):
    gone = way(10, 1, 2, 3, 4).replace('id="10"', 'id="10" action="delete"')
    assert listed(tmp_path, osm(gone)) == []


def test_a_name_full_of_markup_stays_plain_text(tmp_path):
    name = "#17 &lt;script&gt;alert(1)&lt;/script&gt;  =cmd"
    (lift,) = listed(tmp_path, osm(way(10, 1, 2, 3, 4, name=name)))
    assert lift.name == "#17 <script>alert(1)</script> =cmd"


def test_entities_and_document_types_are_refused(tmp_path):
    bomb = '<!DOCTYPE osm [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>'
    with pytest.raises(InputError, match="expected plain OSM XML without document"):
        listed(tmp_path, osm(way(10, 1, 2, 3, 4, name="&b;"), head=bomb))
    outside = '<!DOCTYPE osm SYSTEM "file:///etc/hostname">'
    with pytest.raises(InputError, match="expected plain OSM XML without document"):
        listed(tmp_path, osm(head=outside))


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (osm(way(10, 1, 2, 3, 4))[:-20], "expected well-formed OSM XML"),
        (osm().replace('lat="46.0"', 'lat="nan"'), "expected nodes with id, lat and"),
        (osm().replace('lat="46.0"', 'lat="460"'), "expected nodes with id, lat and"),
        (osm().replace('lat="46.0" ', ""), "expected nodes with id, lat and"),
        ("<html><body>no extract</body></html>", "an XML file of <html>"),
        ('{"type": "FeatureCollection"}', "expected a GeoJSON feature collection"),
        ('{"type": "Feat', "expected a GeoJSON feature collection"),
    ],
)
def test_damaged_extracts_are_refused_in_words(tmp_path, text, sentence):
    with pytest.raises(InputError, match=sentence):
        listed(tmp_path, text)


def test_a_gzip_cut_off_is_refused(tmp_path):
    path = tmp_path / "a.osm.gz"
    path.write_bytes(gzip.compress(osm(way(10, 1, 2, 3, 4)).encode())[:-40])
    with pytest.raises(InputError, match="expected a file that can be read to its end"):
        list_lifts(path)


def test_a_gzip_bomb_is_refused_early(tmp_path, monkeypatch):
    monkeypatch.setattr(osm_extract, "MOST_BYTES", 1_000_000)
    path = tmp_path / "a.osm.gz"
    path.write_bytes(gzip.compress(b"<osm>" + b" " * 5_000_000 + b"</osm>"))
    with pytest.raises(InputError, match="found more than 1 MB"):
        list_lifts(path)


def test_pbf_without_its_package_says_what_to_install(shared, monkeypatch):
    monkeypatch.setattr(osm_pbf, "osmium", None)
    with pytest.raises(InputError, match=r'pip install "evac\[pbf\]"'):
        list_lifts(shared / "real" / "osm_liechtenstein_2013.osm.pbf")


def test_a_damaged_pbf_is_refused(tmp_path, shared):
    whole = (shared / "real" / "osm_liechtenstein_2013.osm.pbf").read_bytes()
    path = tmp_path / "cut.osm.pbf"
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match="expected a file that can be read to its end"):
        list_lifts(path)
