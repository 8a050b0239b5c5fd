"""How soon evacuation begins, with figures worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from builders import make_lift

from evac.facts.finding import Severity
from evac.facts.lift import Lift, Limit
from evac.facts.work import Simulation
from evac.first_lowering import begins_in_time, doubts
from evac.words import Words


def make_days() -> Simulation:
    """Ten kinds of days: ordered after 1 to 10 min, first lowered 20 min later."""
    order_s = np.repeat(np.arange(1, 11) * 60.0, 100)
    return Simulation(
        runs=1000,
        seed=1,
        order_to_first_s=np.full(1000, 1200.0),
        order_to_clear_s=np.full(1000, 7200.0),
        order_to_safe_s=np.full(1000, 9000.0),
        stop_to_order_s=order_s,
        p50_s=7200.0,
        p90_s=7200.0,
        p50_interval_s=(7200.0, 7200.0),
        p90_interval_s=(7200.0, 7200.0),
        p50_independent_s=7200.0,
        p90_independent_s=7200.0,
        safe_p90_s=9000.0,
        chance_of_limit=1.0,
        last_team_share={},
        everyone_reached=True,
    )


def make_limited(part_min: float | None, *, counts_from: str = "stop") -> Lift:
    limit = Limit(
        minutes=210.0,
        counts_from=counts_from,
        counts_to="on the ground",
        source="invented",
        before_rescue_min=part_min,
    )
    return make_lift(limits=(limit,))


@pytest.mark.parametrize(
    ("part_min", "counts_from", "in_time"),
    [
        # In nine of ten days ordered within 9 min and begun within 29.
        (30.0, "stop", True),
        (28.0, "stop", False),
        # From the order it is 20 min on every day.
        (20.0, "order", True),
        (19.0, "order", False),
        (None, "stop", None),
    ],
)
def test_the_part_before_rescue_is_met_in_nine_of_ten_days(
    part_min: float | None, counts_from: str, in_time: bool | None
) -> None:
    # EN 1909 and the French practice, as stated: 30 min of the 210 are for it.
    lift = make_limited(part_min, counts_from=counts_from)
    days = make_days()
    assert begins_in_time(lift.limits[0], days) is in_time
    found = doubts(lift, days)
    assert bool(found) is (in_time is False)
    for item in found:
        assert item.severity is Severity.WARN
        assert "are for that" in Words().finding(item)[0]


def test_it_is_judged_by_days_and_not_by_the_likely_order() -> None:
    days = make_days()
    late = replace(days, stop_to_order_s=days.stop_to_order_s + 600.0)
    assert begins_in_time(make_limited(30.0).limits[0], late) is False
