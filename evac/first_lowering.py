"""How soon evacuation begins, and the part of a limit that some limits give for it."""

from __future__ import annotations

from evac.facts.finding import Finding, Severity
from evac.facts.lift import FloatArray, Lift, Limit
from evac.facts.work import Simulation
from evac.limits import FROM_STOP, PLANNED_SHARE
from evac.quantiles import quantile


def stop_to_first_s(simulation: Simulation) -> FloatArray:
    """From the stop to the first lowering, on every imagined day [s]."""
    return simulation.stop_to_order_s + simulation.order_to_first_s


def begins_s(limit: Limit, simulation: Simulation) -> FloatArray:
    """From where a limit counts to the first lowering, on every imagined day [s]."""
    if limit.counts_from == FROM_STOP:
        return stop_to_first_s(simulation)
    return simulation.order_to_first_s


def begins_in_time(limit: Limit, simulation: Simulation) -> bool | None:
    """Whether the first lowering begins within the limit's part for it, at P90.

    None where the limit names no such part.
    """
    if limit.before_rescue_min is None:
        return None
    begun_s = quantile(begins_s(limit, simulation), PLANNED_SHARE)
    return begun_s <= 60.0 * limit.before_rescue_min


def doubts(lift: Lift, simulation: Simulation) -> tuple[Finding, ...]:
    """Limits whose part up to the first lowering is missed at P90."""
    return tuple(
        Finding(
            key="first_lowering.late",
            severity=Severity.WARN,
            values={
                "p50_s": quantile(begins_s(limit, simulation), 0.5),
                "p90_s": quantile(begins_s(limit, simulation), PLANNED_SHARE),
                "part_min": limit.before_rescue_min or 0.0,
                "limit_min": limit.minutes,
                "counts_from": limit.counts_from,
            },
        )
        for limit in lift.limits
        if begins_in_time(limit, simulation) is False
    )
