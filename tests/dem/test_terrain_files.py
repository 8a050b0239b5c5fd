"""Terrain files of every kind become the same ground."""

from __future__ import annotations

import csv
import zipfile
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS, Geod, Transformer
from scipy.ndimage import map_coordinates

from evac.errors import InputError
from evac.frame import Frame
from evac.ground import sample_grid
from evac.inputs import dem, dem_tile
from evac.inputs.dem import (
    crop,
    read_terrain,
    require_cover,
    sd_assumption,
)
from evac.words import Words

FRAME = Frame(latitude_deg=46.5, longitude_deg=9.0)
UTM = "EPSG:32632"  # 9 E is its central meridian
NEAR = (-200.0, -200.0, 200.0, 200.0)


def plane(east, north):
    """A tilted plane, which bilinear interpolation must give back exactly."""
    return 1500.0 + 0.3 * (east - 500_000) - 0.2 * (north - 5_149_000)


def utm_grid(cell_m=5.0, half_m=500.0):
    x, y = Transformer.from_crs("EPSG:4326", UTM, always_xy=True).transform(9.0, 46.5)
    west, north = np.floor(x - half_m), np.ceil(y + half_m)
    count = int(2 * half_m / cell_m)
    east = west + cell_m * (np.arange(count) + 0.5)
    norths = north - cell_m * (np.arange(count) + 0.5)
    return west, north, *np.meshgrid(east, norths)


def write_tif(path, values, *, west, north, cell_m=5.0, crs=UTM, nodata=None):
    with rasterio.open(
        path, "w", driver="GTiff", width=values.shape[1], height=values.shape[0],
        count=1, dtype=values.dtype, crs=crs, nodata=nodata,
        transform=Affine(cell_m, 0, west, 0, -cell_m, north),
    ) as target:  # fmt: skip
        target.write(values, 1)
    return path


def plane_tif(path, **options):
    west, north, east, norths = utm_grid()
    values = plane(east, norths).astype(np.float64)
    return write_tif(path, values, west=west, north=north, **options)


def plane_in_frame(x_m, y_m):
    to_utm = Transformer.from_crs(FRAME.crs, UTM, always_xy=True)
    return plane(*to_utm.transform(np.asarray(x_m, float), np.asarray(y_m, float)))


def test_a_tilted_plane_comes_back_everywhere_between_the_cells(tmp_path):
    terrain = read_terrain(plane_tif(tmp_path / "a.tif"), frame=FRAME, bounds=NEAR)
    random = np.random.default_rng(5)
    x_m, y_m = random.uniform(-190, 190, (2, 400))
    height = sample_grid(terrain, x_m=x_m, y_m=y_m)
    # 5 mm: the projections bend a straight plane by this much within a cell.
    assert height == pytest.approx(plane_in_frame(x_m, y_m), abs=0.005)


def test_rows_begin_in_the_south_and_columns_in_the_west(tmp_path):
    terrain = read_terrain(plane_tif(tmp_path / "a.tif"), frame=FRAME, bounds=NEAR)
    assert terrain.west_m <= -200
    assert terrain.south_m <= -200
    # East is up and north is down on this plane.
    assert terrain.elevation_m[0, -1] > terrain.elevation_m[0, 0]
    assert terrain.elevation_m[0, 0] > terrain.elevation_m[-1, 0]


def test_the_grid_agrees_with_scipy_on_rough_ground(tmp_path):
    west, north, east, _ = utm_grid()
    rough = np.random.default_rng(3).uniform(900, 1100, east.shape)
    path = write_tif(tmp_path / "rough.tif", rough, west=west, north=north)
    terrain = read_terrain(path, frame=FRAME, bounds=NEAR)
    rows, columns = terrain.elevation_m.shape
    y, x = np.mgrid[0:rows, 0:columns]
    to_utm = Transformer.from_crs(FRAME.crs, UTM, always_xy=True)
    at_east, at_north = to_utm.transform(
        terrain.west_m + x * terrain.cell_m, terrain.south_m + y * terrain.cell_m
    )
    # Reference: scipy.ndimage.map_coordinates, order 1 = bilinear.
    expected = map_coordinates(
        rough,
        [(north - at_north) / 5 - 0.5, (at_east - west) / 5 - 0.5],
        order=1,
    )
    assert terrain.elevation_m == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("void", [-32768.0, -9999.0, 32767.0])
@pytest.mark.parametrize("tagged", [True, False])
def test_a_void_is_void_whether_tagged_or_not_and_spoils_no_height(
    tmp_path, void, tagged
):
    west, north, east, norths = utm_grid()
    values = plane(east, norths)
    middle = values.shape[0] // 2
    values[middle, middle] = void
    path = write_tif(
        tmp_path / "void.tif", values, west=west, north=north,
        nodata=void if tagged else None,
    )  # fmt: skip
    terrain = read_terrain(path, frame=FRAME, bounds=NEAR)
    lost = np.isnan(terrain.elevation_m)
    assert 0 < lost.sum() <= 25  # the four source cells about it, in cells of half
    y, x = np.nonzero(~lost)
    x_m = terrain.west_m + x * terrain.cell_m
    y_m = terrain.south_m + y * terrain.cell_m
    kept = terrain.elevation_m[~lost]
    assert kept == pytest.approx(plane_in_frame(x_m, y_m), abs=0.005)


def test_an_ascii_grid_needs_its_crs_and_then_is_the_same_ground(tmp_path):
    west, north, east, norths = utm_grid()
    values = plane(east, norths)
    rows = "\n".join(" " + " ".join(f"{v:.4f}" for v in row) for row in values)
    path = tmp_path / "grid.asc"
    path.write_text(
        f"ncols {values.shape[1]}\nnrows {values.shape[0]}\nxllcorner {west}\n"
        f"yllcorner {north - 5 * values.shape[0]}\ncellsize 5\n"
        f"NODATA_value -9999\n{rows}\n"
    )
    with pytest.raises(InputError, match="found no CRS") as caught:
        read_terrain(path, frame=FRAME, bounds=NEAR)
    assert "terrain_crs" in str(caught.value)
    from_asc = read_terrain(path, frame=FRAME, bounds=NEAR, crs=UTM)
    from_tif = read_terrain(plane_tif(tmp_path / "a.tif"), frame=FRAME, bounds=NEAR)
    assert from_asc.elevation_m == pytest.approx(from_tif.elevation_m, abs=1e-3)


def test_an_ascii_grid_with_odd_characters_is_refused_at_once(tmp_path):
    path = tmp_path / "odd.asc"
    path.write_bytes(
        b"ncols 3\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 5\n"
        b"NODATA_value -9999\n1 2 3\n4 \x005 6\n"
    )
    with pytest.raises(InputError, match="among the heights, expected cells that can"):
        read_terrain(path, frame=FRAME, bounds=NEAR, crs=UTM)


def test_an_ascii_grid_cut_short_is_refused_at_once(tmp_path):
    path = tmp_path / "short.asc"
    path.write_text(
        "ncols 3\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 5\n 1 2 3\n 4 5"
    )
    with pytest.raises(InputError, match="found 5 of 6 heights, expected cells that"):
        read_terrain(path, frame=FRAME, bounds=NEAR, crs=UTM)


def test_feet_are_read_as_feet_where_the_file_says_so(tmp_path):
    feet = CRS.from_user_input("EPSG:32632+6360")  # NAVD88 height (ftUS)
    west, north, east, norths = utm_grid()
    values = plane(east, norths) / (1200 / 3937)  # the US survey foot, exact
    path = write_tif(
        tmp_path / "feet.tif", values, west=west, north=north, crs=feet.to_wkt()
    )
    in_feet = read_terrain(path, frame=FRAME, bounds=NEAR)
    in_metres = read_terrain(plane_tif(tmp_path / "a.tif"), frame=FRAME, bounds=NEAR)
    assert in_feet.elevation_m == pytest.approx(in_metres.elevation_m, abs=1e-4)


def test_two_tiles_that_meet_edge_to_edge_lose_no_strip_between_them(tmp_path):
    west, north, east, norths = utm_grid()
    values = plane(east, norths)
    left = write_tif(tmp_path / "l.tif", values[:, :100], west=west, north=north)
    right = write_tif(tmp_path / "r.tif", values[:, 100:], west=west + 500, north=north)
    whole = read_terrain(plane_tif(tmp_path / "a.tif"), frame=FRAME, bounds=NEAR)
    both = read_terrain([right, left], frame=FRAME, bounds=NEAR)
    assert not np.isnan(both.elevation_m).any()
    assert both.elevation_m == pytest.approx(whole.elevation_m, abs=1e-6)


@pytest.mark.parametrize("shift", [0, 2.5])  # on one grid, and on two
def test_a_step_between_two_files_is_told(tmp_path, shift):
    west, north, east, norths = utm_grid()
    values = plane(east, norths)
    left = write_tif(tmp_path / "l.tif", values[:, :120], west=west, north=north)
    moved = plane(east + shift, norths) + 4.0
    right = write_tif(
        tmp_path / "r.tif", moved[:, 80:], west=west + 400 + shift, north=north
    )
    terrain = read_terrain([left, right], frame=FRAME, bounds=NEAR)
    assert terrain.seam_step_m == pytest.approx(4.0, abs=0.01)
    (finding,) = dem.doubts(terrain)
    text, remedy = Words().finding(finding)
    assert text.startswith("Where two terrain files meet or overlap, their")
    assert "differ by 4.0 m;" in text
    assert remedy.endswith(".")
    alone = read_terrain(left, frame=FRAME, bounds=(-200.0, -200.0, 0.0, 200.0))
    assert dem.doubts(alone) == ()


def test_cells_of_a_degree_grid_are_measured_in_true_metres(shared):
    frame = Frame(latitude_deg=42.55, longitude_deg=1.5)
    terrain = read_terrain(
        shared / "real" / "N42E001.hgt.zip", frame=frame, bounds=NEAR
    )
    # Reference: GeographicLib's geodesic, through pyproj, for 3 arc seconds of
    # latitude (the longer edge of the cell here).
    _, _, edge_m = Geod(ellps="WGS84").inv(1.5, 42.55, 1.5, 42.55 + 3 / 3600)
    assert terrain.source_cell_m == pytest.approx(edge_m, rel=1e-4)
    # Farr and others (2007): relative error of 10 m at 90 %; 1.645 sd are 90 %.
    assert terrain.sd_m == pytest.approx(10 / 1.645, abs=0.05)
    assert "Reviews of Geophysics" in sd_assumption(terrain).reason


def test_the_zipped_tile_and_the_crop_of_it_are_the_same_ground(shared):
    frame = Frame(latitude_deg=42.5705, longitude_deg=1.475)
    bounds = (-1500.0, -1500.0, 1500.0, 1500.0)
    hgt = read_terrain(shared / "real" / "N42E001.hgt.zip", frame=frame, bounds=bounds)
    tif = read_terrain(
        shared / "real" / "dem_andorra_arinsal_srtm3_crop.tif",
        frame=frame,
        bounds=bounds,
    )
    assert hgt.elevation_m == pytest.approx(tif.elevation_m, abs=1e-9, nan_ok=True)


def test_voids_of_the_real_tile_never_become_heights(shared):
    frame = Frame(latitude_deg=42.5, longitude_deg=1.47)
    terrain = read_terrain(
        shared / "real" / "dem_andorra_arinsal_srtm3_crop.tif",
        frame=frame,
        bounds=(-4000.0, -7500.0, 4000.0, 7500.0),
    )
    # INDEX.md: 835 to 2911 m, 44 void cells.
    assert np.isnan(terrain.elevation_m).any()
    assert np.nanmin(terrain.elevation_m) >= 835
    assert np.nanmax(terrain.elevation_m) <= 2911


def test_coma_pedrosa_is_as_high_as_maps_say(shared):
    # Andorra's highest summit, 2942 m at 42.5917 N, 1.4444 E (any map). Cells of
    # 90 m cut a sharp summit off by some tens of metres, never add to it.
    frame = Frame(latitude_deg=42.5917, longitude_deg=1.4444)
    terrain = read_terrain(
        shared / "real" / "N42E001.hgt.zip", frame=frame, bounds=NEAR
    )
    assert 2942 - 80 < np.nanmax(terrain.elevation_m) < 2942 + 15


def test_ends_of_andorran_lifts_stand_where_the_reference_measured_them(shared):
    # Reference: real/LIFTS.csv, columns ele_first and ele_last, measured by others
    # from the same tile (nearest cell, so it may differ by a cell's own slope).
    from evac.inputs.osm import lift_ways
    from evac.inputs.osm_extract import read_extract

    extract = read_extract(shared / "real" / "osm_andorra_2013.osm.gz")
    with (shared / "real" / "LIFTS.csv").open(encoding="utf-8") as file:
        rows = {int(r["way_id"]): r for r in csv.DictReader(file) if r["ele_first"]}
    apart = []
    for way in lift_ways(extract):
        first, last = (extract.places(way)[i] for i in (0, -1))
        frame = Frame(
            latitude_deg=first.latitude_deg, longitude_deg=first.longitude_deg
        )
        x_m, y_m = frame.from_degrees(
            latitude_deg=[first.latitude_deg, last.latitude_deg],
            longitude_deg=[first.longitude_deg, last.longitude_deg],
        )
        terrain = read_terrain(
            shared / "real" / "N42E001.hgt.zip",
            frame=frame,
            bounds=(min(x_m) - 50, min(y_m) - 50, max(x_m) + 50, max(y_m) + 50),
        )
        height = sample_grid(terrain, x_m=x_m, y_m=y_m)
        apart += list(
            height - [float(rows[way.id]["ele_first"]), float(rows[way.id]["ele_last"])]
        )
    assert len(apart) == 102
    assert np.abs(apart).max() < 35
    assert abs(np.median(apart)) < 1.5


def test_the_austrian_model_lies_at_innsbruck_in_spite_of_its_datum(shared):
    # INDEX.md: Nordkette, lon 11.417-11.446, lat 47.279-47.321, 566 to 2452 m;
    # EPSG:31287 needs a datum shift of about 100 m.
    frame = Frame(latitude_deg=47.3, longitude_deg=11.4315)
    terrain = read_terrain(
        shared / "real" / "dem_avaAlr_nordkette_5m_f32.tif",
        frame=frame,
        bounds=(-400.0, -400.0, 400.0, 400.0),
    )
    assert terrain.source_cell_m == pytest.approx(5.0, rel=2e-3)
    assert 566 < np.nanmin(terrain.elevation_m) < np.nanmax(terrain.elevation_m) < 2452


def test_the_ascii_model_of_one_metre_lies_where_index_says(shared):
    frame = Frame(latitude_deg=47.136, longitude_deg=10.27)
    path = shared / "real" / "dem_avaPfa_1m.asc"
    terrain = read_terrain(path, frame=frame, bounds=NEAR, crs="EPSG:31287")
    assert np.isnan(terrain.elevation_m).any()
    assert np.nanmin(terrain.elevation_m) >= 1278
    assert np.nanmax(terrain.elevation_m) <= 1394
    with pytest.raises(InputError, match="found no CRS"):
        read_terrain(path, frame=frame, bounds=NEAR)


def test_a_crop_read_again_is_the_same_ground(tmp_path, shared):
    frame = Frame(latitude_deg=42.57, longitude_deg=1.475)
    files = crop(shared / "real" / "N42E001.hgt.zip", frame=frame, bounds=NEAR)
    assert list(files) == ["terrain.tif"]
    (tmp_path / "terrain.tif").write_bytes(files["terrain.tif"])
    again = read_terrain(tmp_path / "terrain.tif", frame=frame, bounds=NEAR)
    first = read_terrain(shared / "real" / "N42E001.hgt.zip", frame=frame, bounds=NEAR)
    assert again.elevation_m == pytest.approx(first.elevation_m, abs=1e-3)
    assert again.sd_m == first.sd_m
    assert again.source_cell_m == pytest.approx(first.source_cell_m)


def test_the_assumed_error_is_a_tenth_of_a_fine_cell(tmp_path):
    terrain = read_terrain(plane_tif(tmp_path / "a.tif"), frame=FRAME, bounds=NEAR)
    assert terrain.sd_m == pytest.approx(0.5, rel=0.01)
    assert "no source" in sd_assumption(terrain).reason
    stated = read_terrain(tmp_path / "a.tif", frame=FRAME, bounds=NEAR, sd_m=0.2)
    assert stated.sd_m == 0.2


def test_a_support_beyond_the_terrain_is_named(tmp_path):
    terrain = read_terrain(
        plane_tif(tmp_path / "a.tif"), frame=FRAME, bounds=(-200, -200, 900, 200)
    )
    supports = [("1", 0.0, 0.0), ("2", 300.0, 0.0), ("3", 700.0, 0.0)]
    with pytest.raises(InputError) as caught:
        require_cover("a.tif", terrain=terrain, supports=supports)
    assert str(caught.value).startswith(
        "a.tif, support 3: found no height under 1 of 3 supports, expected a height "
        "under every support."
    )


def bad_files(folder: Path) -> dict[str, Path]:
    (folder / "page.tif").write_text("<!DOCTYPE html><html></html>")
    (folder / "vrt.tif").write_text("<VRTDataset rasterXSize='1' rasterYSize='1'/>")
    (folder / "empty.tif").write_bytes(b"")
    whole = plane_tif(folder / "whole.tif").read_bytes()
    (folder / "cut.tif").write_bytes(whole[: len(whole) // 3])
    (folder / "N46E009.hgt").write_bytes(b"\x00\x01" * 100)
    with zipfile.ZipFile(folder / "two.zip", "w") as archive:
        archive.writestr("a.tif", b"II*\x00")
        archive.writestr("b.tif", b"II*\x00")
    with zipfile.ZipFile(folder / "none.zip", "w") as archive:
        archive.writestr("readme.txt", b"no terrain")
    (folder / "torn.zip").write_bytes((folder / "two.zip").read_bytes()[:50])
    return {path.name: path for path in sorted(folder.iterdir())} | {
        "gone.tif": folder / "gone.tif"
    }


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("page.tif", "expected a GeoTIFF, an ESRI ASCII grid"),
        ("vrt.tif", "expected a GeoTIFF, an ESRI ASCII grid"),
        ("empty.tif", "expected a GeoTIFF, an ESRI ASCII grid"),
        ("cut.tif", "damaged|Export the terrain again"),
        ("N46E009.hgt", "expected a GeoTIFF, an ESRI ASCII grid"),
        ("two.zip", "found 2 terrain files, expected one"),
        ("none.zip", "found 0 terrain files, expected one"),
        ("torn.zip", "expected a zip that can be unpacked"),
        ("gone.tif", "found no such file"),
    ],
)
def test_what_is_no_terrain_is_refused_in_words(tmp_path, name, sentence):
    with pytest.raises(InputError, match=sentence):
        read_terrain(bad_files(tmp_path)[name], frame=FRAME, bounds=NEAR)


def test_a_raster_without_a_place_is_refused(tmp_path):
    path = tmp_path / "picture.tif"
    with (
        pytest.warns(rasterio.errors.NotGeoreferencedWarning),
        rasterio.open(
            path, "w", driver="GTiff", width=4, height=4, count=1, dtype="uint8"
        ) as target,
    ):
        target.write(np.zeros((4, 4), np.uint8), 1)
    with pytest.raises(InputError, match="a raster that says where it lies"):
        read_terrain(path, frame=FRAME, bounds=NEAR)


def test_terrain_of_another_place_is_refused_and_swapped_degrees_recognised(tmp_path):
    west, north, east, norths = utm_grid()
    path = write_tif(tmp_path / "a.tif", plane(east, norths), west=west, north=north)
    far = Frame(latitude_deg=60.0, longitude_deg=9.0)
    with pytest.raises(InputError, match=r"terrain under lat 60\.0000"):
        read_terrain(path, frame=far, bounds=NEAR)
    swapped = Frame(latitude_deg=9.0, longitude_deg=46.5)
    with pytest.raises(InputError, match="look swapped"):
        read_terrain(path, frame=swapped, bounds=NEAR)


def test_a_stated_crs_that_contradicts_the_file_is_refused(tmp_path):
    path = plane_tif(tmp_path / "a.tif")
    with pytest.raises(InputError, match="Leave terrain_crs out"):
        read_terrain(path, frame=FRAME, bounds=NEAR, crs="EPSG:32633")
    same = read_terrain(path, frame=FRAME, bounds=NEAR, crs="EPSG:32632")
    assert same.elevation_m.size
    with pytest.raises(InputError, match="a coordinate reference system with a place"):
        read_terrain(path, frame=FRAME, bounds=NEAR, crs="somewhere")


def test_heights_that_cannot_be_metres_are_refused(tmp_path):
    west, north, east, norths = utm_grid()
    values = plane(east, norths) * 10
    path = write_tif(tmp_path / "dm.tif", values, west=west, north=north)
    with pytest.raises(InputError, match="heights in metres between -450 and 9000"):
        read_terrain(path, frame=FRAME, bounds=NEAR)


def test_a_terrain_too_fine_to_hold_is_refused_before_it_is_read(tmp_path):
    x, y = Transformer.from_crs("EPSG:4326", UTM, always_xy=True).transform(9.0, 46.5)
    path = tmp_path / "fine.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=60_000, height=60_000, count=1, crs=UTM,
        dtype="float32", sparse_ok=True, tiled=True, compress="deflate",
        transform=Affine(0.01, 0, x - 300, 0, -0.01, y + 300),
    ):  # fmt: skip
        pass
    with pytest.raises(InputError, match="no more than 150 million cells"):
        read_terrain(path, frame=FRAME, bounds=NEAR)


def test_a_wide_area_is_held_in_coarser_cells_and_is_the_same_plane(
    tmp_path, monkeypatch
):
    monkeypatch.setattr(dem, "MOST_GRID_CELLS", 10_000)
    monkeypatch.setattr(dem_tile, "MOST_CELLS", 2_000)
    terrain = read_terrain(plane_tif(tmp_path / "a.tif"), frame=FRAME, bounds=NEAR)
    assert terrain.elevation_m.size <= 10_500
    assert terrain.source_cell_m == pytest.approx(10.0, rel=1e-3)
    random = np.random.default_rng(5)
    x_m, y_m = random.uniform(-190, 190, (2, 400))
    height = sample_grid(terrain, x_m=x_m, y_m=y_m)
    assert height == pytest.approx(plane_in_frame(x_m, y_m), abs=0.01)


def test_a_zip_bomb_is_refused(tmp_path):
    path = tmp_path / "bomb.zip"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("N46E009.hgt", "w") as member,
    ):
        for _ in range(320):
            member.write(b"\x00" * 1_000_000)
    assert path.stat().st_size < 1_000_000
    with pytest.raises(InputError, match="more than 300 MB unpacked"):
        read_terrain(path, frame=FRAME, bounds=NEAR)


@pytest.mark.parametrize(("scale", "offset"), [(0.5, 0.0), (1.0, 1000.0), (0.1, -50.0)])
def test_scale_and_offset_of_a_band_are_applied(tmp_path, scale, offset):
    # GDAL raster data model, "Raster Band": value = raw * scale + offset.
    west, north, east, norths = utm_grid()
    raw = np.round((plane(east, norths) - offset) / scale).astype(np.int16)
    path = write_tif(tmp_path / "t.tif", raw, west=west, north=north)
    with rasterio.open(path, "r+") as target:
        target.scales, target.offsets = (scale,), (offset,)
    terrain = read_terrain(path, frame=FRAME, bounds=NEAR)
    x, y = Transformer.from_crs("EPSG:4326", UTM, always_xy=True).transform(9.0, 46.5)
    height_m = sample_grid(terrain, x_m=np.array([0.0]), y_m=np.array([0.0]))[0]
    assert height_m == pytest.approx(plane(x, y), abs=scale)


def refused(path, **options):
    with pytest.raises(InputError) as error:
        read_terrain(path, frame=FRAME, bounds=NEAR, **options)
    return str(error.value)


@pytest.mark.parametrize("bands", [1, 3])
def test_a_picture_of_the_ground_is_no_terrain(tmp_path, bands):
    west, north, east, norths = utm_grid()
    heights = plane(east, norths)
    shade = (255 * (heights - heights.min()) / np.ptp(heights)).astype(np.uint8)
    path = tmp_path / "shade.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=shade.shape[1], height=shade.shape[0],
        count=bands, dtype="uint8", crs=UTM, transform=Affine(5, 0, west, 0, -5, north),
    ) as target:  # fmt: skip
        for band in range(bands):
            target.write(shade, band + 1)
    assert "This is a picture" in refused(path)


@pytest.mark.parametrize(
    ("unit", "metres"),
    [
        ("m", 1.0),
        ("unknown", 1.0),
        ("foot", 0.3048),
        ("international foot", 0.3048),
        ("Foot_US", 1200 / 3937),
        ("km", None),
    ],
)
def test_a_unit_of_the_band_is_known_or_refused(tmp_path, unit, metres):
    path = plane_tif(tmp_path / "t.tif")
    with rasterio.open(path, "r+") as target:
        target.units = (unit,)
    if metres is None:
        assert "found heights in 'km', expected heights in metres" in refused(path)
        return
    terrain = read_terrain(path, frame=FRAME, bounds=NEAR)
    plain = read_terrain(plane_tif(tmp_path / "p.tif"), frame=FRAME, bounds=NEAR)
    assert np.nanmax(np.abs(terrain.elevation_m - metres * plain.elevation_m)) < 1e-6


def test_heights_on_a_grid_in_feet_have_a_unit_or_none(tmp_path):
    # EPSG:6527 is a state plane in US survey feet, with heights mostly in feet too.
    frame = Frame(latitude_deg=40.6, longitude_deg=-74.5)
    to_grid = Transformer.from_crs("EPSG:4326", "EPSG:6527", always_xy=True)
    x, y = to_grid.transform(frame.longitude_deg, frame.latitude_deg)
    level = np.full((200, 200), 1000.0)
    path = write_tif(
        tmp_path / "t.tif", level, west=x - 1000, north=y + 1000, cell_m=10.0,
        crs="EPSG:6527",
    )  # fmt: skip
    bounds = (-50.0, -50.0, 50.0, 50.0)
    with pytest.raises(InputError, match="does not say the unit of its heights"):
        read_terrain(path, frame=frame, bounds=bounds)
    for vertical, metres in (("6360", 1200 / 3937), ("5703", 1.0)):
        stated = f"EPSG:6527+{vertical}"
        terrain = read_terrain(path, frame=frame, bounds=bounds, crs=stated)
        assert np.nanmax(np.abs(terrain.elevation_m - 1000 * metres)) < 1e-6


@pytest.mark.parametrize("way", ["north to south", "west to east"])
def test_a_step_between_files_that_only_touch_is_told(tmp_path, way):
    # Hills on the ground, so that the step is no mere kink of a plane.
    west, north, east, norths = utm_grid()
    heights = plane(east, norths) + 8 * np.sin(east / 40) * np.cos(norths / 55)
    half = heights.shape[0] // 2
    first = np.s_[:half] if way == "north to south" else np.s_[:, :half]
    second = np.s_[half:] if way == "north to south" else np.s_[:, half:]
    down = 5.0 * half
    shift = (0, -down) if way == "north to south" else (down, 0)
    for step_m, told in ((0.0, 0.3), (3.0, None), (-20.0, None)):
        paths = [
            write_tif(tmp_path / "a.tif", heights[first], west=west, north=north),
            write_tif(
                tmp_path / "b.tif", heights[second] + step_m,
                west=west + shift[0], north=north + shift[1],
            ),
        ]  # fmt: skip
        terrain = read_terrain(paths, frame=FRAME, bounds=NEAR)
        if told is not None:
            assert terrain.seam_step_m < told
        else:
            assert terrain.seam_step_m == pytest.approx(abs(step_m), abs=0.3)


def test_rough_ground_in_coarse_cells_is_no_step(shared):
    # A real grid of 90 m cells, cut where nothing steps: its roughness is no datum.
    found = sorted((shared / "real").rglob("*andorra*arinsal*.tif"))
    assert found
    with rasterio.open(found[0]) as source:
        heights = source.read(1)
    for cut in range(15, heights.shape[0] - 15, 5):
        first, second = heights[:cut].astype(float), heights[cut:].astype(float)
        width = min(40, heights.shape[1])
        laid = np.vstack([first[:, :width], np.full((len(second), width), np.nan)])
        step_m = dem._rim_step_m(laid, second[:, :width], row=cut, column=0)
        assert step_m < 6.1, cut


def test_a_dem_with_a_second_band_is_told_to_give_one(tmp_path):
    west, north, east, norths = utm_grid()
    heights = plane(east, norths).astype(np.float32)
    path = tmp_path / "two.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=heights.shape[1], height=heights.shape[0],
        count=2, dtype="float32", crs=UTM, transform=Affine(5, 0, west, 0, -5, north),
    ) as target:  # fmt: skip
        target.write(heights, 1)
        target.write(np.zeros_like(heights), 2)
    assert "Export the band that holds the elevations alone" in refused(path)


def test_a_sidecar_file_moves_nothing(tmp_path):
    path = plane_tif(tmp_path / "t.tif")
    plain = read_terrain(path, frame=FRAME, bounds=NEAR)
    (tmp_path / "t.tif.aux.xml").write_text(
        "<PAMDataset><PAMRasterBand band='1'><Offset>100</Offset></PAMRasterBand>"
        "<GeoTransform>0, 5, 0, 0, 0, -5</GeoTransform></PAMDataset>"
    )
    beside = read_terrain(path, frame=FRAME, bounds=NEAR)
    assert np.array_equal(plain.elevation_m, beside.elevation_m, equal_nan=True)
