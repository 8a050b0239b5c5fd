"""The plan document holds everything that is asked of a written plan, or a gap."""

from __future__ import annotations

import io
import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from made_plan import NOTES, make_long_lift, make_plan, walked_past
from paper_text import Page, joined, read_pages
from rich.console import Console

from evac.clock import binding_order
from evac.desk.plan_views import verdict_lines, zone_rows
from evac.documents.blocks import Block
from evac.documents.bundle import document_files
from evac.documents.compare import changes
from evac.documents.contents import answers
from evac.documents.plandoc_heights import height_blocks
from evac.documents.plandoc_ladder import informing_blocks
from evac.documents.plandoc_people import people_blocks
from evac.documents.plandoc_reach import parts_text, reach_blocks
from evac.documents.plandoc_teams import team_blocks
from evac.documents.plandoc_times import decision_blocks, time_blocks
from evac.documents.plandoc_work import care_blocks
from evac.facts.finding import Finding, Severity
from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.facts.work import LatestOrder, PickOff, SpecialPassenger
from evac.maps import map_html
from evac.muster.care import landing_class
from evac.reference import plan_contents
from evac.summary import print_summary
from evac.tables_out import plan_json, plan_tables
from evac.words import Words


def pages_of(plan: Plan) -> list[Page]:
    return read_pages(document_files(plan, Words())["plan.pdf"])


@pytest.fixture(scope="module")
def pages() -> list[Page]:
    return pages_of(make_plan(findings=NOTES))


@pytest.fixture(scope="module")
def text(pages: list[Page]) -> str:
    return "".join(page.joined for page in pages)


@pytest.mark.parametrize("item", plan_contents(), ids=lambda item: item.key)
def test_every_item_of_the_published_list_is_there(item: object, text: str) -> None:
    # Source: evac/reference/plan_contents.csv, which names who asks for each item.
    assert joined(item.item) in text  # type: ignore[attr-defined]  # a PlanItem
    assert joined(item.asked_by) in text  # type: ignore[attr-defined]  # a PlanItem


def test_an_item_without_text_is_a_gap_that_says_what_to_supply() -> None:
    lift = make_long_lift()
    found = {item.item.key: item for item in answers(make_plan(lift))}
    assert not found["authority"].is_gap
    assert found["methods"].is_gap
    document = "".join(page.joined for page in pages_of(make_plan(lift)))
    assert joined('[plan_texts] methods = "..."') in document
    assert joined("Say how the usual passenger") in document


def test_a_text_closes_its_gap() -> None:
    lift = make_long_lift()
    texts = {**lift.plan_texts, "methods": "Loop for all, pick-off for the hurt."}
    plan = make_plan(replace(lift, plan_texts=texts))
    found = {item.item.key: item for item in answers(plan)}
    assert not found["methods"].is_gap
    document = "".join(page.joined for page in pages_of(plan))
    assert joined("Loop for all, pick-off for the hurt.") in document
    assert joined('[plan_texts] methods = "..."') not in document


def test_blank_text_is_still_a_gap() -> None:
    plan = make_plan(replace(make_long_lift(), plan_texts={"methods": "  \n"}))
    found = {item.item.key: item for item in answers(plan)}
    assert found["methods"].is_gap


def test_with_every_text_given_no_gap_is_left() -> None:
    texts = {item.key: f"Rule for {item.key}." for item in plan_contents()}
    plan = make_plan(replace(make_long_lift(), plan_texts=texts))
    assert [item.item.key for item in answers(plan) if item.is_gap] == []
    assert joined("GAP:") not in "".join(page.joined for page in pages_of(plan))


def test_darkness_is_answered_only_by_a_plan_made_for_the_night() -> None:
    lift = make_long_lift()
    day = {item.item.key: item for item in answers(make_plan(lift))}
    assert day["total_in_darkness"].is_gap
    dark = replace(lift, conditions=replace(lift.conditions, night=True))
    night = {item.item.key: item for item in answers(make_plan(dark))}
    assert not night["total_in_darkness"].is_gap


def test_channels_of_teams_alone_do_not_answer_for_radio() -> None:
    # Command's channel and what is done where radio fails stand in no table: only the
    # folder's own text can say them (ANSI B77.1 from memory: teams and control).
    lift = make_long_lift()
    teams = tuple(replace(team, channel="1") for team in lift.teams)
    found = {i.item.key: i for i in answers(make_plan(replace(lift, teams=teams)))}
    assert found["radio"].is_gap
    assert found["radio"].part == "teams"
    texts = {**lift.plan_texts, "radio": "Command on 1; runners where it fails."}
    whole = make_plan(replace(lift, teams=teams, plan_texts=texts))
    assert not {i.item.key: i for i in answers(whole)}["radio"].is_gap


def test_muster_points_alone_do_not_answer_for_care_until_released() -> None:
    # California: care and control of evacuees until released; no table names who
    # lets them go.
    lift = make_long_lift()
    assert lift.muster_points
    found = {item.item.key: item for item in answers(make_plan(lift))}
    assert found["care"].is_gap
    assert found["care"].part == "care"


def test_when_evacuation_begins_stands_as_a_time_in_the_document() -> None:
    # California and France ask for the time until evacuation starts after the stop.
    plan = make_plan()
    row = next(
        row
        for row in table_with(time_blocks(plan, Words()), "P90")
        if row[0].startswith("Stop to first lowering")
    )
    # Quantiles of the sum, day by day; the sum of two P90 would be another number.
    sums_s = plan.simulation.stop_to_order_s + plan.simulation.order_to_first_s
    assert row[4:] == [Words().duration(np.quantile(sums_s, q)) for q in (0.5, 0.9)]
    # One definition for every row: a quantile is a day that was drawn, 8 or 16 min.
    halves_s = np.repeat([480.0, 960.0], plan.simulation.runs // 2)
    drawn = replace(plan.simulation, order_to_first_s=halves_s)
    (row,) = (
        row
        for row in table_with(
            time_blocks(replace(plan, simulation=drawn), Words()), "P90"
        )
        if row[0] == Words().say("plandoc.d_order_first")
    )
    assert row[4:] == ["8 min", "16 min"]
    found = {item.item.key: item for item in answers(plan)}
    assert (found["start_estimate"].part, found["start_estimate"].is_gap) == (
        "times",
        False,
    )


def test_the_part_of_a_limit_before_rescue_is_judged_or_said_not_to_be() -> None:
    plan = make_plan()
    said = " ".join(str(it.get("text")) for it in time_blocks(plan, Words()))
    assert "how soon the first lowering must begin, so that is not judged" in said
    (limit,) = plan.lift.limits
    begun_s = plan.simulation.stop_to_order_s + plan.simulation.order_to_first_s
    p90_min = float(np.quantile(begun_s, 0.9)) / 60
    for part_min, end in ((p90_min + 1, "it does so in"), (p90_min - 1, "does NOT.")):
        limits = (replace(limit, counts_from="stop", before_rescue_min=part_min),)
        judged = replace(plan, lift=replace(plan.lift, limits=limits))
        said = " ".join(str(it.get("text")) for it in time_blocks(judged, Words()))
        assert end in said


def test_the_first_page_says_first_whether_the_plan_is_good_enough(
    pages: list[Page],
) -> None:
    first = pages[0].joined
    reached = first.index(joined("EVERYONE IS REACHED"))
    limit = first.index(joined("THE LIMIT IS NOT MET"))
    assert reached < limit < first.index(joined("Contents1"))
    for part in ("P50", "P90", "Revision", "3f9a-77c1-20be", "signature"):
        assert joined(part) in first


def test_who_is_not_reached_is_said_first_and_by_name() -> None:
    first = pages_of(make_plan(unreached_span=13))[0].joined
    assert joined("NOT EVERYONE IS REACHED: 16 places in 1 span-side") in first
    assert joined("13-14 asc.") in first


def test_what_bounds_the_verdict_stands_beside_it_on_the_first_page() -> None:
    absent = Finding(
        key="branch.limit_missed",
        severity=Severity.WARN,
        values={
            "teams": "Upper patrol",
            "count": 1,
            "total": 4,
            "limit_min": 210.0,
            "counts_from": "stop",
            "counts_to": "on the ground",
        },
    )
    first = pages_of(make_plan(findings=(absent,)))[0].joined
    assert joined("Without Upper patrol (one of 4 teams with a zone)") in first
    assert joined("Contents") in first


def test_no_paper_says_a_limit_is_met_while_people_are_left() -> None:
    lift = make_long_lift()
    (limit, *_) = lift.limits
    easy = replace(lift, limits=(replace(limit, minutes=100_000.0),))
    plan = make_plan(easy, unreached_span=13)
    document = "".join(page.joined for page in pages_of(plan))
    assert joined("THE LIMIT IS MET") not in document
    assert joined("THE LIMIT IS NOT MET: not everyone is reached") in document
    assert joined("Chance of meeting the limit for everybody: none") in document
    assert joined("The evacuation must be ordered no later than") not in document
    assert joined("For those who are reached the evacuation must be") in document
    assert joined("for those who are reached at the latest") in document
    console = Console(file=io.StringIO(), width=220)
    print_summary(console, plan, Words(), written="-")
    assert isinstance(console.file, io.StringIO)
    printed = console.file.getvalue()
    assert "IS NOT MET: not everyone is reached" in printed
    assert "is met in 9 of 10" not in printed
    assert "LATEST ORDER:" not in printed
    _, limit_line, times = verdict_lines(plan, Words())
    assert "is NOT met: not everyone is reached" in limit_line
    assert times.startswith("Of those who are reached only")
    rows = dict(row[:2] for row in plan_tables(plan, Words())[0].rows)
    assert rows["places without a team that reaches them"] == sum(
        item.people for item in plan.assignment.uncovered
    )
    assert "latest order after the stop, for those who are reached [min]" in rows


def test_the_likely_time_is_one_everywhere() -> None:
    # Zones end at the stop that takes each longest, the list of carriers at one stop;
    # the cover must not promise the sooner end.
    plan = make_plan()
    sooner = replace(plan.schedule, clear_s=plan.schedule.clear_s - 1800.0)
    plan = replace(plan, schedule=sooner)
    last_s = max(zone.finish_s for zone in plan.assignment.zones)
    shown = Words().duration(last_s)
    first = pages_of(plan)[0].joined
    assert joined(f"on the ground: {shown} at likely times") in first
    console = Console(file=io.StringIO(), width=220)
    print_summary(console, plan, Words(), written="-")
    assert isinstance(console.file, io.StringIO)
    assert f"likely {shown};" in console.file.getvalue()
    rows = dict(row[:2] for row in plan_tables(plan, Words())[0].rows)
    assert rows["order to last on the ground, likely [min]"] == last_s / 60
    assert json.loads(plan_json(plan))["clear_s"] == last_s


def test_without_a_limit_none_is_claimed_to_be_met() -> None:
    plan = make_plan(replace(make_long_lift(), limits=()))
    first = pages_of(plan)[0].joined
    assert joined("NO LIMIT WAS CHECKED") in first
    assert joined("THE LIMIT IS MET") not in first


def test_every_page_is_stamped_and_numbered(pages: list[Page]) -> None:
    for number, page in enumerate(pages, start=1):
        assert joined("Larkfell Four. Revision A") in page.joined
        assert joined("Planning aid, not a rescue instruction") in page.joined
        assert f"{number}/{len(pages)}" in page.joined


def test_the_list_of_contents_names_every_part_with_its_page(
    pages: list[Page],
) -> None:
    listed = re.findall(r"(?m)^(\d+) (.+?)[ .]{5,}(\d+)\s*$", pages[0].text)
    assert len(listed) >= 15
    for number, title, page in listed:
        assert joined(f"{number}{title}") in pages[int(page) - 1].joined


def test_outside_help_is_a_part_of_its_own(pages: list[Page], text: str) -> None:
    assert joined("Outside help") in pages[0].joined
    assert joined("never counted in the times and zones of this plan") in text


def test_assumptions_and_findings_stand_in_the_document(text: str) -> None:
    for part in (
        "carriers.passenger_mass_kg",
        "no certificate in the folder",
        "Write the names with Latin",
        "Decision ladder",
        "proven optimal",
        "Report after an evacuation",
        "abababababababab",
    ):
        assert joined(part) in text


def test_all_cautions_stand_at_the_end(text: str) -> None:
    for number in range(1, 5):
        assert joined(Words().say(f"cautions.c{number}")) in text


def test_a_missed_limit_from_the_order_names_no_latest_order() -> None:
    plan = make_plan()
    missed = LatestOrder(
        reason="limit_from_order",
        after_stop_s=-3600.0,
        clock_s=plan.clock.stop_clock_s - 3600.0,
        met=False,
        source="invented",
    )
    clock = replace(plan.clock, binding=None, latest=(missed,))
    late = replace(plan, clock=clock)
    document = "".join(page.joined for page in pages_of(late))
    assert joined("No latest order time could be worked out") in document
    assert joined("none: missed by 1 h 00 min whenever ordered") in document
    assert joined("1 h 00 min before the stop") not in document
    console = Console(file=io.StringIO(), width=220)
    print_summary(console, late, Words(), written="-")
    assert isinstance(console.file, io.StringIO)
    assert "too late when the lift stops" not in console.file.getvalue()


@pytest.mark.parametrize(("reason", "unreached"), [("cold", None), ("dusk", 14)])
def test_what_no_order_meets_has_no_latest_order_on_any_paper(
    reason: str, unreached: int | None
) -> None:
    # Nobody can order before the stop (common practice, no source): where bare skin
    # freezes, or light goes, sooner than the last is down, no time stands for it.
    plan = make_plan(unreached_span=unreached)
    lost = LatestOrder(
        reason=reason,
        after_stop_s=-43 * 60.0,
        clock_s=plan.clock.stop_clock_s - 43 * 60.0,
        met=False,
        source="",
    )
    assert binding_order((lost,)) == lost
    late = replace(plan, clock=replace(plan.clock, binding=lost, latest=(lost,)))
    console = Console(file=io.StringIO(), width=400)
    print_summary(console, late, Words(), written="-")
    assert isinstance(console.file, io.StringIO)
    rows = dict(row[:2] for row in plan_tables(late, Words())[0].rows)
    (order,) = (rows[key] for key in rows if str(key).startswith("latest order"))
    now = json.loads(plan_json(late))
    compared = changes({**now, "latest": []}, now, words=Words())
    papers = {
        "document": "".join(page.joined for page in pages_of(late)),
        "terminal": console.file.getvalue(),
        "notebook": " ".join(verdict_lines(late, Words())),
        "workbook": str(order),
        "comparison": " ".join(compared),
    }
    for name, paper in papers.items():
        told = joined(paper).lower()
        assert joined("43 min before the stop") not in told, name
        assert joined("too late when the lift stops") not in told, name
        assert "-43" not in told, name
        said = "no order meets it" if name == "comparison" else "is early enough"
        assert joined(said) in told, name


def test_the_terminal_judges_every_limit_by_itself() -> None:
    lift = make_long_lift()
    (limit, *_) = lift.limits
    easy, hard = replace(limit, minutes=100_000.0), replace(limit, minutes=1.0)
    plan = make_plan(replace(lift, limits=(easy, hard)))
    console = Console(file=io.StringIO(), width=220)
    print_summary(console, plan, Words(), written="-")
    assert isinstance(console.file, io.StringIO)
    printed = console.file.getvalue().splitlines()
    said = [line for line in printed if line.lower().startswith("the limit of")]
    assert ["NOT" in line for line in said] == [False, True], said


def test_the_latest_order_is_rounded_down() -> None:
    lift = make_long_lift()
    plan = make_plan(lift)
    assert plan.clock.binding is not None
    binding = replace(plan.clock.binding, after_stop_s=1259.0, clock_s=1259.0)
    clock = replace(plan.clock, binding=binding, latest=(binding,))
    document = "".join(page.joined for page in pages_of(replace(plan, clock=clock)))
    assert joined("no later than 20 min after the stop") in document


def test_feet_are_shown_only_on_request() -> None:
    plan = make_plan()
    metres = read_pages(document_files(plan, Words())["plan.pdf"])
    feet = read_pages(document_files(plan, Words(feet=True))["plan.pdf"])
    assert " ft)" not in "".join(page.text for page in metres)
    assert "ft)" in "".join(page.joined for page in feet)


def test_the_reach_check_shows_height_margin_and_what_the_margin_is_made_of(
    text: str,
) -> None:
    plan = make_plan(findings=NOTES)
    unit = plan.heights.units[6]
    row = (
        f"{unit.span_id} asc. {unit.rope_greatest_m:.1f} "
        f"{unit.stance_greatest_m:.1f} 0.6 ground 0.32, "
        "survey 0.24, order of work 0.20"
    )
    assert joined(row) in text
    assert joined(f"{unit.span_id} asc. {unit.rope_greatest_m:.1f} + 0.6") in text


def test_units_of_unknown_height_are_named_in_the_reach_check() -> None:
    blocks = reach_blocks(make_plan(unknown_span=4), Words())
    asked = next(block for block in blocks if block["kind"] == "table")
    reason = Words().say("unknown.void")
    unknown = [row for row in asked["rows"] if row[0] == "4-5"]  # type: ignore[union-attr,index,call-overload]  # JSON
    assert [row[-1] for row in unknown] == [f"not known: {reason}"] * 2


def test_what_a_kit_lacks_is_said_in_metres_of_rope() -> None:
    plan = make_plan(unreached_span=13)
    blocks = reach_blocks(plan, Words())
    lines = next(block["items"] for block in blocks if block["kind"] == "list")
    reach = next(
        item
        for item in plan.reaches
        if item.span_index == 13 and item.option_index == 0
    )
    needed = math.ceil(reach.rope_needed_m)
    assert isinstance(lines, list)
    (line,) = [str(item) for item in lines if str(item).startswith("13-14, ascending")]
    assert f"{needed} m needed of {math.floor(reach.rope_have_m)} m" in line


def test_no_rope_suffices_by_rounding() -> None:
    plan = make_plan(unreached_span=13)
    reaches = tuple(
        replace(item, rope_needed_m=55.6, rope_have_m=55.5)
        if item.span_index == 13 and item.limit == "rope"
        else item
        for item in plan.reaches
    )
    blocks = reach_blocks(replace(plan, reaches=reaches), Words())
    lines = next(block["items"] for block in blocks if block["kind"] == "list")
    assert "56 m needed of 55 m" in str(lines)


def test_thirteen_options_are_shown_in_two_tables_of_like_width() -> None:
    teams = tuple(f"Team {number}" for number in range(13))
    plan = make_plan(make_long_lift(team_ids=teams), zones=4)
    tables = [b for b in reach_blocks(plan, Words()) if b["kind"] == "table"]
    widths = [len(block["head"]) - 3 for block in tables[1:]]  # type: ignore[arg-type]  # JSON
    assert widths == [7, 6]


def test_no_paper_sounds_sure_of_reach_over_terrain_too_coarse() -> None:
    coarse = Finding(
        key="line.terrain_coarse",
        severity=Severity.WARN,
        values={"cell_m": 92.6, "span_m": 12.3},
    )
    plan = make_plan(findings=(coarse,))
    assert plan.everyone_reached
    document = "".join(page.joined for page in pages_of(plan))
    assert joined("BY THESE FIGURES EVERYONE IS REACHED, but the ground") in document
    assert joined("EVERYONE IS REACHED: every span") not in document
    assert b"THE GROUND IS KNOWN TOO COARSELY TO TRUST" in map_html(plan, Words())
    console = Console(file=io.StringIO(), width=120)
    print_summary(console, plan, Words(), written="-")
    assert isinstance(console.file, io.StringIO)
    assert "too coarsely to trust heights" in console.file.getvalue()
    (row,) = [
        row
        for row in plan_tables(plan, Words())[0].rows
        if str(row[0]).startswith("ground known too coarsely")
    ]
    assert row[1] == "yes"


def test_a_span_that_is_walked_past_is_told_in_plan_document_and_summary() -> None:
    plan = walked_past(make_plan(), span=7)
    document = "".join(page.joined for page in pages_of(plan))
    assert joined("Supports 5 to 10, both sides, not 7-8 asc., 7-8 desc.") in document
    console = Console(file=io.StringIO(), width=220)
    print_summary(console, plan, Words(), written="-")
    assert isinstance(console.file, io.StringIO)
    shown = console.file.getvalue()
    assert "5 … 7, 8 … 10" in shown
    (row,) = [line for line in shown.splitlines() if "│ 7-8 " in line]
    assert row.count("nobody") == 2


def table_with(blocks: list[Block], heading: str) -> list[list[str]]:
    """Rows of the first table that has a column of this name."""
    return next(
        block["rows"]  # type: ignore[misc]  # a table's rows
        for block in blocks
        if block["kind"] == "table" and heading in block["head"]  # type: ignore[operator]  # a table's head
    )


def test_special_passengers_stand_in_the_document_with_who_can_serve_them() -> None:
    # Rule 19 of the trade: time and kit of their own.
    plan = make_plan()
    served = SpecialPassenger(
        key="unconscious", extra_s={"rope rescuer": 360.0}, options=(0,)
    )
    nobody = SpecialPassenger(key="very_heavy", extra_s={}, options=())
    blocks = people_blocks(replace(plan, special=(served, nobody)), Words())
    rows = table_with(blocks, "what is done")
    assert rows[0][0] == "unconscious or hurt"
    assert "pick-off" in rows[0][1]
    assert rows[0][2:] == ["rope rescuer (+6 min)", plan.work.options[0].team]
    assert rows[1][2:] == ["NOBODY", "NOBODY"]
    loud = [block["text"] for block in blocks if block.get("strong")]
    assert any("NOBODY IN THIS PLAN CAN SERVE: very heavy" in str(it) for it in loud)


def test_every_zone_has_its_pick_off_or_a_gap_in_the_document() -> None:
    # Rule 19: a team able to pick off arrives within a set time, else a named gap.
    plan = make_plan(make_long_lift(team_ids=("A", "B", "C", "D")), zones=4)
    teams = [zone.team for zone in plan.assignment.zones]
    answers_s = [("own", 0.0, True), ("R9", 1500.0, True), ("R9", 2700.0, False), None]
    pickoffs = tuple(
        PickOff(
            zone_team=team,
            team=None
            if answer is None
            else (team if answer[0] == "own" else "East rescue"),
            kit=None if answer is None else answer[0],
            technique=None if answer is None else "rope rescuer",
            seconds=1e9 if answer is None else answer[1],
            in_time=answer is not None and answer[2],
        )
        for team, answer in zip(teams, answers_s, strict=False)
    )
    blocks = people_blocks(replace(plan, pickoffs=pickoffs), Words())
    rows = table_with(blocks, "picked off by")
    assert [row[0] for row in rows] == teams[:4]
    assert [row[2] for row in rows] == [teams[0], *["East rescue"] * 2, "NOBODY"]
    assert [row[4] for row in rows] == [
        "there already",
        "25 min",
        "GAP: 45 min",
        "GAP",
    ]
    assert rows[1][3] == "rope rescuer, R9"


def test_a_hold_downs_least_load_is_the_one_its_load_case_is_named_for() -> None:
    # The load case named is that of the least load by size (evac.heights.reduce); a
    # hold-down of -35 and -48 kN is nearest to losing the rope at -35.
    plan = make_plan()
    rows = table_with(height_blocks(plan, Words()), "least load in")
    assert next(row[3:5] for row in rows if row[2].startswith("hold-down")) == [
        "-4.0",
        "-14.0",
    ]
    assert next(row[3:5] for row in rows if row[2].startswith("support")) == [
        "9.0",
        "31.0",
    ]
    said = [str(block.get("text")) for block in height_blocks(plan, Words())]
    assert any("below 0 it pulls upwards" in text for text in said)


def test_sunset_and_dusk_are_said_to_be_those_behind_the_skyline() -> None:
    plan = make_plan()
    for skyline_deg, end in ((6.0, ", both behind a skyline of 6°."), (0.0, "17:30.")):
        conditions = replace(plan.lift.conditions, skyline_angle_deg=skyline_deg)
        held = replace(plan, lift=replace(plan.lift, conditions=conditions))
        said = [str(block.get("text")) for block in decision_blocks(held, Words())]
        (line,) = [text for text in said if text.startswith("Sunset 17:00")]
        assert line.endswith(end)


def test_notebooks_tell_which_spans_of_a_zone_its_team_walks_past() -> None:
    rows = zone_rows(walked_past(make_plan(), span=7), Words())
    (row,) = [row for row in rows if "not 7-8" in row[1]]
    assert row[1] == "5-6 .. 9-10, not 7-8 asc., 7-8 desc."


def test_the_bounds_of_every_technique_stand_in_the_document() -> None:
    plan = make_plan()
    first, *others = plan.lift.techniques
    first = replace(
        first,
        wind_limit_m_per_s=15.0,
        needs_line_over_rope=True,
        min_crew=3,
        approval="",
        passes_hold_downs=False,
    )
    lift = replace(plan.lift, techniques=(first, *others))
    rows = table_with(team_blocks(replace(plan, lift=lift), Words()), "approval")
    assert len(rows) == len(lift.techniques)
    assert rows[0][:2] == [first.id, "3"]
    # Rule 27: a line is counted on to get over the rope up to 12 m/s.
    assert rows[0][2:4] == ["15.0 m/s", "12.0 m/s"]
    assert rows[0][6] == "NO"
    assert rows[0][-1] == "NONE NAMED"


def test_what_people_are_needed_for_adds_up_where_they_are_listed() -> None:
    # Rule 21; said always, so that anybody can check the number of people present.
    said = " ".join(str(it.get("text")) for it in team_blocks(make_plan(), Words()))
    (line,) = re.findall(r"Needed at the same time: (\d+) people \((.*?)\)\.", said)
    parts = [int(number) for number in re.findall(r"\d+", line[1])]
    assert len(parts) == 5
    assert int(line[0]) == sum(parts)


def test_the_cover_names_the_teams_without_a_zone_and_why() -> None:
    plan = make_plan()
    idle, away = (replace(plan.lift.teams[0], id=name) for name in ("Idle", "Away"))
    lift = replace(plan.lift, teams=(*plan.lift.teams, idle), off_duty=(away,))
    first = pages_of(replace(plan, lift=lift))[0].joined
    with_zone = len({zone.team for zone in plan.assignment.zones})
    assert joined(f"Teams with a zone: {with_zone} of {len(lift.teams) + 1}.") in first
    assert joined("Cannot work (training, crew or kit): Idle.") in first
    assert joined("Off duty at the planned order: Away.") in first


def test_the_day_it_was_made_and_the_day_it_is_for_have_two_names(text: str) -> None:
    assert joined("Made on") in text
    assert joined("Conditions of") in text
    assert joined("Planned for") not in text


def test_where_no_hazard_is_listed_power_lines_are_a_gap_to_confirm() -> None:
    lift = make_long_lift()
    listed = [item for item in lift.hazards if item.kind != "power line"]
    none = {
        item.item.key: item for item in answers(make_plan(replace(lift, hazards=())))
    }
    assert none["power_line"].is_gap
    assert none["unusual_terrain"].is_gap
    assert listed
    plan = make_plan(replace(lift, hazards=tuple(listed)))
    others = {item.item.key: item for item in answers(plan)}
    assert not others["power_line"].is_gap
    assert not others["unusual_terrain"].is_gap


def test_landings_are_told_by_class_for_every_span_side() -> None:
    plan = make_plan()
    rows = table_with(care_blocks(plan, Words()), "9 in 10 metres stay below")
    assert rows
    line = plan.heights.line
    classes = {
        landing_class(line, side=side, span_index=span.index)
        for side in Side
        for span in line.spans
    }
    assert {row[0] for row in rows} == {
        Words().say(f"muster.landing.{name}") for name in classes
    }


def test_one_is_said_as_one() -> None:
    plan = make_plan()
    organisation = replace(plan.lift.organisation, informer_count=1)
    one = replace(plan, lift=replace(plan.lift, organisation=organisation))
    said = " ".join(str(block.get("text")) for block in informing_blocks(one, Words()))
    assert "1 informer tells the whole line" in said
    assert "the own stretch" not in said
    assert Words().say("plandoc.places", count=1) == "1 place"


def test_small_parts_of_a_margin_are_joined_and_not_left_out() -> None:
    (unit, *_) = make_plan().heights.units
    parts = {f"{name}": 0.04 for name in ("tension", "modulus", "spacing", "friction")}
    unit = replace(
        unit,
        margin_parts_m={**parts, "ground": 0.3, "order of work": 0.2, "place": -0.1},
    )
    # By hand: sqrt(4 * 0.04^2) = 0.08.
    assert parts_text(unit, Words()) == (
        "ground 0.30, others 0.08, order of work 0.20, lower place -0.10"
    )
