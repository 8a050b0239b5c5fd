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


def span_steps(lift: Lift, kind: str, team: str, span_id: str) -> list[TimedStep]:
    """What a team does once in a span, before its first carrier."""
    return [
        _timed(row, team=team, carrier=None, span_id=span_id, amount=1.0)
        for row in lift.step_times
        if row.technique == kind and row.per == "span" and is_always(row)
    ]


def carrier_steps(
    lift: Lift, technique: Technique, team: Team, carrier: DrillCarrier
) -> list[TimedStep]:
    """What a team does at one carrier: its own steps, its passengers', its metres'.

    An empty carrier is only looked into (rule 16). The line of the way to the carrier
    stands for the whole way, as a team covers it and the plan counts it: the table's
    row is for some 20 m, and a time of 60 m learned as one of 20 m would be planned
    with twice.
    """
    kind = technique.kind
    own = [row for row in lift.step_times if row.technique == kind]
    if carrier.people == 0:
        chosen = [(row, 1.0) for row in own if is_check(lift, row)]
    else:
        amounts = {
            "carrier": 1.0,
            "passenger": float(carrier.people),
            "metre": carrier.people * carrier.seat_height_m,
        }
        usual = [
            *occupied_carrier_rows(lift, kind),
            *(row for row in own if row.per in _EVERY_PASSENGER and is_always(row)),
        ]
        chosen = [(row, amounts[row.per]) for row in own if row in usual]
        if carrier.incapacitated:
            chosen += [(row, 1.0) for row in own if adds_for_incapacitated(row)]
    way = _ways(lift, technique, team)
    return [
        _timed(
            row,
            team=team.id,
            carrier=carrier.number,
            span_id=carrier.span_id,
            amount=amount * (way if is_way(row) else 1.0),
            way_m=lift.carriers.spacing_m if is_way(row) else 0.0,
        )
        for row, amount in chosen
        if amount > 0
    ]


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
    span_id: str,
    amount: float,
    way_m: float = 0.0,
) -> TimedStep:
    return TimedStep(
        team=team,
        carrier=carrier,
        span_id=span_id,
        row=row,
        amount=amount,
        planned_s=row.seconds.likely * amount,
        way_m=way_m,
    )
