"""What would shorten the evacuation most: levers, ranked over the same days.

Every lever is planned and imagined again with the seed of the plan. Days, teams and
carriers draw the same numbers with and without it, so the difference of each day is
the lever's own work and not chance.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from evac import access, gear, hazards, timing
from evac.assignment import assign
from evac.assignment.changes import Change, families
from evac.facts.change import Lever
from evac.facts.lift import FloatArray, Lift, Triple
from evac.facts.plan import Plan
from evac.facts.work import Assignment, Work
from evac.simulation import simulate

SOONER_S = 600.0
BATCH_SHARE = 0.5
"""Loading in batches with as many empty carriers between: half the people."""
_Z95 = 1.959964


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ready:
    """A changed lift, assigned."""

    change: Change
    lift: Lift
    work: Work
    assignment: Assignment


def find_levers(plan: Plan, *, runs: int = 2_000) -> tuple[Lever, ...]:
    """One more team, a longer kit, ten minutes sooner, a half-empty line: ranked.

    Of the teams and of the kits only the one that helps most at likely times is
    imagined day by day.

    Parameters
    ----------
    plan : Plan
        The plan to improve.
    runs : int
        Imagined days, at least 100.

    Returns
    -------
    tuple of Lever
        Fewest people uncovered first, then the greatest mean gain. Levers that gain
        nothing are shown as such: that is worth knowing before money is spent. None
        where no team has a zone: then nothing can be imagined (see the remedies).

    Notes
    -----
    Heights stay those of the plan: its envelope holds for all load cases, and an
    emptier line lies inside it. The gain is the mean over days of (clearing time of
    the plan - clearing time with the lever); its interval is the mean's 95 % sampling
    interval. It tells how sure the simulation is, not how true the step times are.
    """
    if not plan.assignment.zones:
        return ()
    base_s = _clear_s(plan.lift, plan, plan.work, plan.assignment, runs=runs)
    found = [
        _lever(plan, ready, base_s, runs=runs) for ready in _best_of_each_kind(plan)
    ]
    return tuple(sorted(found, key=lambda item: (item.uncovered_people, -item.gain_s)))


def _best_of_each_kind(plan: Plan) -> Iterator[_Ready]:
    for changes in _kinds(plan):
        tried = [ready for change in changes if (ready := _ready(plan, change))]
        if tried:
            yield min(tried, key=lambda ready: ready.assignment.objectives[:3])


def _kinds(plan: Plan) -> list[list[Change]]:
    """The changes of each lever; the best of each list is shown."""
    single = [
        family[-1]
        for family in families(plan.lift, plan.heights, plan.assignment, unreached=())
    ]
    return [
        [change for change in single if change.kind == "team"],
        [change for change in single if change.kind in ("kit", "kit_thrown")],
        [
            Change(
                kind="all_sooner",
                values={"earlier_s": SOONER_S},
                amount=SOONER_S,
                cost=None,
                apply=_all_sooner,
            )
        ],
        [
            Change(
                kind="batches",
                values={"people_share": BATCH_SHARE},
                amount=BATCH_SHARE,
                cost=None,
                apply=_half_empty,
            )
        ],
    ]


def _all_sooner(lift: Lift) -> Lift:
    """Everybody ready and the line secured ten minutes sooner, as far as there are."""
    secured = lift.organisation.order_to_secured_s
    return replace(
        lift,
        teams=tuple(
            replace(team, ready_s=max(team.ready_s - SOONER_S, 0.0))
            for team in lift.teams
        ),
        organisation=replace(
            lift.organisation,
            order_to_secured_s=_map(secured, lambda value: max(value - SOONER_S, 0.0)),
        ),
    )


def _half_empty(lift: Lift) -> Lift:
    """Half the people on each side, as when batches leave as many carriers empty."""
    return replace(
        lift,
        occupancy=_map(lift.occupancy, lambda value: value * BATCH_SHARE),
        descending_occupancy=_map(
            lift.descending_occupancy, lambda value: value * BATCH_SHARE
        ),
    )


def _map(triple: Triple, change: Callable[[float], float]) -> Triple:
    return Triple(
        low=change(triple.low), likely=change(triple.likely), high=change(triple.high)
    )


def _ready(plan: Plan, change: Change) -> _Ready | None:
    lift = change.apply(plan.lift)
    heights = plan.heights
    options = gear.options(lift, date=plan.date)
    gates = hazards.find_gates(lift, heights.line)
    reaches = gear.find_reaches(lift, options, heights.units, gates=gates)
    routes = (
        plan.routes
        if lift.teams == plan.lift.teams
        else access.find_routes(lift, heights.line)
    )
    work = timing.build_work(lift, heights, options, reaches, gates, routes)
    assignment = assign(work)
    if not assignment.zones:
        return None
    return _Ready(change=change, lift=lift, work=work, assignment=assignment)


def _clear_s(
    lift: Lift, plan: Plan, work: Work, assignment: Assignment, *, runs: int
) -> FloatArray:
    """Order -> last on the ground on each imagined day (runs,)."""
    imagined = simulate(lift, plan.heights, work, assignment, runs=runs, seed=plan.seed)
    return imagined.order_to_clear_s


def _lever(plan: Plan, ready: _Ready, base_s: FloatArray, *, runs: int) -> Lever:
    clear_s = _clear_s(ready.lift, plan, ready.work, ready.assignment, runs=runs)
    gain_s = base_s - clear_s
    mean_s = float(gain_s.mean())
    half_s = _Z95 * float(gain_s.std(ddof=1)) / np.sqrt(runs)
    p50_s, p90_s = (float(value) for value in np.quantile(clear_s, (0.5, 0.9)))
    return Lever(
        key=ready.change.kind,
        values=ready.change.values,
        gain_s=mean_s,
        gain_interval_s=(float(mean_s - half_s), float(mean_s + half_s)),
        p50_s=p50_s,
        p90_s=p90_s,
        p90_gain_s=float(np.quantile(base_s, 0.9)) - p90_s,
        uncovered_people=ready.assignment.objectives[0],
    )
