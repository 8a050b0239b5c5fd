"""What the absence of one team does to the limits and to the latest order."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from evac.clock import FROM_ORDER, binding_order, latest_orders, light_from_order
from evac.daylight import by_daylight, in_the_dark
from evac.facts.change import Branch, Branches
from evac.facts.finding import Finding, Severity
from evac.facts.lift import FloatArray, Lift
from evac.facts.work import Assignment, LatestOrder, Simulation
from evac.limits import late_s, limit_verdict
from evac.quantiles import quantile


def days_without(lift: Lift, simulation: Simulation, branch: Branch) -> Simulation:
    """The plan's own imagined days with one team away.

    Parameters
    ----------
    lift : Lift
    simulation : Simulation
        Of the plan.
    branch : Branch
        With at least one day imagined.

    Returns
    -------
    Simulation
        Of the branch's days. From the last on the ground to all at a safe place takes
        as long as in the plan by daylight; its part in the dark is the branch's own.
    """
    runs = branch.clear_s.size
    clear_s = branch.clear_s
    safe_s = _safe_s(lift, simulation, clear_s)
    return replace(
        simulation,
        runs=runs,
        order_to_first_s=simulation.order_to_first_s[:runs],
        order_to_clear_s=clear_s,
        order_to_safe_s=safe_s,
        stop_to_order_s=simulation.stop_to_order_s[:runs],
        p50_s=branch.p50_s,
        p90_s=branch.p90_s,
        safe_p90_s=quantile(safe_s, 0.9),
        everyone_reached=branch.assignment.objectives[0] == 0,
    )


def _safe_s(lift: Lift, simulation: Simulation, clear_s: FloatArray) -> FloatArray:
    """When all are at a safe place; infinite on days on which the plan has no end."""
    light, runs = light_from_order(lift), clear_s.size
    plan_clear_s = simulation.order_to_clear_s[:runs]
    plan_safe_s = simulation.order_to_safe_s[:runs]
    known = np.isfinite(clear_s) & np.isfinite(plan_clear_s) & np.isfinite(plan_safe_s)
    way_s = by_daylight(plan_safe_s[known], light) - by_daylight(
        plan_clear_s[known], light
    )
    safe_s = np.full(runs, np.inf)
    safe_s[known] = in_the_dark(by_daylight(clear_s[known], light) + way_s, light)
    return safe_s


def latest_without(
    lift: Lift, simulation: Simulation, branch: Branch
) -> tuple[LatestOrder | None, bool]:
    """By when the order must come if one team does not.

    Returns
    -------
    (LatestOrder or None, bool)
        As `Clock.binding` for the days of the branch; and whether an order in time
        would meet every limit, False where one that counts from the order is missed
        or where it is not known when all are safe.
    """
    if not branch.clear_s.size:
        return None, False
    days = days_without(lift, simulation, branch)
    latest = latest_orders(lift, days)
    helps = all(item.reason != FROM_ORDER for item in latest) and not any(
        math.isinf(late_s(limit, days)) for limit in lift.limits
    )
    return binding_order(latest), helps


def doubts(
    lift: Lift, simulation: Simulation, assignment: Assignment, branches: Branches
) -> tuple[Finding, ...]:
    """Teams whose absence alone leaves people hanging or breaks a limit.

    Parameters
    ----------
    lift : Lift
    simulation, assignment
        Of the plan.
    branches : Branches
        Of the same plan; teams that were not tried are not judged.

    Returns
    -------
    tuple of Finding
        One for those whose people nobody else reaches; one a limit that the plan
        meets and that is missed at P90 without them.
    """
    left = assignment.objectives[0]
    alone = [b for b in branches.prepared if b.assignment.objectives[0] > left]
    others = [b for b in branches.prepared if b.assignment.objectives[0] <= left]
    found = []
    if alone:
        found.append(
            Finding(
                key="branch.unreached",
                severity=Severity.WARN,
                values={"teams": _names(alone)},
            )
        )
    for limit in lift.limits:
        if limit_verdict(limit, simulation) != "met":
            continue
        late = [
            b
            for b in others
            if b.clear_s.size and late_s(limit, days_without(lift, simulation, b)) > 0
        ]
        if late:
            found.append(
                Finding(
                    key="branch.limit_missed",
                    severity=Severity.WARN,
                    values={
                        "teams": _names(late),
                        "count": len(late),
                        "total": len(branches.prepared),
                        "limit_min": limit.minutes,
                        "counts_from": limit.counts_from,
                        "counts_to": limit.counts_to,
                    },
                )
            )
    return tuple(found)


def _names(branches: list[Branch]) -> str:
    return ", ".join(branch.team for branch in branches)
