"""The three counts at the table: what is open is said until nothing is."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_what_if import find

from evac import desk
from evac.carriers import both_sides, people_on_line
from evac.clearing import make_schedule
from evac.desk import workbench
from evac.desk.workbench import Workbench
from evac.facts.plan import Plan
from evac.words import Words


@pytest.fixture
def bench(demo: Path, demo_plan: Plan, monkeypatch: pytest.MonkeyPatch) -> Workbench:
    monkeypatch.setattr(workbench, "make_plan", lambda _lift, **_: demo_plan)
    return Workbench((demo,), words=Words())


def test_the_line_is_open_until_every_count_agrees(
    bench: Workbench, demo_plan: Plan
) -> None:
    # Three counts (rule 23): common practice, no source.
    view = desk.three_counts(bench)
    tallied, text = view.children[3], view.children[-1]
    expected = both_sides(people_on_line(demo_plan.lift, demo_plan.heights.stops))
    assert f"Expected {expected.low} to {expected.high} people" in text.value
    assert "is NOT clear" in text.value
    teams = {zone.team for zone in demo_plan.assignment.zones}
    assert {row.description for row in tallied.children} == teams

    for row in tallied.children[1:]:
        row.value = row.max
    left = tallied.children[0]
    left.value = left.max - 2
    find(view, "Rescuers not yet counted back").value = 0
    find(view, "People lowered, all tallies together").value = expected.likely
    find(view, "People received at the muster points").value = expected.likely
    assert f"without a tally: {left.description} 2." in text.value
    assert "is NOT clear" in text.value

    left.value = left.max
    assert "The line is clear" in text.value
    find(view, "People received at the muster points").value -= 1
    assert "1 person is down and not received" in text.value
    assert "is NOT clear" in text.value
    find(view, "People received at the muster points").value += 2
    assert "1 more received than lowered" in text.value
    assert "is NOT clear" in text.value


def test_nothing_open_but_too_few_lowered_is_counted_again(bench: Workbench) -> None:
    view = desk.three_counts(bench)
    for row in view.children[3].children:
        row.value = row.max
    find(view, "Rescuers not yet counted back").value = 0
    assert "count again" in view.children[-1].value
    assert "The line is clear" not in view.children[-1].value


def test_every_carrier_of_the_stop_is_somebodys_to_log(
    bench: Workbench, demo_plan: Plan
) -> None:
    view = desk.three_counts(bench)
    stop = find(view, "Stop position")
    stop.value = 3
    schedule = make_schedule(
        demo_plan.lift,
        demo_plan.heights,
        demo_plan.work,
        demo_plan.assignment,
        stop_index=3,
        gates=demo_plan.gates,
    )
    standing = sum(
        int((rows[3] >= 0).sum())
        for rows in demo_plan.heights.stops.span_index.values()
    )
    assert len(schedule.rescues) == standing
    assert sum(row.max for row in view.children[3].children) == standing


def test_a_count_at_the_gate_takes_the_place_of_the_occupancy(
    bench: Workbench,
) -> None:
    view = desk.three_counts(bench)
    text = view.children[-1]
    before = text.value
    find(view, "Counted at the gate").value = 40
    assert text.value != before
