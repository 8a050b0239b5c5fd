"""Every file of the shared folder of real data is tried: read, or refused in words.

Source of the list and of what is awkward about each: ``real/INDEX.md``.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from evac.errors import InputError
from evac.frame import Frame
from evac.inputs.dem import read_terrain
from evac.inputs.layers import read_layer
from evac.inputs.osm import list_lifts

NOT_DATA = {"INDEX.md", "LIFTS.csv"}


def lifts(path: Path) -> int:
    return len(list_lifts(path))


def features(path: Path) -> int:
    return len(read_layer(path.read_bytes(), file=path.name))


def heights_at(
    latitude_deg: float, longitude_deg: float, *, crs: str | None = None
) -> Callable[[Path], int]:
    def heights(path: Path) -> int:
        terrain = read_terrain(
            path,
            frame=Frame(latitude_deg=latitude_deg, longitude_deg=longitude_deg),
            bounds=(-150.0, -150.0, 150.0, 150.0),
            crs=crs,
        )
        return int(np.isfinite(terrain.elevation_m).sum())

    return heights


TRIED: dict[str, Callable[[Path], int]] = {
    "osm_andorra_2013.osm.gz": lifts,
    "osm_liechtenstein_2013.osm.pbf": lifts,
    "osm_us_purgatory.osm": lifts,
    "osm_us_mount_snow.osm": lifts,
    "osm_us_mount_hood_meadows.osm": lifts,
    "osm_us_ski_apache.osm": lifts,
    "osm_us_discovery.osm": lifts,
    "osm_us_big_powderhorn_mountain.osm": lifts,
    "osm_us_dartmouth_skiway.osm": lifts,
    "bigbear_overpass_AllRunsGeo.geojson": lifts,
    "openskimap_lifts_sample.geojson": lifts,
    "N42E001.hgt.zip": heights_at(42.57, 1.475),
    "dem_andorra_arinsal_srtm3_crop.tif": heights_at(42.57, 1.475),
    "dem_avaAlr_nordkette_5m_f32.tif": heights_at(47.3, 11.4315),
    "dem_avaPfa_1m.asc": heights_at(47.136, 10.27, crs="EPSG:31287"),
    "dartmouth_skiway_contours.geojson": heights_at(43.7863, -72.0936),
    "openskimap_runs_sample.geojson": features,
    "dartmouth_skiway_context.geojson": features,
    "gpxpy_unicode_with_bom.gpx": features,
    "graphhopper_test-only-wpt.gpx": features,
}
REFUSED: dict[str, tuple[Callable[[Path], int], str]] = {
    # "the .js is what people really have: not JSON"
    "bigbear_overpass_raw.js": (lifts, "must first be cut down to the GeoJSON in it"),
    # "empty track"
    "gpxpy_gpx1.1_with_all_fields.gpx": (features, "Draw the feature again or delete"),
}


def test_no_file_is_left_untried(shared):
    found = {path.name for path in (shared / "real").iterdir()} - NOT_DATA
    assert found == set(TRIED) | set(REFUSED)


@pytest.mark.parametrize("name", sorted(TRIED))
def test_it_is_read(shared, name):
    assert TRIED[name](shared / "real" / name) > 0


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_it_is_refused_with_what_to_do(shared, name):
    read, sentence = REFUSED[name]
    with pytest.raises(InputError, match=sentence):
        read(shared / "real" / name)
