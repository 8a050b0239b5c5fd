"""Which steps an observer times, with what the plan expects of each."""

from __future__ import annotations

from evac.facts.lift import Lift, StepTime, Team, Technique
from evac.facts.rehearsal import DrillCarrier, TimedStep
from evac.timing import next_carrier_seconds
from evac.timing.steps import (
    adds_for_incapacitated,
    is_always,
    is_check,
    is_way,
    occupied_carrier_rows,
    reach_rows,
)

_EVERY_PASSENGER = ("passenger", "metre")
"""What a row is counted by that every passenger of a carrier costs."""
_LEAVE = "leave"


def span_steps(lift: Lift, kind: str, team: str, span_id: str) -> list[TimedStep]:
    """What a team does once in a span, before its first carrier."""
    return [
        _timed(
            row, team=team, carrier=None, passenger=None, span_id=span_id, amount=1.0
        )
        for row in lift.step_times
        if row.technique == kind and row.per == "span" and is_always(row)
    ]


def carrier_steps(
    lift: Lift, technique: Technique, team: Team, carrier: DrillCarrier
) -> list[TimedStep]:
    """What a team does at one carrier: its own steps, its passengers', its metres'.

    An empty carrier is only looked into (rule 16). What every passenger costs has a
    line for each of them, in the order in which it is done: a rescuer prepares, lowers
    and releases one and goes on with the next, so one begin and one end of all of them
    together would tell no step's time. The line of the way to the carrier stands for
    the whole way, as a team covers it and the plan counts it: the table's row is for
    some 20 m, and a time of 60 m learned as one of 20 m would be planned with twice.
    """
    kind = technique.kind
    own = [row for row in lift.step_times if row.technique == kind]
    lines: list[tuple[StepTime, int | None]]
    if carrier.people == 0:
        lines = [(row, None) for row in own if is_check(lift, row)]
    else:
        usual = occupied_carrier_rows(lift, kind)
        once = [row for row in own if row in usual]
        lines = [(row, None) for row in once if not _is_last(row)]
        for passenger in range(1, carrier.people + 1):
            # The first one plays unconscious.
            helpless = carrier.incapacitated and passenger == 1
            lines += [
                (row, passenger)
                for row in own
                if _is_every_passengers(row)
                or (helpless and adds_for_incapacitated(row))
            ]
        lines += [(row, None) for row in once if _is_last(row)]
    ways = _ways(lift, technique, team)
    return [
        _timed(
            row,
            team=team.id,
            carrier=carrier.number,
            passenger=passenger,
            span_id=carrier.span_id,
            amount=_amount(row, carrier, ways=ways),
            way_m=lift.carriers.spacing_m if is_way(row) else 0.0,
        )
        for row, passenger in lines
        if _amount(row, carrier, ways=ways) > 0
    ]


def _is_every_passengers(row: StepTime) -> bool:
    return row.per in _EVERY_PASSENGER and is_always(row)


def _is_last(row: StepTime) -> bool:
    """Whether a step of a carrier comes after its passengers."""
    return row.step.startswith(_LEAVE)


def _amount(row: StepTime, carrier: DrillCarrier, *, ways: float) -> float:
    """What one line of a row stands for."""
    if is_way(row):
        return ways
    return carrier.seat_height_m if row.per == "metre" else 1.0


def _ways(lift: Lift, technique: Technique, team: Team) -> float:
    """How many times the row's own way the way to the next carrier takes."""
    own = reach_rows(lift, technique.kind)
    # A table may say that the last metres take no time: nothing to count by then.
    if own is None or own.likely == 0:
        return 1.0
    return next_carrier_seconds(lift, technique, team).likely / own.likely


def _timed(
    row: StepTime,
    *,
    team: str,
    carrier: int | None,
    passenger: int | None,
    span_id: str,
    amount: float,
    way_m: float = 0.0,
) -> TimedStep:
    return TimedStep(
        team=team,
        carrier=carrier,
        passenger=passenger,
        span_id=span_id,
        row=row,
        amount=amount,
        planned_s=row.seconds.likely * amount,
        way_m=way_m,
    )
