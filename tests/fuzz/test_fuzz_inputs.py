"""Spoilt folders end in a sound lift or one message: never a traceback or a hang.

`EVAC_FUZZ=1950` in the environment tries as many seeds as said; `python -m tests.fuzz
--count 20000` many more of the same.
"""

from __future__ import annotations

import json
import math
import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.append(str(Path(__file__).parents[1] / "inputs"))

from folder_judge import base_files, judge
from plan_judge import plan_and_judge

from evac.errors import InputError
from evac.inputs.layers import read_layer
from evac.inputs.lift_toml import read_lift_toml
from evac.inputs.rows import SupportRow
from evac.inputs.tables import raw_table, read_table

SEEDS = range(1, 1 + int(os.environ.get("EVAC_FUZZ", "150")))
CHUNK = 50


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return base_files()


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


@given(text=st.text(max_size=200))
@settings(max_examples=60, deadline=None)
def test_any_text_as_lift_toml_is_refused(text: str) -> None:
    content = f"schema = 1\n{text}".encode("utf-8", "replace")
    with pytest.raises(InputError):
        read_lift_toml(content)
