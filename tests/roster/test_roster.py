"""Who is on duty, with hours worked out by hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from builders import make_kits, make_lift
from flat_chain import make_chain

from evac.errors import NoPlanError
from evac.facts.finding import Severity
from evac.facts.lift import Lift
from evac.facts.plan import Plan
from evac.facts.work import LatestOrder
from evac.plan import make_plan
from evac.roster import doubts, hours_contain, on_duty, order_clock_s
from evac.timing.seconds import pause_s_per_passenger
from evac.words import Words

HOUR = 3600.0


def with_hours(team: str, from_h: float, to_h: float) -> Lift:
    lift = make_lift()
    teams = tuple(
        replace(item, duty_from_s=from_h * HOUR, duty_to_s=to_h * HOUR)
        if item.id == team
        else item
        for item in lift.teams
    )
    return replace(lift, teams=teams)


@pytest.mark.parametrize(
    ("from_h", "to_h", "at_h", "there"),
    [(8, 16, 8, True), (8, 16, 16, False), (22, 6, 1, True), (22, 6, 12, False)],
)
def test_duty_holds_its_first_moment_and_not_its_last(
    from_h: float, to_h: float, at_h: float, there: bool
) -> None:
    assert hours_contain(from_h * HOUR, to_h * HOUR, at_h * HOUR) is there
    # A clock time past midnight counts on: 25:00 is 01:00.
    assert hours_contain(from_h * HOUR, to_h * HOUR, (at_h + 24) * HOUR) is there


def test_a_team_that_is_not_on_duty_at_the_order_is_named_and_has_no_zone() -> None:
    order_h = order_clock_s(make_lift()) / HOUR
    lift = with_hours("Team 1", order_h + 1, order_h + 9)
    plan = make_plan(lift, date=dt.date(2026, 1, 20))
    assert "Team 1" not in {zone.team for zone in plan.assignment.zones}
    assert [team.id for team in plan.lift.off_duty] == ["Team 1"]
    finding = next(item for item in plan.findings if item.key == "roster.absent")
    text, remedy = Words().finding(finding)
    assert text.startswith("Team 1 is on duty from")
    assert "stop_time" in remedy


def test_the_same_lift_asked_for_another_hour_has_the_team_back() -> None:
    order_h = order_clock_s(make_lift()) / HOUR
    lift = on_duty(with_hours("Team 1", order_h + 1, order_h + 9))
    later = replace(
        lift,
        conditions=replace(
            lift.conditions, stop_clock_s=lift.conditions.stop_clock_s + 2 * HOUR
        ),
    )
    assert {team.id for team in on_duty(later).teams} == {
        team.id for team in make_lift().teams
    }


def test_an_hour_without_any_team_is_refused_with_what_to_correct() -> None:
    lift = make_lift()
    order_s = order_clock_s(lift)
    teams = tuple(
        replace(team, duty_from_s=order_s + HOUR, duty_to_s=order_s + 2 * HOUR)
        for team in lift.teams
    )
    with pytest.raises(NoPlanError, match="no team is on duty when the order comes"):
        on_duty(replace(lift, teams=teams))


def test_duty_that_ends_before_the_last_is_down_is_said() -> None:
    order_h = order_clock_s(make_lift()) / HOUR
    lift = on_duty(with_hours("Team 2", order_h - 4, order_h + 2))
    clear_s = {"Team 2": 1.5 * HOUR}
    assert doubts(lift, p90_s=1.9 * HOUR, clear_s=clear_s) == ()
    (finding,) = doubts(lift, p90_s=2.1 * HOUR, clear_s=clear_s)
    assert finding.key == "roster.leaves"
    assert finding.severity is Severity.WARN
    assert "judged as if the team stayed" in Words().finding(finding)[0]


def test_a_team_that_goes_home_before_its_own_zone_is_clear_stops_the_plan() -> None:
    # By hand: 2 h of duty left at the order, its own zone clear after 2.5 h at likely
    # times. The plan would count on a team that is gone on the usual day.
    order_h = order_clock_s(make_lift()) / HOUR
    lift = on_duty(with_hours("Team 2", order_h - 4, order_h + 2))
    (finding,) = doubts(lift, p90_s=3 * HOUR, clear_s={"Team 2": 2.5 * HOUR})
    assert (finding.key, finding.where) == ("roster.leaves_zone", "Team 2")
    assert finding.severity is Severity.STOP
    assert "a team that has gone home" in Words().finding(finding)[0]
    # Others are longer at it, but this one is not needed for that.
    assert doubts(lift, p90_s=1.9 * HOUR, clear_s={"Team 1": 1.9 * HOUR}) == ()


def test_duty_hours_are_counted_on_the_clock_of_a_night_of_clock_change() -> None:
    # 2027-10-31 in Zurich: clocks go back at 03:00. Ordered at 01:15, a duty that ends
    # at 04:00 has 3 h 45 left, not 2 h 45.
    lift = with_hours("Team 2", 20, 4)
    conditions = replace(
        lift.conditions, date=dt.date(2027, 10, 31), stop_clock_s=1 * HOUR
    )
    lift = on_duty(replace(lift, conditions=conditions))
    clear_s = {"Team 2": 1 * HOUR}
    assert doubts(lift, p90_s=3.7 * HOUR, clear_s=clear_s) == ()
    (finding,) = doubts(lift, p90_s=3.8 * HOUR, clear_s=clear_s)
    assert finding.key == "roster.leaves"


def test_duty_of_a_team_without_a_zone_may_end_when_it_will() -> None:
    # Nobody waits for a relief of a team that has nothing to do.
    order_h = order_clock_s(make_lift()) / HOUR
    lift = on_duty(with_hours("Team 2", order_h - 4, order_h + 2))
    assert doubts(lift, clear_s={"Team 1": HOUR}, p90_s=2.1 * HOUR) == ()


def test_duty_that_ends_too_soon_for_the_latest_order_is_said_with_that_hour() -> None:
    # By hand: ordered as planned 2 h are left of the duty, enough for a P90 of 1.5 h;
    # ordered an hour later they are not.
    order_s = order_clock_s(make_lift())
    lift = on_duty(with_hours("Team 2", order_s / HOUR - 4, order_s / HOUR + 2))

    def latest(*, later_s: float) -> LatestOrder:
        return LatestOrder(
            reason="dusk",
            after_stop_s=order_s + later_s - lift.conditions.stop_clock_s,
            clock_s=order_s + later_s,
            met=later_s >= 0,
            source="sun",
        )

    p90_s = 1.5 * HOUR
    assert (
        doubts(
            lift,
            p90_s=p90_s,
            clear_s={"Team 2": HOUR},
            latest=latest(later_s=0.4 * HOUR),
        )
        == ()
    )
    assert (
        doubts(
            lift,
            p90_s=p90_s,
            clear_s={"Team 2": HOUR},
            latest=latest(later_s=-3 * HOUR),
        )
        == ()
    )
    (finding,) = doubts(
        lift, p90_s=p90_s, clear_s={"Team 2": HOUR}, latest=latest(later_s=1 * HOUR)
    )
    assert finding.key == "roster.leaves_latest"
    text, remedy = Words().finding(finding)
    assert Words().clock_time(order_s + HOUR) in text
    # Half an hour after the planned order 1.5 h are left.
    assert Words().clock_time(order_s + 0.5 * HOUR) in remedy


def test_the_plan_asks_rosters_for_its_own_latest_order(demo_plan: Plan) -> None:
    binding, p90_s = demo_plan.clock.binding, demo_plan.simulation.p90_s
    assert binding is not None
    order_s = order_clock_s(demo_plan.lift)
    assert binding.clock_s > order_s + 120
    first, *others = demo_plan.lift.teams
    # Two minutes to spare as planned, none at the latest order.
    watch = replace(first, duty_from_s=6 * HOUR, duty_to_s=order_s + p90_s + 120)
    plan = make_plan(
        replace(demo_plan.lift, teams=(watch, *others)), date=demo_plan.date
    )
    said = {item.key: item for item in plan.findings}
    assert said["roster.leaves_latest"].where == watch.id
    assert "roster.leaves" not in said


def test_a_descender_that_must_cool_makes_the_work_longer_by_its_pauses() -> None:
    # By hand: 12 min after every 10 descents are 72 s a passenger.
    kits = tuple(replace(kit, pause_after=10, pause_s=720.0) for kit in make_kits())
    assert pause_s_per_passenger(kits[0]) == 72.0
    assert pause_s_per_passenger(make_kits()[0]) == 0.0
    lift, _, before, _ = make_chain()
    _, _, after, _ = make_chain(replace(lift, kits=kits))
    # Whole seconds and 72 is whole: each stop's work grows by 72 s a person in it.
    grown = (after.work_s - before.work_s)[before.valid]
    assert grown.min() >= 0
    assert set((grown % 72).ravel().tolist()) == {0}
    assert grown.max() > 0
