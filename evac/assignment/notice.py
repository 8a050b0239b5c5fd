"""What zones cost once a change is known only some time after the order."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace

import numpy as np

from evac.assignment.costs import KIND_SIDES, Columns, make_columns
from evac.facts.heights import BoolArray
from evac.facts.work import NEVER_S, Work, Zone


def columns_after_notice(
    work: Work, zones: Iterable[Zone], *, notice_s: int
) -> tuple[Columns, BoolArray]:
    """Every zone's cost where teams set out as planned and hear of a change later.

    A team that keeps its zone, or goes on beyond its far end with the same kit on the
    same sides, loses nothing. Every other zone is begun as if the team stood at its
    start until it is told: the cautious case, in which what it did before counts for
    nothing.

    Parameters
    ----------
    work : Work
    zones : iterable of Zone
        As planned; teams without one set out when they are told.
    notice_s : int
        From the order until the teams are told, whole seconds, 0 or more.

    Returns
    -------
    Columns, ndarray of bool
        The costs, and the zones (q, 3, n, n) for which a team must leave its own.
    """
    now = make_columns(work)
    arrives = work.arrive_s < NEVER_S
    late = make_columns(
        replace(
            work, arrive_s=np.where(arrives, work.arrive_s + notice_s, work.arrive_s)
        )
    )
    goes_on = np.zeros(now.finish_s.shape, dtype=bool)
    busy = np.zeros(len(work.team_ids), dtype=bool)
    for zone in zones:
        goes_on |= going_on(now, zone, beyond=zone.finish_s >= notice_s)
        busy[work.team_ids.index(zone.team)] = True
    costs = Columns(
        **{
            item.name: np.where(
                goes_on, getattr(now, item.name), getattr(late, item.name)
            )
            for item in fields(Columns)
        }
    )
    return costs, ~goes_on & busy[work.option_team][:, None, None, None]


def going_on(columns: Columns, zone: Zone, *, beyond: bool) -> BoolArray:
    """The zones (q, 3, n, n) in which a team does its own zone first, then more.

    ``beyond`` False: its own zone alone, as it would be done before it is told.
    """
    found = np.zeros(columns.finish_s.shape, dtype=bool)
    kind = KIND_SIDES.index(zone.sides)
    first, last = zone.first_span, zone.last_span
    own = found[zone.option.index, kind]
    own[first, last] = True
    if beyond and zone.start_support != first:
        own[: first + 1, last] = True
    elif beyond:
        own[first, last:] = True
    return found
