"""Learned step times: what a drill may and may not change."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from builders import LOOP, make_step_times

from evac.errors import InputError
from evac.facts.drill import DrillRecord
from evac.facts.lift import Triple
from evac.learning import Learned, LearnedStep, doubts, learn, step_key
from evac.words import Words

ROWS = make_step_times()
READY = f"{LOOP} / make ready / carrier"


def record(seconds: float, **changes: Any) -> DrillRecord:
    usual = DrillRecord(
        date=dt.date(2026, 11, 3),
        team="Team 1",
        technique=LOOP,
        step="make ready",
        per="carrier",
        seconds=seconds,
        where="drills.csv, row 2",
    )
    return replace(usual, **changes)


def many(seconds: float, count: int = 12, **changes: Any) -> list[DrillRecord]:
    """Records of four teams on three days."""
    return [
        record(
            seconds * (0.9 + 0.2 * (number % 3) / 2),
            team=f"Team {number % 4}",
            date=dt.date(2026, 11, 1 + number % 3),
            **changes,
        )
        for number in range(count)
    ]


def only(learned: Learned) -> LearnedStep:
    (step,) = learned.steps
    return step


def row(learned: Learned, key: str) -> Any:
    return next(step for step in learned.step_times if step_key(step) == key)


def test_rows_without_records_stay_as_they_are() -> None:
    learned = learn(ROWS, many(300.0))
    for before, after in zip(ROWS, learned.step_times, strict=True):
        assert (after == before) == (step_key(before) != READY)
    assert learn(ROWS, []).step_times == ROWS


def test_a_shorter_time_is_used_only_when_accepted_by_name() -> None:
    quick = many(20.0, real=True)
    refused, taken = learn(ROWS, quick), learn(ROWS, quick, accepted=[READY])
    assert only(refused).shorter
    assert row(refused, READY).seconds.likely == 90.0
    assert row(taken, READY).seconds.likely < 60.0
    (finding,) = doubts(refused)
    assert Words().finding(finding)[0].endswith("uses the longer time of each two.")
    assert doubts(taken)[0].key == "learning.shorter_accepted"


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        # Seconds that somebody decides by are not rounded to the same word.
        ((1.25, 1.5, 2.5), (1.2, 1.41, 2.4), "likely 1.50 s to 1.41 s"),
        ((40.0, 100.0, 270.0), (35.0, 74.4, 200.0), "likely 100 s to 74 s"),
        # A mean that shrinks although the likely time grows is told by what shrinks.
        ((30.0, 60.0, 180.0), (40.0, 62.0, 120.0), "high 180 s to 120 s"),
    ],
)
def test_whoever_decides_reads_the_seconds_themselves(
    before: tuple[float, ...], after: tuple[float, ...], told: str
) -> None:
    learned = learn(ROWS, many(20.0))
    step = only(learned)
    old, new = (
        replace(
            step.before,
            seconds=Triple(**dict(zip(("low", "likely", "high"), three, strict=True))),
        )
        for three in (before, after)
    )
    (finding,) = doubts(
        replace(learned, steps=(replace(step, before=old, after=new, shorter=True),))
    )

    text, remedy = Words().finding(finding)
    assert told in text
    assert "[learning] accepted" in remedy


def test_no_part_of_a_time_gets_shorter_without_consent() -> None:
    # Times that differ widely raise the mean and the P90 and lower the likely value,
    # from which the sheets are written (rule 25).
    wide = [
        record(90.0 * share, real=True, team=f"Team {number}")
        for number, share in enumerate((0.35, 0.45, 1.6, 2.4))
    ]
    refused, taken = learn(ROWS, wide), learn(ROWS, wide, accepted=[READY])
    before = only(refused).before.seconds
    assert row(taken, READY).seconds.likely < before.likely
    assert row(taken, READY).seconds.high > before.high
    assert only(refused).shorter
    waits = row(refused, READY).seconds
    assert waits.likely == before.likely
    assert waits.low >= before.low
    assert waits.high == row(taken, READY).seconds.high
    assert [finding.key for finding in doubts(refused)] == ["learning.shorter"]


def test_a_longer_time_needs_nobodys_consent() -> None:
    learned = learn(ROWS, many(300.0))
    assert not only(learned).shorter
    assert row(learned, READY).seconds.likely > 90.0
    assert doubts(learned) == ()


def test_drills_count_for_less_than_real_evacuations() -> None:
    # Rule 25: 1.1 / 1.4 / 2.0 from a drill to the real thing.
    drill = only(learn(ROWS, many(90.0)))
    real = only(learn(ROWS, many(90.0, real=True)))
    assert drill.typical_s[1] > 1.2 * real.typical_s[1]
    width = [item.typical_s[2] / item.typical_s[0] for item in (drill, real)]
    assert width[0] > width[1]


def test_however_many_drills_the_factor_to_real_stays_uncertain() -> None:
    step = only(learn(ROWS, [item for _ in range(20) for item in many(90.0)]))
    # P90 / P10 of the factor alone is 2.0 / 1.1.
    assert step.typical_s[2] / step.typical_s[0] > 2.0 / 1.1


def test_a_stopped_record_says_longer_than_a_finished_one() -> None:
    finished = only(learn(ROWS, many(120.0, real=True)))
    stopped = only(
        learn(ROWS, [replace(item, stopped=True) for item in many(120.0, real=True)])
    )
    assert stopped.typical_s[1] > finished.typical_s[1]
    assert stopped.stopped == 12


def test_teams_with_few_records_stay_near_the_others() -> None:
    slow = [record(150.0, team="slow", real=True) for _ in range(8)]
    once = [record(150.0, team="once", real=True)]
    rest = [record(80.0, team=f"T{n % 3}", real=True) for n in range(18)]
    teams = only(learn(ROWS, [*slow, *once, *rest])).teams
    assert 1.0 < teams["once"][1] < teams["slow"][1]
    assert all(low < middle < high for low, middle, high in teams.values())


def test_fatigue_and_amounts_are_taken_out() -> None:
    # Three hours at work: 20 % slower by rule 25. Ten passengers: a tenth each.
    fresh = only(learn(ROWS, [record(100.0)]))
    tired = only(learn(ROWS, [record(120.0, worked_s=3 * 3600.0)]))
    ten = only(learn(ROWS, [record(1000.0, amount=10.0)]))
    assert tired.typical_s == pytest.approx(fresh.typical_s)
    assert ten.typical_s == pytest.approx(fresh.typical_s)


def test_records_in_any_order_and_named_teams_give_the_same_answer() -> None:
    records = [*many(100.0), *many(140.0, real=True)]
    assert learn(ROWS, records) == learn(ROWS, records[::-1])


def test_a_record_that_fits_no_row_or_two_is_named() -> None:
    odd = record(60.0, step="sing", where="drills.csv, row 9")
    twice = record(60.0, step="walk round a support", per="support")
    learned = learn(ROWS, [odd, twice])
    assert learned.unmatched == (odd, twice)
    assert learned.step_times == ROWS
    text, remedy = Words().finding(doubts(learned)[0])
    assert text.startswith(
        "drills.csv, row 9: no single row of the step times is 'sing'"
    )
    assert "the condition where two rows have the same step" in remedy
    told = replace(twice, condition="deep or steep")
    assert learn(ROWS, [told]).unmatched == ()


@pytest.mark.parametrize(
    ("column", "value"), [("seconds", 0.0), ("seconds", float("nan")), ("amount", -1.0)]
)
def test_a_time_or_amount_that_is_not_above_0_is_refused(
    column: str, value: float
) -> None:
    wrong = replace(record(60.0), **{column: value})
    with pytest.raises(InputError, match=rf"row 2, column {column}: found .*above 0"):
        learn(ROWS, [wrong])
