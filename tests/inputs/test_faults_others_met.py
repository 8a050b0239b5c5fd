"""Faults that others met: each behaves, by a test here or by one named in the index.

What a good program does with each is common practice of geodata and office work, no
source, unless a test names one.
"""

from __future__ import annotations

import io
import json
import tomllib
from dataclasses import replace
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
from affine import Affine
from places import ROOT
from rich.console import Console
from shapely.geometry import LineString
from small_folder import FILES, edited, write_folder

from evac.errors import InputError
from evac.facts.plan import Plan
from evac.frame import Frame
from evac.ground import sample_grid
from evac.inputs.dem import read_terrain
from evac.inputs.folder import open_lift
from evac.inputs.layers import read_layer
from evac.summary import print_summary
from evac.words import Words

INDEX: dict[str, tuple[str, ...]] = {
    "swapped lat and lon": (
        "tests/inputs/bad_input.toml::team swapped",
        "tests/inputs/bad_input.toml::geo swapped",
        "tests/inputs/bad_input.toml::geo swapped lat>90",
        "tests/dem::"
        "test_terrain_of_another_place_is_refused_and_swapped_degrees_recognised",
        "test_supports_with_swapped_degrees_are_recognised_by_the_terrain",
    ),
    "missing CRS": (
        "tests/inputs::test_terrain_that_gives_no_ground_is_refused",
        "tests/inputs::test_a_geopackage_without_reference_system_is_refused",
        "tests/osm::test_an_ascii_grid_without_its_crs_needs_it_stated",
    ),
    "a CRS that lies": (
        "tests/dem::test_a_stated_crs_that_contradicts_the_file_is_refused",
        "test_terrain_whose_reference_system_lies_is_refused",
    ),
    "3D CRS round trip losing latitude": (
        "test_a_layer_in_a_3d_system_keeps_its_latitude",
        "test_terrain_in_a_3d_system_keeps_its_place",
    ),
    "null geometry": ("tests/inputs/bad_input.toml::geo null",),
    "nodata taken as height or untagged": (
        "tests/dem::test_a_void_is_void_whether_tagged_or_not_and_spoils_no_height",
        "tests/dem::test_voids_of_the_real_tile_never_become_heights",
    ),
    "bilinear beside a void": (
        "tests/line::test_a_void_spreads_to_the_cells_around_it_and_no_farther",
    ),
    "line leaving the DEM by one support": (
        "tests/dem::test_a_support_beyond_the_terrain_is_named",
        "test_a_line_that_leaves_the_terrain_by_one_support_is_refused",
    ),
    "feet read as metres, unit dropped": (
        "tests/inputs/bad_input.toml::feet as metres",
        "tests/inputs::test_elevations_in_feet_beside_terrain_in_metres_are_recognised",
        "tests/inputs::test_feet_are_read_where_the_header_says_so",
        "test_feet_and_inches_in_a_cell_are_feet_and_it_is_said",
    ),
    "2,100": ("tests/inputs/bad_input.toml::number with two readings",),
    "ellipsoid against geoid heights": (
        "tests/inputs::test_a_geoid_step_between_survey_and_terrain_is_refused",
        "tests/inputs::test_a_small_step_between_survey_and_terrain_is_told",
    ),
    "plan against slope length": (
        "tests/inputs::test_slope_length_in_place_of_plan_length_is_told",
    ),
    "partly missing Z": (
        "test_contours_with_partly_missing_z_are_refused",
        "tests/inputs::test_gpx_files_of_the_wild_are_read",
    ),
    "all Z zero": (
        "tests/dem::test_a_contour_without_height_or_with_z_of_zero_is_refused",
        "tests/inputs::test_heights_in_a_layer_are_dropped",
    ),
    "GPX with BOM, without namespace, ele nan": (
        "tests/inputs::test_gpx_files_of_the_wild_are_read",
        "test_a_gpx_with_ele_nan_gives_its_places",
    ),
    "HTML saved as .gpx": ("tests/inputs::test_what_is_no_layer_is_refused",),
    "BOM in the first column, cp1252": (
        "tests/inputs::test_semicolons_and_decimal_commas_in_any_encoding_read_alike",
    ),
    "1.553,4": ("tests/inputs::test_numbers_are_read_as_their_table_writes_them",),
    "spreadsheet turning 3-4 into a date": (
        "tests/inputs/bad_input.toml::date id",
        "tests/inputs::test_a_name_that_a_spreadsheet_turned_into_a_date_is_refused",
    ),
    "duplicate ids multiplying rows on merge": (
        "tests/inputs/bad_input.toml::support twice",
        "tests/inputs/bad_input.toml::team twice",
        "test_ids_that_occur_twice_are_refused_in_every_file",
        "tests/osm::test_a_line_that_is_not_one_line_with_two_ends_is_not_usable",
    ),
    "whole numbers with gaps becoming 7.0, names becoming nan": (
        "tests/inputs::test_names_stay_as_they_are_written",
        "tests/inputs::test_whole_numbers_of_a_spreadsheet_get_no_decimal",
        "test_a_column_with_gaps_keeps_whole_numbers_and_blanks",
    ),
    "closed ways": (
        "tests/osm::test_pistes_that_are_areas_are_no_ways",
        "tests/osm::test_a_line_that_is_not_one_line_with_two_ends_is_not_usable",
    ),
    "map blank offline": (
        "tests/maps::test_the_map_opens_offline_without_request_or_error",
    ),
    "PDF boxes": (
        "tests/documents::test_letters_that_the_font_lacks_are_named_by_a_finding",
        "tests/documents::test_latin_greek_and_cyrillic_need_no_finding",
    ),
    "clock-change nights": (
        "tests/inputs::test_a_night_when_the_clocks_change_is_told",
        "tests/rehearsal::test_the_night_of_the_clock_change_counts_real_seconds",
        "tests/clock::test_clocks_put_forward_move_the_sunset_by_an_hour",
    ),
    "solver limit reached and not said": ("test_a_plan_that_is_not_proven_says_so",),
    "antimeridian": (
        "tests/inputs::test_a_line_across_the_antimeridian_is_refused",
        "tests/osm::test_a_lift_at_the_antimeridian_is_not_usable",
    ),
    "huge notebook outputs": (
        "tests/notebooks::test_a_notebook_is_short_plain_and_without_output",
    ),
    "seam between two DEMs": (
        "tests/dem::test_a_step_between_two_files_is_told",
        "tests/dem::test_two_tiles_that_meet_edge_to_edge_lose_no_strip_between_them",
    ),
}
"""Fault -> the tests that try it, by folder; those without one stand below."""


@pytest.mark.parametrize("fault", INDEX)
def test_every_test_of_the_index_is_there(fault: str) -> None:
    for address in INDEX[fault]:
        file, _, name = address.rpartition("::")
        path = ROOT / file if file else Path(__file__).parent
        if path.suffix == ".toml":
            cases = tomllib.loads(path.read_text("utf-8"))["case"]
            assert name in [case["name"] for case in cases], address
        else:
            texts = [one.read_text("utf-8") for one in path.glob("test_*.py")]
            assert any(f"\ndef {name}(" in text for text in texts), address


def plane(
    path: Path,
    *,
    crs: str,
    rows: int = 120,
    east: float = 9.895,
    north: float = 46.8075,
) -> Path:
    """The ground of the small folder as a plane in cells of 0.0001 degrees."""
    # 1500 m at latitude 46.8, 90 m more at 46.803597: see supports.csv.
    latitude = north - 0.0001 * (np.arange(rows) + 0.5)
    heights = 1500 + (latitude - 46.8) / 0.003597 * 90
    with rasterio.open(
        *(path, "w", "GTiff", 120, rows, 1, crs),
        dtype="float32",
        transform=Affine(0.0001, 0, east, 0, -0.0001, north),
        nodata=-9999,
    ) as file:
        file.write(np.tile(heights[:, None], (1, 120)).astype("float32"), 1)
    return path


def from_terrain(folder: Path) -> Path:
    """The small folder, all its ground taken from a terrain file."""
    supports = FILES["supports.csv"]
    for ground in (",1500,", ",1508,", ",1530,", ",1560,", ",1590,"):
        supports = supports.replace(ground, ",,")
    return write_folder(folder, ground_csv=None, supports_csv=supports)


def test_supports_with_swapped_degrees_are_recognised_by_the_terrain(
    tmp_path: Path,
) -> None:
    folder = from_terrain(tmp_path)
    plane(folder / "terrain.tif", crs="EPSG:4326")
    text = (folder / "supports.csv").read_text("utf-8")
    text = text.replace("46.8,9.9,", "9.9,46.8,").replace(
        "46.803597,9.9", "9.9,46.803597"
    )
    (folder / "supports.csv").write_text(text, encoding="utf-8")

    with pytest.raises(InputError) as refused:
        open_lift(folder)

    assert "terrain.tif, extent: found lat 46.795 to 46.807" in str(refused.value)
    assert "Latitude and longitude of the stations look swapped" in str(refused.value)
    # The teams' own places are right, and far from where the lift is said to be.
    assert "teams.csv, row 2, column start_lat" in str(refused.value)


@pytest.mark.parametrize("shift_m", [1000.0, 160.0])
def test_terrain_whose_reference_system_lies_is_refused(
    tmp_path: Path, shift_m: float
) -> None:
    # A wrong datum moves terrain by some hundred metres, a wrong zone out of sight.
    # On this plane of 90 in 400, 160 m aside are 36 m of height at every support.
    folder = write_folder(tmp_path, ground_csv=None)
    plane(folder / "terrain.tif", crs="EPSG:4326", north=46.8075 + shift_m / 111_195)
    with rasterio.open(folder / "terrain.tif", "r+") as file:
        heights = file.read(1) - np.float32(shift_m / 111_195 / 0.003597 * 90)
        file.write(heights, 1)

    with pytest.raises(InputError) as refused:
        open_lift(folder)

    said = str(refused.value)
    assert "terrain" in said
    assert ("height" in said) or ("reference system" in said)


def test_a_layer_in_a_3d_system_keeps_its_latitude(tmp_path: Path) -> None:
    track = [(9.901, 46.8, 1500.0), (9.9012, 46.802, 1520.0)]
    frame = geopandas.GeoDataFrame(
        {"id": ["t1"], "kind": ["track"]},
        geometry=[LineString(track)],
        crs="EPSG:4979",  # WGS 84 with ellipsoidal heights
    )
    frame.to_file(tmp_path / "ways.gpkg")

    (feature,) = read_layer((tmp_path / "ways.gpkg").read_bytes(), file="ways.gpkg")

    assert list(feature.geometry.coords) == [
        pytest.approx((lon, lat), abs=1e-9) for lon, lat, _ in track
    ]


def test_terrain_in_a_3d_system_keeps_its_place(tmp_path: Path) -> None:
    frame = Frame(latitude_deg=46.8, longitude_deg=9.9)
    bounds = (-200.0, -200.0, 200.0, 200.0)
    flat = plane(tmp_path / "flat.tif", crs="EPSG:4326")
    compound = plane(tmp_path / "compound.tif", crs="EPSG:4326+5773")

    read = [read_terrain(p, frame=frame, bounds=bounds) for p in (flat, compound)]

    assert read[1].elevation_m == pytest.approx(read[0].elevation_m, abs=1e-6)
    at_origin = sample_grid(read[1], x_m=np.zeros(1), y_m=np.zeros(1))
    assert at_origin == pytest.approx(1500, abs=0.05)


def test_a_line_that_leaves_the_terrain_by_one_support_is_refused(
    tmp_path: Path,
) -> None:
    folder = from_terrain(tmp_path)
    # Its northern edge lies between support #4 (280 m) and the upper station (400 m).
    plane(folder / "terrain.tif", crs="EPSG:4326", north=46.8031)

    with pytest.raises(InputError) as refused:
        open_lift(folder)

    assert "support T\u00e4li: found no height under 1 of 5 supports" in str(
        refused.value
    )


def test_feet_and_inches_in_a_cell_are_feet_and_it_is_said(tmp_path: Path) -> None:
    text = FILES["supports.csv"].replace(",1500,", ',"4921\'3""",')
    lift = open_lift(write_folder(tmp_path, supports_csv=text))

    # 1 ft = 0.3048 m exactly (international foot, 1959).
    assert lift.supports[0].ground_m == pytest.approx(4921.25 * 0.3048)
    assert [f.key for f in lift.findings] == ["inputs.feet_read"]


def test_contours_with_partly_missing_z_are_refused(tmp_path: Path) -> None:
    lines = [
        [[9.89, 46.80, 1500], [9.91, 46.80]],
        [[9.89, 46.81, 1600], [9.91, 46.81, 1600]],
    ]
    features = [
        {
            "type": "Feature",
            "properties": {},
            "geometry": {"type": "LineString", "coordinates": line},
        }
        for line in lines
    ]
    path = tmp_path / "terrain.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))

    with pytest.raises(InputError) as refused:
        read_terrain(
            path,
            frame=Frame(latitude_deg=46.8, longitude_deg=9.9),
            bounds=(-100.0, -100.0, 100.0, 100.0),
        )

    assert "terrain.geojson, feature 1: found no height" in str(refused.value)


def test_a_gpx_with_ele_nan_gives_its_places() -> None:
    text = (
        '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><name>a'
        '</name><trkseg><trkpt lat="46.8" lon="9.9"><ele>nan</ele></trkpt>'
        '<trkpt lat="46.801" lon="9.9"><ele></ele></trkpt></trkseg></trk></gpx>'
    )

    (feature,) = read_layer(text.encode(), file="a.gpx")

    assert feature.geometry.bounds == (9.9, 46.8, 9.9, 46.801)


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("kit.csv", "L2,Lower crew", "L1,Lower crew"),
        ("techniques.csv", "\nladder,", "\nloop,"),
        ("supports.csv", "\n#4,", "\n1,"),
        ("teams.csv", "\nLower crew,", "\nUpper patrol,"),
    ],
)
def test_ids_that_occur_twice_are_refused_in_every_file(
    tmp_path: Path, file: str, old: str, new: str
) -> None:
    key = file.replace(".", "_")
    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path, **{key: edited(file, old, new)}))

    assert f"{file}, row" in str(refused.value)
    assert "expected every name once. It already stands in row" in str(refused.value)


def test_a_loop_of_half_its_rope_is_refused(tmp_path: Path) -> None:
    # Up over the haul rope and down again: twice its height by geometry (rule 13).
    half = edited("techniques.csv", "chair,2,0,0,", "chair,1,0,0.5,")
    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path, techniques_csv=half))

    assert "that make 2 or more together" in str(refused.value)
    assert len(refused.value.problems) == 1


def test_a_ladder_without_an_end_is_refused(tmp_path: Path) -> None:
    endless = edited("techniques.csv", ",no,4.5,", ",no,,")
    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path, techniques_csv=endless))

    (only,) = refused.value.problems
    assert "most_seat_height_m" in only.where
    assert only.expected == "the greatest height of a seat that the ladder reaches"


def test_a_ladder_above_five_metres_is_a_finding(tmp_path: Path) -> None:
    # Up to 4 to 5 m over firm level ground (rule 15; common practice, no source).
    high = edited("techniques.csv", ",no,4.5,", ",no,7,")
    lift = open_lift(write_folder(tmp_path, techniques_csv=high))

    (found,) = (item for item in lift.findings if item.key == "inputs.ladder_high")
    assert found.where == "ladder"
    assert "up to 7.0 m; more than 5.0 m" in Words().finding(found)[0]


def test_a_column_with_gaps_keeps_whole_numbers_and_blanks(tmp_path: Path) -> None:
    # A data-frame library would make 7.0 and nan of such a column.
    teams = FILES["teams.csv"].replace("starts_at\n", "starts_at,drop_order,vehicle\n")
    teams = teams.replace(",upper\n", ",upper,7,\n").replace("mobile,\n", "mobile,,,\n")
    teams = teams.replace("snow vehicle,\n", "snow vehicle,,,S1\n")
    lift = open_lift(write_folder(tmp_path, teams_csv=teams))

    assert [team.drop_order for team in lift.teams] == [7, None]
    assert [team.vehicle for team in lift.teams] == [None, "S1"]


def test_a_plan_that_is_not_proven_says_so(demo_plan: Plan) -> None:
    assignment = replace(
        demo_plan.assignment, proven=False, bound_s=demo_plan.assignment.bound_s - 600
    )
    plan = replace(demo_plan, assignment=assignment)

    shown = io.StringIO()
    print_summary(Console(file=shown, width=200), plan, Words(), written="")

    assert "not proven optimal: it ends at most 10 min later" in shown.getvalue()
