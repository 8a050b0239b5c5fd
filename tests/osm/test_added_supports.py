"""Supports that the user adds make a lift usable; terrain that covers it does too."""

from __future__ import annotations

import gzip

import numpy as np
import pytest
from test_lift_folders import ANDORRA, DARTMOUTH, made, table, written

from evac.errors import InputError
from evac.inputs.folder import open_lift
from evac.inputs.osm import lift_ways, lifts_of
from evac.inputs.osm_added import with_supports
from evac.inputs.osm_extract import read_extract
from evac.inputs.osm_folder import lift_folder_files, on_terrain

ARINSAL = 42014211


@pytest.fixture(scope="module")
def bare(shared, tmp_path_factory):
    """The Andorran extract without its pylon tags."""
    text = gzip.decompress((shared / "real" / ANDORRA[0]).read_bytes())
    path = tmp_path_factory.mktemp("bare") / "bare.osm"
    path.write_bytes(text.replace(b'v="pylon"', b'v="no"'))
    return path


def test_places_at_the_vertices_give_the_very_supports_of_the_map(
    shared, bare, tmp_path
):
    terrain = shared / "real" / ANDORRA[1]
    rows = table(made(shared, ANDORRA, ARINSAL)["supports.csv"])[1:-1]
    added = tmp_path / "supports.csv"
    # In any order: what counts is where they stand.
    lines = [f"{row['lat']};{row['lon']}".replace(".", ",") for row in rows[::-1]]
    added.write_text("lat;lon\n" + "\n".join(lines) + "\n")
    with pytest.raises(InputError, match="which may be towers: 10"):
        lift_folder_files(bare, way_id=ARINSAL, terrain=terrain)

    files = lift_folder_files(bare, way_id=ARINSAL, terrain=terrain, supports=added)

    assert files["supports.csv"] == made(shared, ANDORRA, ARINSAL)["supports.csv"]


def test_places_between_two_ends_become_supports(shared, tmp_path):
    extract, terrain = (shared / "real" / name for name in ANDORRA)
    read = read_extract(extract)
    # A lift of two vertices, as 36 of this extract are.
    lift = next(
        lift
        for lift in lifts_of(read)
        if lift.reason == "no_supports" and 500 < lift.length_m < 900
    )
    way = next(way for way in lift_ways(read) if way.id == lift.way_id)
    first, last = (read.nodes[way.nodes[index]] for index in (0, -1))
    count = int(lift.length_m / 90)
    shares = np.arange(1, count) / count
    lat = first.latitude_deg + shares * (last.latitude_deg - first.latitude_deg)
    lon = first.longitude_deg + shares * (last.longitude_deg - first.longitude_deg)
    added = tmp_path / "towers.csv"
    added.write_text(
        "lat,lon\n"
        + "\n".join(f"{a:.7f},{o:.7f}" for a, o in zip(lat, lon, strict=True))
    )

    files = lift_folder_files(
        extract, way_id=lift.way_id, terrain=terrain, supports=added
    )
    folder = tmp_path / "lift"
    folder.mkdir()
    opened = open_lift(written(files, folder))

    assert len(opened.supports) == count + 1
    spans = np.diff([support.distance_m for support in opened.supports])
    assert spans == pytest.approx(lift.length_m / count, rel=0.005)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("lat,lon\n42.6,1.6\n", "row 2, column lat: found a place"),
        ("lat,lon\nx,1.5\n", "row 2, column lat: found 'x', expected a number"),
        ("lat\n42.57\n", "expected a column lon"),
        ("lat,lon\n", "expected at least one row"),
    ],
)
def test_a_table_of_supports_that_cannot_be_right_is_refused(
    bare, tmp_path, text, told
):
    added = tmp_path / "towers.csv"
    added.write_text(text)
    read = read_extract(bare)
    way = next(way for way in lift_ways(read) if way.id == ARINSAL)
    with pytest.raises(InputError) as refused:
        with_supports(read, way, added)
    assert told in str(refused.value)
    assert refused.value.file == "towers.csv"


def test_a_lift_that_the_terrain_does_not_cover_is_not_usable(shared):
    read = read_extract(shared / "real" / ANDORRA[0])
    usable = {lift.way_id for lift in lifts_of(read) if lift.usable}

    def on(*names):
        paths = [shared / "real" / name for name in names]
        found = on_terrain(read, lifts_of(read), terrain=paths)
        reasons = {lift.way_id: lift.reason for lift in found}
        return {way for way in usable if not reasons[way]}, reasons

    assert on(ANDORRA[1])[0] == usable
    # The crop ends at lon 1.52; Junior stands farther east.
    covered, reasons = on("dem_andorra_arinsal_srtm3_crop.tif")
    assert covered == usable - {52163710}
    assert reasons[52163710] == "no_terrain"
    assert on(DARTMOUTH[1])[0] == set()
    # A file that is no terrain is an error, not a verdict on a lift.
    with pytest.raises(InputError, match="expected a GeoTIFF"):
        on("LIFTS.csv")
