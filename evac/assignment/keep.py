"""Zones as they are: nobody takes anything else; the same told by other times."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from evac.assignment.certificate import make_assignment
from evac.assignment.costs import KIND_SIDES, SIDES, make_columns, units_in_order
from evac.assignment.moves import Chosen
from evac.facts.work import Assignment, Work, Zone


def own_zones_only(work: Work, zones: Iterable[Zone], *, planned: Work) -> Work:
    """The same work where each team may take units of its own zone only.

    Parameters
    ----------
    work : Work
        As it is now; teams of the zones may be missing in it, and others be added.
    zones : iterable of Zone
        As planned.
    planned : Work
        That the zones were made from.
    """
    own = np.zeros((len(work.team_ids), *work.people.shape), dtype=bool)
    for zone in zones:
        if zone.team in work.team_ids:
            for side, span in units_in_order(planned, zone):
                own[work.team_ids.index(zone.team), SIDES.index(side), span] = True
    return replace(work, valid=work.valid & own[work.option_team])


def told_by(work: Work, zones: Iterable[Zone], *, best: Assignment) -> Assignment:
    """Zones that were chosen by other step times, told by those of `work`.

    Parameters
    ----------
    work : Work
        The same teams, options, gates and ways as the zones were made from.
    zones : iterable of Zone
        At most one a team.
    best : Assignment
        The best sharing of `work`, for the bound that nothing can fall below.
    """
    rows = tuple(
        (
            work.team_ids.index(zone.team),
            zone.option.index,
            KIND_SIDES.index(zone.sides),
            zone.first_span,
            zone.last_span,
        )
        for zone in zones
    )
    chosen = Chosen(
        zones=rows, bound_s=best.bound_s, proven=best.proven, method=best.method
    )
    told = make_assignment(work, make_columns(work), chosen)
    return replace(told, chosen_by="mean", states=best.states)
