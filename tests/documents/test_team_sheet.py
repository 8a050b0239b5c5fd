"""A team sheet says all that a team needs, and leaves blanks for what it must write."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from datetime import date

import builders
import numpy as np
import pytest
from made_plan import make_long_lift, make_plan, walked_past
from paper_text import joined, outside, overlapping, read_pages, too_small
from pyproj import Geod
from shapely.geometry import Point

from evac.documents.bundle import document_files, section_files, sheet_files
from evac.documents.codes import geo_address
from evac.documents.names import file_names, team_zones
from evac.documents.sheet import rooms_for, sheet_facts
from evac.documents.sheet_parts import carrier_columns, kit_lines, landing_lines
from evac.documents.sheet_people import (
    count_text,
    cover_lines,
    load_text,
    special_lines,
    special_note,
)
from evac.documents.sheet_warnings import (
    alarm_texts,
    crossing_texts,
    limits_text,
    support_legend,
    warning_texts,
)
from evac.facts.finding import Finding, Severity
from evac.facts.lift import CarrierType, Side, SupportKind, Triple
from evac.facts.plan import Plan
from evac.facts.work import PickOff, Zone
from evac.figures import zone_map
from evac.figures.doubt import alarms
from evac.heights.reports import drift_findings
from evac.heights.units import doubtful_findings
from evac.maps import map_html
from evac.tables_out import geojson_bytes
from evac.timing.special import CANNOT_HELP
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
        "Carriers in order of work [m] - minutes are for planning, not a target",
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
        "mass of a passenger = 85 kg",
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
        # The lift stops anywhere: the number painted on a carrier is written by hand.
        assert all(row[1] == "" for row in rows)
        seats = [float(row[3]) for row in rows]
        assert seats == pytest.approx([i.seat_height_m for i in mine], abs=0.051)
        ropes = [float(row[4]) for row in rows]
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
    assert column[1][3:5] == ["?", "?"]


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


def test_kit_without_a_stated_place_is_kept_somewhere() -> None:
    lift = make_long_lift()
    kits = tuple(replace(kit, stored_at="") for kit in lift.kits)
    plan = make_plan(replace(lift, kits=kits))
    zones = team_zones(plan)
    (line,) = kit_lines(plan, plan.lift.teams[0], zones["Team 1"], Words())
    assert "kept at its store" in line


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


def test_a_doubtful_support_is_told_to_those_who_work_next_to_its_spans() -> None:
    # Nobody takes the spans 6-7 and 7-8 beside support 7: Team 1 ends at 6, Team 2
    # begins at 8 (rule 9: the rope is secured to the support first).
    plan = make_plan()
    ends = {"Team 1": (3, 5), "Team 2": (8, 9), "Team 3": (11, 13)}
    zones = tuple(
        replace(zone, first_span=ends[zone.team][0], last_span=ends[zone.team][1])
        for zone in plan.assignment.zones
        if zone.team in ends
    )
    line = replace(
        plan.heights.line,
        supports=tuple(
            replace(item, doubtful=index == 7)
            for index, item in enumerate(plan.heights.line.supports)
        ),
    )
    plan = replace(
        plan,
        assignment=replace(plan.assignment, zones=zones),
        findings=tuple(doubtful_findings(line)),
    )
    told = {
        team.id: " ".join(
            warning_texts(
                plan, team, [item for item in zones if item.team == team.id], Words()
            )
        )
        for team in plan.lift.teams
        if team.id in ends
    }
    asked = "Secure the rope to the support before anyone is lowered"
    assert {team for team, text in told.items() if asked in text} == {
        "Team 1",
        "Team 2",
    }
    assert "Support 7 is in doubt" in told["Team 1"]


def test_a_team_on_both_sides_is_told_in_which_order_and_no_other_team() -> None:
    # Rule 18, common practice, no source: its times count the ways back.
    finding = Finding(
        key="clearing.walks_back",
        severity=Severity.NOTE,
        where="Team 2",
        values={"count": 2, "walk_s": 600.0},
    )
    plan = replace(make_plan(), findings=(finding,))
    zones = team_zones(plan)
    told = {
        team.id: warning_texts(plan, team, zones.get(team.id, ()), Words())
        for team in plan.lift.teams
    }
    (text,) = told.pop("Team 2")
    assert "go back along the span to where you began" in text
    assert not any(told.values())


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
        (
            "line.table_side_slope",
            "",
            {"spans": "6-7, 7-8", "slope_deg": 22.0, "radius_m": 10.0, "fall_m": 4.0},
        ),
        ("line.table_sparse", "", {"count": 2, "spans": "6-7, 7-8", "gap_m": 90.0}),
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


@pytest.mark.parametrize("led_round", [False, True])
def test_who_walks_out_by_avalanche_ground_is_told_once_and_no_other_team(
    led_round: bool,
) -> None:
    # Common practice, no source: each sheet holds what its team can do something about,
    # and who is not led takes the straight way.
    lift = make_long_lift()
    slope = replace(
        lift.hazards[0],
        id="slope",
        kind="avalanche ground",
        geometry=Point(9050.0, 9000.0).buffer(10),
    )
    general = Finding(key="muster.avalanche", severity=Severity.WARN)
    plan = make_plan(replace(lift, hazards=(slope,)), findings=(general,))
    (zone,) = [item for item in plan.assignment.zones if item.team == "Team 3"]
    through = replace(
        plan.muster[zone.first_span],
        x_m=(9000.0, 9050.0, 9100.0),
        y_m=(9000.0, 9060.0 if led_round else 9000.0, 9000.0),
    )
    plan = replace(plan, muster={**plan.muster, zone.first_span: through})
    (text,) = told(plan, "Team 3")
    assert text == "Nobody walks out over avalanche ground before its release."
    assert not told(plan, "Team 1")
    assert not told(plan, "Team 2")
    # Where no way out is known, nobody knows over what ground people walk.
    assert told(replace(plan, muster={}), "Team 1") == [text]
    span = plan.heights.line.spans[zone.first_span].id
    waits = Finding(
        key="muster.waits",
        severity=Severity.WARN,
        values={"spans": span, "likely_s": 3000.0, "high_s": 5000.0},
    )
    (text,) = told(replace(plan, findings=(waits, general)), "Team 3")
    assert f"From spans {span} the way out crosses avalanche ground" in text


def test_warnings_stand_by_harm_not_in_the_order_of_the_plan() -> None:
    # Common practice, no source: what hurts first is read first, and a full sheet
    # leaves out what others see to as well.
    spans: dict[str, str | float] = {
        "spans": "7-8",
        "least_s": 3600.0,
        "least_deg": 35.0,
    }
    lesser = Finding(key="muster.long_walk", severity=Severity.WARN, values=spans)
    steep = Finding(
        key="muster.landing_very_steep", severity=Severity.WARN, values=spans
    )
    dusk = Finding(
        key="clock.dusk_too_late",
        severity=Severity.WARN,
        values={"dusk_clock_s": 61500.0},
    )
    stop = Finding(key="muster.cut_off", severity=Severity.STOP, values=spans)
    texts = told(make_plan(findings=(*[lesser] * 7, dusk, steep, stop)), "Team 2")
    assert "no way out" in texts[0]
    assert "Very steep landings" in texts[1]
    assert "Take lamps" in texts[2]
    assert "people walk" in texts[3]
    assert texts[-1].startswith("3 more warnings")


def test_a_sheet_tells_the_drift_beside_its_own_supports_in_one_sentence() -> None:
    # Rule 7. Half a battery and a grip, 3 m, and the drift there: 1.5 m below support
    # 8, 2.5 m from there on, 6 m at the upper end, where Team 2 does not work.
    plan = make_plan()
    line = plan.heights.line
    envelopes = {
        side: replace(
            item,
            drift_m=np.select(
                [
                    item.distance_m < line.distance_m[8] - 5,
                    item.distance_m < line.distance_m[-1] - 20,
                ],
                [1.5, 2.5],
                6.0,
            ),
        )
        for side, item in plan.heights.envelopes.items()
    }
    findings = tuple(drift_findings(line, envelopes))
    assert {item.key for item in findings} == {"heights.drift_everywhere"}
    assert "within 9.0 m of any support" in Words().finding(findings[0])[0]
    heights = replace(plan.heights, envelopes=envelopes)
    plan = replace(plan, heights=heights, findings=findings)
    (text,) = told(plan, "Team 2")
    assert "within 5.5 m" in text
    assert "5, 6, 7, 8, 9, 10 (both sides)" in text
    # A mark in a span has no rollers.
    marked = replace(
        line,
        supports=tuple(replace(item, mark=item.id == "7") for item in line.supports),
    )
    at_mark = replace(plan, heights=replace(heights, line=marked))
    (text,) = told(at_mark, "Team 2")
    assert "5, 6, 8, 9, 10 (both sides)" in text
    (text,) = told(replace(plan, findings=findings[:1]), "Team 2")
    assert "5, 6, 7, 8, 9, 10 (ascending side)" in text


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


def told(plan: Plan, team: str) -> list[str]:
    (item,) = [item for item in plan.lift.teams if item.id == team]
    return warning_texts(plan, item, team_zones(plan)[team], Words())


def zone_of(plan: Plan, team: str, technique: str) -> Zone:
    """A team's zone, worked with another technique of the lift."""
    (zone,) = team_zones(plan)[team]
    return replace(zone, option=replace(zone.option, technique=technique))


def test_a_rescuer_on_the_rope_is_told_not_to_cross_a_hold_down_on_it() -> None:
    # The builders' technique on the rope passes rollers and no hold-downs; support 7,
    # inside the zone from 5 to 10, is one. Times count going down and up again there.
    plan = make_plan()
    zone = zone_of(plan, "Team 2", builders.ON_ROPE)
    (text,) = crossing_texts(plan, [zone], Words())
    assert text == (
        "Support 7: hold-down. Do NOT cross on the rope; go down and climb again."
    )
    # Whoever walks below crosses no support; nor does a zone that ends there.
    assert crossing_texts(plan, [zone_of(plan, "Team 2", builders.LOOP)], Words()) == []
    short = replace(zone, last_span=6)
    assert crossing_texts(plan, [short], Words()) == []


def test_a_support_in_doubt_is_not_crossed_on_the_rope() -> None:
    lift = make_long_lift()
    supports = tuple(
        replace(item, doubtful=item.id == "6", kind=SupportKind.SUPPORT)
        for item in lift.supports
    )
    plan = make_plan(replace(lift, supports=supports))
    (text,) = crossing_texts(plan, [zone_of(plan, "Team 2", builders.ON_ROPE)], Words())
    assert text.startswith("Support 6: in doubt. Do NOT cross on the rope")


def test_a_support_that_the_rope_may_leave_is_not_crossed_on_it() -> None:
    # What the step times count there: down and up again, not over the rollers.
    plan = make_plan()
    heights = replace(
        plan.heights,
        supports=tuple(
            replace(report, lifted=report.support_id == "6")
            for report in plan.heights.supports
        ),
    )
    plan = replace(plan, heights=heights)
    zone = zone_of(plan, "Team 2", builders.ON_ROPE)
    text, hold_down = crossing_texts(plan, [zone], Words())
    assert text.startswith("Support 6: the rope may leave its rollers. Do NOT cross")
    assert hold_down.startswith("Support 7: hold-down.")


def test_the_mark_of_a_hold_down_is_explained_where_one_is_drawn() -> None:
    plan = make_plan()
    zones = team_zones(plan)
    assert "support 7" in support_legend(plan, zones["Team 2"], Words())
    assert support_legend(plan, zones["Team 1"], Words()) == ""
    assert joined("Triangle: hold-down") in sheet_text(plan, "Team_2")


def test_a_sheet_names_the_limits_of_its_technique() -> None:
    # The builders' loop: wind 15 m/s, crew of 3, slope 90 degrees. Throwing is in
    # doubt above 12 m/s and refused above 15 (rule 27).
    plan = make_plan()
    loop = limits_text(plan, [zone_of(plan, "Team 1", builders.LOOP)], Words())
    assert loop == (
        "Stop above 15.0 m/s of wind. A line thrown or shot over the rope is in doubt "
        "above 12.0 m/s, forbidden above 15.0 m/s. Crew of at least 3. Rope at most "
        "90° steep. Approval: test approval 1."
    )
    rope = limits_text(plan, [zone_of(plan, "Team 1", builders.ON_ROPE)], Words())
    assert "thrown" not in rope
    assert "Rope at most 30° steep. Approval: test approval 2." in rope
    assert joined("Limits Stop above") in sheet_text(plan, "Team_1")


@pytest.mark.parametrize(
    ("start", "sentence"),
    [
        (10, "downhill, from support 10 to support 5"),
        (5, "uphill, from support 5 to support 10"),
    ],
)
def test_the_way_of_work_is_one_whatever_the_technique_allows(
    start: int, sentence: str
) -> None:
    plan = make_plan()
    techniques = tuple(
        replace(item, downhill_only=False) for item in plan.lift.techniques
    )
    zones = tuple(
        replace(zone, start_support=start) if zone.team == "Team 2" else zone
        for zone in plan.assignment.zones
    )
    plan = replace(
        plan,
        lift=replace(plan.lift, techniques=techniques),
        assignment=replace(plan.assignment, zones=zones),
    )
    text = sheet_text(plan, "Team_2")
    assert joined(f"Direction {sentence}") in text
    assert joined("either direction") not in text


def test_people_beyond_the_crew_of_the_technique_are_not_left_without_a_word() -> None:
    # Team 2 has four people; the loop's roles are for three.
    plan = make_plan()
    zones = tuple(
        zone_of(plan, "Team 2", builders.LOOP) if zone.team == "Team 2" else zone
        for zone in plan.assignment.zones
    )
    plan = replace(plan, assignment=replace(plan.assignment, zones=zones))
    text = sheet_text(plan, "Team_2")
    assert joined("4 (belayer, thrower, receiver, 1 more as the leader says)") in text


def test_a_sheet_says_planned_where_the_plan_says_expected(text: str) -> None:
    # What a zone is sized for is not what is expected on the line.
    assert joined("Count Planned for") in text
    assert joined("Count Expected") not in text


@pytest.mark.parametrize(
    ("key", "values"),
    [
        (
            "informing.silent",
            {"units": "7-8 ascending, 2-3 ascending", "voice_m": 40.0},
        ),
        (
            "muster.landing_very_steep",
            {"spans": "2-3, 7-8", "worst_deg": 38.0, "least_deg": 35.0},
        ),
        (
            "muster.long_walk",
            {"spans": "2-3, 7-8", "longest_s": 4000.0, "least_s": 3600.0},
        ),
    ],
)
def test_a_finding_that_lists_places_stands_on_the_sheets_of_those_places(
    key: str, values: dict[str, str | float]
) -> None:
    plan = make_plan(
        findings=(Finding(key=key, severity=Severity.WARN, values=values),)
    )
    (mine,) = told(plan, "Team 2")
    assert "7-8" in mine
    assert "2-3" not in mine
    # The steepest landing and the longest walk may be those of another team.
    assert not any(worst in mine for worst in ("38", "1 h 07 min"))
    assert told(plan, "Team 3") == []


@pytest.mark.parametrize(
    ("finding", "words"),
    [
        (
            Finding(
                key="clock.dusk_too_late",
                severity=Severity.WARN,
                values={"order_clock_s": 5e4, "late_s": 600.0, "dusk_clock_s": 61500.0},
            ),
            "Take lamps: the last may still hang after dusk at 17:05.",
        ),
        (
            Finding(
                key="heights.sequence",
                severity=Severity.NOTE,
                where="2-3 ascending",
                values={
                    "rise_m": 6.1,
                    "sink_m": 1.7,
                    "drift_m": 1.8,
                    "at_m": 282.0,
                    "side": "ascending",
                },
            ),
            "others rise up to 6.1 m",
        ),
    ],
)
def test_what_concerns_the_whole_line_stands_on_every_sheet(
    finding: Finding, words: str
) -> None:
    plan = make_plan(findings=(finding,))
    for team in ("Team 1", "Team 2", "Team 3"):
        (text,) = told(plan, team)
        assert words in text


def test_a_muster_point_in_trouble_is_told_to_those_who_send_people_there() -> None:
    finding = Finding(
        key="muster.no_receivers",
        severity=Severity.WARN,
        where="Lower hut",
        values={"people": 40, "places": 120, "overflow": 0},
    )
    plan = make_plan(findings=(finding,))
    sent = {
        zone.team
        for zone in plan.assignment.zones
        for span in range(zone.first_span, zone.last_span + 1)
        if plan.muster_point.get(span) == "hut"
    }
    assert sent
    for zone in plan.assignment.zones:
        assert (told(plan, zone.team) != []) == (zone.team in sent)


def test_the_alarm_names_the_spans_that_nobody_clears() -> None:
    plan = make_plan(unreached_span=13)
    (first, *_) = alarm_texts(plan, Words())
    span = plan.heights.line.spans[13].id
    sides = {item.side for item in plan.assignment.uncovered if item.span_index == 13}
    assert sides
    assert f"{span} ascending side" in first
    assert first.startswith("THIS PLAN DOES NOT REACH EVERYONE: nobody clears")


def test_each_landing_is_told_with_what_the_ground_asks() -> None:
    # 9 in 10 metres below 5, 20, 30 and 40 degrees: the classes end at 10, 25 and 35
    # (common practice, no source).
    plan = make_plan()
    line = plan.heights.line
    (zone,) = team_zones(plan)["Team 2"]
    ground = line.ground[Side.ASCENDING]
    slope_deg = np.full_like(ground.slope_deg, 5.0)
    for span, deg in ((6, 20.0), (7, 30.0), (8, 40.0)):
        inside = ground.distance_m >= line.spans[span].start_m
        slope_deg[inside] = deg
    sloped = replace(
        line,
        ground={
            **line.ground,
            Side.ASCENDING: replace(ground, slope_deg=slope_deg),
        },
    )
    plan = replace(plan, heights=replace(plan.heights, line=sloped))
    one_side = replace(zone, sides=(Side.ASCENDING,))
    lines = landing_lines(plan, [one_side], Words())
    assert lines == [
        "Landing 5-6: level ground.",
        "Landing 6-7: sloping ground: skis off, sit down, wait for the receiver.",
        "Landing 7-8: steep ground: a receiver holds every passenger.",
        "Landing 8 … 10: very steep ground: receiver on a fixed rope, nobody stands "
        "unheld.",
    ]


def test_invented_teams_and_heights_are_said_in_the_frame_of_every_sheet() -> None:
    lift = make_long_lift()
    one = lift.assumptions[0]
    keys = ("carriers.seats", "carriers.grip", "drives.line_speed_m_per_s")
    assumed = (
        *(replace(one, key=key, accepted=False) for key in keys),
        replace(one, key="supports.rope_height_m", value="8 to 14 m", accepted=False),
        replace(one, key="teams", value="teams.csv, kit.csv", accepted=False),
    )
    text = sheet_text(make_plan(replace(lift, assumptions=assumed)), "Team_1")
    assert joined("THIS TEAM AND ITS KIT ARE ASSUMED") in text
    assert joined("THE SUPPORT HEIGHTS ARE ASSUMED") in text
    # The gravest first, and in words.
    assert (
        joined(
            "Assumed, not measured: the teams, their kit and techniques = teams.csv, "
            "kit.csv; rope heights at the supports = 8 to 14 m"
        )
        in text
    )
    accepted = tuple(replace(item, accepted=True) for item in assumed)
    text = sheet_text(make_plan(replace(lift, assumptions=accepted)), "Team_1")
    assert joined("ARE ASSUMED") not in text


def test_a_team_that_is_not_sent_holds_no_words_for_the_line() -> None:
    plan = make_plan(
        findings=(
            Finding(
                key="gear.overdue",
                severity=Severity.WARN,
                where="K4",
                values={"day": "2026-10-01", "team": "Team 4"},
            ),
        )
    )
    options = tuple(item for item in plan.work.options if item.team != "Team 4")
    text = sheet_text(replace(plan, work=replace(plan.work, options=options)), "Team_4")
    assert joined("NOT TO BE SENT ON THE LINE") in text
    assert joined("Kit K4 (Team 4) is overdue for inspection") in text
    for words in ("LINE SECURED", "Do not jump", "Stand-down", "Assumed, not measured"):
        assert joined(words) not in text


def test_feet_stand_in_the_heading_of_the_carriers() -> None:
    plan = make_plan()
    pages = read_pages(sheet_files(plan, Words(feet=True))["sheets/Team_1.pdf"])
    text = "".join(page.joined for page in pages)
    assert joined("Carriers in order of work [metres/feet]") in text


def test_who_picks_off_is_named_where_the_technique_cannot() -> None:
    plan = make_plan()
    zones = tuple(
        zone_of(plan, zone.team, builders.LOOP) for zone in plan.assignment.zones
    )
    cover = PickOff(
        zone_team="Team 1",
        team="Team 3",
        kit="K3",
        technique=builders.ON_ROPE,
        seconds=600.0,
        in_time=True,
    )
    plan = replace(
        plan,
        assignment=replace(plan.assignment, zones=zones),
        pickoffs=(cover,),
    )
    assert joined("call command for Team 3") in sheet_text(plan, "Team_1")
    own = replace(plan, pickoffs=(replace(cover, team="Team 1", kit="K1"),))
    assert joined("your own team can with kit K1") in sheet_text(own, "Team_1")


def loops_everywhere(plan: Plan) -> Plan:
    """Every zone worked with a loop, which takes nobody who cannot help."""
    zones = tuple(
        zone_of(plan, zone.team, builders.LOOP) for zone in plan.assignment.zones
    )
    return replace(plan, assignment=replace(plan.assignment, zones=zones))


def test_a_loop_team_is_told_of_all_whom_it_cannot_take() -> None:
    # No infant in a loop alone, no sit-ski user in a loop (common practice, no
    # source); the plan document serves both with a rescuer at the carrier only.
    names = {"unconscious": "unconscious", "infant": "infant", "sit_ski": "sit-skier"}
    assert set(names) == set(CANNOT_HELP)
    plan = loops_everywhere(make_plan())
    team = plan.lift.teams[0]
    cover = PickOff(
        zone_team=team.id,
        team="Team 3",
        kit="K3",
        technique=builders.ON_ROPE,
        seconds=600.0,
        in_time=True,
    )
    for covers in ((), (cover,), (replace(cover, team=team.id),)):
        told_to = replace(plan, pickoffs=covers)
        note = special_note(told_to, team, team_zones(plan)[team.id], Words())
        _, _, cannot = note.partition("CANNOT")
        assert all(name in cannot for name in names.values())


def test_a_loop_team_is_not_told_how_to_lower_an_infant_or_a_sit_ski() -> None:
    plan = loops_everywhere(make_plan())
    team = plan.lift.teams[0]
    zones = team_zones(plan)[team.id]
    lines = [str(line) for line in special_lines(plan, team, zones, Words())]
    spoken = [line for line in lines if "infant" in line or "sit-ski" in line]
    assert spoken == ["infant, sit-ski: only by pick-off"]

    able = [zone_of(plan, team.id, builders.ON_ROPE)]
    text = " ".join(str(line) for line in special_lines(plan, team, able, Words()))
    assert "sit-ski: own sling" in text
    assert "CANNOT" not in special_note(plan, team, able, Words())
    assert len(special_lines(plan, team, able, Words())) == len(lines)


def test_a_reserve_with_a_loop_alone_is_told_too_whom_it_cannot_take() -> None:
    plan = make_plan()
    team = plan.lift.teams[3]
    options = tuple(
        replace(item, technique=builders.LOOP) if item.team == team.id else item
        for item in plan.work.options
    )
    plan = replace(plan, work=replace(plan.work, options=options))
    assert team.id in plan.assignment.reserve_teams
    assert joined("you CANNOT take an unconscious passenger, an infant") in sheet_text(
        plan, "Team_4"
    )


def test_the_team_that_picks_off_for_another_is_told_on_its_own_sheet() -> None:
    plan = loops_everywhere(make_plan())
    zones = [zone.team for zone in plan.assignment.zones]
    helper = {team: zones[number - 1] for number, team in enumerate(zones)}
    # The first zone is picked off from the reserve, which must know it as well.
    helper[zones[0]] = "Team 4"
    plan = replace(
        plan,
        pickoffs=tuple(
            PickOff(
                zone_team=team,
                team=other,
                kit=f"{other} kit",
                technique=builders.ON_ROPE,
                seconds=600.0,
                in_time=True,
            )
            for team, other in helper.items()
        ),
    )
    teams = {team.id: team for team in plan.lift.teams}
    for cover in plan.pickoffs:
        assert cover.team is not None
        own = team_zones(plan)[cover.zone_team]
        note = special_note(plan, teams[cover.zone_team], own, Words())
        assert f"call command for {cover.team}" in note
        lines = cover_lines(plan, teams[cover.team], Words())
        (line,) = [line for line in lines if f"for {cover.zone_team}:" in line]
        assert f"{cover.team} kit" in line
        first, last = own[0].first_span, own[0].last_span + 1
        supports = plan.lift.supports
        assert f"Supports {supports[first].id} to {supports[last].id}," in line
    assert joined("YOU PICK OFF also for Team 1: Supports") in sheet_text(
        plan, "Team_4"
    )


def test_whoever_picks_off_in_the_own_zone_covers_nobody_else() -> None:
    plan = make_plan()
    team = plan.lift.teams[0]
    own = PickOff(
        zone_team=team.id,
        team=team.id,
        kit="K1",
        technique=builders.ON_ROPE,
        seconds=0.0,
        in_time=True,
    )
    assert cover_lines(replace(plan, pickoffs=(own,)), team, Words()) == []


def with_second_kit(limits: dict[tuple[Side, int], str]) -> tuple[Plan, list[str]]:
    """The lines of a team that carries a second kit, which fails where given."""
    plan = make_plan()
    team = plan.lift.teams[1]
    zones = team_zones(plan)[team.id]
    kit = replace(plan.lift.kits[1], id="L9")
    option = replace(zones[0].option, index=99, kit="L9")
    reaches = tuple(
        replace(
            item,
            option_index=99,
            rope_needed_m=61.44,
            ok=(item.side, item.span_index) not in limits,
            limit=limits.get((item.side, item.span_index), "ok"),
        )
        for item in plan.reaches
        if item.option_index == zones[0].option.index
    )
    plan = replace(
        plan,
        lift=replace(plan.lift, kits=(*plan.lift.kits, kit)),
        work=replace(plan.work, options=(*plan.work.options, option)),
        reaches=(*plan.reaches, *reaches),
    )
    return plan, kit_lines(plan, team, zones, Words())


def test_a_kit_that_does_not_reach_in_the_own_zone_says_where_and_why() -> None:
    # Team 2 has the spans from support 5 to 10; 2-3 is no business of its sheet.
    _, (used, other) = with_second_kit(
        {
            (Side.DESCENDING, 6): "rope",
            (Side.DESCENDING, 7): "rope",
            (Side.ASCENDING, 8): "slope",
            (Side.DESCENDING, 8): "slope",
            (Side.ASCENDING, 2): "rope",
        }
    )
    assert "TOO SHORT for 6 … 8 desc.: needs 62.0 m" in other
    assert "NOT for 8-9 (haul rope too steep for the technique)" in other
    assert "2-3" not in other
    for line in (used, with_second_kit({})[1][1]):
        assert "TOO SHORT" not in line
        assert "NOT for" not in line


def test_a_kit_without_a_rated_load_says_so_on_the_sheet() -> None:
    plan = make_plan()
    team, zones = plan.lift.teams[1], team_zones(plan)["Team 2"]
    kits = plan.lift.kits

    def line(least_kg: float | None, most_kg: float | None) -> str:
        kit = replace(kits[1], rated_least_kg=least_kg, rated_most_kg=most_kg)
        lift = replace(plan.lift, kits=(kits[0], kit, *kits[2:]))
        return kit_lines(replace(plan, lift=lift), team, zones, Words())[0]

    assert "rated 30 kg to 150 kg" in line(30.0, 150.0)
    assert "rated up to 150 kg" in line(None, 150.0)
    assert "NO RATED LOAD stated" in line(30.0, None)


def no_more_at_other_stops(plan: Plan) -> Plan:
    """The plan, its spans never holding more carriers than at its one stop."""
    heights = plan.heights
    units = tuple(
        replace(
            unit,
            carriers_most=int(
                (heights.stops.span_index[unit.side][0] == unit.span_index).sum()
            ),
        )
        for unit in heights.units
    )
    return replace(plan, heights=replace(heights, units=units))


def test_people_planned_for_are_never_called_the_most() -> None:
    # Four seats a carrier; the plan counts 80 % of them going up, 10 % coming down.
    # By hand: Team 2 works both sides, so its seats are four times its carriers.
    plan = no_more_at_other_stops(make_plan())
    lift = replace(
        plan.lift,
        occupancy=Triple(low=0.3, likely=0.6, high=0.8),
        descending_occupancy=Triple(low=0.0, likely=0.0, high=0.1),
    )
    plan = replace(plan, lift=lift)
    zones = team_zones(plan)["Team 2"]
    mine = [item for item in plan.schedule.rescues if item.team == "Team 2"]
    zones = (replace(zones[0], people=17), *zones[1:])
    mine = [replace(item, people=0) for item in mine]
    seats = 4 * len(mine)
    load = load_text(plan, zones, mine, Words())
    assert load == (
        f"carriers: {len(mine)}; seats: {seats}; people planned: up to 17 "
        "(80 % of seats ascending, 10 % descending)"
    )
    assert count_text(plan, zones, mine, Words()) == f"up to 17; seats: {seats}"
    one_side = (replace(zones[0], sides=(Side.DESCENDING,)),)
    assert "(10 % of seats)" in load_text(plan, one_side, mine, Words())


def test_seats_are_those_of_the_stop_with_most_carriers() -> None:
    # By hand: at the second stop every ascending carrier hangs in the team's last
    # span, so all of them may be full there.
    plan = no_more_at_other_stops(make_plan())
    zones = team_zones(plan)["Team 2"]
    mine = [item for item in plan.schedule.rescues if item.team == "Team 2"]
    stops = plan.heights.stops
    up, down = (stops.span_index[side] for side in Side)
    last = np.where(up >= 0, zones[0].last_span, -1)
    stops = replace(
        stops,
        span_index={
            Side.ASCENDING: np.vstack([up, last]),
            Side.DESCENDING: np.vstack([down, down]),
        },
    )
    plan = replace(plan, heights=replace(plan.heights, stops=stops))
    inside = range(zones[0].first_span, zones[0].last_span + 1)
    most = int((up >= 0).sum()) + int(np.isin(down, inside).sum())
    load = load_text(plan, zones, mine, Words())
    assert f"carriers: {len(mine)}, elsewhere {most}; seats: {4 * most};" in load


def test_the_time_of_first_work_is_no_time_to_wait_for() -> None:
    # A gate may open sooner than expected: only LINE SECURED holds a team back.
    plan = make_plan()
    text = sheet_text(plan, "Team_2")
    assert joined("Work begins about") in text
    assert joined("never before LINE SECURED and open gates") in text
    assert joined("not before 2") not in text
    without = sheet_text(replace(plan, gates=()), "Team_2")
    assert joined("never before LINE SECURED") in without
    assert joined("open gates") not in without


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (10_000.0, "not everyone is reached"),
        (1.0, "in 9 of 10 imagined days"),
    ],
)
def test_a_limit_missed_only_by_those_left_hanging_says_so(
    minutes: float, said: str
) -> None:
    # Those who are reached come in time within 10,000 minutes, not within one.
    plan = make_plan(unreached_span=13)
    limits = tuple(replace(item, minutes=minutes) for item in plan.lift.limits)
    plan = replace(plan, lift=replace(plan.lift, limits=limits), limit_met=False)
    sentence = f"THIS PLAN DOES NOT MEET ITS TIME LIMIT{':' * ('not' in said)} {said}."
    on_sheet = " ".join(alarm_texts(plan, Words()))
    on_drawing = " ".join(alarms(plan, Words(), not_reached="figures.not_reached"))
    assert sentence.lower() in on_sheet.lower()
    assert sentence.lower() in on_drawing.lower()
