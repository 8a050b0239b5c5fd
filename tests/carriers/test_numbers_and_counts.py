"""Numbers of carriers, people on the line, the three counts."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from builders import make_lift
from flat_heights import make_flat_heights
from scipy import stats

from evac.carriers import (
    Counts,
    PeopleOnLine,
    PeopleSource,
    Sighting,
    both_sides,
    carriers_by_span,
    loop_length_m,
    nearest_stop,
    number_carriers,
    people_from_gate,
    people_from_occupancy,
    people_on_line,
    spacing_doubt,
)
from evac.errors import NoPlanError
from evac.facts.lift import Grip, Lift, Side, Triple
from evac.words import Words

UP, DOWN = Side.ASCENDING, Side.DESCENDING


def make_numbered(count: int = 42, **changes: object) -> Lift:
    lift = make_lift(**changes)
    numbers = tuple(str(number) for number in range(1, count + 1))
    return replace(lift, carriers=replace(lift.carriers, numbers=numbers))


def turned(lift: Lift, number: str, steps: int) -> str:
    """Who stands where ``number`` stood, after the loop moved on by some spacings."""
    numbers = lift.carriers.numbers
    return numbers[(numbers.index(number) + steps) % len(numbers)]


def test_numbers_grow_against_the_travel_on_both_sides() -> None:
    # Carrier 1 passes a place before carrier 2: above carrier 10 on the ascending side
    # hangs 9. Counting by hand along the loop.
    lift = make_numbered()
    stops = make_flat_heights(lift).stops
    sighting = Sighting(number="10", side=UP, distance_m=60.0)
    found = number_carriers(lift, stops, stop_index=0, sighting=sighting)
    columns = list(found.by_place[UP])
    assert columns[:5] == ["12", "11", "10", "9", "8"]
    # 21 carriers stand at 0, 30, ..., 600 m: the topmost is 12 - 20 = -8 -> 34; the
    # next one in travel, the topmost of the descending side, is 33.
    assert columns[20] == "34"
    assert found.by_place[DOWN][20] == "33"
    assert found.by_place[DOWN][0] == "13"
    assert found.doubtful == (DOWN,)


def test_every_carrier_gets_one_number_and_a_turn_of_the_loop_shifts_them_all() -> None:
    lift = make_numbered()
    stops = make_flat_heights(lift).stops
    one = number_carriers(
        lift,
        stops,
        stop_index=1,
        sighting=Sighting(number="7", side=DOWN, distance_m=200),
    )
    other = number_carriers(
        lift,
        stops,
        stop_index=1,
        sighting=Sighting(number="8", side=DOWN, distance_m=200),
    )
    for side in Side:
        given = [number for number in one.by_place[side] if number]
        assert len(given) == (stops.span_index[side][1] >= 0).sum()
        assert [turned(lift, number, 1) for number in given] == [
            number for number in other.by_place[side] if number
        ]
    both = [number for side in Side for number in one.by_place[side] if number]
    assert len(set(both)) == len(both)


def test_a_line_drawn_from_the_top_gives_the_mirrored_numbers() -> None:
    lift = make_numbered()
    drawn_down = replace(lift, upper_is_last=False)
    stops = make_flat_heights(lift).stops
    up = number_carriers(
        lift,
        stops,
        stop_index=0,
        sighting=Sighting(number="5", side=UP, distance_m=300),
    )
    down = number_carriers(
        drawn_down,
        stops,
        stop_index=0,
        sighting=Sighting(number="5", side=UP, distance_m=300),
    )
    assert up.by_place[UP] == down.by_place[UP][::-1]


def test_a_fixed_grip_leaves_no_side_doubtful() -> None:
    lift = make_numbered()
    fixed = replace(lift, carriers=replace(lift.carriers, grip=Grip.FIXED))
    stops = make_flat_heights(fixed).stops
    sighting = Sighting(number="10", side=UP, distance_m=60.0)
    found = number_carriers(fixed, stops, stop_index=0, sighting=sighting)
    assert found.doubtful == ()


def test_the_nearest_stop_has_a_carrier_where_it_was_seen() -> None:
    lift = make_numbered()
    stops = make_flat_heights(lift).stops
    # Offsets are 0, 7.5, 15 and 22.5 m; 217 = 7 x 30 + 7 lies nearest to the second.
    assert nearest_stop(stops, Sighting(number="1", side=UP, distance_m=217.0)) == 1


def test_an_unknown_number_or_too_few_numbers_is_refused() -> None:
    lift = make_numbered()
    stops = make_flat_heights(lift).stops
    with pytest.raises(NoPlanError, match="carrier 99 is not among the 42 numbers"):
        number_carriers(
            lift,
            stops,
            stop_index=0,
            sighting=Sighting(number="99", side=UP, distance_m=0),
        )
    few = make_numbered(30)
    with pytest.raises(NoPlanError, match="42 carriers stand on the line"):
        number_carriers(
            few,
            stops,
            stop_index=0,
            sighting=Sighting(number="3", side=UP, distance_m=0),
        )


def test_spacing_that_does_not_fit_the_loop_is_said() -> None:
    # By hand: 42 x 30 m = 1,260 m; a loop of 1,256 m fits, one of 1,440 m holds 48.
    lift = make_lift()
    assert spacing_doubt(lift, loop_m=1256.0) == ()
    (finding,) = spacing_doubt(lift, loop_m=1440.0)
    text, remedy = Words().finding(finding)
    assert text.endswith("the loop is 1,440 m long, room for 48.")
    assert remedy.startswith("Count the carriers")


def test_a_detachable_lift_may_have_more_carriers_than_its_rope_holds() -> None:
    # By hand: 42 x 30 m = 1,260 m on a loop of 1,110 m: five stand in the stations.
    lift = make_lift()
    detachable = replace(lift, carriers=replace(lift.carriers, grip=Grip.DETACHABLE))
    assert spacing_doubt(detachable, loop_m=1110.0) == ()
    assert spacing_doubt(detachable, loop_m=900.0) != ()
    fixed = replace(lift, carriers=replace(lift.carriers, grip=Grip.FIXED))
    assert spacing_doubt(fixed, loop_m=1110.0) != ()


def test_the_loop_is_both_ropes_and_two_half_bullwheels_less_their_stretch() -> None:
    # Two straight ropes of 300 m run and 40 m rise at 50 kN with EA = 50 MN; by hand
    # 2 x 302.65 / (1 + 50.44e3 / 50e6) + pi x 6 = 623.55 m.
    lift = make_lift()
    lift = replace(lift, gauge_m=6.0, rope=replace(lift.rope, axial_stiffness_n=50e6))
    heights = make_flat_heights(lift)
    straight: Any = SimpleNamespace(
        rope_distance_m=np.array([0.0, 150.0, 300.0]),
        rope_elevation_m=np.array([0.0, 20.0, 40.0]),
        span_horizontal_tension_n=np.array([50e3, 50e3]),
    )
    both = replace(heights, reference={UP: straight, DOWN: straight})
    assert loop_length_m(lift, both) == pytest.approx(623.55, abs=0.01)


def test_carriers_by_span_hold_every_number_once_in_its_own_span() -> None:
    lift = make_numbered()
    stops = make_flat_heights(lift).stops
    sighting = Sighting(number="10", side=UP, distance_m=60.0)
    found = number_carriers(lift, stops, stop_index=0, sighting=sighting)
    spans = carriers_by_span(found, stops, stop_index=0)
    every = [number for numbers in spans.values() for number in numbers]
    assert len(every) == len(set(every)) == 42
    for (side, span), numbers in spans.items():
        columns = np.flatnonzero(stops.span_index[side][0] == span)
        assert numbers == tuple(found.by_place[side][column] for column in columns)


def test_people_on_the_line_are_those_of_both_sides_occupancies() -> None:
    lift = make_lift()
    stops = make_flat_heights(lift).stops
    found = people_on_line(lift, stops)
    most = int((stops.span_index[UP] >= 0).sum(axis=1).max())
    assert found[UP] == people_from_occupancy(
        lift.carriers, on_side=most, occupancy=lift.occupancy
    )
    assert found[DOWN].likely <= found[UP].likely


def test_people_by_occupancy_hold_the_binomial_interval() -> None:
    # scipy's exact binomial for a share that is known: 21 carriers x 4 seats at 0.5.
    carriers = make_lift().carriers
    known = people_from_occupancy(
        carriers, on_side=21, occupancy=Triple(low=0.5, likely=0.5, high=0.5)
    )
    low, high = stats.binom.interval(0.9, 84, 0.5)
    assert known.likely == 42
    assert abs(known.low - low) <= 1
    assert abs(known.high - high) <= 1
    full = people_from_occupancy(
        carriers, on_side=21, occupancy=Triple(low=0.3, likely=0.6, high=1.0)
    )
    assert full.low < known.low < known.high < full.high == 84


def test_a_gate_counts_those_of_the_last_ride() -> None:
    # Common practice, no source. By hand: 30 people in a ride of 300 s are 6 a minute;
    # 30 - 6 = 24; 30 and 1 % not counted 30.3; 36 and 3 % not counted 37.1.
    found = people_from_gate(30, ride_s=300.0)
    assert (found.low, found.likely, found.high) == (24, 30, 38)
    assert people_from_gate(5, ride_s=40.0).low == 0
    with pytest.raises(NoPlanError, match="a ride above 0 s"):
        people_from_gate(1, ride_s=0.0)


def test_an_untallied_carrier_or_a_missing_person_keeps_the_line_open() -> None:
    # Rule 23: common practice, no source.
    done = Counts(
        expected=PeopleOnLine(low=5, likely=7, high=9, source=PeopleSource.OCCUPANCY),
        lowered=7,
        received=7,
        logged=40,
        parked=2,
        on_loop=42,
        reckoned=40,
        out=0,
    )
    assert done.line_clear
    assert done.within_expected
    one_lost = replace(done, received=6)
    assert (one_lost.missing, one_lost.line_clear) == (1, False)
    assert not replace(done, received=8).line_clear
    assert not replace(done, logged=39).line_clear
    # 40 hang and 2 stand in stations: 42 is not 43 on the loop, nor is it 41.
    assert replace(done, on_loop=43).untallied == 1
    assert replace(done, on_loop=41).untallied == -1
    assert not replace(done, on_loop=41).line_clear
    assert not replace(done, out=1).line_clear
    assert not replace(done, lowered=10, received=10).within_expected


def test_a_line_is_never_clear_where_nobody_says_how_many_carriers_there_are() -> None:
    # Rule 23: common practice, no source.
    counts = Counts(
        expected=PeopleOnLine(low=5, likely=7, high=9, source=PeopleSource.OCCUPANCY),
        lowered=7,
        received=7,
        logged=40,
        parked=0,
        on_loop=None,
        reckoned=40,
        out=0,
    )
    assert counts.nothing_open
    assert not counts.line_clear
    # One in a station does not stand for one that hangs.
    short = replace(counts, logged=39, parked=1)
    assert (short.untallied, short.nothing_open) == (1, False)


def test_people_of_both_sides_say_what_they_come_from() -> None:
    lift = make_lift()
    sides = people_on_line(lift, make_flat_heights(lift).stops)
    assert both_sides(sides).source == PeopleSource.OCCUPANCY
    sides[UP] = people_from_gate(30, ride_s=300.0)
    assert both_sides(sides).source == PeopleSource.BOTH
    assert both_sides({UP: sides[UP]}).source == PeopleSource.GATE
