"""Zones as they are: the work in which nobody takes anything else."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from evac.assignment.costs import SIDES, units_in_order
from evac.facts.work import Work, Zone


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
