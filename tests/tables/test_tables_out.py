"""Tables keep their types, texts stay texts, devices read what we write."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from xml.etree import ElementTree as ET

import gpxpy
import made_plan
import pytest
from openpyxl import load_workbook
from shapely.geometry import shape

from evac.facts.plan import Plan
from evac.heights.margins import SOURCES
from evac.tables_out import (
    geojson_bytes,
    gpx_bytes,
    plan_json,
    plan_tables,
    xlsx_bytes,
)
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


PIECES = (
    "<script>alert(1)</script>",
    '"quoted" & &amp;',
    "=1+1",
    "+1",
    "@SUM(A1)",
    "#17 #let x *b* $x$",
    "3-4",
    "10/11",
    "Täli č ß ł ≤ → °",
    "Канатная",
    "白馬 リフト",
)


def hostile_plan() -> Plan:
    """Every piece as a support's name, and some wherever else a person writes."""
    ids = ("Tal", *PIECES, "Berg")
    lift = made_plan.make_long_lift(
        name=PIECES[0], support_ids=ids, team_ids=(PIECES[2], PIECES[5], PIECES[10])
    )
    hut = replace(lift.muster_points[0], name=PIECES[1])
    kits = tuple(replace(kit, stored_at=PIECES[3]) for kit in lift.kits)
    why = replace(lift.assumptions[0], reason=PIECES[4])
    return made_plan.make_plan(
        replace(lift, muster_points=(hut,), kits=kits, assumptions=(why,))
    )


def test_hostile_names_come_out_as_the_same_text_in_the_workbook() -> None:
    book = load_workbook(io.BytesIO(xlsx_bytes(hostile_plan(), Words())))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    texts = {cell.value for cell in cells if isinstance(cell.value, str)}
    assert {cell.data_type for cell in cells if isinstance(cell.value, str)} == {"s"}
    for piece in PIECES:
        assert piece in texts


def test_hostile_names_come_out_as_the_same_text_on_devices() -> None:
    plan = hostile_plan()
    gpx = gpxpy.parse(gpx_bytes(plan, Words()).decode("utf-8"))
    names = {point.name for point in gpx.waypoints}
    content = json.loads(geojson_bytes(plan, Words()))
    supports = {f["properties"].get("support") for f in content["features"]}
    for piece in PIECES:
        assert piece in names
        assert piece in supports
    assert gpx.name == PIECES[0]
    assert any(PIECES[2] in route.name for route in gpx.routes)


@pytest.mark.parametrize("letter", ["\x00", "\x07", "\x1b", "\ufffe"])
def test_letters_that_xml_cannot_hold_do_not_break_a_receiver(
    letter: str, plan: Plan
) -> None:
    # XML 1.0 (5th edition), production 2: Char.
    named = replace(plan, lift=replace(plan.lift, name=f"bell{letter}tower"))
    root = ET.fromstring(gpx_bytes(named, Words()))  # noqa: S314  # our own
    texts = "".join(root.itertext())
    assert "bell tower" in texts


def test_every_sheet_has_frozen_typed_columns(plan: Plan) -> None:
    book = load_workbook(io.BytesIO(xlsx_bytes(plan, Words())))
    assert "Cautions" in book.sheetnames
    for sheet in book:
        assert sheet.freeze_panes == "A2", sheet.title
    heights = book["Heights"]
    names = [cell.value for cell in heights[1]]
    seat = heights.cell(row=2, column=names.index("seat, greatest [m]") + 1)
    assert isinstance(seat.value, float)
    assert heights.max_row == 1 + len(plan.heights.units)


def sheet_rows(plan: Plan, name: str) -> list[dict[str, object]]:
    """One sheet as openpyxl reads it back: heading -> value, row by row."""
    book = load_workbook(io.BytesIO(xlsx_bytes(plan, Words())))
    head, *rows = book[name].iter_rows(values_only=True)
    return [dict(zip(map(str, head), row, strict=True)) for row in rows]


def test_the_rope_sheet_holds_sag_tension_and_safety_of_every_span(plan: Plan) -> None:
    rows = sheet_rows(plan, "Rope")
    assert len(rows) == len(plan.heights.spans)
    for row, span in zip(rows, plan.heights.spans, strict=True):
        assert (row["side"], row["span"]) == (span.side.value, span.span_id)
        assert row["greatest sag [m]"] == pytest.approx(span.greatest_sag_m, abs=6e-4)
        # The made plan has 120 kN to 190 kN, safety factor 5.4.
        assert row["least tension [kN]"] == 120.0
        assert row["greatest tension [kN]"] == 190.0
        assert row["safety factor"] == 5.4


def test_a_safety_factor_that_is_not_known_stays_blank(plan: Plan) -> None:
    spans = tuple(replace(span, safety_factor=None) for span in plan.heights.spans)
    other = replace(plan, heights=replace(plan.heights, spans=spans))
    assert {row["safety factor"] for row in sheet_rows(other, "Rope")} == {None}


def test_the_parts_of_a_margin_join_to_the_margin_beside_them(plan: Plan) -> None:
    # Root of the sum of squares for all but the order of work, which is added in
    # full: the rule for independent uncertainties (JCGM 100:2008, 5.1.2).
    rows = sheet_rows(plan, "Margins")
    assert len(rows) == len(plan.heights.units)
    for row in rows:
        squares = sum(
            float(str(row[part])) ** 2 for part in ("survey [m]", "ground [m]")
        )
        whole = squares**0.5 + float(str(row["order of work [m]"]))
        assert row["margin [m]"] == pytest.approx(whole, abs=1e-6)


def test_margins_of_a_unit_that_is_not_known_are_said_to_be_so() -> None:
    rows = sheet_rows(made_plan.make_plan(unknown_span=4), "Margins")
    assert {row["span"] for row in rows if row["height known"] == "no"} == {"4-5"}


def test_every_source_of_a_margin_has_a_word_without_code_in_it() -> None:
    for source in (*SOURCES, "coupling", "height step", "order of work", "place"):
        assert Words().say(f"margin.{source.replace(' ', '_')}")


def test_every_column_of_every_sheet_is_explained(plan: Plan) -> None:
    explained = {
        (row["sheet"], row["column"])
        for row in sheet_rows(plan, "What the columns hold")
        if row["what it holds"]
    }
    for table in plan_tables(plan, Words())[:-1]:
        for heading in table.columns:
            assert (table.name, heading) in explained
            assert "_" not in heading, heading


def test_numbers_are_shown_as_their_unit_asks(plan: Plan) -> None:
    book = load_workbook(io.BytesIO(xlsx_bytes(plan, Words())))
    for sheet, heading, pattern in (
        ("Rope", "greatest tension [kN]", "0.0"),
        ("Zones", "clear [min]", "0"),
        ("Supports", "greatest angle [°]", "0.0"),
        ("Margins", "order of work [m]", "0.0"),
    ):
        names = [cell.value for cell in book[sheet][1]]
        cell = book[sheet].cell(row=2, column=names.index(heading) + 1)
        assert cell.number_format == pattern, heading


def test_a_span_that_is_walked_past_gets_no_team_in_any_table(plan: Plan) -> None:
    passed = made_plan.walked_past(plan, span=2)
    (row,) = [
        row
        for row in sheet_rows(passed, "Zones")
        if "2-3 ascending" in str(row["walks past"])
    ]
    assert "2-3 descending" in str(row["walks past"])
    assert "2-3" not in str(row["clears"])
    content = json.loads(geojson_bytes(passed, Words()))
    teams = {
        f["properties"]["span"]: f["properties"]["team"]
        for f in content["features"]
        if f["properties"]["what"] == "span"
    }
    assert teams["2-3"] is None
    assert teams["1-2"] == row["team"]


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
