"""Two sharings of the same spans: which is taken, and what is said where it is late.

Expected outcomes follow from the definitions (rules 14 and 1 of the trade): a descender
that is used up stops a plan, and a limit is met at P90 or it is missed.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache

from builders import ON_ROPE, make_lift

from evac.facts.finding import Severity
from evac.facts.heights import Heights
from evac.facts.lift import Lift, Limit
from evac.facts.plan import Plan
from evac.facts.work import Assignment
from evac.gear import budget_doubts
from evac.heights.envelope import find_heights
from evac.line import lay_out
from evac.plan import make_plan
from evac.sharing import share_out

DAY = dt.date(2026, 1, 20)
LASTING_J = 7.5e6
"""Class A of EN 341; all that Team 2 lowers on the whole line takes 2.6 MJ."""


@cache
def heights_of_lift() -> Heights:
    lift = make_lift()
    return find_heights(lift, lay_out(lift))[0]


def with_slow_days_on_the_rope(*, loop_j: float | None = None) -> Lift:
    """Rescuers on the rope are the quickest on a usual day, and late on a hard one.

    So the sharing by likely times takes Team 2's kit for it, that by mean times the
    team's loop, whose descender has `loop_j` left (None: not counted).
    """
    lift = make_lift()
    steps = tuple(
        replace(step, seconds=replace(step.seconds, high=2 * step.seconds.high))
        if step.technique == ON_ROPE
        else step
        for step in lift.step_times
    )
    energy_j = {"Kit 2": loop_j, "Kit 4": LASTING_J}
    kits = tuple(
        replace(kit, descent_energy_j=energy_j.get(kit.id, kit.descent_energy_j))
        for kit in lift.kits
    )
    return replace(lift, step_times=steps, kits=kits)


def shared(lift: Lift) -> Assignment:
    return share_out(lift, heights_of_lift(), date=DAY, seed=1).assignment


def kits_used(assignment: Assignment) -> set[str]:
    return {zone.option.kit for zone in assignment.zones}


def test_the_sharing_that_holds_on_a_hard_day_is_taken() -> None:
    assignment = shared(with_slow_days_on_the_rope(loop_j=LASTING_J))
    assert assignment.chosen_by == "mean"
    assert kits_used(assignment) == {"Kit 2"}


def test_no_sooner_end_is_bought_with_a_descender_that_does_not_last() -> None:
    lift = with_slow_days_on_the_rope(loop_j=1.5e6)
    assignment = shared(lift)
    doubts = budget_doubts(lift, heights_of_lift(), assignment)
    assert Severity.STOP not in {item.severity for item in doubts}
    assert assignment.chosen_by == "likely"
    assert kits_used(assignment) == {"Kit 4"}


def test_where_neither_lasts_the_sooner_end_decides() -> None:
    lift = with_slow_days_on_the_rope(loop_j=1.5e6)
    worn = tuple(
        replace(kit, descent_used_j=LASTING_J - 1.5e6) if kit.id == "Kit 4" else kit
        for kit in lift.kits
    )
    assert shared(replace(lift, kits=worn)).chosen_by == "mean"


def plan_with_limit(lift: Lift, *, minutes: float, counts_from: str) -> Plan:
    limit = Limit(
        minutes=minutes,
        counts_from=counts_from,
        counts_to="on the ground",
        source="invented for tests",
    )
    return make_plan(replace(lift, limits=(limit,)), date=DAY)


def test_a_plan_by_mean_times_that_misses_its_limit_gets_remedies_that_meet_it() -> (
    None
):
    """At likely times the other sharing ends long before the limit; its P90 does not.

    The remedy that the plan names is carried out, and the plan made again.
    """
    lift = with_slow_days_on_the_rope()
    late = plan_with_limit(lift, minutes=2800.0, counts_from="stop")
    assert late.assignment.chosen_by == "mean"
    assert late.limit_met is False
    assert [item.key for item in late.remedies] == ["team"]
    like = next(
        team for team in lift.teams if team.id == late.remedies[0].values["team"]
    )
    more = replace(
        lift,
        teams=(*lift.teams, replace(like, id="One more")),
        kits=(
            *lift.kits,
            *(
                replace(kit, id=f"{kit.id} more", team="One more")
                for kit in lift.kits
                if kit.team == like.id
            ),
        ),
    )
    helped = plan_with_limit(more, minutes=2800.0, counts_from="stop")
    assert helped.limit_met is True


def test_a_plan_by_mean_times_that_nothing_helps_says_so() -> None:
    late = plan_with_limit(
        with_slow_days_on_the_rope(), minutes=600.0, counts_from="stop"
    )
    assert late.assignment.chosen_by == "mean"
    assert "assignment.no_remedy" in {item.key for item in late.findings}


def test_a_limit_from_the_order_gets_the_remedies_of_the_same_limit_from_the_stop() -> (
    None
):
    lift = make_lift()
    order_min = lift.organisation.stop_to_order_s.likely / 60.0
    by_stop = plan_with_limit(lift, minutes=1800.0, counts_from="stop")
    by_order = plan_with_limit(lift, minutes=1800.0 - order_min, counts_from="order")
    assert by_order.limit_met is by_stop.limit_met is False
    assert by_order.remedies
    assert by_order.remedies == by_stop.remedies


def test_a_limit_in_safety_that_nothing_drives_to_leaves_the_plan_standing() -> None:
    """Without vehicle and shelter nobody knows when all are safe; no sharing helps."""
    lift = make_lift()
    points = tuple(
        replace(point, shelter_places=0, vehicle_seats=0)
        for point in lift.muster_points
    )
    limits = tuple(replace(limit, counts_to="in safety") for limit in lift.limits)
    plan = make_plan(replace(lift, muster_points=points, limits=limits), date=DAY)
    assert plan.limit_met is False
    assert plan.remedies == ()
    assert "muster.no_vehicle" in {item.key for item in plan.findings}
