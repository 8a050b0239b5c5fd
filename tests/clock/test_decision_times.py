"""Latest order times and what stands beside them, with figures worked by hand."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from builders import make_lift

from evac.clock import decide, doubts, informer_round_s, is_dark
from evac.daylight import ALWAYS_LIGHT, Light, by_daylight, in_the_dark
from evac.emptying import emptying_s, running_pays
from evac.facts.lift import CarrierType, Lift, Limit, Triple
from evac.facts.work import Schedule, Simulation
from evac.limits import limit_verdict, limits_met
from evac.line import line_length_m
from evac.words import Words

HOUR = 3600.0


def make_simulation(*, clear_p90_s: float = 2 * HOUR, **changes: Any) -> Simulation:
    """1,000 days of which exactly 9 in 10 end by ``clear_p90_s``, safe 30 min later."""
    clear_s = np.concatenate([np.full(900, clear_p90_s), np.full(100, 5 * HOUR)])
    found = Simulation(
        runs=1000,
        seed=1,
        order_to_first_s=np.full(1000, 0.5 * HOUR),
        order_to_clear_s=clear_s,
        order_to_safe_s=clear_s + 0.5 * HOUR,
        stop_to_order_s=np.full(1000, 0.25 * HOUR),
        p50_s=clear_p90_s,
        p90_s=clear_p90_s,
        p50_interval_s=(clear_p90_s, clear_p90_s),
        p90_interval_s=(clear_p90_s, clear_p90_s),
        p50_independent_s=clear_p90_s,
        p90_independent_s=clear_p90_s,
        safe_p90_s=clear_p90_s + 0.5 * HOUR,
        chance_of_limit=0.9,
        last_team_share={"Team 1": 1.0},
        everyone_reached=True,
    )
    return replace(found, **changes)


SCHEDULE = Schedule(
    stop_offset_m=0.0,
    rescues=(),
    clear_s=2.5 * HOUR,
)


def make_limited(
    *, counts_from: str = "stop", counts_to: str = "on the ground"
) -> Lift:
    limit = Limit(
        minutes=180.0, counts_from=counts_from, counts_to=counts_to, source="invented"
    )
    return make_lift(limits=(limit,))


def changed(lift: Lift, part: str, **changes: Any) -> Lift:
    return replace(lift, **{part: replace(getattr(lift, part), **changes)})


def test_latest_order_is_the_limit_less_p90_to_its_own_end() -> None:
    # 3 h - 2 h = 1 h to the ground; 3 h - 2.5 h = 0.5 h to safety.
    simulation = make_simulation()
    ground = decide(make_limited(), simulation, SCHEDULE).latest[0]
    assert (ground.reason, ground.after_stop_s) == ("limit", 1 * HOUR)
    assert ground.clock_s == 14 * HOUR  # the stop is at 13:00
    assert ground.met
    safe = decide(make_limited(counts_to="in safety"), simulation, SCHEDULE).latest[0]
    assert safe.after_stop_s == 0.5 * HOUR


@pytest.mark.parametrize("delay_s", [600.0, 3000.0])
def test_delaying_the_order_leaves_the_latest_order_time_where_it_is(
    delay_s: float,
) -> None:
    simulation = make_simulation()
    lift = make_limited()
    usual = lift.organisation.stop_to_order_s
    later = changed(
        lift,
        "organisation",
        stop_to_order_s=Triple(
            low=usual.low + delay_s,
            likely=usual.likely + delay_s,
            high=usual.high + delay_s,
        ),
    )
    delayed = replace(simulation, stop_to_order_s=simulation.stop_to_order_s + delay_s)
    now, then = decide(lift, simulation, SCHEDULE), decide(later, delayed, SCHEDULE)
    assert [item.after_stop_s for item in then.latest] == [
        item.after_stop_s for item in now.latest
    ]
    assert then.order_clock_s == now.order_clock_s + delay_s
    # 15 min to the order are within the hour, 65 min are not.
    assert now.latest[0].met
    assert then.latest[0].met == (delay_s < 1000)
    assert limits_met(later, delayed) == (delay_s < 1000)


def test_a_limit_from_the_order_speaks_only_when_it_is_missed() -> None:
    lift = make_limited(counts_from="order")
    short = decide(lift, make_simulation(), SCHEDULE)
    assert "limit" not in {item.reason for item in short.latest}
    assert limits_met(lift, make_simulation()) is True
    slow = make_simulation(clear_p90_s=4 * HOUR)
    missed = decide(lift, slow, SCHEDULE).latest[0]
    assert (missed.reason, missed.after_stop_s, missed.met) == (
        "limit_from_order",
        -1 * HOUR,
        False,
    )
    assert limits_met(lift, slow) is False


def test_a_missed_limit_from_the_order_is_no_latest_order() -> None:
    # 4 h against 3 h: no order time meets it. Dusk less 4 h still says by when.
    slow = make_simulation(clear_p90_s=4 * HOUR)
    lift = make_limited(counts_from="order")
    clock = decide(lift, slow, SCHEDULE)
    assert clock.binding is not None
    assert clock.binding.reason == "dusk"
    night = changed(lift, "conditions", night=True)
    dark = decide(night, slow, SCHEDULE)
    assert [item.reason for item in dark.latest] == ["limit_from_order"]
    assert dark.binding is None


def test_no_limit_is_met_while_people_are_left_hanging() -> None:
    # A limit is for everybody (common practice, no source): a time covers only those
    # whom a team reaches, so it can say nothing about the others.
    all_reached = make_simulation(clear_p90_s=HOUR)
    some_left = replace(all_reached, everyone_reached=False)
    lift = make_limited()
    assert limits_met(lift, all_reached) is True
    assert limits_met(lift, some_left) is False
    (limit,) = lift.limits
    assert limit_verdict(limit, all_reached) == "met"
    assert limit_verdict(limit, some_left) == "unreached"
    late = make_simulation(clear_p90_s=20 * HOUR, everyone_reached=False)
    assert limit_verdict(limit, late) == "missed"
    in_time = next(
        item
        for item in decide(lift, all_reached, SCHEDULE).latest
        if item.reason == "limit"
    )
    left = next(
        item
        for item in decide(lift, some_left, SCHEDULE).latest
        if item.reason == "limit"
    )
    assert (in_time.met, left.met) == (True, False)
    assert left.after_stop_s == in_time.after_stop_s


def test_a_limit_that_nobody_knows_to_be_met_gives_no_latest_order() -> None:
    endless = make_simulation(order_to_safe_s=np.full(1000, np.inf))
    lift = make_limited(counts_to="in safety")
    clock = decide(lift, endless, SCHEDULE)
    assert {item.reason for item in clock.latest} == {"dusk"}
    assert limits_met(lift, endless) is False


def test_without_a_limit_none_is_said_to_be_met() -> None:
    assert limits_met(make_lift(limits=()), make_simulation()) is None


def test_dusk_bounds_the_last_on_the_ground_and_the_night_plan_has_no_dusk() -> None:
    lift = make_limited()
    clock = decide(lift, make_simulation(), SCHEDULE)
    dusk = next(item for item in clock.latest if item.reason == "dusk")
    assert clock.dusk_clock_s is not None
    assert clock.sunset_clock_s is not None
    assert clock.sunset_clock_s < clock.dusk_clock_s
    assert dusk.clock_s == pytest.approx(clock.dusk_clock_s - 2 * HOUR)
    night = decide(changed(lift, "conditions", night=True), make_simulation(), SCHEDULE)
    assert "dusk" not in {item.reason for item in night.latest}


def test_a_valley_without_sun_counts_as_dark_from_noon() -> None:
    shaded = changed(make_limited(), "conditions", skyline_angle_deg=40.0)
    clock = decide(shaded, make_simulation(), SCHEDULE)
    dusk = next(item for item in clock.latest if item.reason == "dusk")
    assert clock.dusk_clock_s is None
    # Noon is near 12:30, the stop at 13:00. P90 is 2 h in the dark, which is 1.3 times
    # what the same work takes by daylight, before noon.
    assert dusk.after_stop_s == pytest.approx(-(0.5 + 2 / 1.3) * HOUR, abs=600)
    assert not dusk.met


def test_cold_counts_the_ride_before_the_stop() -> None:
    # -30 C and 5 m/s: W = -41.6, bare skin freezes in 5 to 10 min. The line rises
    # 158 m over 600 m: about 625 m at 5 m/s is a ride of 125 s.
    cold = changed(
        make_limited(), "conditions", air_temperature_c=-30.0, wind_m_per_s=5.0
    )
    clock = decide(cold, make_simulation(), SCHEDULE)
    assert clock.cold_class == "high"
    assert clock.exposure_limit_s == 300.0
    entry = next(item for item in clock.latest if item.reason == "cold")
    assert entry.after_stop_s == pytest.approx(300.0 - 125.0 - 2 * HOUR, abs=5)
    # No order meets that, so it does not hide by when the limit is still met.
    assert clock.binding is not None
    assert clock.binding.reason == "limit"
    assert clock.binding.after_stop_s == 1 * HOUR
    # Without a limit and without daylight it is all there is to say.
    alone = decide(
        changed(replace(cold, limits=()), "conditions", night=True),
        make_simulation(),
        SCHEDULE,
    )
    assert alone.binding is not None
    assert alone.binding.reason == "cold"
    mild = decide(make_limited(), make_simulation(), SCHEDULE)
    assert "cold" not in {item.reason for item in mild.latest}


def test_behind_closed_doors_cold_gives_no_latest_order_but_is_said() -> None:
    cold = changed(
        make_limited(), "conditions", air_temperature_c=-30.0, wind_m_per_s=5.0
    )
    cabins = changed(cold, "carriers", type=CarrierType.CABIN)
    clock = decide(cabins, make_simulation(), SCHEDULE)
    assert "cold" not in {item.reason for item in clock.latest}
    told = said(cabins, make_simulation())
    assert "clock.cold_too_late" not in told
    assert "how soon it grows cold is not known" in told["clock.cold_outside"]
    assert "clock.cold_outside" not in said(cold, make_simulation())


def test_the_earliest_reason_that_can_still_be_met_binds() -> None:
    clock = decide(make_limited(), make_simulation(), SCHEDULE)
    assert clock.binding is not None
    assert clock.binding.after_stop_s == min(item.after_stop_s for item in clock.latest)
    # Light that is gone by the stop hides no limit; nothing hides a missed one.
    shaded = changed(make_limited(), "conditions", skyline_angle_deg=40.0)
    held = decide(shaded, make_simulation(), SCHEDULE)
    assert held.binding is not None
    assert (held.binding.reason, held.binding.met) == ("limit", True)
    missed = decide(make_limited(), make_simulation(clear_p90_s=3.5 * HOUR), SCHEDULE)
    assert missed.binding is not None
    assert missed.binding.reason == "limit"
    assert missed.binding.after_stop_s == -0.5 * HOUR
    assert any(item.after_stop_s >= 0 for item in missed.latest)


def test_emptying_is_engaging_the_drive_one_length_and_stops_to_unload() -> None:
    # Rule 5: 0.5 / 1.0 / 2.0 m/s, 5 to 20 min to engage, plus stops to unload; those
    # are 0 / 10 / 30 s a carrier where the folder says nothing (common practice, no
    # source). People ride down as well: the high value counts the stops of both sides,
    # which need not fall together.
    lift = make_lift()
    length_m = line_length_m(lift)
    assert 600 < length_m < 640
    count = math.ceil(length_m / lift.carriers.spacing_m)
    assert emptying_s(lift) == pytest.approx(
        (
            300 + length_m / 2.0,
            600 + length_m / 1.0 + 10 * count,
            1200 + length_m / 0.5 + 2 * 30 * count,
        )
    )
    empty = Triple(low=0.0, likely=0.0, high=0.0)
    one_side = replace(lift, descending_occupancy=empty)
    assert (emptying_s(one_side) or (0.0,))[-1] == pytest.approx(
        1200 + length_m / 0.5 + 30 * count
    )
    own = changed(lift, "drives", unload_stop_s=Triple(low=5.0, likely=5.0, high=5.0))
    low_s, likely_s, high_s = emptying_s(own) or (0.0, 0.0, 0.0)
    assert low_s == pytest.approx(300 + length_m / 2.0 + 5 * count)
    assert (likely_s, high_s) < (emptying_s(lift) or (0.0, 0.0, 0.0))[1:]
    assert emptying_s(changed(lift, "drives", emergency_engage_s=None)) is None


def test_running_pays_only_if_stand_down_and_emptying_end_sooner() -> None:
    # High values: 1,500 s stand-down, 1,200 s to engage, 2 s a metre, and 30 s a
    # carrier of both sides to unload, without which running would seem to pay for too
    # long.
    lift = make_lift()
    length_m = line_length_m(lift)
    count = math.ceil(length_m / lift.carriers.spacing_m)
    needed_s = 1500 + 1200 + 2 * length_m + 2 * 30 * count
    assert running_pays(lift, remaining_s=needed_s + 1) is True
    assert running_pays(lift, remaining_s=needed_s - 1) is False
    clock = decide(lift, make_simulation(), SCHEDULE)
    assert clock.running_pays_until_s == pytest.approx(2.5 * HOUR - needed_s)
    without = changed(lift, "drives", emergency_speed_m_per_s=None)
    assert running_pays(without, remaining_s=9e9) is None
    assert decide(without, make_simulation(), SCHEDULE).running_pays_until_s is None


def test_informers_share_the_length_of_the_line() -> None:
    # Two people at 1 m/s under a line of 625 m: 312 s, within the first 15 min.
    lift = make_lift()
    assert informer_round_s(lift) == pytest.approx(line_length_m(lift) / 2)
    assert decide(lift, make_simulation(), SCHEDULE).first_word_met is True
    slow = changed(lift, "organisation", informer_speed_m_per_s=0.2)
    assert decide(slow, make_simulation(), SCHEDULE).first_word_met is False
    nobody = changed(lift, "organisation", informer_count=0)
    assert decide(nobody, make_simulation(), SCHEDULE).first_word_met is None


def said(lift: Lift, simulation: Simulation) -> dict[str, str]:
    clock = decide(lift, simulation, SCHEDULE)
    return {item.key: Words().finding(item)[0] for item in doubts(lift, clock)}


def test_a_repeat_that_comes_only_after_there_and_back_is_said() -> None:
    # By hand: one informer, a round of 14 min, so the ends hear a voice every 28 min;
    # rule 6 has 15 to 20 min. Two informers need 7 min and 14 min.
    lift = make_limited()
    pace = line_length_m(lift) / (14 * 60)
    alone = changed(
        lift,
        "organisation",
        informer_count=1,
        informer_speed_m_per_s=pace,
        repeat_word_s=20 * 60.0,
    )
    told = said(alone, make_simulation())
    assert set(told) == {"clock.repeat_late"}
    assert "due again every 20 min" in told["clock.repeat_late"]
    assert "at best every 28 min" in told["clock.repeat_late"]
    two = changed(alone, "organisation", informer_count=2)
    assert said(two, make_simulation()) == {}


def test_darkness_before_the_last_is_down_is_said() -> None:
    lift = make_limited()
    assert said(lift, make_simulation()) == {}
    late = said(lift, make_simulation(clear_p90_s=6 * HOUR))
    assert set(late) == {"clock.dusk_too_late"}
    assert late["clock.dusk_too_late"].startswith(
        "With the order at 13:15 the last may"
    )


def test_a_latest_order_counts_what_then_falls_into_the_dark() -> None:
    # By hand: a limit of 6 h from the stop at 13:00, dusk so many hours after it, and
    # work of 3 h by daylight. Ordered L hours after the stop the work is done by
    # L + 3, of which L + 3 - dusk comes after dusk and takes 1.3 times as long:
    # dusk + 1.3 (L + 3 - dusk) = 6.
    limit = Limit(
        minutes=360.0, counts_from="stop", counts_to="on the ground", source="invented"
    )
    lift = make_lift(limits=(limit,))
    clock = decide(lift, make_simulation(clear_p90_s=3 * HOUR), SCHEDULE)
    assert clock.dusk_clock_s is not None
    dusk_h = clock.dusk_clock_s / HOUR - 13
    assert 3.25 < dusk_h < 6
    by_reason = {item.reason: item for item in clock.latest}
    expected_h = (6 - dusk_h) / 1.3 + dusk_h - 3
    assert by_reason["limit"].after_stop_s == pytest.approx(expected_h * HOUR, abs=2)
    assert by_reason["limit"].after_stop_s < 3 * HOUR
    # In safety: half an hour more, which is as slow in the dark.
    safe = replace(lift, limits=(replace(limit, counts_to="in safety"),))
    clock = decide(safe, make_simulation(clear_p90_s=3 * HOUR), SCHEDULE)
    expected_h = (6 - dusk_h) / 1.3 + dusk_h - 3.5
    assert clock.latest[0].after_stop_s == pytest.approx(expected_h * HOUR, abs=2)
    # Until dusk all is work by daylight.
    assert by_reason["dusk"].after_stop_s == pytest.approx((dusk_h - 3) * HOUR)


def clock_change_night(day: dt.date, stop_h: float) -> Lift:
    # One hour and a half of work in the night, within 4 h of the stop.
    limit = Limit(
        minutes=240.0, counts_from="stop", counts_to="on the ground", source="invented"
    )
    return changed(
        make_lift(limits=(limit,)),
        "conditions",
        date=day,
        stop_clock_s=stop_h * HOUR,
        time_zone="Europe/Rome",
        night=True,
    )


def test_a_latest_order_in_a_night_of_clock_change_is_what_the_wall_shows() -> None:
    # 2027-10-31: at 03:00 clocks in Rome go back to 02:00 (EU directive 2000/84/EC).
    # 3.25 h after 00:30 it is 03:45 by the old time and 02:45 on the wall.
    simulation = make_simulation(clear_p90_s=0.75 * HOUR)
    autumn = clock_change_night(dt.date(2027, 10, 31), 0.5)
    limit = decide(autumn, simulation, SCHEDULE).latest[0]
    assert limit.after_stop_s == 3.25 * HOUR
    assert limit.clock_s == pytest.approx(2.75 * HOUR)
    # 2027-03-28: at 02:00 they go on to 03:00, so 3.25 h after 00:30 is 04:45.
    spring = clock_change_night(dt.date(2027, 3, 28), 0.5)
    limit = decide(spring, simulation, SCHEDULE).latest[0]
    assert limit.clock_s == pytest.approx(4.75 * HOUR)


def test_dusk_is_an_hour_nearer_in_a_night_that_leaves_an_hour_out() -> None:
    lift = changed(
        clock_change_night(dt.date(2027, 3, 28), 1.0), "conditions", night=False
    )
    # 30 min of work by daylight: the days are imagined in the dark before sunrise.
    simulation = make_simulation(clear_p90_s=1.3 * 0.5 * HOUR)
    clock = decide(lift, simulation, SCHEDULE)
    assert clock.dusk_clock_s is not None
    dusk = next(item for item in clock.latest if item.reason == "dusk")
    shown_s = clock.dusk_clock_s - 1 * HOUR
    assert dusk.after_stop_s == pytest.approx(shown_s - 1 * HOUR - 0.5 * HOUR, abs=1)


def test_work_in_the_dark_takes_longer_and_gives_its_daylight_time_back() -> None:
    # By hand, 1.3 times (rule 27): light from 1300 s to 3000 s after the order.
    light = Light(from_s=1300.0, to_s=3000.0)
    by_day = np.array([0.0, 100.0, 1000.0, 2000.0, 5000.0])
    # 1000 s of work by dawn; then as by day to 2700 s; the last 2300 s in the dark.
    dark = np.array([0.0, 130.0, 1300.0, 2300.0, 3000.0 + 1.3 * 2300.0])
    assert in_the_dark(by_day, light) == pytest.approx(dark)
    assert by_daylight(dark, light) == pytest.approx(by_day)
    night = Light(from_s=-9e3, to_s=-1.0)
    assert in_the_dark(by_day, night) == pytest.approx(1.3 * by_day)
    assert (in_the_dark(by_day, ALWAYS_LIGHT) == by_day).all()


def test_a_valley_without_sun_cold_and_a_late_first_word_are_said() -> None:
    lift = changed(make_limited(), "conditions", skyline_angle_deg=40.0)
    assert set(said(lift, make_simulation())) == {"clock.no_sun"}
    cold = changed(
        make_limited(), "conditions", air_temperature_c=-30.0, wind_m_per_s=5.0
    )
    assert set(said(cold, make_simulation())) == {"clock.cold_too_late"}
    slow = changed(make_limited(), "organisation", informer_speed_m_per_s=0.2)
    # 622 m shared by two at 0.2 m/s: 1,555 s, said as 26 min.
    words = said(slow, make_simulation())["clock.first_word_late"]
    assert words.startswith("2 informers need 26 min to reach every carrier")
    assert "clock.repeat_late" in said(slow, make_simulation())
    nobody = changed(make_limited(), "organisation", informer_count=0)
    assert set(said(nobody, make_simulation())) == {"clock.no_informers"}


@pytest.mark.parametrize(
    ("stop_h", "night", "is_said"),
    [(19, False, True), (5, False, True), (13, False, False), (19, True, False)],
)
def test_daylight_times_for_an_order_in_the_dark_are_said(
    stop_h: int, night: bool, is_said: bool
) -> None:
    # January in the Alps: light from about 7:30 to 17:30 by any almanac.
    lift = changed(
        make_limited(), "conditions", stop_clock_s=stop_h * HOUR, night=night
    )
    assert is_dark(lift) == (stop_h != 13)
    assert ("clock.order_in_dark" in said(lift, make_simulation())) is is_said
