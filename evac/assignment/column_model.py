"""The assignment as a model of columns, solved by HiGHS.

One binary variable for every group of identical teams and every zone: each unit in
exactly one zone or left. It is used where there are too many differing teams for the
exact programme, and as a certificate that a finish is the earliest possible.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import highspy
import numpy as np
from numpy.typing import NDArray

from evac.assignment.certificate import Chosen
from evac.assignment.costs import Columns, people_counted
from evac.assignment.moves import Choices, fastest, gentlest, hopeless
from evac.facts.heights import FloatArray, IntArray
from evac.facts.work import NEVER_S, Work


@dataclass(frozen=True, slots=True, kw_only=True)
class _Zones:
    """Zones that may be chosen; arrays of shape (m,)."""

    group: IntArray
    kind: IntArray
    first: IntArray
    last: IntArray
    excess: IntArray
    finish_s: IntArray
    wait_s: IntArray
    work_s: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Answer:
    """What HiGHS says: chosen columns, their value, a bound, proven or not."""

    chosen: IntArray | None
    bound: float
    proven: bool


def share_by_columns(
    work: Work,
    columns: Columns,
    groups: tuple[tuple[int, ...], ...],
    *,
    bound: tuple[int, int],
    budget_s: float,
) -> Chosen:
    """Share the line with HiGHS; honest about what it could not prove.

    Parameters
    ----------
    work, columns : Work, Columns
        The data and every zone's cost.
    groups : tuple of tuple of int
        Rows of identical teams.
    bound : (int, int)
        People uncovered beyond the hopeless, and last finish, of a known solution.
    budget_s : float
        Seconds allowed for all objectives together.

    Returns
    -------
    Chosen
        ``proven`` only if every objective was solved to its end within the budget;
        ``bound_s`` is the proven lower bound of the last finish in any case.
    """
    until = time.monotonic() + budget_s
    quick = fastest(work, columns)
    loss = np.where(hopeless(work), 0, people_counted(work)).astype(np.int64)
    excess, certain = _least_excess(quick, groups, loss, bound[0], until)
    finish_s, lower_s = _earliest(quick, groups, loss, excess, bound, until)
    proven = certain and lower_s == finish_s
    gentle = gentlest(work, columns, finish_s=finish_s)
    zones = _list(gentle, groups, excess=excess, finish_s=finish_s)
    fixed: list[tuple[FloatArray, float]] = []
    chosen: IntArray | None = None
    for cost in (zones.wait_s, zones.work_s, zones.finish_s**2):
        answer = _solve(
            zones, groups, loss, cost.astype(float), excess, fixed, until
        )
        if answer.chosen is None:
            proven = False
            break
        chosen = answer.chosen
        fixed.append((cost.astype(float), float(cost[chosen].sum())))
        proven = proven and answer.proven
    if chosen is None:
        answer = _solve(
            zones, groups, loss, np.zeros(zones.group.size), excess, [], until + budget_s
        )
        chosen = answer.chosen
    return Chosen(
        zones=_name(zones, chosen, groups, gentle),
        bound_s=lower_s,
        proven=proven,
        method="columns",
    )
