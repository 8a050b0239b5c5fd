"""Planning again from where the evacuation stands."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from builders import make_lift
from flat_chain import make_chain
from steady_plan import steady_plan

from evac.assignment import assign
from evac.clearing import make_schedule
from evac.daylight import by_night
from evac.errors import EvacError
from evac.facts.change import Replanned, Situation
from evac.facts.lift import Side, Triple
from evac.facts.plan import Plan
from evac.facts.work import NEVER_S, Rescue, Work
from evac.gear.budget import zone_energy_j
from evac.hazards import find_gates
from evac.heights.cuts import cut
from evac.plan import make_plan
from evac.ready import make_ready
from evac.replan import replan
from evac.simulation.days import draw_days
from evac.simulation.table import carrier_counts, make_items

DAY = dt.date(2026, 1, 20)


@cache
def ordered() -> Plan:
    return make_plan(make_lift(limits=()), date=DAY, seed=1)


@cache
def halved() -> Plan:
    """The same lift shared out with three of its spans cut in two."""
    plan = ordered()
    lift, heights = cut(plan.lift, plan.heights, cuts_m=(170.0, 287.0, 530.0))
    ready = make_ready(lift, heights, date=DAY)
    assignment = assign(ready.work)
    return replace(
        plan,
        lift=lift,
        heights=heights,
        gates=ready.gates,
        routes=ready.routes,
        work=ready.work,
        assignment=assignment,
        schedule=make_schedule(
            lift, heights, ready.work, assignment, gates=ready.gates
        ),
    )


def turns(team: str) -> list[Rescue]:
    found = [rescue for rescue in ordered().schedule.rescues if rescue.team == team]
    return sorted(found, key=lambda rescue: rescue.order)


def carriers(found: Replanned) -> set[tuple[Side, float]]:
    return {(rescue.side, rescue.distance_m) for rescue in found.schedule.rescues}


def test_at_the_order_the_rest_is_the_plan_itself() -> None:
    found = replan(ordered(), Situation(now_s=0.0))
    assert found.kept
    assert len(found.schedule.rescues) == len(ordered().schedule.rescues)
    # One stop position instead of the worst of the grid: never later.
    assert found.assignment.objectives[1] <= ordered().assignment.objectives[1]
    # The schedule's own arithmetic is not rounded: within a second a step.
    assert found.schedule.clear_s == pytest.approx(ordered().schedule.clear_s, abs=120)


def holders(work: Work) -> dict[str, str]:
    return {option.kit: work.team_ids[option.team_index] for option in work.options}


def test_a_spare_that_a_missing_team_took_along_is_missing_too() -> None:
    lift = make_lift(limits=())
    loop = lift.kits[0].technique
    kits = tuple(
        replace(kit, team=None) if kit.technique == loop else kit for kit in lift.kits
    )
    plan = make_plan(replace(lift, kits=kits), date=DAY, seed=1)
    planned = holders(plan.work)
    assert {"Kit 1", "Kit 2", "Kit 3"} <= planned.keys()
    for missing in sorted(set(planned.values())):
        found = replan(plan, Situation(now_s=900.0, missing_teams=(missing,)))
        left = {kit: team for kit, team in planned.items() if team != missing}
        assert holders(found.work) == left


def test_cleared_carriers_are_gone_and_no_other_is() -> None:
    team = ordered().assignment.zones[0].team
    first = turns(team)[:2]
    found = replan(
        ordered(),
        Situation(now_s=first[-1].finish_s, cleared={team: 2}),
    )
    before = {(r.side, r.distance_m) for r in ordered().schedule.rescues}
    assert before - carriers(found) == {(r.side, r.distance_m) for r in first}
    assert carriers(found) <= before


def test_on_time_the_rest_ends_about_when_the_plan_said() -> None:
    # Set-ups of the spans in work are counted again; nothing else may be added.
    now_s = max(turns(z.team)[1].finish_s for z in ordered().assignment.zones)
    cleared = {
        zone.team: sum(rescue.finish_s <= now_s for rescue in turns(zone.team))
        for zone in ordered().assignment.zones
    }
    in_hand = {
        team: turns(team)[count].finish_s - now_s
        for team, count in cleared.items()
        if count < len(turns(team))
    }
    found = replan(
        ordered(), Situation(now_s=now_s, cleared=cleared, in_hand_s=in_hand)
    )
    assert found.kept_s == pytest.approx(ordered().schedule.clear_s, abs=15 * 60)
    assert all(zone.start_s >= now_s for zone in found.assignment.zones)


@pytest.mark.parametrize("count", [0, 1, 2, 4, 6])
def test_people_stay_in_the_carrier_where_the_plan_counted_them(count: int) -> None:
    cleared = {
        zone.team: min(count, len(turns(zone.team)))
        for zone in ordered().assignment.zones
    }
    found = replan(ordered(), Situation(now_s=3600.0, cleared=cleared))
    gone = {
        (rescue.side, rescue.distance_m)
        for team, number in cleared.items()
        for rescue in turns(team)[:number]
    }
    left = {
        (rescue.side, rescue.distance_m): rescue.people
        for rescue in ordered().schedule.rescues
        if (rescue.side, rescue.distance_m) not in gone
    }
    now = {(r.side, r.distance_m): r.people for r in found.schedule.rescues}
    assert now == left
    assert found.people_left == sum(left.values())


def test_a_descender_has_lowered_whom_it_lowered() -> None:
    # EN 341: W = m g h n; the class is for the descender's life, not for the order.
    plan = ordered()
    zone = max(plan.assignment.zones, key=lambda zone: zone.people)
    kits = tuple(
        replace(kit, descent_energy_j=1e9) if kit.id == zone.option.kit else kit
        for kit in plan.lift.kits
    )
    plan = replace(plan, lift=replace(plan.lift, kits=kits))
    done = [rescue for rescue in turns(zone.team) if rescue.people][:3]
    count = turns(zone.team).index(done[-1]) + 1
    at = Situation(now_s=3600.0, cleared={zone.team: count})
    found = replan(plan, at, threshold_s=1e9)
    (kit,) = [k for k in found.lift.kits if k.id == zone.option.kit]
    (rest,) = [item for item in found.assignment.zones if item.team == zone.team]
    people = sum(rescue.people for rescue in done)
    least_j = (
        plan.lift.carriers.passenger_mass_kg
        * 9.80665
        * sum(
            rescue.people
            * (rescue.rope_height_m - plan.lift.carriers.rope_to_descender_m)
            for rescue in done
        )
    )
    assert people > 0
    assert kit.descent_used_j >= least_j
    assert kit.descent_used_j < 3 * least_j
    # Enough is left for a span, not for the rest of the zone: that is told.
    rest_j = zone_energy_j(found.lift, found.heights, rest)
    worn = tuple(
        replace(k, descent_energy_j=kit.descent_used_j + 0.9 * rest_j)
        if k.id == zone.option.kit
        else k
        for k in kits
    )
    spent = replan(
        replace(plan, lift=replace(plan.lift, kits=worn)), at, threshold_s=1e9
    )
    assert [f.key for f in spent.findings if f.where == zone.team] == [
        "gear.energy_over"
    ]


@pytest.mark.parametrize("drive_at_last", [False, True])
def test_those_who_still_hang_have_draws_of_their_own(*, drive_at_last: bool) -> None:
    # Cleared carriers are gaps in the row: counted by columns, the last ones would
    # read draws of the other side or beyond all.
    plan = replace(ordered(), lift=replace(ordered().lift, drive_at_last=drive_at_last))
    cleared = {zone.team: 3 for zone in plan.assignment.zones}
    found = replan(plan, Situation(now_s=3600.0, cleared=cleared))
    items = make_items(
        found.lift,
        found.heights,
        found.work,
        found.assignment,
        gates=find_gates(found.lift, found.heights.line),
    )
    counts = carrier_counts(found.heights)
    rows = items.row[items.is_carrier]
    assert rows.min() >= 0
    assert rows.max() < sum(counts.values())
    assert len(set(rows.tolist())) == rows.size
    by_side = [int((rows < counts[Side.ASCENDING]).sum())]
    by_side.append(rows.size - by_side[0])
    for side, number in zip((Side.ASCENDING, Side.DESCENDING), by_side, strict=True):
        assert number == sum(r.side is side for r in found.schedule.rescues)


def test_a_descender_has_to_last_for_those_who_still_hang_only() -> None:
    plan = ordered()
    zone = max(plan.assignment.zones, key=lambda zone: zone.people)
    count = len(turns(zone.team)) - 1
    at = Situation(now_s=3600.0, cleared={zone.team: count})
    found = replan(plan, at, threshold_s=1e9)
    (rest,) = [item for item in found.assignment.zones if item.team == zone.team]
    (kit,) = [k for k in found.lift.kits if k.id == zone.option.kit]
    enough_j = kit.descent_used_j + 1.05 * zone_energy_j(
        found.lift, found.heights, rest
    )
    kits = tuple(
        replace(k, descent_energy_j=enough_j) if k.id == kit.id else k
        for k in plan.lift.kits
    )
    left = replan(
        replace(plan, lift=replace(plan.lift, kits=kits)), at, threshold_s=1e9
    )
    assert left.kept
    assert left.kept_uncovered == found.kept_uncovered
    assert [item.team for item in left.assignment.zones] == [
        item.team for item in found.assignment.zones
    ]


def test_time_that_has_passed_is_not_drawn() -> None:
    # A team that is free now begins no day before now.
    plan = ordered()
    zone = plan.assignment.zones[0]
    at = Situation(now_s=6000.0, cleared={zone.team: 2})
    found = replan(plan, at)
    days = draw_days(
        found.lift,
        found.work,
        found.assignment,
        gates=find_gates(found.lift, found.heights.line),
        stops=1,
        runs=500,
        seed=1,
        notice_s={},
        together=True,
        now_s=at.now_s,
    )
    assert days.start_s.min() >= at.now_s


def test_a_team_in_its_span_does_not_walk_back_to_go_on() -> None:
    zone = max(ordered().assignment.zones, key=lambda zone: len(turns(zone.team)))
    done = turns(zone.team)
    later = [
        n
        for n, rescue in enumerate(done)
        if n and rescue.span_index == done[0].span_index
    ]
    count = later[-1] + 1 if later else 1
    now_s = done[count - 1].finish_s
    found = replan(
        ordered(),
        Situation(now_s=now_s, cleared={zone.team: count}),
        threshold_s=1e9,
    )
    (rest,) = [item for item in found.assignment.zones if item.team == zone.team]
    assert rest.arrival_s <= np.ceil(now_s)


@cache
def flat(*, snow_m: float, teams: int) -> Plan:
    """A line with one rope height: one team for both sides, or one for each."""
    lift = make_lift(limits=())
    conditions = replace(lift.conditions, snow_least_m=snow_m, snow_most_m=snow_m)
    lift, heights, work, _ = make_chain(
        replace(lift, teams=lift.teams[:teams], conditions=conditions)
    )
    own = work.valid.copy()
    if teams > 1:
        for side in (0, 1):
            own[work.option_team != side, side] = False
    gates = find_gates(lift, heights.line)
    assignment = assign(replace(work, valid=own))
    return replace(
        ordered(),
        lift=lift,
        heights=heights,
        gates=gates,
        work=work,
        assignment=assignment,
        schedule=make_schedule(lift, heights, work, assignment, gates=gates),
    )


def test_a_team_between_the_sides_of_a_span_still_walks_back() -> None:
    # Rule 18, common practice, no source: both sides are worked in one direction, so
    # who has done one stands at its far end.
    # In deep snow the way back takes longer than all else between two carriers.
    plan = flat(snow_m=0.6, teams=1)
    (zone,) = plan.assignment.zones
    done = sorted(plan.schedule.rescues, key=lambda rescue: rescue.order)
    walk_back_s = plan.work.walk_back_s[zone.option.index]
    turned = [
        n
        for n in range(1, len(done))
        if done[n].span_index == done[n - 1].span_index
        and done[n].side is not done[n - 1].side
    ]
    assert len(turned) > 2
    for count in turned[:3]:
        now_s = done[count - 1].finish_s
        at = Situation(now_s=now_s, cleared={zone.team: count})
        found = replan(plan, at, threshold_s=1e9)
        assert walk_back_s[done[count].span_index] > 1000
        assert found.schedule.rescues[0].finish_s >= done[count].finish_s - 1
        assert found.schedule.clear_s >= plan.schedule.clear_s - 1
        # Nor is the way counted twice; the change of side may be, and the set-up.
        assert found.schedule.clear_s <= plan.schedule.clear_s + 600


def test_who_has_done_its_one_side_of_a_span_goes_on_past_its_support() -> None:
    # The other side of the span is somebody else's: no way back to it.
    plan = flat(snow_m=0.6, teams=2)
    assert [len(zone.sides) for zone in plan.assignment.zones] == [1, 1]
    for zone in plan.assignment.zones:
        done = sorted(
            (rescue for rescue in plan.schedule.rescues if rescue.team == zone.team),
            key=lambda rescue: rescue.order,
        )
        count = next(
            n
            for n in range(1, len(done))
            if done[n].span_index != done[n - 1].span_index
        )
        now_s = done[count - 1].finish_s
        at = Situation(now_s=now_s, cleared={zone.team: count})
        found = replan(plan, at, threshold_s=1e9)
        first_s = min(
            rescue.start_s
            for rescue in found.schedule.rescues
            if rescue.team == zone.team
        )
        # The crossing may have done part of the set-up, which is counted again.
        assert first_s == pytest.approx(done[count].start_s, abs=300)


def test_everything_cleared_leaves_nothing_to_do() -> None:
    cleared = {zone.team: len(turns(zone.team)) for zone in ordered().assignment.zones}
    found = replan(ordered(), Situation(now_s=20_000.0, cleared=cleared))
    assert found.people_left == 0
    assert found.schedule.rescues == ()
    assert found.assignment.uncovered == ()


def test_a_missing_team_s_carriers_go_to_others_or_are_named() -> None:
    for zone in ordered().assignment.zones:
        found = replan(ordered(), Situation(now_s=900.0, missing_teams=(zone.team,)))
        assert zone.team not in {item.team for item in found.assignment.zones}
        assert found.assignment.objectives[0] <= found.kept_uncovered
        assert found.kept_uncovered > 0
        named = {(u.side, u.span_index) for u in found.assignment.uncovered}
        before = {(r.side, r.distance_m) for r in ordered().schedule.rescues}
        spans = {
            (r.side, r.distance_m): r.span_index for r in ordered().schedule.rescues
        }
        for side, distance_m in before - carriers(found):
            assert (side, spans[side, distance_m]) in named


def test_a_doubtful_support_closes_both_its_spans() -> None:
    # Rule 9 of the trade: common practice, no source.
    found = replan(ordered(), Situation(now_s=900.0, doubtful_supports=("2",)))
    named = {
        (item.side, item.span_index, item.reason) for item in found.assignment.uncovered
    }
    assert named >= {
        (side, span, "assignment.reason.unknown") for side in Side for span in (1, 2)
    }
    assert not {r.span_index for r in found.schedule.rescues} & {1, 2}
    # And what to do there is told at once: the rope is secured to the support first.
    told = [item for item in found.findings if item.key == "heights.doubtful_support"]
    assert [item.values["support"] for item in told] == ["2"]


def test_of_a_cut_span_beside_a_doubtful_support_no_part_is_known() -> None:
    # A cut is a mark and holds nothing up: rule 9 closes both whole spans.
    plan = halved()
    assert sum(support.mark for support in plan.lift.supports) == 3
    stands = ordered().lift.supports
    places = [support.distance_m for support in stands]
    for number, support in enumerate(stands):
        found = replan(plan, Situation(now_s=900.0, doubtful_supports=(support.id,)))
        low_m = places[max(number - 1, 0)]
        high_m = places[min(number + 1, len(places) - 1)]
        closed = {
            span.index
            for span in plan.heights.line.spans
            if span.start_m < high_m and span.end_m > low_m
        }
        for unit in found.heights.units:
            assert unit.known == (unit.span_index not in closed)
            assert unit.reason == ("doubtful" if unit.span_index in closed else "")
        assert not {r.span_index for r in found.schedule.rescues} & closed
        assert {u.span_index for u in found.assignment.uncovered} >= closed


def test_a_team_that_stays_in_its_zone_keeps_its_kit() -> None:
    # At likely times the rope would be quicker: a team at the loop is not told so, and
    # a plan in which nothing changed stays what it is, whatever it was shared out by.
    plan = steady_plan()
    found = replan(plan, Situation(now_s=0.0))
    assert found.kept
    assert found.assignment.chosen_by == "mean"
    assert found.kept_s - found.moved_s <= 60
    kits = {zone.team: zone.option.kit for zone in plan.assignment.zones}
    assert {zone.team: zone.option.kit for zone in found.assignment.zones} == kits


def test_a_mark_is_no_support_that_could_be_in_doubt() -> None:
    with pytest.raises(EvacError) as refused:
        replan(halved(), Situation(now_s=0.0, doubtful_supports=("mark 170 m",)))
    assert str(refused.value) == (
        "the plan has no support mark 170 m; it has 0, 1, 2, 3, 4, 5"
    )


def test_a_gate_that_stays_shut_leaves_its_spans_and_a_later_one_delays_them() -> None:
    gated = {
        (gate.side, gate.span_index) for gate in ordered().gates if gate.hazard_ids
    }
    assert gated
    shut = replan(ordered(), Situation(now_s=0.0, gates_open_s={"road": NEVER_S}))
    assert gated <= {(u.side, u.span_index) for u in shut.assignment.uncovered}
    late = replan(ordered(), Situation(now_s=0.0, gates_open_s={"road": 9000.0}))
    for rescue in late.schedule.rescues:
        if (rescue.side, rescue.span_index) in gated:
            assert rescue.start_s >= 9000.0


def test_who_lowers_has_heard_line_secured() -> None:
    # Rule 2: lowering begins after it, so no later day may draw it again.
    team = ordered().assignment.zones[0].team
    now_s = turns(team)[0].finish_s
    found = replan(ordered(), Situation(now_s=now_s, cleared={team: 1}))
    secured = found.lift.organisation.order_to_secured_s
    assert (secured.low, secured.likely, secured.high) == (now_s, now_s, now_s)
    waiting = replan(ordered(), Situation(now_s=60.0))
    assert (
        waiting.lift.organisation.order_to_secured_s
        == ordered().lift.organisation.order_to_secured_s
    )


def test_darkness_makes_it_later() -> None:
    day = replan(ordered(), Situation(now_s=0.0))
    night = replan(ordered(), Situation(now_s=0.0, dark=True))
    assert night.moved_s > day.moved_s


def test_dark_from_now_on_makes_only_what_is_left_of_a_way_longer() -> None:
    # Rule 27: 1.3 times as long in the dark (common practice, no source).
    plan = flat(snow_m=0.6, teams=1)
    (zone,) = plan.assignment.zones
    ready_s = plan.lift.teams[0].ready_s
    moments_s = [0.0, 0.5 * ready_s, ready_s + 10, 1.3 * ready_s - 5]
    moments_s += [1.3 * ready_s + 5, zone.arrival_s - 100.0, zone.arrival_s + 100.0]
    for now_s in moments_s:
        found = replan(plan, Situation(now_s=now_s, dark=True), threshold_s=1e9)
        (sent,) = found.assignment.zones
        left_s = max(zone.arrival_s - now_s, 0.0)
        # Every way is rounded up to a second.
        assert sent.arrival_s == pytest.approx(now_s + 1.3 * left_s, abs=3)


def test_what_was_open_before_it_got_dark_stays_open() -> None:
    plan = flat(snow_m=0.0, teams=1)
    opens_s = Triple(low=1500.0, likely=1800.0, high=2400.0)
    hazards = tuple(replace(item, opens_s=opens_s) for item in plan.lift.hazards)
    plan = replace(plan, lift=replace(plan.lift, hazards=hazards))
    found = replan(plan, Situation(now_s=2000.0, dark=True))
    assert [item.opens_s for item in found.lift.hazards] == [
        Triple(low=1500.0, likely=1800.0, high=2000.0 + 1.3 * 400.0)
    ]
    # Line secured after 10 minutes, which are long past.
    assert (
        found.lift.organisation.order_to_secured_s
        == plan.lift.organisation.order_to_secured_s
    )


def test_a_plan_for_the_night_gets_no_later_by_being_told_it_is_dark() -> None:
    lift = ordered().lift
    night = replace(lift, conditions=replace(lift.conditions, night=True))
    plan = replace(flat(snow_m=0.0, teams=1), lift=by_night(night))
    told, untold = (
        replan(plan, Situation(now_s=900.0, dark=dark)) for dark in (True, False)
    )
    assert told.lift == untold.lift


def test_zones_are_kept_unless_moving_gains_more_than_the_threshold() -> None:
    # One team has fallen far behind: the others have nothing left to do.
    slowest = max(ordered().assignment.zones, key=lambda zone: len(turns(zone.team)))
    cleared = {
        zone.team: len(turns(zone.team))
        for zone in ordered().assignment.zones
        if zone.team != slowest.team
    }
    at = Situation(now_s=9000.0, cleared=cleared)
    never = replan(ordered(), at, threshold_s=1e9)
    assert never.kept
    assert {zone.team for zone in never.assignment.zones} == {slowest.team}
    always = replan(ordered(), at, threshold_s=-1.0)
    assert always.assignment.objectives[1] == always.moved_s <= never.kept_s


@pytest.mark.parametrize(
    ("situation", "text"),
    [
        (
            Situation(now_s=0.0, missing_teams=("Team 9",)),
            "the plan has no team Team 9; it has Team 1, Team 2, Team 3",
        ),
        (
            Situation(now_s=0.0, gates_open_s={"river": 0.0}),
            "the plan has no hazard river; it has road",
        ),
        (
            Situation(now_s=0.0, missing_teams=("Team 1", "Team 2", "Team 3")),
            "every team is missing: there is nobody to plan with",
        ),
        (
            Situation(now_s=0.0, doubtful_supports=("9",)),
            "the plan has no support 9; it has 0, 1, 2, 3, 4, 5",
        ),
    ],
)
def test_a_situation_that_cannot_be_is_refused(situation: Situation, text: str) -> None:
    with pytest.raises(EvacError) as refused:
        replan(ordered(), situation)
    assert str(refused.value) == text


def test_more_cleared_than_hang_there_is_refused() -> None:
    zone = ordered().assignment.zones[0]
    count = len(turns(zone.team))
    with pytest.raises(EvacError) as refused:
        replan(ordered(), Situation(now_s=0.0, cleared={zone.team: count + 1}))
    assert str(refused.value) == (
        f"{zone.team} has {count} carriers in its zone at this stop and cannot have "
        f"cleared {count + 1}; count its tally again"
    )
