"""What if one team does not come: its branch of the plan, prepared beforehand."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from evac.assignment import assign
from evac.errors import NoPlanError
from evac.facts.heights import Heights
from evac.facts.lift import Lift
from evac.facts.work import Assignment, Simulation, UnitGate, Work, Zone
from evac.simulation import simulate


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """The plan without one team.

    ``changed`` teams have other zones than in the plan: they are told so only once the
    absence is noticed, ``notice_s`` after the order.
    """

    team: str
    notice_s: float
    assignment: Assignment
    changed: tuple[str, ...]
    simulation: Simulation


def without_team(
    lift: Lift,
    heights: Heights,
    work: Work,
    assignment: Assignment,
    *,
    team: str,
    notice_s: float = 1200.0,
    runs: int = 10_000,
    seed: int = 1,
    gates: tuple[UnitGate, ...] | None = None,
) -> Branch:
    """Share out the spans again without one team and imagine the same days.

    Parameters
    ----------
    lift, heights, work, assignment
        Of one plan.
    team : str
        The team that does not come.
    notice_s : float
        From the order until it is noticed and the others are told [s], 0 or more
        (20 min; common practice, no source).
    runs, seed, gates
        As for `evac.simulation.simulate`.

    Returns
    -------
    Branch
        Every team whose zone changes sets out ``notice_s`` later: the cautious case,
        in which what it did before counts for nothing.

    Raises
    ------
    NoPlanError
        If there is no such team, or no other team can take any span.
    """
    if team not in work.team_ids:
        message = f"there is no team {team!r}; there are {', '.join(work.team_ids)}"
        raise NoPlanError(message)
    away = work.option_team == work.team_ids.index(team)
    others = assign(replace(work, valid=work.valid & ~away[:, None, None]))
    before = {zone.team: _place(zone) for zone in assignment.zones}
    changed = tuple(
        zone.team for zone in others.zones if before.get(zone.team) != _place(zone)
    )
    return Branch(
        team=team,
        notice_s=notice_s,
        assignment=others,
        changed=changed,
        simulation=simulate(
            lift,
            heights,
            work,
            others,
            runs=runs,
            seed=seed,
            gates=gates,
            notice_s=dict.fromkeys(changed, float(np.maximum(notice_s, 0.0))),
        ),
    )


def _place(zone: Zone) -> tuple[object, ...]:
    return (zone.option, zone.first_span, zone.last_span, zone.sides)
