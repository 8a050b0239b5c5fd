"""The assignment from beginning to end: columns, programme, certificate."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from evac.assignment.certificate import make_assignment
from evac.assignment.column_model import share_by_columns
from evac.assignment.costs import Columns, forbid_late, make_columns, people_counted
from evac.assignment.moves import (
    Choices,
    Chosen,
    fastest,
    gentlest,
    group_teams,
    hopeless,
    list_moves,
    name_teams,
)
from evac.assignment.programme import Field, fixed_order, gentlest_path, reach_forward
from evac.facts.heights import BoolArray, IntArray
from evac.facts.lift import Side
from evac.facts.work import NEVER_S, Assignment, Work

_AVOIDED = 10**9
"""People x seconds: above the waiting of 2,000 people for five days."""

MOST_STATES = 40_000_000
"""States up to which the programme is used: 14 differing teams on 48 spans (320 MB)."""


def assign(
    work: Work,
    *,
    budget_s: float = 20.0,
    first: Sequence[tuple[Side, int]] = (),
    columns: Columns | None = None,
    avoid: BoolArray | None = None,
    slack_s: int = 0,
) -> Assignment:
    """Share the line among the teams so that the last passenger is down soonest.

    Objectives, one after the other: fewest people left uncovered, earliest last
    finish, least total passenger waiting, least person-seconds of work, least sum of
    squared finishes. Every unit (a span of one side) is in exactly one zone or
    uncovered; a team has at most one zone. Ties go to the lowest team row, then to
    the lowest span.

    Parameters
    ----------
    work : Work
        Seconds of every option in every unit, arrivals and gates.
    budget_s : float
        Seconds allowed where the exact programme is too large (more than about 14
        differing teams) and the column model searches instead.
    first : sequence of (Side, int)
        Units with carriers to be taken first (rule 17): whoever has such a unit
        begins with it.
    columns : Columns, optional
        Every zone's cost; `evac.assignment.costs.make_columns` where not given.
    avoid : ndarray of bool, shape (q, 3, n, n), optional
        Zones of which as few as possible are to be chosen, before waiting counts.
    slack_s : int
        The last finish may come so much later than the earliest possible, if that
        avoids a zone or saves waiting. Both are for the exact programme only.

    Returns
    -------
    Assignment
        Zones in order of the teams' rows, uncovered units with reason and remedy, and
        the certificate: ``proven``, ``bound_s`` and the teams that finish last.

    Notes
    -----
    See `evac.assignment.costs` for a zone's cost and `evac.assignment.programme` for
    the method. Units that nobody takes, because no team can or because no team is
    left, are walked past, and the crossing is still paid.
    """
    started = time.monotonic()
    columns = make_columns(work) if columns is None else columns
    clean = forbid_late(work, columns, first)
    columns = clean if avoid is None else _avoided(clean, avoid)
    groups = group_teams(work, columns)
    choices = fastest(work, columns)
    field = _field(work, groups)
    bound = upper_bound(field, choices, groups)
    states = field.sets * (work.people.shape[1] + 1) ** 2
    if states > MOST_STATES:
        left_s = budget_s - (time.monotonic() - started)
        chosen = share_by_columns(
            work, columns, groups, bound=bound, budget_s=max(left_s, 0.0)
        )
    else:
        chosen = _share(work, columns, groups, field, choices, bound, slack_s)
    return replace(make_assignment(work, clean, chosen), states=states)


def _avoided(columns: Columns, avoid: BoolArray) -> Columns:
    """The same columns, each zone to be avoided with more waiting than a line can."""
    possible = columns.finish_s < NEVER_S
    return replace(
        columns,
        wait_s=np.where(avoid & possible, columns.wait_s + _AVOIDED, columns.wait_s),
    )


def upper_bound(
    field: Field, choices: Choices, groups: tuple[tuple[int, ...], ...]
) -> tuple[int, int]:
    """A good (excess, finish) by fixed orders of teams and swaps between them."""
    representatives = tuple(rows[0] for rows in groups)
    moves = list_moves(
        choices, representatives, excess=NEVER_S - 1, finish_s=NEVER_S - 1
    )
    order = np.repeat(np.arange(len(groups)), field.count)
    best = fixed_order(order, field.loss, moves)
    improved = True
    while improved:
        improved = False
        for first in range(order.size):
            for second in range(first + 1, order.size):
                if order[first] == order[second]:
                    continue
                order[[first, second]] = order[[second, first]]
                value = fixed_order(order, field.loss, moves)
                if value < best:
                    best, improved = value, True
                else:
                    order[[first, second]] = order[[second, first]]
    return best


def _field(work: Work, groups: tuple[tuple[int, ...], ...]) -> Field:
    count: IntArray = np.array([len(rows) for rows in groups], dtype=np.int64)
    loss = np.where(hopeless(work), 0, people_counted(work)).astype(np.int64)
    return Field(count=count, loss=loss)


def _share(
    work: Work,
    columns: Columns,
    groups: tuple[tuple[int, ...], ...],
    field: Field,
    choices: Choices,
    bound: tuple[int, int],
    slack_s: int,
) -> Chosen:
    representatives = tuple(rows[0] for rows in groups)
    excess, finish_s = bound[0], bound[1] + slack_s
    # While people may still be won, a zone may end later than the bound's finish.
    latest = finish_s if excess == 0 else NEVER_S - 1
    moves = list_moves(choices, representatives, excess=excess, finish_s=latest)
    least, finish = reach_forward(
        field, moves, excess=excess, finish_s=finish_s, slack_s=slack_s
    )
    # Finished states: the least people uncovered, then the earliest last finish.
    ends = np.stack([least[:, -1, -1], finish[:, -1, -1]], axis=1)
    excess, bound_s = (int(value) for value in min(map(tuple, ends)))
    finish_s = bound_s + slack_s
    reached = (least < excess) | ((least == excess) & (finish <= finish_s))
    alive = np.where(reached, np.cumsum(reached).reshape(reached.shape) - 1, -1)
    del least, finish, reached
    gentle = gentlest(work, columns, finish_s=finish_s)
    moves = list_moves(gentle, representatives, excess=excess, finish_s=finish_s)
    _, rows = gentlest_path(field, moves, alive)
    return Chosen(
        zones=name_teams(rows, groups, gentle),
        bound_s=bound_s,
        proven=True,
        method="programme",
    )
