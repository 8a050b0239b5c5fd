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
from evac.errors import InputError
from evac.facts.lift import Lift
from evac.facts.plan import Plan
from evac.facts.rehearsal import DrillKind
from evac.inputs.drill_times import COLUMNS, read_times
from evac.rehearsal import LIVE_HEIGHT_M, draw_drill, evaluate
from evac.words import Words

ZONE = "Europe/Vienna"
HEAD = ";".join(COLUMNS)
LOOP = "loop over the haul rope belayed from the ground"


def sheet(tmp_path: Path, *lines: str) -> Path:
    path = tmp_path / "filled.csv"
    path.write_text("\n".join([HEAD, *lines]) + "\n", encoding="utf-8")
    return path


def line(begun: str, ended: str, *, day: str = "2026-11-25", amount: str = "1") -> str:
    return (
        f"{day};A;1-2;1;{LOOP};make ready;carrier;;90;{amount};{begun};{ended};no;no;"
    )


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


def test_clock_times_are_read_as_people_type_them(tmp_path: Path) -> None:
    path = sheet(
        tmp_path,
        line("14:05", "14:07"),
        line("14.05.30", "14.07"),
        line("9:7", "9:8:30"),
        line("0,5", "0,501"),
    )
    observed, unread = read_times(path, time_zone=ZONE)
    assert unread == ()
    assert [item.record.seconds for item in observed] == [120, 90, 90, 86]


def test_a_drill_past_midnight_has_no_negative_time(tmp_path: Path) -> None:
    observed, _ = read_times(sheet(tmp_path, line("23:59", "0:03")), time_zone=ZONE)
    assert observed[0].record.seconds == 240


def test_the_night_of_the_clock_change_counts_real_seconds(tmp_path: Path) -> None:
    # Clocks go back at 03:00 on 2026-10-25 in the EU (Directive 2000/84/EC): from
    # 01:30 to 03:30 two hours of the clock are three real ones.
    spanning = line("1:30", "3:30", day="2026-10-25")
    within = line("2:15", "2:20", day="2026-10-25")
    observed, unread = read_times(sheet(tmp_path, spanning, within), time_zone=ZONE)
    assert [item.record.seconds for item in observed] == [3 * 3600]
    assert [item.reason for item in unread] == ["clock_change"]


def test_lines_without_times_are_named_not_guessed(tmp_path: Path) -> None:
    path = sheet(
        tmp_path,
        line("14:05", ""),
        line("14:05", "14:05"),
        line("14:05", "23:59"),
        line("14:05", "14:06", amount=""),
    )
    observed, unread = read_times(path, time_zone=ZONE)
    assert observed == ()
    assert [(item.where, item.reason) for item in unread] == [
        ("filled.csv, row 2", "no_time"),
        ("filled.csv, row 3", "no_length"),
        ("filled.csv, row 4", "too_long"),
        ("filled.csv, row 5", "no_amount"),
    ]


def test_a_time_that_is_none_is_refused_with_its_cell(tmp_path: Path) -> None:
    with pytest.raises(InputError) as refused:
        read_times(sheet(tmp_path, line("soon", "14:06")), time_zone=ZONE)
    assert "row 2, column begun: found 'soon'" in str(refused.value)


def test_how_long_a_team_was_at_work_is_counted_from_its_first_line(
    tmp_path: Path,
) -> None:
    path = sheet(tmp_path, line("14:00", "14:05"), line("15:10", "15:12"))
    observed, _ = read_times(path, time_zone=ZONE)
    assert [item.record.worked_s for item in observed] == [0, 4200]


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
