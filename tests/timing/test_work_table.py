"""The work table in whole seconds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from builders import LOOP, make_lift
from flat_heights import make_flat_heights

from evac.access import find_routes
from evac.facts.finding import Severity
from evac.facts.heights import Heights
from evac.facts.lift import Lift, Side, Triple
from evac.facts.work import NEVER_S, Assignment, Route, Work, Zone
from evac.gear import find_reaches, options
from evac.hazards import find_gates
from evac.timing import build_work, carrier_seconds, doubts, pace_doubts, setup_seconds
from evac.timing.work import stop_people
from evac.words import Words


def make_work(
    lift: Lift, *, rope_m: float = 12.0, routes: tuple[Route, ...] | None = None
) -> tuple[Work, Heights]:
    heights = make_flat_heights(lift, rope_m=rope_m)
    found = options(lift)
    gates = find_gates(lift, heights.line)
    reaches = find_reaches(lift, found, heights.units, gates=gates)
    ways = find_routes(lift, heights.line) if routes is None else routes
    return build_work(lift, heights, found, reaches, gates, ways), heights


def test_the_table_is_whole_seconds_of_the_stated_shape() -> None:
    work, heights = make_work(make_lift())
    stops = heights.stops.offset_m.size

    assert work.work_s.shape == (5, 2, 5, stops)
    assert work.cross_s.shape == (5, 6)
    assert work.gate_s.shape == work.people.shape == work.planned.shape == (2, 5)
    assert work.arrive_s.shape == (3, 6)
    for table in (work.work_s, work.cross_s, work.gate_s, work.arrive_s, work.people):
        assert table.dtype == np.int64


def test_a_units_work_is_its_set_up_and_every_carrier_rounded_up_once() -> None:
    lift = make_lift()
    work, heights = make_work(lift)
    option = work.options[0]
    gates = find_gates(lift, heights.line)
    stops = heights.stops
    side = Side.ASCENDING
    for stop in range(stops.offset_m.size):
        for span in range(5):
            here = np.flatnonzero(stops.span_index[side][stop] == span)
            total = setup_seconds(lift, option, heights.units[span]).likely
            for _ in here:
                total += float(
                    carrier_seconds(
                        lift,
                        heights,
                        gates,
                        option,
                        side=side,
                        span_index=np.array(span),
                        people=4,
                        rope_height_m=12.0,
                        seat_height_m=9.2,
                    ).likely_s
                )
            expected = int(np.ceil(total - 1e-6)) if here.size else 0
            assert work.work_s[0, 0, span, stop] == expected


def test_units_that_an_option_does_not_reach_are_never() -> None:
    # A ladder reaches no seat at 9.2 m.
    work, _ = make_work(make_lift())
    ladder = [o.index for o in work.options if o.technique == "ladder"]

    assert not work.valid[ladder].any()
    assert np.all(work.work_s[ladder] == NEVER_S)
    assert work.planned.all()


def test_a_unit_that_nobody_reaches_keeps_its_people() -> None:
    work, _ = make_work(make_lift(), rope_m=90.0)

    assert not work.valid.any()
    assert work.planned.all()
    assert np.all(work.people >= 1)


def test_people_are_the_most_of_any_stop() -> None:
    lift = make_lift()
    work, heights = make_work(lift)
    side = Side.ASCENDING
    spans = heights.stops.span_index[side]
    people = stop_people(lift, heights.stops, side)
    for span in range(5):
        assert work.people[0, span] == (people * (spans == span)).sum(axis=1).max()


def test_every_carrier_on_the_line_is_in_exactly_one_unit() -> None:
    lift = make_lift()
    heights = make_flat_heights(lift)
    for side in Side:
        distance = heights.stops.distance_m[side]
        on = heights.stops.span_index[side] >= 0
        assert np.array_equal(on, ~np.isnan(distance))


def test_an_empty_descending_side_still_counts_for_something() -> None:
    lift = make_lift(descending_occupancy=Triple(low=0.0, likely=0.0, high=0.0))
    work, _ = make_work(lift)

    assert np.all(work.people[1] == 1)
    # Set-up and a look at each carrier, nobody lowered.
    assert np.all(work.work_s[0, 1] < work.work_s[0, 0])


def test_the_gate_of_a_road_enters_in_seconds() -> None:
    work, _ = make_work(make_lift())
    assert work.gate_s.tolist() == [[0, 600, 0, 0, 0]] * 2


def test_no_option_is_valid_below_a_shut_gate() -> None:
    lift = make_lift()
    lift = replace(lift, hazards=(replace(lift.hazards[0], opens_s=None),))
    work, _ = make_work(lift)

    assert work.valid.any(axis=0).tolist() == [[True, False, True, True, True]] * 2


def test_arrival_is_ready_and_the_way_rounded_up() -> None:
    lift = make_lift()
    route = Route(
        team="Team 2",
        support_index=3,
        seconds=100.2,
        length_m=90.0,
        climb_m=0.0,
        x_m=(),
        y_m=(),
        way_ids=(),
    )
    work, _ = make_work(lift, routes=(route,))

    assert work.arrive_s[1, 3] == 600 + 101
    assert np.sum(work.arrive_s < NEVER_S) == 1


def test_stations_are_not_crossed() -> None:
    work, _ = make_work(make_lift())
    assert np.all(work.cross_s[:, [0, -1]] == 0)
    # Deep snow: 300 s round every inner support for teams on foot.
    assert work.cross_s[0, 1:-1].tolist() == [300] * 4


def test_doubts_say_what_the_plan_rests_on() -> None:
    lift = make_lift(
        step_times=tuple(
            row for row in make_lift().step_times if row.technique != "ladder"
        )
    )
    work, heights = make_work(lift, routes=())
    told = doubts(lift, heights, work)

    assert {finding.key for finding in told} == {
        "timing.no_times",
        "timing.no_arrival",
        "timing.planned_people",
    }
    for finding in told:
        assert all(Words().finding(finding))


@pytest.mark.parametrize(("work_s", "doubted"), [(1799, True), (1800, False)])
def test_a_line_under_3_min_a_person_is_doubted(work_s: int, doubted: bool) -> None:
    work, _ = make_work(make_lift())
    zone = Zone(
        team="Team 1",
        option=work.options[0],
        first_span=0,
        last_span=0,
        sides=(Side.ASCENDING,),
        start_support=0,
        arrival_s=0,
        start_s=0,
        finish_s=work_s,
        work_s=work_s,
        people=10,
    )
    assignment = Assignment(
        zones=(zone,),
        uncovered=(),
        objectives=(),
        bound_s=0,
        proven=True,
        method="",
        binding_teams=(),
        reserve_teams=(),
    )
    told = pace_doubts(assignment)

    assert [finding.severity for finding in told] == [Severity.WARN] * doubted
    for finding in told:
        assert all(Words().finding(finding))


def test_the_loop_is_valid_everywhere_at_12_m() -> None:
    work, _ = make_work(make_lift())
    loops = [o.index for o in work.options if o.technique == LOOP]
    assert work.valid[loops].all()


def test_lowering_faster_than_operators_do_is_doubted() -> None:
    lift = make_lift()
    quick = Triple(low=1.0, likely=1.2, high=1.5)
    rows = tuple(
        replace(row, seconds=quick) if row.step == "lower" else row
        for row in lift.step_times
    )
    for one, doubted in ((lift, False), (replace(lift, step_times=rows), True)):
        work, heights = make_work(one)
        told = [f for f in doubts(one, heights, work) if "lowering_fast" in f.key]
        assert bool(told) is doubted
        for finding in told:
            assert all(Words().finding(finding))
