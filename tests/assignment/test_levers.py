"""Levers: what one change brings, over the same imagined days."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from builders import make_lift
from steady_plan import steady_plan

from evac import levers
from evac.access import open_ways
from evac.assignment.changes import Change
from evac.facts.change import Lever
from evac.facts.lift import Lift, Triple
from evac.facts.plan import Plan
from evac.facts.work import Zone
from evac.levers import find_levers
from evac.plan import make_plan
from evac.quantiles import quantile
from evac.simulation import clearing_seconds
from evac.words import Words


@cache
def planned() -> Plan:
    return make_plan(make_lift(limits=()), date=dt.date(2026, 1, 20), seed=3)


@cache
def found() -> dict[str, Lever]:
    return {item.key: item for item in find_levers(planned(), runs=1000).ranked}


def test_the_four_levers_are_there_ranked_by_what_they_gain() -> None:
    keys = set(found())
    assert {"team", "all_sooner", "batches"} <= keys
    gains = [item.gain_s for item in found().values()]
    assert gains == sorted(gains, reverse=True)


def test_a_lever_gains_at_p90_against_the_p90_that_the_plan_shows() -> None:
    # Both are days that were drawn, not something between two of them.
    days_s = planned().simulation.order_to_clear_s[:1000]
    for item in found().values():
        p90_s = item.p90_s + item.p90_gain_s
        assert p90_s == pytest.approx(quantile(days_s, 0.9), abs=1e-6)


def _named(kind: str, lift: Lift) -> Change:
    return Change(kind=kind, values={}, amount=0.0, cost=None, apply=lambda _: lift)


def test_ten_minutes_sooner_gain_at_most_ten_minutes_and_half_the_people_more() -> None:
    sooner = found()["all_sooner"]
    assert sooner.gain_s > 0
    # The best sharing at likely times may change too; then a day may gain more. With
    # the plan's own zones no day can gain more than what everybody is sooner.
    if sooner.gain_s > 600:
        changed = levers._all_sooner(planned().lift)
        again = levers._ready(
            planned(),
            _named("all_sooner", changed),
            open_ways(changed, planned().heights.line),
        )
        assert again.assignment.zones != planned().assignment.zones
    assert found()["batches"].gain_s > 0


def test_no_lever_secures_the_line_at_once_or_sends_a_team_before_the_order() -> None:
    # Rule 2: locking and tagging the drive is work; the folder says how quick at best.
    lift = make_lift()
    secured = Triple(low=480.0, likely=600.0, high=1080.0)
    slow = replace(lift.organisation, order_to_secured_s=secured)
    changed = levers._all_sooner(replace(lift, organisation=slow))
    # By hand: 600 - 600 and 1080 - 600 are no more than the quickest, 480.
    assert changed.organisation.order_to_secured_s == Triple(
        low=480.0, likely=480.0, high=480.0
    )
    assert all(team.ready_s >= 0 for team in changed.teams)
    least_s = planned().lift.organisation.order_to_secured_s.low
    assert found()["all_sooner"].values["least_s"] == least_s > 0


def test_no_lever_that_only_helps_is_shown_as_harm() -> None:
    # With the zones as they are, ten minutes sooner, half the people or another kit
    # cannot end later on any day; so neither may the better of both plans, on average.
    for item in found().values():
        assert item.gain_s >= -1e-6


def test_no_lever_that_only_helps_harms_a_plan_that_is_shared_out_by_mean_times() -> (
    None
):
    # Shared out by likely times, the teams would go on the rope, whose hard days are
    # long: every lever would then look as if it harmed.
    plan = steady_plan()
    by_kind = {item.key: item for item in find_levers(plan, runs=500).ranked}
    assert by_kind["all_sooner"].gain_s > 0
    assert by_kind["batches"].gain_s > 0
    assert all(item.gain_s >= -1e-6 for item in by_kind.values())


def test_a_change_that_changes_nothing_is_shared_out_as_the_plan_was() -> None:
    for plan in (planned(), steady_plan()):
        ways_in = open_ways(plan.lift, plan.heights.line)
        again = levers._ready(plan, _named("batches", plan.lift), ways_in).assignment
        assert [_who_does_what(zone) for zone in again.zones] == [
            _who_does_what(zone) for zone in plan.assignment.zones
        ]


def _who_does_what(zone: Zone) -> tuple[object, ...]:
    return (zone.option, zone.first_span, zone.last_span, zone.sides)


def test_the_interval_holds_the_mean_of_ten_times_as_many_days() -> None:
    # Over ten times the days the mean must lie near the interval of the few: within
    # two of its half widths (a 95 % interval is missed by that much 1 time in 10,000).
    many = {item.key: item for item in find_levers(planned(), runs=10_000).ranked}
    for key, few in found().items():
        half_s = (few.gain_interval_s[1] - few.gain_interval_s[0]) / 2
        assert abs(many[key].gain_s - few.gain_s) <= 2 * half_s + 1e-6


def test_a_change_that_changes_nothing_gains_exactly_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # The same draws with and without: not one day may differ.
    monkeypatch.setattr(levers, "_half_empty", lambda lift: lift)
    levers_found = find_levers(planned(), runs=500).ranked
    nothing = {item.key: item for item in levers_found}["batches"]
    assert nothing.gain_s == 0.0
    assert nothing.gain_interval_s == (0.0, 0.0)
    assert nothing.p90_gain_s == 0.0


def test_paired_days_tell_more_than_separate_ones() -> None:
    # The interval of unpaired runs would follow from the spread of a clearing time.
    spread_s = float(np.std(planned().simulation.order_to_clear_s))
    unpaired_s = 1.96 * spread_s * np.sqrt(2 / 1000)
    low_s, high_s = found()["all_sooner"].gain_interval_s
    assert (high_s - low_s) / 2 < unpaired_s / 2


def test_an_empty_descending_side_stays_as_it_is_under_batches() -> None:
    lift = replace(
        planned().lift, descending_occupancy=Triple(low=0.0, likely=0.0, high=0.0)
    )
    halved = levers._half_empty(lift)
    assert halved.descending_occupancy == lift.descending_occupancy
    assert halved.occupancy.high == lift.occupancy.high / 2


def test_where_no_team_has_a_zone_there_is_no_lever() -> None:
    nobody = replace(planned().assignment, zones=())
    assert find_levers(replace(planned(), assignment=nobody)).ranked == ()


def test_every_lever_has_its_sentence() -> None:
    words = Words()
    for item in found().values():
        assert words.say(f"lever.{item.key}", **item.values)


def test_what_the_effort_does_not_allow_is_counted_and_not_shown() -> None:
    # Counted in work, not by the clock: the same folder gives the same papers.
    all_of_them = find_levers(planned(), runs=200, effort=1000.0)
    assert all_of_them.untried == 0
    few = find_levers(planned(), runs=200, effort=2.5)
    assert len(few.ranked) == 2
    assert few.untried > 0
    assert few == find_levers(planned(), runs=200, effort=2.5)


def test_the_plan_carries_its_levers_and_a_branch_for_every_team_with_a_zone() -> None:
    plan = planned()
    assert plan.levers is not None
    assert plan.branches is not None
    assert plan.levers == find_levers(plan)
    teams = [zone.team for zone in plan.assignment.zones]
    assert [item.team for item in plan.branches.prepared] == teams
    assert plan.branches.untried == ()


def test_the_days_of_levers_and_branches_are_those_of_the_plan() -> None:
    # The plan's own days are taken over, not imagined again: they must be the same.
    plan = planned()
    again_s = clearing_seconds(
        plan.lift,
        plan.heights,
        plan.work,
        plan.assignment,
        runs=500,
        seed=plan.seed,
    )
    np.testing.assert_array_equal(again_s, plan.simulation.order_to_clear_s[:500])
