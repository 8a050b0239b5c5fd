"""What the ground asks of those who look after evacuees (rule 22)."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from evac.facts.heights import Line
from evac.facts.lift import Lift, Side, Triple
from evac.facts.work import MusterCare, Route, Schedule, Work
from evac.muster.ways import WALK

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
        Its ``people_at`` are those that each unit holds at every stop: of a point
        counts the stop at which most come to it.
    ways, points
        From :func:`evac.muster.find_ways`.
    """
    by_span = work.people_at.sum(axis=0)
    cares = []
    for point in lift.muster_points:
        spans = tuple(sorted(span for span, name in points.items() if name == point.id))
        people = int(by_span[list(spans)].sum(axis=0).max(initial=0))
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
                seats=point.vehicle_seats,
                receivers=point.receivers,
                overflow=overflow,
                rounds=rounds,
                rounds_s=(rounds or 0) * point.vehicle_round_s,
                longest_walk_s=max((ways[span].seconds for span in spans), default=0.0),
            )
        )
    return tuple(cares)


def cut_off(work: Work, points: Mapping[int, str]) -> tuple[int, ...]:
    """Spans with people that have no way to any muster point."""
    people = work.people_at.sum(axis=0).max(axis=1, initial=0)
    return tuple(
        span
        for span, count in enumerate(people.tolist())
        if count > 0 and span not in points
    )


def safe_seconds(
    lift: Lift,
    work: Work,
    ways: Mapping[int, Route],
    points: Mapping[int, str],
    schedule: Schedule,
) -> Triple:
    """From the last passenger on the ground until all are at a safe place.

    The folder's own time, or where the layers tell of more: the longest walk to a
    muster point, the release of avalanche ground on the way, and where a shelter is
    too small the last vehicle round. Infinite where people have no way to any muster
    point, or more come to one than it shelters and nothing drives them on: nobody
    knows then when all are safe.

    Parameters
    ----------
    lift : Lift
    work : Work
    ways, points
        From :func:`evac.muster.find_ways`.
    schedule : Schedule
        When each carrier is down, at likely times; the last of every span is taken
        to come down when the whole line is clear.

    Notes
    -----
    Vehicles: the shelter fills first; of those who come after, a vehicle takes as
    many as it seats, leaves when it is full or when everybody is there, and the last
    leaves no sooner than that. All seats of a point go together, and are free at the
    first arrival (common practice, no source).
    """
    stated = lift.organisation.ground_to_safe_s
    never = Triple(low=math.inf, likely=math.inf, high=math.inf)
    if not lift.muster_points:
        return stated
    if cut_off(work, points):
        return never
    found = [stated]
    for care in find_care(lift, work, ways, points):
        if not care.people:
            continue
        if care.rounds is None:
            return never
        found.append(_after_clear_s(care, ways, schedule))
    return Triple(
        low=max(item.low for item in found),
        likely=max(item.likely for item in found),
        high=max(item.high for item in found),
    )


def _after_clear_s(
    care: MusterCare, ways: Mapping[int, Route], schedule: Schedule
) -> Triple:
    """From the last on the ground until all of one muster point are safe."""

    def safe_s(pace: float, opens_s: Callable[[Triple], float]) -> float:
        def there_s(span: int, down_s: float) -> float:
            way = ways[span]
            walked_s = down_s + pace * way.seconds
            if way.not_before_s is None:
                return walked_s
            return max(walked_s, opens_s(way.not_before_s))

        everybody_s = max(there_s(span, schedule.clear_s) for span in care.span_indices)
        arrivals = [
            (there_s(rescue.span_index, rescue.finish_s), rescue.people)
            for rescue in schedule.rescues
            if rescue.span_index in care.span_indices and rescue.people
        ]
        return _driven_s(care, arrivals, everybody_s=everybody_s) - schedule.clear_s

    return Triple(
        low=safe_s(WALK.low, lambda opens: opens.low),
        likely=safe_s(WALK.likely, lambda opens: opens.likely),
        high=safe_s(WALK.high, lambda opens: opens.high),
    )


def _driven_s(
    care: MusterCare, arrivals: Sequence[tuple[float, int]], *, everybody_s: float
) -> float:
    """When all of a point are safe, from the order: the last there, or driven on.

    ``arrivals``: when people of one stop come, and how many. They stand for the most
    that the point takes in, so their number is scaled up to that.
    """
    if not care.rounds:
        return everybody_s
    ordered = sorted(arrivals)
    scale = care.people / max(sum(people for _, people in ordered), 1)
    came = np.cumsum([people for _, people in ordered], dtype=float) * scale
    round_s = care.rounds_s / care.rounds
    free_s = 0.0
    for number in range(1, care.rounds):
        enough = care.shelter_places + number * care.seats
        index = int(np.searchsorted(came, enough - 1e-9))
        full_s = ordered[index][0] if index < len(ordered) else everybody_s
        free_s = max(free_s, full_s) + round_s
    return max(free_s, everybody_s) + round_s
