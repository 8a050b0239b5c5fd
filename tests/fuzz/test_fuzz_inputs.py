"""Spoilt folders end in a sound lift or one message: never a traceback or a hang.

`EVAC_FUZZ=1950` in the environment tries as many seeds as said; `python -m tests.fuzz
--count 20000` many more of the same.
"""

from __future__ import annotations

import csv
import io
import json
import math
import os
import sys
import tempfile
import warnings
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

sys.path.append(str(Path(__file__).parents[1] / "inputs"))

from folder_judge import base_files, judge, warm_up
from plan_judge import plan_and_judge

from evac.errors import EvacError, InputError
from evac.frame import Frame
from evac.inputs.dem import read_terrain
from evac.inputs.layers import read_layer
from evac.inputs.lift_toml import read_lift_toml
from evac.inputs.rows import SupportRow
from evac.inputs.tables import raw_table, read_table

SEEDS = range(1, 1 + int(os.environ.get("EVAC_FUZZ", "150")))
CHUNK = 50


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    files = base_files()
    warm_up(files, further=plan_and_judge)
    return files


def test_the_folder_that_is_spoilt_opens_when_it_is_not(
    files: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("folder_judge.mutate", lambda files, **_: (files, "nothing"))

    outcome = judge(files, seed=0, further=plan_and_judge)

    assert outcome.verdict == "opened", outcome.text


@pytest.mark.slow
@pytest.mark.parametrize("first", SEEDS[::CHUNK])
def test_a_spoilt_folder_is_a_sound_plan_or_one_message(
    files: dict[str, bytes], first: int
) -> None:
    outcomes = [
        judge(files, seed=seed, further=plan_and_judge)
        for seed in range(first, first + CHUNK)
    ]

    faults = [one for one in outcomes if one.verdict not in ("opened", "refused")]
    assert faults == []
    # Both must happen, or the mutator is too rough or too mild to find anything.
    assert {one.verdict for one in outcomes} == {"opened", "refused"}


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
@given(content=st.binary(max_size=2_000))
@settings(max_examples=60, deadline=None)
def test_any_bytes_are_a_table_or_refused(ending: str, content: bytes) -> None:
    with suppress(InputError):
        table = raw_table(content, file=f"supports.{ending}")
        read_table(table, model=SupportRow, name="supports")


CELL = st.text(max_size=12) | st.floats().map(str) | st.dates().map(str)


@given(rows=st.lists(st.lists(CELL, min_size=8, max_size=8), max_size=4))
@settings(max_examples=60, deadline=None)
def test_any_cells_are_rows_or_refused(rows: list[list[str]]) -> None:
    header = ",".join(SupportRow.model_fields)
    lines = [
        ",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in rows
    ]
    content = "\n".join([header, *lines]).encode("utf-8", "replace")
    with suppress(InputError):
        table = raw_table(content, file="supports.csv")
        for row in read_table(table, model=SupportRow, name="supports"):
            assert math.isfinite(row.rope_height_m)
            assert row.support


COLUMN = st.sampled_from([*SupportRow.model_fields, "note", "rope_height_ft", ""])


@given(header=st.lists(COLUMN | st.text(max_size=10), max_size=12))
@settings(max_examples=60, deadline=None)
def test_any_header_is_columns_or_refused(header: list[str]) -> None:
    text = io.StringIO()
    csv.writer(text).writerows([header, ["1"] * len(header)])
    with suppress(InputError):
        table = raw_table(text.getvalue().encode("utf-8", "replace"), file="s.csv")
        read_table(table, model=SupportRow, name="supports")
        assert len(set(table.header)) == len(table.header)


HEIGHT = st.floats(width=32) | st.sampled_from([-32768.0, -9999.0, 32767.0, 1500.0])
PLACE = st.floats(allow_nan=False, allow_infinity=False, width=32)


@given(
    heights=hnp.arrays(
        np.float32, hnp.array_shapes(min_dims=2, max_dims=2), elements=HEIGHT
    ),
    west=st.just(9.9) | PLACE,
    cell=st.just(0.001) | PLACE.filter(bool),
    crs=st.sampled_from(["EPSG:4326", "EPSG:31287", "EPSG:3857", None]),
)
@settings(max_examples=40, deadline=None)
def test_any_raster_is_terrain_without_invented_heights_or_refused(
    heights: Any, west: float, cell: float, crs: str | None
) -> None:
    # GDAL complains of odd places through the warnings that a reader must not show.
    with tempfile.TemporaryDirectory() as place, suppress(InputError):
        path = Path(place) / "terrain.tif"
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with rasterio.open(
                *(path, "w", "GTiff", heights.shape[1], heights.shape[0], 1, crs),
                transform=Affine(cell, 0, west, 0, -cell, 46.8 + 2 * cell),
                dtype="float32",
            ) as file:
                file.write(heights, 1)
        terrain = read_terrain(
            path,
            frame=Frame(latitude_deg=46.8, longitude_deg=9.9),
            bounds=(-50.0, -50.0, 50.0, 50.0),
        )
        known = terrain.elevation_m[np.isfinite(terrain.elevation_m)]
        real = heights[np.isfinite(heights) & (np.abs(heights) < 9001)]
        assert known.size == 0 or known.min() >= real.min() - 1e-3
        assert known.size == 0 or known.max() <= real.max() + 1e-3
        assert not np.isin(known, (-9999.0, -32768.0)).any()


@pytest.mark.parametrize("ending", ["geojson", "gpx", "kml", "kmz", "gpkg"])
@given(content=st.binary(max_size=500))
@settings(max_examples=60, deadline=None)
def test_any_bytes_are_a_layer_or_refused(ending: str, content: bytes) -> None:
    with pytest.raises(InputError):
        read_layer(content, file=f"layer.{ending}")


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner)
    ),
    max_leaves=8,
)


@given(geometry=JSON, kind=st.sampled_from(["Point", "LineString", "Polygon", "x"]))
@settings(max_examples=150, deadline=None)
def test_any_json_as_geometry_is_a_place_or_refused(geometry: Any, kind: str) -> None:
    feature = {
        "type": "Feature",
        "properties": geometry if isinstance(geometry, dict) else {},
        "geometry": {"type": kind, "coordinates": geometry},
    }
    whole = {"type": "FeatureCollection", "features": [feature]}
    with suppress(InputError):
        for read in read_layer(json.dumps(whole).encode(), file="layer.geojson"):
            assert all(map(math.isfinite, read.geometry.bounds))


LINE = st.lists(st.lists(st.floats(-180, 180) | JSON, max_size=4), max_size=4)


@given(
    coordinates=JSON | LINE | st.lists(LINE, max_size=2),
    kind=st.sampled_from(["LineString", "MultiLineString"]),
    height=JSON | st.just(1500),
)
@settings(max_examples=50, deadline=None)
def test_any_json_as_contours_is_ground_or_refused(
    coordinates: Any, kind: str, height: Any
) -> None:
    features = [
        {
            "type": "Feature",
            "properties": {"elevation_m": height},
            "geometry": {"type": kind, "coordinates": coordinates},
        },
        {
            "type": "Feature",
            "properties": {"elevation_m": 1510},
            "geometry": {
                "type": "LineString",
                "coordinates": [[9.8, 46.8], [10, 46.9]],
            },
        },
    ]
    whole = {"type": "FeatureCollection", "features": features}
    with tempfile.TemporaryDirectory() as place, suppress(EvacError):
        path = Path(place) / "terrain.geojson"
        path.write_text(json.dumps(whole))
        read_terrain(
            path,
            frame=Frame(latitude_deg=46.8, longitude_deg=9.9),
            bounds=(-50.0, -50.0, 50.0, 50.0),
        )


@given(text=st.text(max_size=200))
@settings(max_examples=60, deadline=None)
def test_any_text_as_lift_toml_is_refused(text: str) -> None:
    content = f"schema = 1\n{text}".encode("utf-8", "replace")
    with pytest.raises(InputError):
        read_lift_toml(content)
