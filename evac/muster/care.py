"""What the ground asks of those who look after evacuees (rule 22)."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from evac.facts.heights import Line
from evac.facts.lift import Lift, Side, Triple
from evac.facts.work import MusterCare, Route, Schedule, Work

LANDING_CLASSES = (
    (10.0, "level"),
    (25.0, "sloping"),
    (35.0, "steep"),
)
"""Greatest ground slope [deg] of each class (common practice, no source)."""


def landing_class(line: Line, *, side: Side, span_index: int) -> str:
    """How steep the landings of a unit are: a words key below ``muster.landing``.

    The slope that nine in ten metres of the span stay below, so that one boulder in
    the survey does not decide; ``unknown`` where the ground is not known.
    """
    slope_deg = landing_slope_deg(line, side=side, span_index=span_index)
    if math.isnan(slope_deg):
        return "unknown"
    return next(
        (name for most, name in LANDING_CLASSES if slope_deg < most), "very_steep"
    )


def landing_slope_deg(line: Line, *, side: Side, span_index: int) -> float:
    """The ground slope [deg] that nine in ten metres of a unit stay below."""
    span, ground = line.spans[span_index], line.ground[side]
    inside = (ground.distance_m >= span.start_m) & (ground.distance_m <= span.end_m)
    slope = ground.slope_deg[inside]
    if slope.size == 0 or np.isnan(slope).any():
        return math.nan
    return float(np.quantile(slope, 0.9))


def find_care(
    lift: Lift, work: Work, ways: Mapping[int, Route], points: Mapping[int, str]
) -> tuple[MusterCare, ...]:
    """What each muster point has to take in, in the folder's order.

    Parameters
    ----------
    lift : Lift
    work : Work
        Its ``people`` are the most that each unit is planned to hold.
    ways, points
        From :func:`evac.muster.find_ways`.
    """
    by_span = work.people.sum(axis=0)
    cares = []
    for point in lift.muster_points:
        spans = tuple(sorted(span for span, name in points.items() if name == point.id))
        people = int(sum(by_span[span] for span in spans))
        overflow = max(people - point.shelter_places, 0)
        rounds: int | None = 0
        if overflow:
            seats = point.vehicle_seats
            rounds = math.ceil(overflow / seats) if seats > 0 else None
        cares.append(
            MusterCare(
                point_id=point.id,
                span_indices=spans,
                people=people,
                shelter_places=point.shelter_places,
                receivers=point.receivers,
                overflow=overflow,
                rounds=rounds,
                rounds_s=(rounds or 0) * point.vehicle_round_s,
                longest_walk_s=max((ways[span].seconds for span in spans), default=0.0),
            )
        )
    return tuple(cares)


WALK_LOW, WALK_HIGH = 0.8, 1.5
"""Quick and slow beside the walking rule's time (common practice, no source)."""


def safe_seconds(
    lift: Lift,
    work: Work,
    ways: Mapping[int, Route],
    points: Mapping[int, str],
    schedule: Schedule,
) -> Triple:
    """From the last passenger on the ground until all are at a safe place.

    The folder's own time, or where the layers tell of more: the longest walk to a
    muster point, and where its shelter is too small the last vehicle round, with what
    of the rounds cannot be driven while lowering goes on. Infinite where more people
    come to a muster point than it shelters and nothing drives them on: nobody knows
    then when all are safe.

    Parameters
    ----------
    lift : Lift
    work : Work
    ways, points
        From :func:`evac.muster.find_ways`.
    schedule : Schedule
        How long lowering goes on, at likely times.
    """
    stated = lift.organisation.ground_to_safe_s
    longest = Triple(low=0.0, likely=0.0, high=0.0)
    for care in find_care(lift, work, ways, points):
        if not care.people:
            continue
        if care.rounds is None:
            return Triple(low=math.inf, likely=math.inf, high=math.inf)
        one_s = care.rounds_s / care.rounds if care.rounds else 0.0
        driven_s = max(one_s, care.rounds_s - _under_way_s(care, schedule))
        walk_s = care.longest_walk_s
        longest = Triple(
            low=max(longest.low, WALK_LOW * walk_s + driven_s),
            likely=max(longest.likely, walk_s + driven_s),
            high=max(longest.high, WALK_HIGH * walk_s + driven_s),
        )
    return Triple(
        low=max(stated.low, longest.low),
        likely=max(stated.likely, longest.likely),
        high=max(stated.high, longest.high),
    )


def _under_way_s(care: MusterCare, schedule: Schedule) -> float:
    """How long vehicles can drive while lowering still goes on.

    Nobody is at the point before the first of its spans is lowered and has walked.
    """
    first_s = min(
        (
            rescue.start_s
            for rescue in schedule.rescues
            if rescue.span_index in care.span_indices
        ),
        default=schedule.clear_s,
    )
    return max(schedule.clear_s - first_s - care.longest_walk_s, 0.0)
