"""What the absence of one team does to the limits, with figures worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from builders import make_lift

from evac.clock import light_from_order
from evac.daylight import light_of
from evac.facts.change import Branch, Branches
from evac.facts.finding import Severity
from evac.facts.lift import Lift, Limit
from evac.facts.work import Assignment, Simulation
from evac.simulation.absence import days_without, doubts, latest_without
from evac.words import Words

HOUR = 3600.0


def make_limited(
    minutes: float, *, counts_from: str = "stop", counts_to: str = "on the ground"
) -> Lift:
    limit = Limit(
        minutes=minutes, counts_from=counts_from, counts_to=counts_to, source="invented"
    )
    return make_lift(limits=(limit,))


def make_days(clear_h: float) -> Simulation:
    """Days that all end alike; safe half an hour later; ordered after 15 min."""
    clear_s = np.full(1000, clear_h * HOUR)
    return Simulation(
        runs=1000,
        seed=1,
        order_to_first_s=np.full(1000, 0.5 * HOUR),
        order_to_clear_s=clear_s,
        order_to_safe_s=clear_s + 0.5 * HOUR,
        stop_to_order_s=np.full(1000, 0.25 * HOUR),
        p50_s=clear_h * HOUR,
        p90_s=clear_h * HOUR,
        p50_interval_s=(clear_h * HOUR,) * 2,
        p90_interval_s=(clear_h * HOUR,) * 2,
        p50_independent_s=clear_h * HOUR,
        p90_independent_s=clear_h * HOUR,
        safe_p90_s=(clear_h + 0.5) * HOUR,
        chance_of_limit=1.0,
        last_team_share={},
        everyone_reached=True,
    )


SHARED = Assignment(
    zones=(),
    uncovered=(),
    objectives=(0, 0, 0, 0, 0),
    bound_s=0,
    proven=True,
    method="programme",
    binding_teams=(),
    reserve_teams=(),
)


def make_branch(team: str, clear_h: float | None, *, left: int = 0) -> Branch:
    clear_s = np.empty(0) if clear_h is None else np.full(200, clear_h * HOUR)
    p90_s = np.nan if clear_h is None else clear_h * HOUR
    return Branch(
        team=team,
        notice_s=1200.0,
        assignment=replace(SHARED, objectives=(left, 0, 0, 0, 0)),
        going_on=(),
        anew=(),
        clear_s=clear_s,
        p50_s=p90_s,
        p90_s=p90_s,
        p90_later_s=p90_s - 2 * HOUR,
    )


def found(lift: Lift, *branches: Branch) -> dict[str, str]:
    told = doubts(
        lift, make_days(2.0), SHARED, Branches(runs=200, prepared=tuple(branches))
    )
    assert all(item.severity is Severity.WARN for item in told)
    return {item.key: Words().finding(item)[0] for item in told}


def test_a_limit_that_one_absence_breaks_is_said_with_the_teams() -> None:
    # Ordered after 15 min: 2 h 15 min in all meets 180 min, 3 h 15 min does not.
    told = found(make_limited(180), make_branch("A", 3.0), make_branch("B", 2.5))
    assert set(told) == {"branch.limit_missed"}
    assert told["branch.limit_missed"].startswith("Without A (one of 2 teams")
    both = found(make_limited(180), make_branch("A", 3.0), make_branch("B", 2.8))
    assert "Without A, B, each alone (2 of 2 teams" in both["branch.limit_missed"]


def test_a_limit_to_safety_counts_the_way_there() -> None:
    # 15 min + 2 h 20 min + 30 min = 3 h 05 min; to the ground it would be in time.
    branch = make_branch("A", 2.0 + 20 / 60)
    assert not found(make_limited(180), branch)
    assert found(make_limited(180, counts_to="in safety"), branch)


def test_a_limit_that_the_plan_misses_anyway_is_not_said_twice() -> None:
    assert not found(make_limited(120), make_branch("A", 3.0))


def test_whom_nobody_else_reaches_is_said_also_without_a_limit() -> None:
    lift = make_lift(limits=())
    branches = make_branch("A", 2.0, left=4), make_branch("B", None, left=9)
    told = found(lift, *branches, make_branch("C", 9.0))
    assert set(told) == {"branch.unreached"}
    assert told["branch.unreached"].startswith("Without A, B, each alone, people")


@pytest.mark.parametrize(
    ("clear_h", "latest_min"), [(2.5, 30.0), (2.75, 15.0), (3.5, -30.0)]
)
def test_the_latest_order_without_a_team_is_the_limit_less_its_p90(
    clear_h: float, latest_min: float
) -> None:
    lift = make_limited(180)
    lift = replace(lift, conditions=replace(lift.conditions, night=True))
    latest, helps = latest_without(lift, make_days(2.0), make_branch("A", clear_h))
    assert latest is not None
    assert helps
    assert latest.reason == "limit"
    assert latest.after_stop_s == pytest.approx(60 * latest_min)


def test_without_a_team_the_way_to_safety_is_as_dark_as_its_own_end() -> None:
    # By hand (rule 27): the order after 15 min, dusk 2 h after it. By daylight the plan
    # ends after 90 min, without the team after 150, and the way takes 30 min: in the
    # dark after 120 + 30 x 1.3 = 159 and 120 + 60 x 1.3 = 198 min.
    lift = make_limited(180, counts_to="in safety")
    order_s = lift.organisation.stop_to_order_s.likely
    dusk_s = light_of(lift).to_s
    stop_s = lift.conditions.stop_clock_s + dusk_s - order_s - 2 * HOUR
    lift = replace(lift, conditions=replace(lift.conditions, stop_clock_s=stop_s))
    light = light_from_order(lift)
    assert light.from_s < 0
    assert light.to_s == pytest.approx(2 * HOUR)
    days = days_without(lift, make_days(1.5), make_branch("A", 159 / 60))
    assert days.order_to_safe_s == pytest.approx(np.full(200, 198 * 60.0))
    unknown = replace(make_days(1.5), order_to_safe_s=np.full(1000, np.inf))
    assert np.isinf(days_without(lift, unknown, make_branch("A", 2.0)).safe_p90_s)


def test_no_order_time_helps_where_nobody_knows_when_all_are_safe() -> None:
    lift = make_limited(180, counts_to="in safety")
    unknown = replace(make_days(2.0), order_to_safe_s=np.full(1000, np.inf))
    _, helps = latest_without(lift, unknown, make_branch("A", 2.5))
    assert not helps


def test_no_order_time_helps_a_limit_from_the_order_or_where_nobody_is_left() -> None:
    lift = make_limited(180, counts_from="order")
    _, helps = latest_without(lift, make_days(2.0), make_branch("A", 3.5))
    assert not helps
    nobody = make_branch("A", None)
    assert latest_without(lift, make_days(2.0), nobody) == (None, False)
