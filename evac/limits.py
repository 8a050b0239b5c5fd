"""Whether a limit is met, by its own start and its own end."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from evac.facts.lift import IN_SAFETY, FloatArray, Lift, Limit
from evac.facts.work import Simulation
from evac.quantiles import quantile

FROM_STOP = "stop"

PLANNED_SHARE = 0.9
"""A time is met where it holds on this share of the imagined days (P90)."""


def limits_met(lift: Lift, simulation: Simulation) -> bool | None:
    """Whether every limit is met on 9 of 10 imagined days; None without a limit.

    Each limit by its own start and end. None is met while people have no team that
    reaches them.
    """
    if not lift.limits:
        return None
    return all(is_met(limit, simulation) for limit in lift.limits)


def is_met(limit: Limit, simulation: Simulation) -> bool:
    """Whether one limit is met on 9 of 10 imagined days.

    A limit is for everybody: never met while people have no team that reaches them.
    """
    return limit_verdict(limit, simulation) == "met"


def limit_verdict(limit: Limit, simulation: Simulation) -> str:
    """How papers speak of one limit: ``met``, ``missed``, ``unreached``.

    ``unreached``: those who are reached come in time, but people are left hanging.
    """
    if late_s(limit, simulation) > 0:
        return "missed"
    return "met" if simulation.everyone_reached else "unreached"


def late_s(limit: Limit, simulation: Simulation) -> float:
    """By how much P90 of those who are reached misses a limit [s]; below 0: in time.

    What is met on 9 of 10 days is what `limit_chance` counts: where the limit counts
    from the stop, each day with its own time from the stop to the order.
    """
    return quantile(took_s(limit, simulation), PLANNED_SHARE) - 60.0 * limit.minutes


def took_s(limit: Limit, simulation: Simulation) -> FloatArray:
    """From a limit's own start to its own end, on every imagined day [s]."""
    return _took_s(
        limit,
        clear_s=simulation.order_to_clear_s,
        safe_s=simulation.order_to_safe_s,
        stop_to_order_s=simulation.stop_to_order_s,
    )


def missed_by_order(lift: Lift, limit: Limit, simulation: Simulation) -> bool:
    """Whether a limit is missed only because the order may come after its likely time.

    The planned order is in time, and everybody is reached; on too many days the
    decision takes longer than likely.
    """
    if limit.counts_from != FROM_STOP or not simulation.everyone_reached:
        return False
    if late_s(limit, simulation) <= 0:
        return False
    needed_s = quantile(end_s(limit, simulation), PLANNED_SHARE)
    order_s = lift.organisation.stop_to_order_s.likely
    return order_s + needed_s <= 60.0 * limit.minutes


def end_s(limit: Limit, simulation: Simulation) -> FloatArray:
    """From the order to the limit's own end, on every imagined day [s]."""
    if limit.counts_to == IN_SAFETY:
        return simulation.order_to_safe_s
    return simulation.order_to_clear_s


def limit_chance(
    limits: Iterable[Limit],
    *,
    clear_s: FloatArray,
    safe_s: FloatArray,
    stop_to_order_s: FloatArray,
    everyone_reached: bool,
) -> float | None:
    """Share of days on which every limit is met; None where the folder names none.

    0 while people have no team that reaches them: they hang there on every day.
    """
    met = np.full(clear_s.shape, everyone_reached)
    stated = tuple(limits)
    for limit in stated:
        took = _took_s(
            limit, clear_s=clear_s, safe_s=safe_s, stop_to_order_s=stop_to_order_s
        )
        met &= took <= 60.0 * limit.minutes
    return float(np.mean(met)) if stated else None


def _took_s(
    limit: Limit,
    *,
    clear_s: FloatArray,
    safe_s: FloatArray,
    stop_to_order_s: FloatArray,
) -> FloatArray:
    took = safe_s if limit.counts_to == IN_SAFETY else clear_s
    return took + stop_to_order_s if limit.counts_from == FROM_STOP else took
