"""What is said of a limit agrees with the chance that is printed beside it.

Common practice, no source: "met in 9 of 10 imagined days" is a count of those days.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from builders import make_lift

from evac.clock import decide
from evac.facts.lift import Lift, Limit, Triple
from evac.facts.work import Schedule, Simulation
from evac.limits import limit_chance, limit_verdict
from evac.plan import make_plan
from evac.simulation.draws import scores
from evac.triples import fit_one
from evac.words import Words

MINUTE = 60.0
P90_MIN = 170.0
DAY = dt.date(2026, 1, 20)


def imagined(decision: Triple) -> Simulation:
    """1,000 days that take 80 to 180 min (P90 170 min), each with its own order."""
    clear_s = MINUTE * np.linspace(80.0, 180.0, 1001)[1:]
    clear_s = np.random.default_rng(1).permutation(clear_s)
    return Simulation(
        runs=1000,
        seed=1,
        order_to_first_s=np.full(1000, 20 * MINUTE),
        order_to_clear_s=clear_s,
        order_to_safe_s=clear_s + 15 * MINUTE,
        stop_to_order_s=fit_one(decision).at(scores(1, "decision", 1000)),
        p50_s=130 * MINUTE,
        p90_s=P90_MIN * MINUTE,
        p50_interval_s=(0.0, 0.0),
        p90_interval_s=(0.0, 0.0),
        p50_independent_s=130 * MINUTE,
        p90_independent_s=P90_MIN * MINUTE,
        safe_p90_s=(P90_MIN + 15) * MINUTE,
        chance_of_limit=None,
        last_team_share={"Team 1": 1.0},
        everyone_reached=True,
    )


def minutes(low: float, likely: float, high: float) -> Triple:
    return Triple(low=MINUTE * low, likely=MINUTE * likely, high=MINUTE * high)


DECISIONS = [minutes(8, 14, 24), minutes(10, 15, 60), minutes(5, 10, 90)]


@pytest.mark.parametrize("decision", DECISIONS)
@pytest.mark.parametrize("counts_to", ["on the ground", "in safety"])
def test_a_limit_from_the_stop_is_met_exactly_where_its_chance_says_so(
    decision: Triple, counts_to: str
) -> None:
    days = imagined(decision)
    said = set()
    for limit_min in range(150, 300):
        limit = Limit(
            minutes=limit_min, counts_from="stop", counts_to=counts_to, source="made"
        )
        chance = limit_chance(
            (limit,),
            clear_s=days.order_to_clear_s,
            safe_s=days.order_to_safe_s,
            stop_to_order_s=days.stop_to_order_s,
            everyone_reached=True,
        )
        assert chance is not None
        verdict = limit_verdict(limit, days)
        assert (verdict == "met") == (chance >= 0.9), limit_min
        said.add(verdict)
    assert said == {"met", "missed"}


def deciding(lift: Lift, decision: Triple) -> Lift:
    return replace(
        lift, organisation=replace(lift.organisation, stop_to_order_s=decision)
    )


def test_how_long_the_decision_may_take_leaves_the_latest_order_where_it_is() -> None:
    # Rule 1: 186 min less P90 170 min, whatever stop -> order takes.
    limit = Limit(minutes=186, counts_from="stop", counts_to="on the ground", source="")
    schedule = Schedule(stop_offset_m=0.0, rescues=(), clear_s=9e3)
    for decision in DECISIONS:
        lift = deciding(make_lift(limits=(limit,)), decision)
        entry = decide(lift, imagined(decision), schedule).latest[0]
        assert entry.after_stop_s == pytest.approx(16 * MINUTE)
        assert entry.met


def test_a_limit_missed_by_a_slow_decision_alone_says_so() -> None:
    usual = make_lift(limits=())
    p90_s = make_plan(usual, date=DAY).simulation.p90_s
    slow = minutes(5, 10, 90)
    limit = Limit(
        minutes=np.ceil(p90_s / MINUTE) + 11,
        counts_from="stop",
        counts_to="on the ground",
        source="made",
    )
    plan = make_plan(replace(deciding(usual, slow), limits=(limit,)), date=DAY)
    assert plan.limit_met is False
    assert plan.clock.latest[0].met
    found = {item.key: item for item in plan.findings}
    text, _ = Words().finding(found["plan.limit_missed_by_order"])
    assert "With the order 10 min after the stop it would be met" in text
    assert "the decision may take 1 h 30 min" in text
    assert "plan.limit_missed" not in found
