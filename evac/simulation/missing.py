"""What if one team does not come: its branch of the plan, prepared beforehand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from evac.assignment import assign
from evac.assignment.effort import Effort
from evac.assignment.notice import columns_after_notice
from evac.errors import NoPlanError
from evac.facts.change import Branch, Branches
from evac.facts.heights import Heights
from evac.facts.lift import FloatArray, Lift
from evac.facts.work import Assignment, Simulation, UnitGate, Work, Zone
from evac.quantiles import quantile
from evac.simulation import clearing_seconds

NOTICE_S = 1200.0
"""From the order until a team is missed and the others are told: 20 min (common
practice, no source)."""

WORTH_MOVING_S = 600
"""Ten minutes: below that as few teams as possible leave their zones (common
practice, no source; as in `evac.replan`)."""

EFFORT = 45.0
"""Trials in all (`evac.assignment.effort`): 3 s at most beside a plan."""


def prepare_branches(
    lift: Lift,
    heights: Heights,
    work: Work,
    assignment: Assignment,
    simulation: Simulation,
    *,
    runs: int = 2_000,
    gates: tuple[UnitGate, ...] | None = None,
    effort: float = EFFORT,
) -> Branches:
    """Prepare the branch of every team that has a zone, the most binding ones first.

    Parameters
    ----------
    lift, heights, work, assignment, simulation
        Of one plan.
    runs : int
        Imagined days of each branch, at least 100.
    gates : tuple of UnitGate, optional
        As for `evac.simulation.simulate`.
    effort : float
        How many branches may be solved in all; large programmes count for more.

    Returns
    -------
    Branches
        In the order of the assignment's zones; teams for which the effort did not
        suffice are ``untried``.
    """
    last = simulation.last_team_share
    teams = sorted(
        (zone.team for zone in assignment.zones),
        # A stable sort: among equals the plan's own order.
        key=lambda team: (team not in assignment.binding_teams, -last.get(team, 0.0)),
    )
    left = Effort(left=effort)
    found: dict[str, Branch] = {}
    for team in teams:
        # Every team now has a zone of its own to go on from: none is like another.
        states = (work.people.shape[1] + 1) ** 2 << (len(work.team_ids) - 1)
        if not left.allows(states):
            break
        found[team] = without_team(
            lift,
            heights,
            work,
            assignment,
            team=team,
            runs=runs,
            seed=simulation.seed,
            gates=gates,
            base_s=simulation.order_to_clear_s[:runs],
        )
        left.charge(found[team].assignment)
    names = [zone.team for zone in assignment.zones]
    return Branches(
        runs=runs,
        prepared=tuple(found[team] for team in names if team in found),
        untried=tuple(team for team in names if team not in found),
    )


def without_team(
    lift: Lift,
    heights: Heights,
    work: Work,
    assignment: Assignment,
    *,
    team: str,
    notice_s: float = NOTICE_S,
    runs: int = 10_000,
    seed: int = 1,
    gates: tuple[UnitGate, ...] | None = None,
    base_s: FloatArray | None = None,
) -> Branch:
    """Share out the spans again without one team and imagine the same days.

    Parameters
    ----------
    lift, heights, work, assignment
        Of one plan.
    team : str
        The team that does not come.
    notice_s : float
        From the order until it is noticed and the others are told [s], 0 or more.
    runs, seed, gates
        As for `evac.simulation.simulate`.
    base_s : ndarray, shape (runs,), optional
        Order -> last on the ground of the plan itself on these days; imagined where
        not given.

    Returns
    -------
    Branch
        Teams may go on beyond their own zone's far end without losing anything; a
        team whose zone changes otherwise sets out ``notice_s`` later (see
        `evac.assignment.notice`). As few teams as possible move, among the sharings
        that end at most ten minutes later than the earliest possible, at the step times
        of ``work``: likely ones, or mean ones where the plan was shared out by them.

    Raises
    ------
    NoPlanError
        If there is no such team.
    """
    if team not in work.team_ids:
        message = f"there is no team {team!r}; there are {', '.join(work.team_ids)}"
        raise NoPlanError(message)
    away = work.option_team == work.team_ids.index(team)
    notice_s = max(float(np.ceil(notice_s)), 0.0)
    left = replace(work, valid=work.valid & ~away[:, None, None])
    stay = [zone for zone in assignment.zones if zone.team != team]
    costs, moved = columns_after_notice(left, stay, notice_s=int(notice_s))
    others = assign(left, columns=costs, avoid=moved, slack_s=WORTH_MOVING_S)
    before = {zone.team: zone for zone in stay}
    changed = [zone for zone in others.zones if not _same(zone, before.get(zone.team))]
    on = tuple(z.team for z in changed if _goes_on(z, before.get(z.team), notice_s))
    anew = tuple(zone.team for zone in changed if zone.team not in on)
    if base_s is None:
        base_s = clearing_seconds(
            lift, heights, work, assignment, gates=gates, runs=runs, seed=seed
        )
    clear_s = np.empty(0)
    if others.zones:
        clear_s = clearing_seconds(
            lift,
            heights,
            work,
            others,
            gates=gates,
            notice_s=dict.fromkeys(anew, notice_s),
            runs=runs,
            seed=seed,
        )
    known = clear_s.size > 0
    p90_s = quantile(clear_s, 0.9) if known else np.nan
    return Branch(
        team=team,
        notice_s=notice_s,
        assignment=others,
        going_on=on,
        anew=anew,
        clear_s=clear_s,
        p50_s=quantile(clear_s, 0.5) if known else np.nan,
        p90_s=p90_s,
        p90_later_s=p90_s - quantile(base_s, 0.9),
    )


def _same(zone: Zone, before: Zone | None) -> bool:
    return before is not None and _place(zone) == _place(before)


def _place(zone: Zone) -> tuple[object, ...]:
    return (zone.option, zone.first_span, zone.last_span, zone.sides)


def _goes_on(zone: Zone, before: Zone | None, notice_s: float) -> bool:
    """Whether a zone begins with all of the team's own one."""
    return (
        before is not None
        and before.finish_s >= notice_s
        and zone.option == before.option
        and zone.sides == before.sides
        and zone.start_support == before.start_support
        and zone.first_span <= before.first_span
        and zone.last_span >= before.last_span
    )
