"""What would shorten the evacuation most: levers, ranked over the same days.

Every lever is planned and imagined again with the seed of the plan. Days, teams and
carriers draw the same numbers with and without it, so the difference of each day is
the lever's own work and not chance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from evac import access
from evac.assignment import assign
from evac.assignment.changes import Change, families
from evac.assignment.effort import Effort
from evac.assignment.keep import own_zones_only
from evac.facts.change import Lever, Levers
from evac.facts.lift import FloatArray, Lift, Triple
from evac.facts.plan import Plan
from evac.facts.work import Assignment, Work
from evac.quantiles import quantile
from evac.ready import make_ready, work_at_mean
from evac.simulation import clearing_seconds

SOONER_S = 600.0
BATCH_SHARE = 0.5
"""Loading in batches with as many empty carriers between: half the people."""
_Z95 = 1.959964


EFFORT = 45.0
"""Trials in all (`evac.assignment.effort`): 3 s at most beside a plan."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ready:
    """A changed lift, assigned by the step times that the plan was shared out by."""

    change: Change
    lift: Lift
    work: Work
    assignment: Assignment


def find_levers(
    plan: Plan,
    *,
    runs: int = 2_000,
    effort: float = EFFORT,
    ways_in: access.WaysIn | None = None,
) -> Levers:
    """One more team, a longer kit, ten minutes sooner, a half-empty line: ranked.

    Of the teams and of the kits only the one that helps most is imagined day by day:
    at likely step times, or at mean ones where the plan was shared out by them.

    Parameters
    ----------
    plan : Plan
        The plan to improve.
    runs : int
        Imagined days, at least 100.
    effort : float
        How many trials may be solved in all; large programmes count for more.
    ways_in : WaysIn, optional
        Of the plan's lift, so that its ways need not be made ready again.

    Returns
    -------
    Levers
        Fewest people uncovered first, then the greatest mean gain. Levers that gain
        nothing are shown as such: that is worth knowing before money is spent. None
        where no team has a zone: then nothing can be imagined (see the remedies).
        ``untried`` counts the changes for which the effort did not suffice.

    Notes
    -----
    Heights stay those of the plan: its envelope holds for all load cases, and an
    emptier line lies inside it. The gain is the mean over days of (clearing time of
    the plan - clearing time with the lever); its interval is the mean's 95 % sampling
    interval. It tells how sure the simulation is, not how true the step times are.
    """
    if not plan.assignment.zones:
        return Levers(runs=runs)
    if ways_in is None:
        ways_in = access.open_ways(plan.lift, plan.heights.line)
    ready, untried = _best_of_each_kind(plan, Effort(left=effort), ways_in)
    base_s = _base_s(plan, runs=runs)
    found = [_lever(plan, item, base_s, runs=runs) for item in ready]
    return Levers(
        runs=runs,
        ranked=tuple(
            sorted(found, key=lambda item: (item.uncovered_people, -item.gain_s))
        ),
        untried=untried,
    )


def _best_of_each_kind(
    plan: Plan, effort: Effort, ways_in: access.WaysIn
) -> tuple[list[_Ready], int]:
    """The best of each kind, tried in turns so that none uses up the effort."""
    kinds = _kinds(plan)
    best: dict[int, _Ready] = {}
    untried = 0
    for place in range(max(map(len, kinds))):
        for kind, changes in enumerate(kinds):
            if place >= len(changes):
                continue
            change = changes[place]
            # A team more may double the states.
            if not effort.allows(plan.assignment.states << (change.kind == "team")):
                untried += 1
                continue
            tried = _ready(plan, change, ways_in)
            effort.charge(tried.assignment)
            if not tried.assignment.zones:
                continue
            known = best.get(kind)
            if known is None or _score(tried) < _score(known):
                best[kind] = tried
    return [best[kind] for kind in sorted(best)], untried


def _score(ready: _Ready) -> tuple[int, ...]:
    return ready.assignment.objectives[:3]


def _kinds(plan: Plan) -> list[list[Change]]:
    """The changes of each lever; the best of each list is shown."""
    single = [
        family[-1]
        for family in families(
            plan.lift, plan.heights, plan.work, plan.assignment, unreached=()
        )
    ]
    return [
        [
            Change(
                kind="all_sooner",
                values={
                    "earlier_s": SOONER_S,
                    "least_s": plan.lift.organisation.order_to_secured_s.low,
                },
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
        [change for change in single if change.kind == "team"],
        [change for change in single if change.kind in ("kit", "kit_thrown")],
    ]


def _all_sooner(lift: Lift) -> Lift:
    """Everybody ready and the line secured ten minutes sooner, as far as can be.

    No team leaves before the order, and securing takes at least what the folder calls
    quickest: it is work, and never done at once (rule 2).
    """
    secured = lift.organisation.order_to_secured_s
    return replace(
        lift,
        teams=tuple(
            replace(team, ready_s=max(team.ready_s - SOONER_S, 0.0))
            for team in lift.teams
        ),
        organisation=replace(
            lift.organisation,
            order_to_secured_s=_map(
                secured, lambda value: max(value - SOONER_S, secured.low)
            ),
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


def _ready(plan: Plan, change: Change, ways_in: access.WaysIn) -> _Ready:
    lift = change.apply(plan.lift)
    ready = make_ready(lift, plan.heights, date=plan.due_day, ways_in=ways_in)
    # By likely times a plan by mean ones would look improvable, or harmed, for nothing.
    by_mean = plan.assignment.chosen_by == "mean"
    work = work_at_mean(lift, plan.heights, ready) if by_mean else ready.work
    return _Ready(change=change, lift=lift, work=work, assignment=assign(work))


def _base_s(plan: Plan, *, runs: int) -> FloatArray:
    """The plan's own days: its simulation began with the same ones."""
    if plan.simulation.runs >= runs and plan.simulation.seed == plan.seed:
        return plan.simulation.order_to_clear_s[:runs]
    return clearing_seconds(
        plan.lift, plan.heights, plan.work, plan.assignment, runs=runs, seed=plan.seed
    )


def _lever(plan: Plan, ready: _Ready, base_s: FloatArray, *, runs: int) -> Lever:
    """The better of two plans for the change: shared out anew, or zones as they are.

    The best sharing at one step time each is not always the best over many days; a
    change that helps must not look as if it harmed because everybody moved for it.
    """
    assignment, clear_s = ready.assignment, _clear_s(plan, ready, runs=runs)
    kept = assign(own_zones_only(ready.work, plan.assignment.zones, planned=plan.work))
    if kept.zones and kept.objectives[0] <= assignment.objectives[0]:
        kept_s = _clear_s(plan, replace(ready, assignment=kept), runs=runs)
        if kept_s.mean() < clear_s.mean():
            assignment, clear_s = kept, kept_s
    gain_s = base_s - clear_s
    mean_s = float(gain_s.mean())
    half_s = _Z95 * float(gain_s.std(ddof=1)) / np.sqrt(runs)
    p50_s, p90_s = (quantile(clear_s, share) for share in (0.5, 0.9))
    return Lever(
        key=ready.change.kind,
        values=ready.change.values,
        gain_s=mean_s,
        gain_interval_s=(float(mean_s - half_s), float(mean_s + half_s)),
        p50_s=p50_s,
        p90_s=p90_s,
        p90_gain_s=quantile(base_s, 0.9) - p90_s,
        uncovered_people=assignment.objectives[0],
    )


def _clear_s(plan: Plan, ready: _Ready, *, runs: int) -> FloatArray:
    return clearing_seconds(
        ready.lift,
        plan.heights,
        ready.work,
        ready.assignment,
        runs=runs,
        seed=plan.seed,
    )
