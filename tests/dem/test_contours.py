"""Contour lines become ground between them, and none where there is no contour."""

from __future__ import annotations

import json

import geopandas
import numpy as np
import pytest

from evac.errors import InputError
from evac.frame import Frame
from evac.ground import sample_grid
from evac.inputs.dem import crop, read_terrain, sd_assumption

FRAME = Frame(latitude_deg=44.0, longitude_deg=-72.0)
NEAR = (-200.0, -200.0, 200.0, 200.0)


def contour_file(path, lines, *, name="elevation_m", lift=0.0):
    """GeoJSON of (height as written, x, y) lines given in the frame."""
    features = []
    for height, x, y in lines:
        latitude, longitude = FRAME.to_degrees(x_m=x, y_m=y)
        points = np.column_stack([longitude, latitude])
        if lift:
            points = np.column_stack([points, np.full(len(points), lift)])
        features.append(
            {
                "type": "Feature",
                "properties": {} if height is None else {name: height},
                "geometry": {"type": "LineString", "coordinates": points.tolist()},
            }
        )
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def plane_contours(*, interval=10.0, shown=lambda height: height):
    """Contours of a plane that rises 0.4 to the east, drawn with few vertices."""
    y = np.array([-600.0, 0.0, 600.0])
    for level in np.arange(800.0, 1200.1, interval):
        yield shown(float(level)), np.full(3, (level - 1000) / 0.4), y


def test_a_plane_comes_back_between_its_contours(tmp_path):
    path = contour_file(tmp_path / "c.geojson", plane_contours())
    terrain = read_terrain(path, frame=FRAME, bounds=NEAR)
    random = np.random.default_rng(1)
    x_m, y_m = random.uniform(-190, 190, (2, 300))
    height = sample_grid(terrain, x_m=x_m, y_m=y_m)
    # 1 cm: degrees bend the drawn lines a little.
    assert height == pytest.approx(1000 + 0.4 * x_m, abs=0.01)
    # Contours of 10 m at a rise of 0.4 lie 25 m apart.
    assert terrain.source_cell_m == pytest.approx(25.0, rel=0.02)
    # National Map Accuracy Standards: 90 % within half an interval; 1.645 sd = 90 %.
    assert terrain.sd_m == pytest.approx(5.0 / 1.645)
    assert "National Map Accuracy Standards" in sd_assumption(terrain).reason


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("ELEV_FT", lambda height: height / 0.3048),
        ("contour", lambda height: f"{height / 0.3048:.4f}'"),
        ("ele", lambda height: f"{height / 0.3048:.4f} ft"),
        ("Elevation", lambda height: f"{height} m"),
    ],
)
def test_heights_in_feet_are_read_as_feet_where_they_say_so(tmp_path, name, shown):
    path = contour_file(tmp_path / "c.geojson", plane_contours(shown=shown), name=name)
    terrain = read_terrain(path, frame=FRAME, bounds=NEAR)
    assert sample_grid(terrain, x_m=[100.0], y_m=[0.0]) == pytest.approx(
        [1040.0], abs=0.02
    )


def as_kml(geojson):
    """The same contours as map programs write them (OGC KML 2.2)."""
    placemarks = []
    for feature in json.loads(geojson.read_text())["features"]:
        places = " ".join(f"{x},{y},0" for x, y in feature["geometry"]["coordinates"])
        placemarks.append(
            '<Placemark><ExtendedData><SchemaData><SimpleData name="ELEV">'
            f"{feature['properties']['elevation_m']}</SimpleData></SchemaData>"
            f"</ExtendedData><LineString><coordinates>{places}</coordinates>"
            "</LineString></Placemark>"
        )
    text = (
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        f"{''.join(placemarks)}</Document></kml>"
    )
    path = geojson.with_suffix(".kml")
    path.write_text(text)
    return path


def as_geopackage(geojson):
    """The same contours as geopandas writes them, in metres of UTM zone 18."""
    path = geojson.with_suffix(".gpkg")
    geopandas.read_file(geojson).to_crs("EPSG:32618").to_file(path)
    return path


@pytest.mark.parametrize("convert", [as_kml, as_geopackage])
def test_contours_read_alike_from_every_layer_format(tmp_path, convert):
    geojson = contour_file(tmp_path / "c.geojson", plane_contours())
    path = convert(geojson)
    terrain = read_terrain(path, frame=FRAME, bounds=NEAR)
    first = read_terrain(geojson, frame=FRAME, bounds=NEAR)
    # A corner may move by a millimetre on its way through another projection.
    assert terrain.elevation_m == pytest.approx(first.elevation_m, abs=0.01)
    assert terrain.source == "c" + path.suffix + ", contours every 10.0 m"
    ((name, content),) = crop(path, frame=FRAME, bounds=NEAR).items()
    (tmp_path / name).write_bytes(content)
    again = read_terrain(tmp_path / name, frame=FRAME, bounds=NEAR)
    assert again.elevation_m == pytest.approx(first.elevation_m, abs=0.01)


def test_contours_in_two_files_are_one_ground(tmp_path):
    lines = list(plane_contours())
    whole = contour_file(tmp_path / "c.geojson", lines)
    halves = [
        contour_file(tmp_path / "low.geojson", lines[: len(lines) // 2]),
        contour_file(tmp_path / "high.geojson", lines[len(lines) // 2 :]),
    ]
    terrain = read_terrain(halves, frame=FRAME, bounds=NEAR)
    first = read_terrain(whole, frame=FRAME, bounds=NEAR)
    assert terrain.elevation_m == pytest.approx(first.elevation_m, abs=1e-6)
    assert "2 files" in terrain.source


def test_contours_beside_a_raster_are_refused(tmp_path):
    path = contour_file(tmp_path / "c.geojson", plane_contours())
    with pytest.raises(InputError) as refused:
        read_terrain([path, tmp_path / "d.tif"], frame=FRAME, bounds=NEAR)
    assert str(refused.value) == (
        "c.geojson, terrain: found d.tif as well, expected either contour lines or "
        "rasters as terrain. Keep the finer of the two and take the other out of "
        "[files] terrain."
    )


def test_where_no_contour_is_near_there_is_no_height(tmp_path):
    lines = [line for line in plane_contours() if not 920 < line[0] < 1180]
    path = contour_file(tmp_path / "c.geojson", lines)
    terrain = read_terrain(path, frame=FRAME, bounds=(-300.0, -200.0, 440.0, 200.0))
    # 920 m at x = -200, 1180 m at x = 450: a gap of 650 m, wider than a triangle.
    at_gap, on_slope = sample_grid(terrain, x_m=[100.0, -250.0], y_m=[0.0, 0.0])
    assert np.isnan(at_gap)
    assert on_slope == pytest.approx(900.0, abs=0.05)


def test_a_contour_without_height_or_with_z_of_zero_is_refused(tmp_path):
    lines = [(None, x, y) for _, x, y in plane_contours()]
    with pytest.raises(InputError, match="feature 1: found no height, expected a hei"):
        read_terrain(
            contour_file(tmp_path / "c.geojson", lines), frame=FRAME, bounds=NEAR
        )
    flat = contour_file(tmp_path / "z.geojson", lines, lift=0.0)
    with pytest.raises(InputError, match="found no height"):
        read_terrain(flat, frame=FRAME, bounds=NEAR)


def test_contours_of_another_place_or_in_metres_are_refused(tmp_path):
    path = contour_file(tmp_path / "c.geojson", plane_contours())
    far = Frame(latitude_deg=45.0, longitude_deg=-72.0)
    with pytest.raises(InputError, match="found 0 contours near the lift"):
        read_terrain(path, frame=far, bounds=NEAR)
    metres = {
        "type": "Feature",
        "properties": {"ele": 5},
        "geometry": {"type": "LineString", "coordinates": [[5e5, 5e6], [5e5, 6e6]]},
    }
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [metres]}))
    with pytest.raises(InputError, match="expected longitude and latitude in degrees"):
        read_terrain(path, frame=FRAME, bounds=NEAR)


@pytest.mark.parametrize("text", ["", "[]", '{"features": [1]}', "<kml></kml>"])
def test_what_are_no_contours_is_refused(tmp_path, text):
    path = tmp_path / "c.geojson"
    path.write_text(text)
    with pytest.raises(InputError, match="expected contour lines as GeoJSON"):
        read_terrain(path, frame=FRAME, bounds=NEAR)


def test_ground_on_a_real_contour_has_its_height(shared):
    # INDEX.md: 17 contours 280-600 m, 20 m step; both lifts of the OSM file on them.
    path = shared / "real" / "dartmouth_skiway_contours.geojson"
    frame = Frame(latitude_deg=43.7863, longitude_deg=-72.0936)
    bounds = (-400.0, -400.0, 400.0, 400.0)
    terrain = read_terrain(path, frame=frame, bounds=bounds)
    features = json.loads(path.read_text("utf-8"))["features"]
    apart = []
    for feature in features:
        for line in feature["geometry"]["coordinates"]:
            longitude, latitude = np.array(line).T[:2]
            x_m, y_m = frame.from_degrees(
                latitude_deg=latitude, longitude_deg=longitude
            )
            height = sample_grid(terrain, x_m=x_m, y_m=y_m)
            apart += list(
                (height - feature["properties"]["elevation_m"])[~np.isnan(height)]
            )
    assert len(apart) > 1000
    # Cells of 5 m on slopes of up to 45 degrees: half a cell is 2.5 m of height.
    assert np.quantile(np.abs(apart), 0.95) < 2.5
    assert abs(np.mean(apart)) < 0.2


def test_cut_contours_are_the_same_ground(shared, tmp_path):
    path = shared / "real" / "dartmouth_skiway_contours.geojson"
    frame = Frame(latitude_deg=43.7863, longitude_deg=-72.0936)
    ((name, content),) = crop(path, frame=frame, bounds=NEAR).items()
    (tmp_path / name).write_bytes(content)
    again = read_terrain(tmp_path / name, frame=frame, bounds=NEAR)
    first = read_terrain(path, frame=frame, bounds=NEAR)
    assert again.elevation_m == pytest.approx(first.elevation_m, nan_ok=True)


def test_contours_of_another_reference_system_are_refused(tmp_path):
    # RFC 7946: GeoJSON is WGS 84; NAD 27 lies up to some 100 m beside it.
    path = contour_file(tmp_path / "c.geojson", plane_contours())
    whole = json.loads(path.read_text())
    for name, taken in (
        ("urn:ogc:def:crs:OGC:1.3:CRS84", True),
        ("urn:ogc:def:crs:EPSG::4267", False),
    ):
        whole["crs"] = {"type": "name", "properties": {"name": name}}
        path.write_text(json.dumps(whole))
        if taken:
            read_terrain(path, frame=FRAME, bounds=NEAR)
            continue
        with pytest.raises(InputError, match="4267"):
            read_terrain(path, frame=FRAME, bounds=NEAR)


def test_a_height_with_two_readings_is_none(tmp_path):
    lines = plane_contours(shown=lambda height: f"{height / 1000:.3f}")
    path = contour_file(tmp_path / "c.geojson", lines)
    with pytest.raises(InputError, match="no height"):
        read_terrain(path, frame=FRAME, bounds=NEAR)
