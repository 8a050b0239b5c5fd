"""Who clears what: of two sharings the one that ends sooner in hard weather.

Likely times of skewed steps come out too short in a sum. A sharing that is best at
likely times may hand most to the team whose times spread widest, and so buy a minute
on the usual day with an hour on a hard one. So the spans are shared out twice, by
likely and by mean step times, each exactly, and both are imagined over the same days.
"""

from __future__ import annotations

import datetime as dt

from evac import access
from evac.assignment import assign
from evac.errors import NoPlanError
from evac.facts.heights import Heights
from evac.facts.lift import Lift
from evac.facts.work import Assignment, Route, UnitGate, Work
from evac.limits import PLANNED_SHARE
from evac.quantiles import quantile
from evac.ready import OnStep, Settled, gravest, settle, work_at_mean
from evac.simulation import clearing_seconds

RUNS = 2_000
LEAST_GAIN_SHARE = 0.02
LEAST_GAIN_S = 120.0
"""The second sharing is taken only where its P90 is sooner by more than both."""


def share_out(
    lift: Lift,
    heights: Heights,
    *,
    date: dt.date,
    seed: int,
    report: OnStep | None = None,
    ways_in: access.WaysIn | None = None,
    routes: tuple[Route, ...] | None = None,
) -> Settled:
    """Heights, order of work and zones that agree, the better of two sharings.

    Parameters
    ----------
    lift, heights, date, report, ways_in, routes
        As for `evac.ready.settle`.
    seed : int
        Of the imagined days that both are compared on.

    Returns
    -------
    Settled
        By likely step times, unless the sharing by mean ones leaves no more people
        unreached, wears out no more descenders and its P90 of the clearing time is
        clearly sooner.
    """
    usual = settle(
        lift, heights, date=date, report=report, ways_in=ways_in, routes=routes
    )
    if not usual.schedule.rescues:
        return usual
    second = assign(work_at_mean(lift, usual.heights, usual.ready))
    if _who_does_what(second) == _who_does_what(usual.assignment):
        return usual
    try:
        steady = settle(
            lift,
            heights,
            date=date,
            ways_in=ways_in,
            routes=usual.ready.routes,
            ready=usual.ready if usual.heights is heights else None,
            at_mean=True,
        )
    except NoPlanError:
        # Its order of work does not come to rest with the heights; the first does.
        return usual
    lost = zip(_gravest(lift, steady), _gravest(lift, usual), strict=True)
    if any(by_mean > by_likely for by_mean, by_likely in lost):
        return usual
    usual_s, steady_s = (_p90_s(lift, item, seed=seed) for item in (usual, steady))
    least_s = max(LEAST_GAIN_S, LEAST_GAIN_SHARE * usual_s)
    return steady if steady_s < usual_s - least_s else usual


def _who_does_what(assignment: Assignment) -> set[tuple[object, ...]]:
    return {
        (zone.team, zone.option.index, zone.first_span, zone.last_span, zone.sides)
        for zone in assignment.zones
    }


def _gravest(lift: Lift, settled: Settled) -> tuple[int, int]:
    return gravest(lift, settled.heights, settled.assignment)


def clear_p90_s(
    lift: Lift,
    heights: Heights,
    work: Work,
    assignment: Assignment,
    *,
    seed: int,
    gates: tuple[UnitGate, ...],
    now_s: float = 0.0,
) -> float:
    """P90 of order -> last on the ground, over as many days as sharings are judged on.

    Parameters
    ----------
    lift, heights, work, assignment, gates
        As for `evac.simulation.clearing_seconds`.
    seed : int
        Of the imagined days.
    now_s : float
        From the order until now, where the evacuation has begun.

    Returns
    -------
    float
        Seconds.
    """
    seconds = clearing_seconds(
        lift,
        heights,
        work,
        assignment,
        runs=RUNS,
        seed=seed,
        gates=gates,
        now_s=now_s,
    )
    return quantile(seconds, PLANNED_SHARE)


def _p90_s(lift: Lift, settled: Settled, *, seed: int) -> float:
    ready = settled.ready
    return clear_p90_s(
        lift,
        settled.heights,
        ready.work,
        settled.assignment,
        seed=seed,
        gates=ready.gates,
    )
