"""A drill: drawn again alike, safe by its rules, and the paper circle walked once."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from drill_sheets import filled_sheet
from openpyxl import load_workbook

from evac.documents.drill_papers import drill_files, observer_workbook
from evac.documents.drill_report import evaluation_pdf
from evac.facts.lift import CarrierType, Lift, Side, Triple
from evac.facts.plan import Plan
from evac.facts.rehearsal import DrillCarrier, DrillKind
from evac.inputs.drill_times import COLUMNS, read_times
from evac.rehearsal import LIVE_HEIGHT_M, draw_drill, evaluate
from evac.rehearsal.steps import carrier_steps
from evac.words import Words

ZONE = "Europe/Vienna"


@pytest.mark.parametrize("kind", list(DrillKind))
def test_the_same_seed_draws_the_same_drill(kind: DrillKind, demo_plan: Plan) -> None:
    first = draw_drill(demo_plan, seed=7, kind=kind)
    assert first == draw_drill(demo_plan, seed=7, kind=kind)
    assert first != draw_drill(demo_plan, seed=8, kind=kind)
    assert first.kind is kind


@pytest.mark.parametrize("seed", range(5))
def test_no_volunteer_hangs_above_the_cap(seed: int, demo_plan: Plan) -> None:
    # Rule 26: volunteers hang at 6 to 8 m at most (common practice, no source).
    assert 6 <= LIVE_HEIGHT_M <= 8
    drill = draw_drill(demo_plan, seed=seed)
    carriers = [carrier for team in drill.teams for carrier in team.carriers]
    assert carriers
    for carrier in carriers:
        assert carrier.dummy == (carrier.seat_height_m > LIVE_HEIGHT_M)
        assert 0 <= carrier.people <= demo_plan.lift.carriers.seats


def test_a_missing_team_has_nothing_to_time(demo_plan: Plan) -> None:
    drill = draw_drill(demo_plan, seed=2, kind=DrillKind.TEAM_MISSING)
    missing = [team for team in drill.teams if team.missing]
    assert len(missing) == 1
    assert missing[0].steps == ()


def test_planned_times_of_a_sheet_are_the_tables(demo_plan: Plan) -> None:
    drill = draw_drill(demo_plan, seed=1, kind=DrillKind.USUAL)
    for team in drill.teams:
        for step in team.steps:
            assert step.planned_s == pytest.approx(
                step.row.seconds.likely * step.amount
            )


def test_the_line_of_the_next_carrier_stands_for_the_whole_way(demo_plan: Plan) -> None:
    """60 m between carriers: the row's 20 m, and 40 m more as the plan counts them.

    On the rope at 1 m/s, on ski at the row "move 20 m on ski downhill" (25 s): common
    practice, no source. A team that takes just that long teaches nothing new.
    """
    lift = demo_plan.lift
    assert lift.carriers.spacing_m == 60
    drill = draw_drill(demo_plan, seed=1, kind=DrillKind.USUAL)
    ways = {
        (team.technique, step.team): step
        for team in drill.teams
        for step in team.steps
        if step.way_m
    }
    assert ways
    rows = {"rope rescuer": 80, "loop": 60}
    more_s = {"rope rescuer": 40 / 1.0, "loop": 2 * 25}
    on_ski = {team.id for team in lift.teams if team.travel == "ski"}
    checked = 0
    for (technique, team), step in ways.items():
        assert step.way_m == 60
        assert step.row.seconds.likely == rows[technique]
        assert step.planned_s / step.amount == pytest.approx(rows[technique])
        if technique == "rope rescuer" or team in on_ski:
            assert step.planned_s == pytest.approx(rows[technique] + more_s[technique])
            checked += 1
    assert checked >= 3


def test_a_way_of_no_seconds_in_the_table_still_makes_a_drill(demo_plan: Plan) -> None:
    still = tuple(
        replace(row, seconds=Triple(low=0, likely=0, high=0))
        if row.step.startswith("reach")
        else row
        for row in demo_plan.lift.step_times
    )
    plan = replace(demo_plan, lift=replace(demo_plan.lift, step_times=still))
    drill = draw_drill(plan, seed=1, kind=DrillKind.USUAL)
    ways = [step for team in drill.teams for step in team.steps if step.way_m]
    assert ways
    assert all(step.planned_s == 0 for step in ways)


@pytest.mark.parametrize("has_row", [True, False])
def test_cabins_are_made_ready_by_the_row_that_the_plan_counts(
    demo_plan: Plan, *, has_row: bool
) -> None:
    # "make ready in a cabin" where the table has it, else "make ready": a step that is
    # planned and never timed could never be learned.
    lift = demo_plan.lift
    technique = next(t for t in lift.techniques if t.id == "rope rescuer")
    rows = tuple(
        row for row in lift.step_times if has_row or row.step != "make ready in a cabin"
    )
    carriers = replace(lift.carriers, type=CarrierType.CABIN)
    cabins = replace(lift, step_times=rows, carriers=carriers)
    carrier = DrillCarrier(
        number=1,
        side=Side.ASCENDING,
        span_id=demo_plan.heights.line.spans[0].id,
        distance_m=30.0,
        seat_height_m=8.0,
        people=2,
        dummy=False,
        incapacitated=False,
    )
    timed = carrier_steps(cabins, technique, lift.teams[0], carrier)
    ready = [step.row.step for step in timed if step.row.step.startswith("make ready")]
    assert ready == ["make ready in a cabin" if has_row else "make ready"]


def test_the_workbook_has_the_very_columns_that_are_read(demo_plan: Plan) -> None:
    drill = draw_drill(demo_plan, seed=1)
    book = load_workbook(io.BytesIO(observer_workbook(drill, Words())))
    assert [cell.value for cell in book.active[1]] == list(COLUMNS)


def test_the_papers_come_out_alike_twice(demo_plan: Plan) -> None:
    drill = draw_drill(demo_plan, seed=1)
    files = drill_files(drill, demo_plan.lift, Words())
    assert files == drill_files(drill, demo_plan.lift, Words())
    assert {"safety.pdf", "observer.pdf", "observer.xlsx"} <= set(files)
    assert sum(name.startswith("teams/") for name in files) == len(drill.teams)


def test_the_paper_circle_ends_in_a_changed_plan(
    demo_plan: Plan, demo_lift: Lift, tmp_path: Path
) -> None:
    # Drill maker -> filled sheet (half as long again as planned) -> records ->
    # learned times -> changed plan.
    drill = draw_drill(demo_plan, seed=4, kind=DrillKind.USUAL)
    (tmp_path / "filled.xlsx").write_bytes(filled_sheet(drill, factor=1.5))

    observed, unread = read_times(tmp_path / "filled.xlsx", time_zone=ZONE)
    lesson = evaluate(demo_lift, observed, before=demo_plan)

    assert unread == ()
    assert lesson.already == ()
    assert lesson.evaluation.unplanned == ()
    for team in lesson.evaluation.by_team:
        assert 1.45 < team.actual_s / team.planned_s < 1.6
    assert lesson.after.simulation.p90_s > demo_plan.simulation.p90_s
    assert len(lesson.learned.steps) > 0
    pdf = evaluation_pdf(lesson, unread=unread, words=Words())
    assert pdf.startswith(b"%PDF")

    # The next year starts from drills.csv; the same sheet teaches nothing twice.
    again = evaluate(
        replace(demo_lift, drill_records=lesson.records),
        observed,
        before=lesson.after,
    )
    assert again.observed == ()
    assert len(again.already) == len(observed)
    assert again.records == lesson.records
    np.testing.assert_array_equal(
        again.after.simulation.order_to_clear_s,
        lesson.after.simulation.order_to_clear_s,
    )
