"""Seconds of a rescue against the table and the trade's sanity figures."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from builders import LOOP, ON_ROPE, make_lift, make_step_times, make_techniques
from flat_heights import make_flat_heights
from hypothesis import given
from hypothesis import strategies as st

from evac.errors import NoPlanError
from evac.facts.lift import (
    CarrierType,
    Hazard,
    Lift,
    Side,
    SupportKind,
    Technique,
    Triple,
)
from evac.facts.work import Option, UnitGate
from evac.gear import options
from evac.timing import (
    carrier_seconds,
    cross_seconds,
    day_factor,
    has_times,
    next_carrier_seconds,
    planned_people,
    rescue_seconds,
    setup_seconds,
    side_change_seconds,
    walk_back_seconds,
)
from evac.walking import walking_seconds

LOOP_T, ON_ROPE_T, LADDER_T = make_techniques()
CALM = replace(make_lift().conditions, snow_most_m=0.2)


def calm_lift(**changes: object) -> Lift:
    """Packed snow, carriers 20 m apart, as the table's rows are stated."""
    lift = make_lift(conditions=CALM)
    lift = replace(lift, carriers=replace(lift.carriers, spacing_m=20.0))
    return replace(lift, **changes)


def option_of(lift: Lift, technique: str, *, team: str | None = None) -> Option:
    return next(
        option
        for option in options(lift)
        if option.technique == technique and team in (None, option.team)
    )


def test_a_full_four_seater_by_the_loop_from_the_table() -> None:
    # By hand from the table's likely column, seat 10 m up and rope 12.8 m:
    # carrier 75 + 90 + 45; passenger 90 + 25 + 1.7 x 10 + 1.5 x 12.8 = 151.2.
    found = rescue_seconds(
        calm_lift(), LOOP_T, people=4, rope_height_m=12.8, seat_height_m=10.0
    )
    assert found.likely_s == pytest.approx(210 + 4 * 151.2)


def test_a_full_four_seater_by_a_rescuer_on_the_rope_from_the_table() -> None:
    # Carrier 100 + 150 + 75; passenger 60 + 20 + 5 + 1.5 x 10 = 100.
    found = rescue_seconds(
        calm_lift(), ON_ROPE_T, people=4, rope_height_m=12.8, seat_height_m=10.0
    )
    assert found.likely_s == pytest.approx(325 + 4 * 100)


@pytest.mark.parametrize(("technique", "minutes"), [(LOOP_T, 3.7), (ON_ROPE_T, 3.2)])
def test_pace_of_a_full_four_seater_at_10_m(
    technique: Technique, minutes: float
) -> None:
    """Sanity figures of rule 27 (common practice, no source).

    A usual span of seven carriers: set-up, carriers, walking round one support.
    Within 10 %: the rule does not state span, spacing or shares of a launcher.
    """
    lift = calm_lift()
    heights = make_flat_heights(lift, rope_m=12.8)
    option = option_of(lift, technique.id, team="Team 2")
    carrier = rescue_seconds(
        lift, technique, people=4, rope_height_m=12.8, seat_height_m=10.0
    ).likely_s
    span = 7 * float(carrier)
    span += setup_seconds(lift, option, heights.units[0]).likely
    span += cross_seconds(lift, heights, option, support_index=1).likely

    assert span / 28 / 60 == pytest.approx(minutes, rel=0.1)


def test_an_empty_chair_costs_the_way_to_it_and_a_look() -> None:
    found = rescue_seconds(
        calm_lift(), LOOP_T, people=0, rope_height_m=12.8, seat_height_m=10.0
    )
    assert (found.low_s, found.likely_s, found.high_s) == (30 + 10, 75 + 20, 240 + 60)


def test_a_closed_cabin_is_opened_and_takes_longer_to_make_ready() -> None:
    lift = calm_lift()
    cabin = replace(lift, carriers=replace(lift.carriers, type=CarrierType.CABIN))
    empty, full = rescue_seconds(
        cabin, ON_ROPE_T, people=[0, 1], rope_height_m=12.8, seat_height_m=10.0
    ).likely_s

    assert empty == 100 + 90
    assert full == 100 + 240 + 75 + 60 + 20 + 5 + 15


def test_a_ladder_takes_the_move_and_two_minutes_a_passenger() -> None:
    found = rescue_seconds(
        calm_lift(), LADDER_T, people=2, rope_height_m=7, seat_height_m=4.2
    )
    assert found.likely_s == 45 + 2 * 120


def test_carriers_farther_apart_than_20_m_cost_the_rest_of_the_move() -> None:
    lift = calm_lift()
    wide = replace(lift, carriers=replace(lift.carriers, spacing_m=30.0))
    near, far = (
        rescue_seconds(one, LOOP_T, people=1, rope_height_m=9, seat_height_m=6).likely_s
        for one in (lift, wide)
    )
    # Half of "move 20 m on foot packed", 45 s.
    assert far - near == pytest.approx(22.5)


def test_deep_snow_slows_a_team_on_foot_and_not_one_on_ski() -> None:
    lift = calm_lift(conditions=replace(CALM, snow_most_m=0.9))
    lift = replace(lift, carriers=replace(lift.carriers, spacing_m=40.0))
    on_foot, on_ski = (
        rescue_seconds(
            lift, LOOP_T, team=team, people=0, rope_height_m=9, seat_height_m=6
        ).likely_s
        for team in lift.teams[:2]
    )
    assert on_foot == 75 + 20 + 150
    assert on_ski == 75 + 20 + 30


def test_steep_ground_adds_40_s_a_passenger() -> None:
    level, steep = rescue_seconds(
        calm_lift(),
        LOOP_T,
        people=3,
        rope_height_m=12.8,
        seat_height_m=10.0,
        ground_slope_deg=[24.0, 25.0],
    ).likely_s
    assert steep - level == pytest.approx(3 * 40)


@pytest.mark.parametrize(
    ("changes", "factor"),
    [
        ({"night": True}, 1.3),
        ({"air_temperature_c": -15.1}, 1.3),
        ({"wind_m_per_s": 10.0}, 1.3),
        ({"iced_rope": True}, 1.5),
        ({"night": True, "iced_rope": True}, 1.95),
        ({}, 1.0),
    ],
)
def test_multipliers_of_the_day(changes: dict[str, object], factor: float) -> None:
    # Rule 27 (common practice, no source).
    conditions = replace(CALM, **changes)
    assert day_factor(conditions) == pytest.approx(factor)
    plain, slowed = (
        rescue_seconds(
            calm_lift(conditions=one),
            ON_ROPE_T,
            people=4,
            rope_height_m=12.8,
            seat_height_m=10.0,
        ).high_s
        for one in (CALM, conditions)
    )
    assert slowed == pytest.approx(factor * plain)


def test_ice_on_the_rope_does_not_slow_a_ladder() -> None:
    iced = calm_lift(conditions=replace(CALM, iced_rope=True))
    found = rescue_seconds(iced, LADDER_T, people=1, rope_height_m=7, seat_height_m=4)
    assert found.likely_s == 45 + 120


@given(people=st.integers(0, 8), rope_m=st.floats(3, 60), more_m=st.floats(0, 20))
def test_low_is_never_above_likely_nor_likely_above_high(
    people: int, rope_m: float, more_m: float
) -> None:
    for technique in make_techniques():
        found, higher = (
            rescue_seconds(
                calm_lift(),
                technique,
                people=people,
                rope_height_m=at,
                seat_height_m=at - 2.8,
            )
            for at in (rope_m, rope_m + more_m)
        )
        assert found.low_s <= found.likely_s <= found.high_s
        assert found.likely_s <= higher.likely_s + 1e-9


def test_arrays_broadcast_and_agree_with_single_carriers() -> None:
    people, rope_m = np.array([[0], [2], [4]]), np.array([8.0, 12.0])
    table = rescue_seconds(
        calm_lift(),
        LOOP_T,
        people=people,
        rope_height_m=rope_m,
        seat_height_m=rope_m - 3,
    ).likely_s

    assert table.shape == (3, 2)
    alone = rescue_seconds(
        calm_lift(), LOOP_T, people=2, rope_height_m=12.0, seat_height_m=9.0
    ).likely_s
    assert table[1, 1] == alone


def back_s(lift: Lift, option: Option, *, rise_m: float | None = None) -> float:
    """Back along span 3-4, whose ground rises as the terrain does or by so much."""
    heights = make_flat_heights(lift)
    if rise_m is not None:
        supports = list(heights.line.supports)
        supports[4] = replace(supports[4], ground_m=supports[3].ground_m + rise_m)
        line = replace(heights.line, supports=tuple(supports))
        heights = replace(heights, line=line)
    return walk_back_seconds(lift, heights, option, span_index=3).likely


def test_the_way_back_between_the_sides_is_the_span_against_the_work() -> None:
    # By hand: span 3-4 is 125 m long and its ground rises 40 m. DIN 33466 uphill:
    # 112.5 s along, 480 s up, so 480 + 112.5 / 2 = 536.25 s, times 1.5 on foot and 2
    # off any way; the table's packed row, which knows no slope, would say 295 s. Deep
    # snow uphill 300 s for 20 m of the table; a skier that works uphill comes back
    # down at 30 s.
    lift = calm_lift()
    length_m = math.hypot(125.0, 40.0)
    option = option_of(lift, LOOP, team="Team 2")
    assert lift.teams[1].travel == "ski"
    assert back_s(lift, option) == pytest.approx(3 * 536.25, rel=1e-4)
    deep = replace(CALM, snow_most_m=1.0)
    assert back_s(replace(lift, conditions=deep), option) == pytest.approx(
        300 * length_m / 20, rel=1e-4
    )
    # The night once: in the day's factor, whatever the ways' own factor says.
    night = replace(CALM, night=True)
    for by_night in (1.0, 1.3):
        travel = replace(lift.travel, night_factor=by_night)
        dark = replace(lift, conditions=night, travel=travel)
        assert back_s(dark, option) == pytest.approx(1.3 * 3 * 536.25, rel=1e-4)
    low = tuple(replace(team, start_upper=False) for team in lift.teams)
    assert back_s(replace(lift, teams=low), option) == pytest.approx(
        30 * length_m / 20, rel=1e-4
    )
    # On foot down: 288 s down and half of 112.5 s along.
    walks = tuple(replace(team, travel="foot") for team in low)
    assert back_s(replace(lift, teams=walks), option) == pytest.approx(
        3 * 344.25, rel=1e-4
    )


@pytest.mark.parametrize("start_upper", [True, False])
@pytest.mark.parametrize("travel", ["foot", "ski"])
@pytest.mark.parametrize("rise_m", [-40.0, 0.0, 5.0, 40.0])
def test_the_way_back_is_never_quicker_than_walking_and_deep_snow_is_no_cliff(
    rise_m: float, travel: str, *, start_upper: bool
) -> None:
    # Must always hold: uphill never below the walking rule times the folder's factors;
    # a centimetre of snow does not make a way five times as long.
    lift = calm_lift()
    teams = tuple(
        replace(team, start_upper=start_upper, travel=travel) for team in lift.teams
    )
    option = option_of(lift, LOOP, team="Team 2")
    back_up_m = rise_m if start_upper else -rise_m
    took_s = []
    for snow_m in (0.49, 0.5):
        conditions = replace(CALM, snow_most_m=snow_m)
        day = replace(lift, teams=teams, conditions=conditions)
        took_s.append(back_s(day, option, rise_m=rise_m))
    if back_up_m > 0:
        rule = lift.travel.walking_rule
        walked_s = walking_seconds(rule, length_m=125.0, up_m=back_up_m, down_m=0.0)
        assert min(took_s) >= 3 * float(walked_s) - 1e-6
    assert took_s[0] <= took_s[1] < 5 * took_s[0]


def test_level_ground_is_not_walked_back_over_as_if_it_rose() -> None:
    # Common practice, no source: who works downhill from the upper station still walks
    # back on the level where the span is level. The table's downhill row, 150 s, and
    # not its uphill one, 300 s.
    lift = replace(calm_lift(), conditions=replace(CALM, snow_most_m=1.0))
    option = option_of(lift, LOOP, team="Team 1")
    assert back_s(lift, option, rise_m=0.0) == pytest.approx(150 * 125.0 / 20)


@pytest.mark.parametrize("spacing_m", [8.0, 20.0, 60.0])
def test_uphill_on_the_rope_is_never_quicker_than_downhill(spacing_m: float) -> None:
    # Common practice, no source. By hand at 60 m: the table's 100 s for 20 m and 40 m
    # ridden at 1 m/s; uphill 100 s and the whole 60 m at 0.25 m/s.
    lift = calm_lift()
    lift = replace(lift, carriers=replace(lift.carriers, spacing_m=spacing_m))
    down, up = (
        next_carrier_seconds(lift, ON_ROPE_T, replace(lift.teams[1], start_upper=upper))
        for upper in (True, False)
    )
    assert down.low < up.low
    assert down.likely < up.likely
    assert down.high < up.high
    if spacing_m == 60.0:
        assert down.likely == pytest.approx(100 + 40)
        assert up.likely == pytest.approx(100 + 240)


def test_a_technique_of_your_own_needs_its_own_rows() -> None:
    lift = calm_lift()
    assert has_times(lift, LOOP)
    assert not has_times(lift, "climb from the support")


def test_a_missing_row_is_told_by_its_name() -> None:
    rows = tuple(row for row in make_step_times() if row.step != "change side")
    lift = calm_lift(step_times=rows)
    with pytest.raises(NoPlanError, match="no row 'change side'"):
        side_change_seconds(lift, option_of(lift, LOOP))


@given(share=st.floats(0, 1), seats=st.integers(1, 10), carriers=st.integers(0, 200))
def test_planned_people_hold_the_stated_share_in_every_run(
    share: float, seats: int, carriers: int
) -> None:
    lift = make_lift(occupancy=Triple(low=0.0, likely=0.0, high=share))
    lift = replace(lift, carriers=replace(lift.carriers, seats=seats))
    people = planned_people(lift, Side.ASCENDING, carriers=carriers)

    assert people.shape == (carriers,)
    assert np.all((people >= 0) & (people <= seats))
    before = np.concatenate([[0], np.cumsum(people)])
    runs = before[None, :] - before[:, None]
    lengths = np.arange(carriers + 1)[None, :] - np.arange(carriers + 1)[:, None]
    assert np.all(np.abs(runs - lengths * share * seats) < 1 + 1e-6)


def test_a_full_side_holds_every_seat() -> None:
    assert planned_people(make_lift(), Side.ASCENDING, carriers=5).tolist() == [4] * 5


def test_a_launcher_adds_its_set_up_above_a_hand_throw() -> None:
    lift = calm_lift()
    option = option_of(lift, LOOP, team="Team 2")
    low, high = (
        setup_seconds(lift, option, make_flat_heights(lift, rope_m=rope_m).units[0])
        for rope_m in (9.9, 10.1)
    )
    assert low.likely == 240
    assert high.likely == 240 + 120


@pytest.mark.parametrize(
    ("kind", "likely_s"),
    [
        # Over the rollers 240 s, of which the next climb (300 s) is part.
        (SupportKind.SUPPORT, 0),
        # The builders' technique passes no hold-downs: 600 s down and up, less 300 s.
        (SupportKind.HOLD_DOWN, 300),
        (SupportKind.COMBINED, 300),
    ],
)
def test_crossing_on_the_rope_depends_on_the_support(
    kind: SupportKind, likely_s: float
) -> None:
    supports = tuple(
        replace(s, kind=kind) if s.id == "2" else s for s in make_lift().supports
    )
    lift = calm_lift(supports=supports)
    heights = make_flat_heights(lift)
    option = option_of(lift, ON_ROPE)

    assert cross_seconds(lift, heights, option, support_index=2).likely == likely_s


def test_walking_round_a_support_is_slow_on_steep_ground() -> None:
    lift = calm_lift()
    option = option_of(lift, LOOP)
    packed, steep = (
        cross_seconds(
            lift,
            make_flat_heights(lift, ground_deg=slope_deg),
            option,
            support_index=2,
        ).likely
        for slope_deg in (10.0, 30.0)
    )
    assert (packed, steep) == (90, 300)


def test_a_steep_landing_counts_once_where_a_hazard_states_its_seconds() -> None:
    lift = calm_lift()
    step = Hazard(
        id="step",
        kind="steep ground",
        name="",
        geometry=lift.hazards[0].geometry,
        opens_s=None,
        opened_by="",
        extra_s_per_passenger=55.0,
        extra_people=0,
        note="",
    )
    lift = replace(lift, hazards=(step,))
    heights = make_flat_heights(lift, ground_deg=30.0)
    gate = UnitGate(
        side=Side.ASCENDING,
        span_index=1,
        hazard_ids=("step",),
        opens_s=0.0,
        opens_low_s=0.0,
        opens_high_s=0.0,
        extra_s_per_passenger=55.0,
        extra_people=0,
    )
    plain, stated = carrier_seconds(
        lift,
        heights,
        (gate,),
        option_of(lift, LOOP),
        side=Side.ASCENDING,
        span_index=np.array([0, 1]),
        people=1,
        rope_height_m=12.0,
        seat_height_m=9.2,
    ).likely_s
    # Span 0: the table's 40 s; span 1: the hazard's 55 s and not both.
    assert stated - plain == pytest.approx(15)


def test_ground_that_is_not_known_counts_as_steep() -> None:
    lift = calm_lift(hazards=())
    level, unknown = (
        carrier_seconds(
            lift,
            make_flat_heights(lift, ground_deg=ground_deg),
            (),
            option_of(lift, LOOP),
            side=Side.ASCENDING,
            span_index=np.array(0),
            people=1,
            rope_height_m=12.0,
            seat_height_m=9.2,
        ).likely_s
        for ground_deg in (5.0, float("nan"))
    )
    assert unknown - level == pytest.approx(40)


def test_a_rescuer_rides_the_rope_between_carriers_farther_apart() -> None:
    lift = calm_lift()
    wide = replace(lift, carriers=replace(lift.carriers, spacing_m=56.0))
    near, far = (
        rescue_seconds(one, ON_ROPE_T, people=1, rope_height_m=9, seat_height_m=6)
        for one in (lift, wide)
    )
    # 36 m more: never quicker than 1.8 m/s (FACTS.md, seen at an operator).
    assert far.low_s - near.low_s == pytest.approx(20)
    assert far.likely_s - near.likely_s >= 20
    assert far.high_s - near.high_s >= far.likely_s - near.likely_s
