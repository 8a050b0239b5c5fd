"""The schedule agrees with the work table it was made from, and loses nobody."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from builders import make_lift
from flat_chain import Chain, make_chain

from evac import gear
from evac.assignment.costs import legs, units_in_order
from evac.clearing import make_schedule, passage_doubts, turns
from evac.errors import NoPlanError
from evac.facts.lift import Lift, Side
from evac.gear.reach import unit_rope_needed_m

SIDES = (Side.ASCENDING, Side.DESCENDING)


@pytest.fixture(scope="module")
def chain() -> Chain:
    return make_chain(make_lift())


@pytest.mark.parametrize("stop_index", [0, 1, 2, 3])
def test_every_carrier_of_the_line_is_in_the_schedule_once(
    chain: Chain, stop_index: int
) -> None:
    lift, heights, work, assignment = chain
    assert not assignment.uncovered
    schedule = make_schedule(lift, heights, work, assignment, stop_index=stop_index)
    planned = sorted((item.side, item.distance_m) for item in schedule.rescues)
    standing = sorted(
        (side, float(where))
        for side in SIDES
        for where in heights.stops.distance_m[side][stop_index]
        if not math.isnan(where)
    )
    assert planned == standing


@pytest.mark.parametrize("stop_index", [0, 1, 2, 3])
def test_a_units_seconds_round_up_to_the_work_table(
    chain: Chain, stop_index: int
) -> None:
    # The work table is built by evac.timing, whole units at once; the schedule adds
    # carrier after carrier. Both must say the same second.
    lift, heights, work, assignment = chain
    schedule = make_schedule(lift, heights, work, assignment, stop_index=stop_index)
    for zone in assignment.zones:
        for turn in turns(lift, heights, work, zone):
            mine = [
                item
                for item in schedule.rescues
                if (item.side, item.span_index) == (turn.side, turn.span_index)
            ]
            begun = mine[0].start_s - turn.set_up.likely
            spent = mine[-1].finish_s - begun
            row = [option.index for option in work.options].index(zone.option.index)
            side = SIDES.index(turn.side)
            table = work.work_s[row, side, turn.span_index, stop_index]
            leg = next(
                item
                for item in legs(work, zone)
                if (item.side, item.span_index) == (turn.side, turn.span_index)
            )
            # A rescuer who crossed by going down and up is up already.
            spared = 0 if leg.spares_at is None else work.spared_s[row, leg.spares_at]
            assert math.ceil(spent - 1e-6) == table - spared


def test_zones_end_as_the_assignment_says_at_the_longest_stop(chain: Chain) -> None:
    lift, heights, work, assignment = chain
    schedules = [
        make_schedule(lift, heights, work, assignment, stop_index=stop)
        for stop in range(4)
    ]
    for zone in assignment.zones:
        longest = max(
            item.finish_s
            for schedule in schedules
            for item in schedule.rescues
            if item.team == zone.team
        )
        # Every unit, crossing, change of side and way back: rounded up by under 1 s.
        steps = 4 * len(units_in_order(work, zone))
        assert zone.finish_s - steps <= longest <= zone.finish_s


def test_one_team_works_one_carrier_at_a_time_in_one_direction(chain: Chain) -> None:
    lift, heights, work, assignment = chain
    schedule = make_schedule(lift, heights, work, assignment)
    for zone in assignment.zones:
        mine = [item for item in schedule.rescues if item.team == zone.team]
        assert [item.order for item in mine] == list(range(1, len(mine) + 1))
        for before, after in pairwise(mine):
            assert before.finish_s <= after.start_s
        assert all(item.finish_s > item.start_s for item in mine)
        # Downhill: every team of this lift starts at the upper end, the last support.
        for side in zone.sides:
            where = [item.distance_m for item in mine if item.side is side]
            assert where == sorted(where, reverse=True)


def alone(lift: Lift) -> Lift:
    """One team that works from the ground, so that it takes both sides."""
    return replace(lift, teams=lift.teams[1:2], kits=lift.kits[1:2])


def test_a_team_on_both_sides_goes_back_along_each_span() -> None:
    # Common practice, no source (rules 17 and 18): downhill on the one side, back up,
    # downhill on the other. By hand from the table, deep snow: 120 s change of side,
    # 300 s for every 20 m uphill on the ground between the supports, longer here than
    # the walking rule, then the set-up.
    lift, heights, work, assignment = make_chain(alone(make_lift()))
    assert lift.conditions.snow_most_m >= 0.5
    assert lift.teams[0].start_upper
    (zone,) = assignment.zones
    assert len(zone.sides) == 2
    rescues = make_schedule(lift, heights, work, assignment).rescues
    set_up_s = {
        (turn.side, turn.span_index): turn.set_up.likely
        for turn in turns(lift, heights, work, zone)
    }
    checked = 0
    for before, after in pairwise(rescues):
        if before.side is after.side or before.span_index != after.span_index:
            continue
        span = heights.line.spans[after.span_index]
        near, far = heights.line.supports[span.index : span.index + 2]
        rise_m = far.ground_m - near.ground_m
        length_m = math.hypot(span.end_m - span.start_m, rise_m)
        gap_s = after.start_s - before.finish_s - set_up_s[after.side, after.span_index]
        assert gap_s == pytest.approx(120 + 300 * length_m / 20)
        assert after.distance_m - before.distance_m <= length_m
        checked += 1
    assert checked >= 4
    (told,) = passage_doubts(lift, heights.line, work, assignment)
    assert told.key == "clearing.walks_back"
    assert told.values["count"] == len(heights.line.spans)
    back_s = work.walk_back_s[zone.option.index].sum()
    assert told.values["walk_s"] == back_s


def test_nobody_is_scheduled_before_the_line_is_secured(chain: Chain) -> None:
    lift = chain[0]
    slow = replace(
        lift.organisation,
        order_to_secured_s=replace(
            lift.organisation.order_to_secured_s, low=7000.0, likely=7200.0, high=7800.0
        ),
    )
    late = make_chain(replace(lift, organisation=slow))
    schedule = make_schedule(*late)
    assert min(item.start_s for item in schedule.rescues) >= 7200.0


def test_rope_needed_is_that_of_the_gear_step_with_the_margin(chain: Chain) -> None:
    # By hand for the loop (rule 13) at 10 m: (2 * 10 + 7 + 3 + 3) * 1.03 + 3 = 36.99.
    lift, heights, work, assignment = chain
    schedule = make_schedule(lift, heights, work, assignment)
    loops = {
        zone.team
        for zone in assignment.zones
        if zone.option.technique.startswith("loop")
    }
    needed = {
        round(item.rope_needed_m, 2) for item in schedule.rescues if item.team in loops
    }
    assert needed == {36.99}


def test_rope_needed_counts_from_the_stance_at_the_carriers_own_place() -> None:
    # The ground falls away beside the line: the lowest of it within the belayer's
    # radius lies 4 m below the rope's ground at the first station, 0.01 m more every
    # metre. By hand for the loop (rule 13) at a stance of h m with 0.5 m of margin:
    # (2 * (h + 0.5) + 7 + 3 + 3) * 1.03 + 3.
    lift, flat, work, assignment = make_chain()
    distance_m = flat.envelopes[Side.ASCENDING].distance_m
    fallen_m = 14.0 + 0.01 * distance_m
    heights = replace(
        flat,
        envelopes={
            side: replace(
                envelope,
                stance_greatest_m=fallen_m,
                margin_m=np.full(distance_m.size, 0.5),
            )
            for side, envelope in flat.envelopes.items()
        },
        units=tuple(
            replace(
                unit,
                margin_m=0.5,
                stance_greatest_m=14.0 + 0.01 * flat.line.spans[unit.span_index].end_m,
            )
            for unit in flat.units
        ),
    )
    units = {(unit.side, unit.span_index): unit for unit in heights.units}
    option = {zone.team: zone.option for zone in assignment.zones}
    schedule = make_schedule(lift, heights, work, assignment)
    loops = 0
    for rescue in schedule.rescues:
        technique = gear.technique_of(lift, option[rescue.team].technique)
        if technique.id.startswith("loop"):
            loops += 1
            high_m = 14.0 + 0.01 * rescue.distance_m
            by_hand_m = (2 * (high_m + 0.5) + 7 + 3 + 3) * 1.03 + 3
            assert rescue.rope_needed_m == pytest.approx(by_hand_m, abs=1e-9)
        whole_m = unit_rope_needed_m(
            lift, technique, units[rescue.side, rescue.span_index]
        )
        assert rescue.rope_needed_m <= whole_m + 1e-9
    assert loops > 0


def test_a_stop_position_that_does_not_exist_is_refused(chain: Chain) -> None:
    with pytest.raises(NoPlanError, match=r"no stop position number 4"):
        make_schedule(*chain, stop_index=4)
