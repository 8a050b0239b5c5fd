"""Zones as they are: nobody takes anything else; the same told by other times."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from evac.assignment.certificate import make_assignment
from evac.assignment.costs import KIND_SIDES, SIDES, make_columns, units_in_order
from evac.assignment.moves import Chosen
from evac.facts.heights import BoolArray
from evac.facts.work import Assignment, Option, Work, Zone


def own_zones_only(work: Work, zones: Iterable[Zone], *, planned: Work) -> Work:
    """The same work where each team may take its own zone only, with its own kit.

    Parameters
    ----------
    work : Work
        As it is now; teams of the zones may be missing in it, and others be added.
    zones : iterable of Zone
        As planned.
    planned : Work
        That the zones were made from.

    Notes
    -----
    A team at work that is told to change rope for loop has not been left as it is: so
    of its options only those with the technique and the kit of its zone remain.
    """
    own = np.zeros((len(work.options), *work.people.shape), dtype=bool)
    for zone in zones:
        rows = own_rows(work, zone)
        for side, span in units_in_order(planned, zone):
            own[rows, SIDES.index(side), span] = True
    return replace(work, valid=work.valid & own)


def own_rows(work: Work, zone: Zone) -> BoolArray:
    """Where the options of `work` are the way a zone is worked; at most one is."""
    return np.array(
        [_is_same(option, zone.option) for option in work.options], dtype=bool
    )


def _is_same(option: Option, other: Option) -> bool:
    """Whether two options are one way to work; their places in a list may differ."""
    return (option.team, option.technique, option.kit) == (
        other.team,
        other.technique,
        other.kit,
    )


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
