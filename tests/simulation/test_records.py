"""The method that sets real evacuations beside the step times; not its outcome."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

import pytest

from evac.facts.lift import StepTime, Triple
from evac.reference import step_times, table_text
from evac.simulation.records import (
    Ranges,
    Record,
    Verdict,
    judge_records,
    published_records,
)
from evac.words import Words

DRAWS = 60

RECORD = Record(
    id="made",
    ropeway="chairlift 4-seat",
    people=80,
    carriers=None,
    rescuers=None,
    teams=5,
    stop_to_last_s=None,
    lowering_s=7200.0,
    weather="",
    source="invented",
)


def judge(
    record: Record, rows: tuple[StepTime, ...] | None = None, **ranges: object
) -> Verdict:
    (found,) = judge_records(
        [record],
        step_times() if rows is None else rows,
        ranges=replace(Ranges(), **ranges),
        draws=DRAWS,
    )
    return found


def interval(record: Record, **ranges: object) -> tuple[float, float]:
    found = judge(record, **ranges).interval_s
    assert found is not None
    return found


def test_the_packaged_records_are_the_published_table(shared: Path) -> None:
    there = shared / "reference" / "evacuation_records.csv"
    assert table_text("evacuation_records.csv") == there.read_text("utf-8")


def test_every_record_is_judged_or_says_why_not() -> None:
    records = published_records()
    verdicts = judge_records(records, step_times(), draws=20)
    assert [item.record for item in verdicts] == list(records)
    for item in verdicts:
        assert Words().has(f"simulation.record.{item.reason}")
        assert (item.interval_s is None) == (item.inside is None)
        if item.interval_s is not None and item.stated_s is not None:
            low, high = item.interval_s
            assert item.inside == (low <= item.stated_s <= high)
    assert {v.record.id for v in verdicts if v.inside is None} == {"R13", "R14"}


def test_what_a_record_took_never_enters_its_interval() -> None:
    # Never tuned to a record: another stated time leaves the interval where it is.
    other = replace(RECORD, lowering_s=60.0)
    assert interval(RECORD) == interval(other)
    assert judge(other).reason == "shorter"
    assert judge(replace(RECORD, lowering_s=9e5)).reason == "longer"


def test_one_answer_for_a_seed_whichever_records_stand_beside() -> None:
    twice = judge_records([RECORD, RECORD], step_times(), draws=DRAWS)
    assert twice[0].interval_s == twice[1].interval_s == interval(RECORD)


def test_more_people_take_longer_and_more_teams_less() -> None:
    usual = interval(RECORD)
    assert interval(replace(RECORD, people=160))[0] > usual[0]
    assert interval(replace(RECORD, teams=15))[1] < usual[1]
    unknown = interval(replace(RECORD, teams=None))
    assert unknown[1] / unknown[0] > usual[1] / usual[0]


def test_a_time_from_the_stop_adds_the_time_before_lowering() -> None:
    from_stop = replace(RECORD, lowering_s=None, stop_to_last_s=7200.0)
    found = judge(from_stop, before_lowering_s=(1e6, 1e6))
    assert found.what == "stop to last"
    assert found.interval_s == pytest.approx([1e6 + end for end in interval(RECORD)])


def test_a_carrier_without_spread_is_worked_out_by_hand() -> None:
    # One team, one chair of 4, no spread: set-up + carrier + 4 passengers, by hand
    # from steps of 10 s each at a height of 10 m; 1 s a metre down and 1 s back.
    rows = tuple(
        replace(
            row,
            seconds=Triple(low=1.0, likely=1.0, high=1.0)
            if row.per == "metre"
            else Triple(low=10.0, likely=10.0, high=10.0),
        )
        for row in step_times()
    )
    one = replace(RECORD, people=4, teams=1)
    found = judge(
        one,
        rows,
        occupancy=(1.0, 1.0),
        empty_share=(0.0, 0.0),
        chair_height_m=(10.0, 10.0),
    )
    assert found.middle_s is not None
    # Loop 10 + 30 + 4 x (10 + 10 + 10 + 10) = 200 s; on the rope the gear takes 10 s,
    # whatever the height, which is the same. The day's and the team's factor remain.
    assert 200 * 0.75 < found.middle_s < 200 * 1.35


def test_without_a_stated_time_nothing_is_claimed() -> None:
    found = judge(replace(RECORD, lowering_s=None))
    assert (found.reason, found.interval_s, found.inside) == ("no_time", None, None)


def test_every_range_is_low_to_high() -> None:
    for item in fields(Ranges):
        low, high = getattr(Ranges(), item.name)
        assert low <= high
