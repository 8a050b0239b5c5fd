"""A team sheet says all that a team needs, and leaves blanks for what it must write."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from datetime import date

import builders
import pytest
from made_plan import make_long_lift, make_plan, walked_past
from paper_text import joined, outside, overlapping, read_pages, too_small
from pyproj import Geod
from shapely.geometry import Point

from evac.documents.bundle import document_files, section_files, sheet_files
from evac.documents.codes import geo_address
from evac.documents.names import file_names, team_zones
from evac.documents.sheet import rooms_for, sheet_facts
from evac.documents.sheet_parts import carrier_columns, kit_lines, warning_texts
from evac.facts.finding import Finding, Severity
from evac.facts.lift import CarrierType
from evac.facts.plan import Plan
from evac.figures import zone_map
from evac.maps import map_html
from evac.tables_out import geojson_bytes
from evac.words import Words


def sheet_text(plan: Plan, team: str) -> str:
    pages = read_pages(sheet_files(plan, Words())[f"sheets/{team}.pdf"])
    return "".join(page.joined for page in pages)


@pytest.fixture(scope="module")
def text() -> str:
    return sheet_text(make_plan(), "Team_2")


@pytest.mark.parametrize(
    "part",
    [
        "Team 2",
        "Supports 5 to 10, both sides",
        "Channel: Rescue 1",
        "LINE SECURED",
        "drive locked and tagged",
        "brake set, rolling back prevented",
        "auxiliary drive isolated",
        "By whom",
        "Code word",
        "Map and way in",
        "8 min from patrol hut (ski)",
        "power line: Valley feeder, 20 kV",
        "grid control room",
        "Carriers in order [m] - minutes are for planning, not a target",
        "Kit to carry",
        "inspection due December 1, 2026",
        "Stay seated",
        "Do not jump",
        "unconscious",
        "sit-ski",
        "child alone",
        "to Lower hut",
        "Stand-down",
        "every loop and rope off the haul rope",
        "Time out",
        "Time clear",
        "Lowered",
        "Received",
        "Planning aid, not a rescue instruction",
        "Assumed, not measured: carriers.passenger_mass_kg = 85 kg",
        "inputs 3f9a-77c1-20be",
    ],
)
def test_the_sheet_says(part: str, text: str) -> None:
    assert joined(part) in text


def test_every_carrier_of_the_team_stands_once_in_order() -> None:
    plan = make_plan()
    for team in plan.lift.teams:
        columns = carrier_columns(plan, team, Words())
        rows = [row for column in columns for row in column if len(row) > 1]
        mine = [item for item in plan.schedule.rescues if item.team == team.id]
        assert [int(row[0]) for row in rows] == list(range(1, len(mine) + 1))
        seats = [float(row[2]) for row in rows]
        assert seats == pytest.approx([i.seat_height_m for i in mine], abs=0.051)
        ropes = [float(row[3]) for row in rows]
        # Rounded up: a rope must never seem to suffice by rounding.
        assert ropes == [math.ceil(i.rope_needed_m) for i in mine]


def test_minutes_of_a_carrier_are_rounded_up() -> None:
    plan = make_plan()
    team = plan.lift.teams[0]
    rescue = plan.schedule.rescues[0]
    longer = replace(rescue, finish_s=rescue.start_s + 61)
    schedule = replace(plan.schedule, rescues=(longer,))
    (column,) = carrier_columns(replace(plan, schedule=schedule), team, Words())
    assert column[1][-1] == "2"


def test_a_height_that_is_not_known_is_a_question_mark() -> None:
    plan = make_plan()
    rescue = replace(
        plan.schedule.rescues[0], seat_height_m=float("nan"), rope_needed_m=float("nan")
    )
    schedule = replace(plan.schedule, rescues=(rescue,))
    team = plan.lift.teams[0]
    (column,) = carrier_columns(replace(plan, schedule=schedule), team, Words())
    assert column[1][2:4] == ["?", "?"]


def test_a_channel_that_is_not_given_stays_a_blank() -> None:
    assert joined("Channel: Time out") in sheet_text(make_plan(), "Team_1")


def test_a_team_in_reserve_is_told_to_stand_by() -> None:
    text = sheet_text(make_plan(), "Team_4")
    assert joined("RESERVE: stand by at lower station") in text
    assert joined("Kit to carry") in text


def test_a_plan_that_does_not_reach_everyone_says_so_on_every_sheet() -> None:
    plan = make_plan(unreached_span=13)
    for name, pdf in sheet_files(plan, Words()).items():
        text = "".join(page.joined for page in read_pages(pdf))
        assert joined("THIS PLAN DOES NOT REACH EVERYONE") in text, name


def test_kit_that_is_overdue_or_to_be_retired_must_not_be_used() -> None:
    lift = make_long_lift()
    kit = replace(
        lift.kits[0], inspection_due=date(2026, 11, 24), retire_on=date(2026, 11, 25)
    )
    undated = replace(lift.kits[1], inspection_due=None)
    plan = make_plan(replace(lift, kits=(kit, undated, *lift.kits[2:])))
    zones = team_zones(plan)
    (first,) = kit_lines(plan, plan.lift.teams[0], zones["Team 1"], Words())
    assert "INSPECTION OVERDUE since November 24, 2026: DO NOT USE" in first
    assert "TO BE RETIRED since November 25, 2026: DO NOT USE" in first
    (second,) = kit_lines(plan, plan.lift.teams[1], zones["Team 2"], Words())
    assert "NO INSPECTION DATE" in second


def test_kit_due_today_may_still_be_used_today() -> None:
    lift = make_long_lift()
    kit = replace(lift.kits[0], inspection_due=date(2026, 11, 25))
    plan = make_plan(replace(lift, kits=(kit, *lift.kits[1:])))
    zones = team_zones(plan)
    (line,) = kit_lines(plan, plan.lift.teams[0], zones["Team 1"], Words())
    assert "DO NOT USE" not in line


def test_findings_about_the_zone_stand_on_its_sheet_only() -> None:
    finding = Finding(
        key="sheet.glyphs",
        severity=Severity.WARN,
        where="6-7 ascending",
        values={"glyphs": "only to be found again"},
    )
    plan = make_plan(findings=(finding,))
    assert joined("only to be found again") in sheet_text(plan, "Team_2")
    assert joined("only to be found again") not in sheet_text(plan, "Team_1")


def test_the_square_holds_the_access_point_as_rfc_5870_writes_it() -> None:
    # Source: RFC 5870, section 3.3 (geo-URI = "geo:" coord-a "," coord-b) and 3.4.2
    # (coord-a is latitude, coord-b longitude, decimal degrees, WGS 84 by default).
    plan = make_plan()
    support = plan.lift.supports[10]
    address = geo_address(plan.lift, support)
    found = re.fullmatch(r"geo:(-?\d+\.\d+),(-?\d+\.\d+)", address)
    assert found
    # Geodesic from the first station on the WGS 84 ellipsoid, by PROJ's Geod: another
    # way to the same place than our projection. 5 decimals are 1.1 m in latitude.
    longitude, latitude, _ = Geod(ellps="WGS84").fwd(
        plan.lift.longitude_deg,
        plan.lift.latitude_deg,
        builders.BEARING_DEG,
        support.distance_m,
    )
    assert float(found[1]) == pytest.approx(latitude, abs=1e-5)
    assert float(found[2]) == pytest.approx(longitude, abs=1.5e-5)
    assert joined(address) in sheet_text(plan, "Team_2")


def test_file_names_are_safe_and_all_different() -> None:
    teams = ["Täli", "täli", "../../etc", "a/b", "a:b", "", "con", "x" * 200, "日本"]
    names = file_names(teams)
    assert list(names) == teams
    assert len({name.casefold() for name in names.values()}) == len(teams)
    for name in names.values():
        assert re.fullmatch(r"[\w-]{1,70}", name), name
        assert name.casefold() not in {"con", "nul", "aux", "prn"}


def test_a_span_that_is_walked_past_is_named_and_holds_no_carrier() -> None:
    plan = walked_past(make_plan(), span=7)
    team = next(
        zone.team
        for zone in plan.assignment.zones
        if zone.first_span < 7 < zone.last_span
    )
    text = sheet_text(plan, file_names([team])[team])
    assert joined("Not yours, pass by: 7-8 asc., 7-8 desc.") in text
    assert joined("7-8, ascending side") not in text
    # In the section, once a side.
    assert text.count(joined("not yours")) == 2
    # The power line lies below that span only, so it is no gate of this team's.
    assert joined("grid control room") not in text


def test_the_map_strip_is_not_thick_where_the_team_only_walks() -> None:
    usual = make_plan()
    (zone,) = [item for item in usual.assignment.zones if item.first_span == 5]

    def thick_m(plan: Plan) -> float:
        figure = zone_map(plan, [zone], route=None, words=Words())
        lines = [line for line in figure.axes[0].lines if line.get_linewidth() > 3]
        return sum(math.dist(*line.get_xydata()) for line in lines)

    span = usual.heights.line.spans[7]
    gone_m = thick_m(usual) - thick_m(walked_past(usual, span=7))
    assert gone_m == pytest.approx(span.end_m - span.start_m, rel=1e-6)


@pytest.mark.parametrize(
    ("key", "where", "values"),
    [
        (
            "heights.lifted",
            "7 ascending",
            {"support": "7", "side": "ascending", "load_name": "x"},
        ),
        ("line.terrain_coarse", "", {"cell_m": 90.0, "span_m": 12.0}),
        ("gear.no_approval", "loop over the haul rope belayed from the ground", {}),
    ],
)
def test_what_a_team_must_know_first_stands_on_its_sheet(
    key: str, where: str, values: dict[str, str | float]
) -> None:
    finding = Finding(key=key, severity=Severity.WARN, where=where, values=values)
    plan = make_plan(findings=(finding,))
    zones = team_zones(plan)["Team 2"]
    option = zones[0].option
    if key == "gear.no_approval":
        plan = replace(plan, findings=(replace(finding, where=option.technique),))
    team = plan.lift.teams[1]
    assert len(warning_texts(plan, team, zones, Words())) == 1


def test_a_gate_that_nobody_opens_says_so() -> None:
    lift = make_long_lift()
    hazards = tuple(replace(hazard, opened_by="") for hazard in lift.hazards)
    text = sheet_text(make_plan(replace(lift, hazards=hazards)), "Team_2")
    assert joined("NOBODY NAMED: ask command") in text


def test_rows_to_write_in_are_tall_where_paper_allows() -> None:
    # Six millimetres: what a gloved hand writes in (common practice, no source).
    plan = make_plan(make_long_lift(spacing_m=100.0))
    zones = team_zones(plan)["Team 1"]
    facts = sheet_facts(
        plan,
        plan.lift.teams[0],
        zones,
        Words(),
        room=rooms_for(plan, plan.lift.teams[0], Words())[0],
    )
    assert float(str(facts["row_mm"])) >= 6.0


def test_every_page_says_how_many_there_are(text: str) -> None:
    assert joined("Team 2, page 1 of 2") in text
    assert joined("Team 2, page 2 of 2") in text


@pytest.mark.parametrize("feet", [False, True])
def test_a_sheet_that_needs_more_than_two_pages_is_a_finding(feet: bool) -> None:
    plan = make_plan(make_long_lift(spacing_m=15.0), zones=2)
    files = document_files(plan, Words(feet=feet))
    pages = read_pages(files["sheets/Team_1.pdf"])
    document = "".join(page.joined for page in read_pages(files["plan.pdf"]))
    assert len(pages) > 2
    assert joined(f"The sheet of Team 1 has {len(pages)} pages") in document
    for page in pages:
        assert not outside(page, margin_mm=5.0)
        assert not too_small(page)
        assert not overlapping(page)


def test_passengers_of_a_cabin_are_told_of_door_and_window_not_of_a_bar() -> None:
    lift = make_long_lift()
    cabins = replace(lift, carriers=replace(lift.carriers, type=CarrierType.CABIN))
    text = sheet_text(make_plan(cabins), "Team_1")
    assert joined("Keep the door shut until the rescuer opens it.") in text
    assert joined("Knock and wave at the window.") in text
    assert joined("Highest door sill") in text
    assert joined("Keep the bar down") not in text
    assert joined("Highest seat") not in text


def test_kit_that_no_option_uses_is_left_behind() -> None:
    plan = make_plan()
    team, kit = plan.lift.teams[0], plan.lift.kits[0]
    useless = replace(kit, id="L9")
    lift = replace(plan.lift, kits=(*plan.lift.kits, useless))
    lines = kit_lines(
        replace(plan, lift=lift), team, team_zones(plan)[team.id], Words()
    )
    assert [line.split(":")[0] for line in lines] == [
        kit.id,
        "Leave behind, not for use on this lift",
    ]
    assert lines[-1].endswith("L9")


def test_a_team_without_usable_kit_is_not_called_a_reserve() -> None:
    plan = make_plan()
    team = plan.lift.teams[3].id
    assert team in plan.assignment.reserve_teams
    options = tuple(item for item in plan.work.options if item.team != team)
    text = sheet_text(replace(plan, work=replace(plan.work, options=options)), "Team_4")
    assert joined("NOT TO BE SENT ON THE LINE") in text
    assert joined("RESERVE") not in text


def test_avalanche_ground_is_a_warning_only_for_teams_that_meet_it() -> None:
    lift = make_long_lift()
    (zone,) = [item for item in make_plan().assignment.zones if item.team == "Team 3"]
    middle_m = make_plan().heights.line.spans[zone.first_span + 2].start_m + 20
    slope = replace(
        lift.hazards[0],
        id="slope",
        kind="avalanche ground",
        geometry=Point(*builders.along(middle_m)).buffer(15),
    )
    finding = Finding(
        key="access.avalanche",
        severity=Severity.WARN,
        values={"grounds": "slope", "spans": 3},
    )
    plan = make_plan(replace(lift, hazards=(slope,)), findings=(finding,))
    gates = tuple(
        replace(
            gate,
            hazard_ids=("slope",) if gate.span_index == zone.first_span + 2 else (),
        )
        for gate in plan.gates
    )
    plan = replace(plan, gates=gates)
    zones = team_zones(plan)
    told = [
        team.id
        for team in plan.lift.teams
        if warning_texts(plan, team, zones.get(team.id, ()), Words())
    ]
    assert told == ["Team 3"]


def test_a_mark_in_a_span_is_never_called_a_support() -> None:
    usual = make_plan()
    (zone,) = [item for item in usual.assignment.zones if item.team == "Team 2"]
    supports = tuple(
        replace(item, id="mark 1067 m", mark=True) if n == zone.start_support else item
        for n, item in enumerate(usual.lift.supports)
    )
    plan = make_plan(replace(usual.lift, supports=supports))
    text = sheet_text(plan, "Team_2")
    assert joined("From support 5 to mark 1067 m (no tower there), both sides") in text
    assert joined("mark 1067 m along the line, upper end of the zone") in text
    assert joined("support mark") not in text
    assert joined("Access point: mark 1067 m (no tower there)") in text
    content = json.loads(geojson_bytes(plan, Words()))
    (what,) = [
        feature["properties"]["what"]
        for feature in content["features"]
        if feature["properties"].get("support") == "mark 1067 m"
    ]
    assert what == "mark in a span"
    assert b"mark 1067 m along the line: two teams may share" in map_html(plan, Words())
    section = "".join(
        page.joined for page in read_pages(section_files(plan, Words())["section.pdf"])
    )
    assert joined("mark 1067 m:") not in section
