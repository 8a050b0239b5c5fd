"""An invented plan that is shared out by mean step times, not by likely ones.

The small lift of the tests, where hard days make the rescuer on the haul rope four
times slower than its table says: at likely times the rope is quicker, at mean times
the loop from the ground.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache

from builders import ON_ROPE, make_lift, make_step_times

from evac.facts.plan import Plan
from evac.plan import make_plan


@cache
def steady_plan() -> Plan:
    """The same plan for every test of a process."""
    rows = tuple(
        replace(row, seconds=replace(row.seconds, high=4 * row.seconds.high))
        if row.technique == ON_ROPE
        else row
        for row in make_step_times()
    )
    lift = make_lift(limits=(), step_times=rows)
    plan = make_plan(lift, date=dt.date(2026, 1, 20), seed=3)
    assert plan.assignment.chosen_by == "mean"
    return plan
