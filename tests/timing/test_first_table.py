"""Step times that are missing or far too short are told beside the first table's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from builders import make_lift, make_step_times

from evac.facts.finding import Finding, Severity
from evac.facts.lift import Lift, StepTime, Triple
from evac.timing.first_table import step_doubts
from evac.timing.steps import is_taken
from evac.words import Words

LOOP = "loop over the haul rope belayed from the ground"
ROPE = "rescuer on the haul rope with a descender"


def lift_with(change: Callable[[StepTime], StepTime | None]) -> Lift:
    changed = (change(row) for row in make_step_times())
    return replace(make_lift(), step_times=tuple(row for row in changed if row))


def told(lift: Lift, kind: str = LOOP) -> list[tuple[str, str, object]]:
    found: list[Finding] = step_doubts(lift, [kind])
    assert all(item.severity is Severity.WARN for item in found)
    assert all(Words().finding(item)[0] for item in found)
    return [(item.key, item.where, item.values["steps"]) for item in found]


def times(seconds: Triple, factor: float) -> Triple:
    return Triple(
        low=seconds.low * factor,
        likely=seconds.likely * factor,
        high=seconds.high * factor,
    )


def test_the_first_table_itself_is_not_doubted() -> None:
    assert (
        step_doubts(make_lift(), [LOOP, ROPE, "ladder", "on-board descent kit"]) == []
    )


def test_passenger_rows_in_minutes_are_told() -> None:
    def in_minutes(row: StepTime) -> StepTime:
        if row.per != "passenger":
            return row
        return replace(row, seconds=times(row.seconds, 1 / 60))

    assert told(lift_with(in_minutes)) == [
        (
            "timing.steps_short",
            LOOP,
            "prepare a passenger 1.5 s (first table: 90 s); "
            "add for a child or a nervous or bulky passenger 1 s (first table: 60 s); "
            "release on the ground 0.417 s (first table: 25 s); "
            "add for steep ground 0.667 s (first table: 40 s)",
        )
    ]


def test_rows_of_other_names_are_held_against_the_sum() -> None:
    def renamed(row: StepTime) -> StepTime | None:
        if row.technique != LOOP or row.per != "carrier":
            return row
        if row.step == "make ready":
            return replace(row, step="rig", seconds=times(row.seconds, 0.1))
        return None

    assert (
        "timing.steps_short",
        LOOP,
        "all steps per carrier together 9 s (first table: 135 s)",
    ) in told(lift_with(renamed))


def test_a_third_is_believed_and_less_is_not() -> None:
    def at(share: float) -> Lift:
        return lift_with(lambda row: replace(row, seconds=times(row.seconds, share)))

    assert told(at(0.34)) == []
    assert [key for key, *_ in told(at(0.33))] == ["timing.steps_short"] * 2


def test_a_step_that_is_left_out_is_told() -> None:
    lift = lift_with(lambda row: None if row.step == "leave the carrier" else row)

    assert told(lift) == [
        ("timing.steps_left_out", LOOP, "leave the carrier (first table: 45 s)")
    ]


def test_a_step_that_another_one_contains_is_not_told() -> None:
    def merged(row: StepTime) -> StepTime | None:
        if row.step == "leave the carrier":
            return None
        if row.step == "make ready":
            return replace(row, seconds=times(row.seconds, 2))
        return row

    assert told(lift_with(merged)) == []


def test_what_a_passenger_who_cannot_help_adds_must_stand_somewhere() -> None:
    step = "add for an incapacitated passenger"
    lift = lift_with(lambda row: None if row.step == step else row)

    assert told(lift, ROPE) == [
        ("timing.steps_left_out", ROPE, f"{step} (first table: 600 s)")
    ]


def test_moves_on_the_ground_are_compared_too() -> None:
    step = "move 20 m on foot packed"

    def quick(row: StepTime) -> StepTime:
        return (
            replace(row, seconds=Triple(low=1.0, likely=2.0, high=3.0))
            if row.step == step
            else row
        )

    assert told(lift_with(quick)) == [
        ("timing.steps_short", "any on the ground", f"{step} 2 s (first table: 45 s)")
    ]


def own_row(step: str, *, per: str, technique: str = LOOP) -> Lift:
    """The lift with one row more."""
    row = StepTime(
        technique=technique,
        step=step,
        per=per,
        seconds=Triple(low=20.0, likely=60.0, high=120.0),
        condition="",
    )
    lift = make_lift()
    return replace(lift, step_times=(*lift.step_times, row))


@pytest.mark.parametrize(
    ("step", "per", "technique"),
    [
        ("check the harness", "passenger", LOOP),
        ("check in by radio", "carrier", LOOP),
        ("add for the radio call", "span", LOOP),
        ("add for ski boots", "passenger", LOOP),
        ("add for a line launcher", "carrier", LOOP),
        ("go round the support", "support", LOOP),
        ("cross over to the other side", "change", LOOP),
        ("release on the ground", "passenger", "any on the ground"),
    ],
)
def test_a_row_that_nothing_looks_for_is_told(
    step: str, per: str, technique: str
) -> None:
    lift = own_row(step, per=per, technique=technique)

    assert told(lift) == [("timing.steps_not_counted", technique, step)]


def test_a_row_of_another_name_is_added_and_not_told() -> None:
    assert told(own_row("inspect the harness", per="passenger")) == []


def test_every_row_of_the_first_table_is_looked_for() -> None:
    assert [row.step for row in make_step_times() if not is_taken(row)] == []
