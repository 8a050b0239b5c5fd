"""Imagined days against the time limits."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from evac.facts.heights import FloatArray
from evac.facts.lift import Limit
from evac.facts.work import Simulation

FROM_STOP = "stop"
IN_SAFETY = "in safety"


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
) -> float | None:
    """Share of days on which every limit is met; None where the folder names none."""
    met: FloatArray | None = None
    for limit in limits:
        took = safe_s if limit.counts_to == IN_SAFETY else clear_s
        if limit.counts_from == FROM_STOP:
            took = took + stop_to_order_s
        within = took <= 60.0 * limit.minutes
        met = within if met is None else met & within
    return None if met is None else float(np.mean(met))
