"""From chosen zones to the assignment, its objectives, its certificate."""

from __future__ import annotations

import numpy as np

from evac.assignment.costs import (
    KIND_SIDES,
    SIDES,
    Columns,
    people_counted,
    takes,
)
from evac.assignment.moves import Chosen
from evac.facts.heights import BoolArray
from evac.facts.work import NEVER_S, Assignment, Uncovered, Work, Zone


def make_assignment(work: Work, columns: Columns, chosen: Chosen) -> Assignment:
    """Write the chosen zones as facts; add what they leave uncovered, and why."""
    zones = tuple(_zone(work, columns, row) for row in chosen.zones)
    covered = np.zeros(work.people.shape, dtype=bool)
    can_take = takes(work)
    for _, option, kind, first, last in chosen.zones:
        for side in KIND_SIDES[kind]:
            row = SIDES.index(side)
            covered[row, first : last + 1] |= can_take[option, row, first : last + 1]
    counted = people_counted(work)
    lost = (counted > 0) & ~covered
    finish_s = max((zone.finish_s for zone in zones), default=0)
    busy = {zone.team for zone in zones}
    crew = dict(zip(work.team_ids, work.crew.tolist(), strict=True))
    waited = sum(int(columns.wait_s[row[1:]]) for row in chosen.zones)
    return Assignment(
        zones=zones,
        uncovered=tuple(
            _uncovered(work, can_take, int(side), int(span))
            for side, span in np.argwhere(lost)
        ),
        objectives=(
            int(counted[lost].sum()),
            finish_s,
            waited,
            sum(zone.work_s * crew[zone.team] for zone in zones),
            sum(zone.finish_s**2 for zone in zones),
        ),
        bound_s=chosen.bound_s if zones else 0,
        proven=chosen.proven,
        method=chosen.method,
        binding_teams=tuple(z.team for z in zones if z.finish_s == finish_s),
        # Who can take no unit at all is no reserve.
        reserve_teams=tuple(
            team
            for number, team in enumerate(work.team_ids)
            if team not in busy and can_take[work.option_team == number].any()
        ),
    )


def _zone(work: Work, columns: Columns, row: tuple[int, int, int, int, int]) -> Zone:
    team, option, kind, first, last = row
    high = bool(work.start_upper[team]) == work.upper_is_last
    support = last + 1 if high else first
    inside = slice(first, last + 1)
    sides = [SIDES.index(side) for side in KIND_SIDES[kind]]
    taken = takes(work)[option][sides, inside]
    return Zone(
        team=work.team_ids[team],
        option=work.options[option],
        first_span=first,
        last_span=last,
        sides=KIND_SIDES[kind],
        start_support=support,
        arrival_s=int(work.arrive_s[team, support]),
        start_s=int(columns.start_s[option, kind, first, last]),
        finish_s=int(columns.finish_s[option, kind, first, last]),
        work_s=int(columns.work_s[option, kind, first, last]),
        people=int(work.people_at[sides, inside][taken].sum(axis=0).max(initial=0)),
    )


def _uncovered(work: Work, can_take: BoolArray, side: int, span: int) -> Uncovered:
    """Why a unit has no zone, from the least that would have to change."""
    if not work.planned[side, span]:
        reason = "unknown"
    elif work.gate_s[side, span] >= NEVER_S:
        reason = "gate"
    elif not can_take[:, side, span].any():
        reason = "reach"
    elif not _can_arrive(work, can_take[:, side, span], span):
        reason = "way"
    else:
        reason = "teams"
    return Uncovered(
        side=SIDES[side],
        span_index=span,
        people=int(people_counted(work)[side, span]),
        reason=f"assignment.reason.{reason}",
        remedy=f"assignment.remedy.{reason}",
        values={"teams": len(work.team_ids)},
    )


def _can_arrive(work: Work, able: BoolArray, span: int) -> bool:
    """Whether a team that can take the span arrives in time at its start support."""
    teams = np.unique(work.option_team[able])
    high = work.start_upper[teams] == work.upper_is_last
    supports = np.where(high, span + 1, span)
    limit = min(work.latest_arrival_s, NEVER_S - 1)
    return bool((work.arrive_s[teams, supports] <= limit).any())
