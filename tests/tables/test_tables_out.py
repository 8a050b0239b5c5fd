"""Tables keep their types, texts stay texts, devices read what we write."""

from __future__ import annotations

import io
import json
from dataclasses import replace

import gpxpy
import made_plan
import pytest
from openpyxl import load_workbook
from shapely.geometry import shape

from evac.facts.plan import Plan
from evac.tables_out import geojson_bytes, gpx_bytes, plan_json, xlsx_bytes
from evac.words import Words

HOSTILE = '=1+1 <b>"č ß ł ≤ →"</b> & # Täli 10/11 リフト подъёмник'


@pytest.fixture(scope="module")
def plan() -> Plan:
    made = made_plan.make_plan()
    return replace(made, lift=replace(made.lift, name=HOSTILE))


@pytest.mark.parametrize("writer", [xlsx_bytes, gpx_bytes, geojson_bytes])
def test_the_same_plan_gives_the_same_bytes(writer: object, plan: Plan) -> None:
    assert callable(writer)
    assert writer(plan, Words()) == writer(plan, Words())


def test_a_text_like_a_formula_stays_a_text(plan: Plan) -> None:
    book = load_workbook(io.BytesIO(xlsx_bytes(plan, Words())))
    cell = book["Summary"]["B2"]
    assert (cell.value, cell.data_type) == (HOSTILE, "s")


def test_every_sheet_has_frozen_typed_columns(plan: Plan) -> None:
    book = load_workbook(io.BytesIO(xlsx_bytes(plan, Words())))
    assert "Cautions" in book.sheetnames
    for sheet in book:
        assert sheet.freeze_panes == "A2", sheet.title
    heights = book["Heights"]
    names = [cell.value for cell in heights[1]]
    seat = heights.cell(row=2, column=names.index("seat greatest_m") + 1)
    assert isinstance(seat.value, float)
    assert heights.max_row == 1 + len(plan.heights.units)


def test_gpx_holds_every_support_at_its_place(plan: Plan) -> None:
    # Reference reader: gpxpy, and the frame's origin is the first support.
    gpx = gpxpy.parse(gpx_bytes(plan, Words()).decode("utf-8"))
    names = [point.name for point in gpx.waypoints]
    assert [s.id for s in plan.lift.supports] == names[: len(plan.lift.supports)]
    assert gpx.waypoints[0].latitude == pytest.approx(plan.lift.latitude_deg, abs=1e-5)
    assert gpx.name == HOSTILE


def test_geojson_is_longitude_first_and_holds_every_unit(plan: Plan) -> None:
    # RFC 7946, section 3.1.1: longitude and latitude, in that order.
    content = json.loads(geojson_bytes(plan, Words()))
    spans = [f for f in content["features"] if f["properties"]["what"] == "span"]
    assert len(spans) == len(plan.heights.units)
    place = shape(content["features"][0]["geometry"])
    assert place.x == pytest.approx(plan.lift.longitude_deg, abs=1e-5)
    assert place.y == pytest.approx(plan.lift.latitude_deg, abs=1e-5)
    assert "qualified person" in content["caution"]


def test_plan_json_has_no_nan_and_every_zone(plan: Plan) -> None:
    content = json.loads(plan_json(plan))
    assert b"NaN" not in plan_json(plan)
    assert len(content["zones"]) == len(plan.assignment.zones)
