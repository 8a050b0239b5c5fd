"""A drill: drawn again alike, safe by its rules, and the paper circle walked once."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from drill_sheets import filled_sheet
from openpyxl import load_workbook
from paper_text import joined, read_pages

from evac.documents.drill_papers import drill_files, observer_workbook
from evac.documents.drill_report import evaluation_pdf, shrinking
from evac.documents.names import file_names
from evac.factors import DRILL_TO_REAL
from evac.facts.lift import CarrierType, Lift, Side, StepTime, Triple
from evac.facts.plan import Plan
from evac.facts.rehearsal import Drill, DrillCarrier, DrillKind
from evac.inputs.drill_times import COLUMNS, read_times, times_of
from evac.learning import Learned, LearnedStep
from evac.rehearsal import LIVE_HEIGHT_M, compare, draw_drill, evaluate
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
        highest_m = carrier.seat_height_m + carrier.margin_m
        assert carrier.margin_m > 0
        assert carrier.dummy == (highest_m > LIVE_HEIGHT_M)
        assert 0 <= carrier.people <= demo_plan.lift.carriers.seats


def test_the_margin_of_a_height_counts_under_the_cap(demo_plan: Plan) -> None:
    # A seat calculated 6.9 m high, give or take 1 m, may hang at 7.9 m.
    drill = draw_drill(demo_plan, seed=1, carriers_a_team=8)
    carriers = [carrier for team in drill.teams for carrier in team.carriers]
    near = [
        carrier
        for carrier in carriers
        if carrier.seat_height_m
        <= LIVE_HEIGHT_M
        < carrier.seat_height_m + carrier.margin_m
    ]
    assert near
    assert all(carrier.dummy for carrier in near)


def test_a_seat_of_unknown_height_is_no_place_for_a_volunteer(demo_plan: Plan) -> None:
    units = tuple(
        replace(unit, margin_m=float("nan")) for unit in demo_plan.heights.units
    )
    plan = replace(demo_plan, heights=replace(demo_plan.heights, units=units))
    drill = draw_drill(plan, seed=1)
    assert all(item.dummy for team in drill.teams for item in team.carriers)


def test_only_a_technique_that_can_take_them_lowers_the_unconscious(
    demo_plan: Plan,
) -> None:
    # The folder's techniques: the loop cannot, the rescuer on the rope can.
    able = {item.id: item.incapacitated for item in demo_plan.lift.techniques}
    drill = draw_drill(demo_plan, seed=1, kind=DrillKind.INCAPACITATED)
    assert set(able.values()) == {True, False}
    for team in drill.teams:
        first, *others = team.carriers
        assert first.incapacitated == able[team.technique]
        assert first.calls_pickoff == (not able[team.technique])
        assert not any(item.incapacitated or item.calls_pickoff for item in others)
        conditions = {step.row.step for step in team.steps if step.carrier == 1}
        adds = any("incapacitated" in step for step in conditions)
        assert not adds or able[team.technique]
        if first.calls_pickoff:
            assert team.pickoff is not None
            assert able[team.pickoff.technique]
            text = sheet_of(drill, demo_plan.lift, team.team)
            assert joined("CANNOT take an unconscious passenger") in text
            assert joined(f"kit {team.pickoff.kit}") in text
            assert joined("plays unconscious") not in text


@pytest.mark.parametrize("seed", range(4))
def test_a_team_enters_at_the_end_of_its_first_drawn_span(
    seed: int, demo_plan: Plan
) -> None:
    # Carriers in 4-5 are not reached from support 9: a team that works from the upper
    # end comes to 4-5 from 5, one that works from the lower end from 4.
    drill = draw_drill(demo_plan, seed=seed)
    zones = {zone.team: zone for zone in demo_plan.assignment.zones}
    for team in drill.teams:
        zone = zones[team.team]
        lower, upper = team.carriers[0].span_id.split("-")
        from_upper = zone.start_support > zone.first_span
        assert team.enters_at == (upper if from_upper else lower)


def sheet_of(drill: Drill, lift: Lift, team: str) -> str:
    name = f"teams/{file_names([item.team for item in drill.teams])[team]}.pdf"
    return text_of(drill, lift, name)


def text_of(drill: Drill, lift: Lift, name: str) -> str:
    pages = read_pages(drill_files(drill, lift, Words())[name])
    return "".join(page.joined for page in pages)


def test_what_surprises_the_teams_stands_on_no_sheet_of_theirs(
    demo_plan: Plan,
) -> None:
    lift = demo_plan.lift
    away = draw_drill(demo_plan, seed=2, kind=DrillKind.TEAM_MISSING)
    (missing,) = [team.team for team in away.teams if team.missing]
    restored = draw_drill(demo_plan, seed=2, kind=DrillKind.DRIVE_RESTORED)
    for team in away.teams:
        text = sheet_of(away, lift, team.team)
        assert (joined("STAYS AWAY") in text) == team.missing
        assert joined("one team stays away") not in text
        assert joined("team missing") not in text
    for team in restored.teams:
        text = sheet_of(restored, lift, team.team).casefold()
        assert joined("drive restored").casefold() not in text
        assert joined("drive comes back").casefold() not in text
    for name in ("safety.pdf", "observer.pdf"):
        assert joined(f"team {missing} stays away") in text_of(away, lift, name)
        assert joined(
            f"after their carrier {restored.restored_after} the observer calls"
        ) in text_of(restored, lift, name)


def test_the_safety_page_names_wind_and_cold_and_leaves_room_for_the_abort_word(
    demo_plan: Plan,
) -> None:
    lift = demo_plan.lift
    text = text_of(draw_drill(demo_plan, seed=1), lift, "safety.pdf")
    used = {zone.option.technique for zone in demo_plan.assignment.zones}
    for technique in lift.techniques:
        if technique.id in used:
            limit = f"{technique.id} {technique.wind_limit_m_per_s:.1f} m/s"
            assert joined(limit) in text
    assert joined("wind chill of -28 °C or colder") in text
    assert joined("Abort word") in text
    cold = draw_drill(demo_plan, seed=1, kind=DrillKind.COLD)
    assert joined("Warm-up break: after how long") in text_of(cold, lift, "safety.pdf")


def test_a_cabin_drill_speaks_of_sills(demo_plan: Plan) -> None:
    lift = demo_plan.lift
    cabins = replace(lift, carriers=replace(lift.carriers, type=CarrierType.CABIN))
    drill = draw_drill(demo_plan, seed=1, kind=DrillKind.USUAL)
    text = sheet_of(drill, cabins, drill.teams[0].team)
    assert joined("sill [m]") in text
    assert joined("seat [m]") not in text


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
        margin_m=0.5,
        people=2,
        dummy=False,
        incapacitated=False,
    )
    timed = carrier_steps(cabins, technique, lift.teams[0], carrier)
    ready = [step.row.step for step in timed if step.row.step.startswith("make ready")]
    assert ready == ["make ready in a cabin" if has_row else "make ready"]


def rope_carrier(plan: Plan, *, people: int) -> DrillCarrier:
    return DrillCarrier(
        number=1,
        side=Side.ASCENDING,
        span_id=plan.heights.line.spans[0].id,
        distance_m=30.0,
        seat_height_m=11.0,
        margin_m=0.5,
        people=people,
        dummy=True,
        incapacitated=False,
    )


def test_every_passenger_has_lines_in_the_order_in_which_they_are_done(
    demo_plan: Plan,
) -> None:
    lift = demo_plan.lift
    technique = next(t for t in lift.techniques if t.id == "rope rescuer")
    carrier = rope_carrier(demo_plan, people=3)
    timed = carrier_steps(lift, technique, lift.teams[0], carrier)

    each = (
        "prepare a passenger",
        "lower",
        "release on the ground",
        "bring the gear back (two-ended)",
    )
    assert [(step.passenger, step.row.step) for step in timed] == [
        (None, "reach the next carrier"),
        (None, "make ready"),
        *((passenger, name) for passenger in (1, 2, 3) for name in each),
        (None, "leave the carrier"),
    ]
    for step in timed:
        if step.passenger is not None:
            assert step.amount == (11.0 if step.row.per == "metre" else 1.0)


def test_what_is_observed_line_by_line_gives_back_the_true_times(
    demo_plan: Plan,
) -> None:
    """One passenger is done whole before the next; the observer writes what happens.

    True times, invented: three quarters of the table's likely ones.
    """
    lift = demo_plan.lift
    technique = next(t for t in lift.techniques if t.id == "rope rescuer")
    team = lift.teams[0]
    steps = tuple(
        carrier_steps(lift, technique, team, rope_carrier(demo_plan, people=3))
    )
    base = draw_drill(demo_plan, seed=1, kind=DrillKind.USUAL)
    drill = replace(base, teams=(replace(base.teams[0], team=team.id, steps=steps),))
    book = load_workbook(io.BytesIO(observer_workbook(drill, Words())))
    sheet = book.active
    sheet.cell(2, 1 + COLUMNS.index("date")).value = dt.date(2026, 11, 5)
    now = dt.datetime(2026, 11, 5, 9)
    for row, step in enumerate(steps, start=2):
        for column in ("begun", "ended"):
            sheet.cell(row, 1 + COLUMNS.index(column)).value = f"{now:%H:%M:%S}"
            now += dt.timedelta(seconds=0.75 * step.planned_s * (column == "begun"))
    filled = io.BytesIO()
    book.save(filled)

    observed, unread = times_of(filled.getvalue(), file="o.xlsx", time_zone=ZONE)

    assert unread == ()
    assert len(observed) == len(steps)
    for item, step in zip(observed, steps, strict=True):
        true_s = 0.75 * step.row.seconds.likely
        # The clock is read to whole seconds.
        assert item.record.seconds / item.record.amount == pytest.approx(
            true_s, abs=1.0 / step.amount
        )
        assert item.record.date == dt.date(2026, 11, 5)
    whole = compare(observed, lift.step_times).by_team[0]
    assert whole.actual_s / whole.planned_s == pytest.approx(0.75, abs=0.01)


def test_the_day_of_drawing_is_not_written_as_the_day_of_the_drill(
    demo_plan: Plan,
) -> None:
    drill = draw_drill(demo_plan, seed=1)
    book = load_workbook(io.BytesIO(observer_workbook(drill, Words())))
    column = 1 + COLUMNS.index("date")
    days = [
        book.active.cell(row, column).value for row in range(2, book.active.max_row)
    ]
    assert set(days) == {None}
    text = text_of(drill, demo_plan.lift, "observer.pdf")
    assert joined("write the DAY OF THE DRILL in the first line") in text


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


def test_a_step_that_waits_names_which_of_its_times_shrink() -> None:
    # By hand: likely grows from 60 to 62 s, yet high falls from 180 to 120 s.
    before = StepTime(
        technique="ladder",
        step="leave the carrier",
        per="carrier",
        seconds=Triple(low=30, likely=60, high=180),
        condition="",
    )
    after = replace(before, seconds=Triple(low=40, likely=62, high=120))
    step = LearnedStep(
        before=before,
        after=after,
        in_use=before,
        count=4,
        stopped=0,
        real=0,
        typical_s=(50.0, 60.0, 70.0),
        teams={},
        shorter=True,
        accepted=False,
    )
    learned = Learned(
        steps=(step,),
        step_times=(before,),
        unmatched=(),
        drill_to_real=DRILL_TO_REAL,
    )
    (text,) = shrinking(learned, Words())
    assert text == "ladder / leave the carrier / carrier: high 180 to 120 s"


def test_a_called_out_passenger_is_one_more_on_both_papers(demo_plan: Plan) -> None:
    # The people of the team's sheet are lowered and timed, the imagined one is not.
    drill = draw_drill(demo_plan, seed=3, kind=DrillKind.INCAPACITATED)
    team = next(t for t in drill.teams if any(c.calls_pickoff for c in t.carriers))
    first = team.carriers[0]
    timed = [s for s in team.steps if s.carrier == 1 and s.row.per == "passenger"]
    assert timed
    assert max(step.passenger or 0 for step in timed) == first.people
    on_sheet = sheet_of(drill, demo_plan.lift, team.team)
    assert joined("ONE MORE, UNCONSCIOUS, IS CALLED OUT") in on_sheet
    assert joined("lower nobody for that one, lower those counted") in on_sheet
    papers = drill_files(drill, demo_plan.lift, Words())
    observed = "".join(page.joined for page in read_pages(papers["observer.pdf"]))
    assert joined("one more passenger here, beside the people of the sheet") in observed
