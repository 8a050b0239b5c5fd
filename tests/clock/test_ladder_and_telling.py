"""The decision ladder, telling passengers, and whether running pays."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import pytest
from builders import along, make_lift
from shapely.geometry import Polygon
from test_decision_times import (
    HOUR,
    SCHEDULE,
    changed,
    make_limited,
    make_simulation,
)

from evac.clock import decide, informer_round_s
from evac.facts.heights import Heights
from evac.facts.lift import Hazard, Lift, Side
from evac.facts.work import Clock, Trigger
from evac.heights.envelope import find_heights
from evac.informing import VOICE_M, doubts, inform
from evac.ladder import DUSK_THAT_DECIDES_S, ladder, triggers
from evac.line import lay_out
from evac.words import Words


@cache
def heights_of_lift() -> Heights:
    lift = make_lift(hazards=())
    return find_heights(lift, lay_out(lift))[0]


def ground_not_walked(from_m: float, to_m: float, kind: str) -> Hazard:
    corners = [
        along(from_m, -90.0),
        along(to_m, -90.0),
        along(to_m, 90.0),
        along(from_m, 90.0),
    ]
    return Hazard(
        id="slope",
        kind=kind,
        name="the slope",
        geometry=Polygon(corners),
        opens_s=None,
        opened_by="",
        extra_s_per_passenger=0.0,
        extra_people=0,
        note="",
    )


def test_on_open_ground_a_voice_reaches_every_low_carrier() -> None:
    informed = inform(make_lift(hazards=()), heights_of_lift())
    assert all(item.silent == () for item in informed)
    assert doubts(heights_of_lift(), informed) == ()


@pytest.mark.parametrize("kind", ["avalanche ground", "water"])
def test_carriers_far_above_ground_nobody_walks_are_named(kind: str) -> None:
    # 240 m of it: a seat in the middle hangs some 110 m from its nearest edge, once
    # the belayer's radius is taken off; its span-sides must be named, both of them.
    lift = make_lift(hazards=(ground_not_walked(100.0, 340.0, kind),))
    heights = heights_of_lift()
    informed = inform(lift, heights)
    middle = next(
        span.index for span in heights.line.spans if span.start_m <= 220 <= span.end_m
    )
    assert set(informed[middle].silent) == set(Side)
    for side in Side:
        assert 100.0 < informed[middle].away_m[side] < 140.0
    (finding,) = doubts(heights, informed)
    text, remedy = Words().finding(finding)
    assert heights.line.spans[middle].id in text
    assert "loudspeakers" in remedy


def test_a_narrow_brook_is_called_across() -> None:
    lift = make_lift(hazards=(ground_not_walked(200.0, 206.0, "water"),))
    assert all(item.silent == () for item in inform(lift, heights_of_lift()))


def test_higher_ropes_are_never_nearer_to_a_voice() -> None:
    heights = heights_of_lift()
    higher = replace(
        heights,
        envelopes={
            side: replace(item, rope_greatest_m=item.rope_greatest_m + 40.0)
            for side, item in heights.envelopes.items()
        },
    )
    lift = make_lift(hazards=())
    for low, high in zip(inform(lift, heights), inform(lift, higher), strict=True):
        for side in Side:
            assert high.away_m[side] > low.away_m[side]
            # 40 m more above ground that may be walked: nobody is heard any more.
            assert high.away_m[side] > VOICE_M
        assert set(high.silent) == set(Side)


def with_informers(count: int, speed_m_per_s: float) -> Lift:
    lift = make_lift(hazards=())
    organisation = replace(
        lift.organisation,
        informer_count=count,
        informer_speed_m_per_s=speed_m_per_s,
    )
    return replace(lift, organisation=organisation)


def test_the_last_span_told_is_that_of_the_round() -> None:
    # One informer goes down the whole line: the lowest span is told at the round's
    # end, and every span above it sooner, in order.
    for count in (1, 2, 5):
        lift = with_informers(count, 0.5)
        times = [item.word_s for item in inform(lift, heights_of_lift())]
        assert all(time is not None for time in times)
        assert max(time or 0.0 for time in times) == pytest.approx(
            informer_round_s(lift)
        )
        if count == 1:
            assert times == sorted((time or 0.0 for time in times), reverse=True)


def test_without_informers_nobody_is_told_but_voices_are_still_judged() -> None:
    informed = inform(with_informers(0, 1.0), heights_of_lift())
    assert {item.word_s for item in informed} == {None}
    assert all(math.isfinite(item.away_m[Side.ASCENDING]) for item in informed)


def test_the_ladder_goes_up_in_time_and_ends_before_the_latest_order() -> None:
    lift = make_limited()
    clock = decide(lift, make_simulation(), SCHEDULE)
    steps = {item.key: item for item in ladder(lift, clock)}
    assert list(steps) == ["standby", "first_word", "staging", "decision", "secured"]
    starts = [item.from_s for item in steps.values()]
    assert starts == sorted(starts)
    assert clock.binding is not None
    assert steps["decision"].to_s == clock.binding.after_stop_s
    order_s = lift.organisation.stop_to_order_s.likely
    secure = lift.organisation.order_to_secured_s
    # By hand: order at its likely time, then securing.
    assert steps["secured"].from_s == order_s + secure.low
    assert steps["secured"].to_s == order_s + secure.high


def test_a_role_that_the_folder_does_not_name_is_not_made_up() -> None:
    lift = make_limited()
    organisation = replace(lift.organisation, roles={"command": 1}, informer_count=0)
    lift = replace(lift, organisation=organisation)
    clock = decide(lift, make_simulation(), SCHEDULE)
    people = {item.key: item.people for item in ladder(lift, clock)}
    assert people == {
        "standby": None,
        "first_word": 0,
        "staging": 1,
        "decision": 1,
        "secured": None,
    }


def trigger(lift: Lift, clock: Clock, key: str) -> Trigger:
    return next(item for item in triggers(lift, clock) if item.key == key)


def test_cold_is_rounded_as_the_chart_does_wherever_it_is_spoken_of() -> None:
    # The published chart shows whole degrees: -27.69 stands there as -28.
    lift = changed(
        make_limited(), "conditions", air_temperature_c=-17.5, wind_m_per_s=6.0
    )
    clock = decide(lift, make_simulation(), SCHEDULE)
    assert clock.wind_chill_c == pytest.approx(-27.69, abs=0.005)
    assert clock.cold_class == "moderate"
    assert trigger(lift, clock, "cold").now is True


def test_a_valley_without_sun_has_less_than_two_hours_to_dusk() -> None:
    # Its daylight is counted as ending at noon, the stop is at 13:00.
    shaded = changed(make_limited(), "conditions", skyline_angle_deg=40.0)
    clock = decide(shaded, make_simulation(), SCHEDULE)
    assert clock.dusk_clock_s is None
    assert trigger(shaded, clock, "dusk").now is True
    early = changed(shaded, "conditions", stop_clock_s=8 * HOUR)
    dusk = trigger(early, decide(early, make_simulation(), SCHEDULE), "dusk")
    assert dusk.now is False
    assert dusk.clock_s == pytest.approx(10.5 * HOUR, abs=600)


def test_a_cold_day_leaves_the_ladder_the_time_that_a_limit_gives() -> None:
    # By hand: a limit of 3 h less P90 2 h; at -20 C and 6 m/s skin freezes in 10 min,
    # less than any P90, so no order time meets that.
    cold = changed(
        make_limited(), "conditions", air_temperature_c=-20.0, wind_m_per_s=6.0
    )
    clock = decide(cold, make_simulation(), SCHEDULE)
    assert {item.reason for item in clock.latest} == {"limit", "dusk", "cold"}
    assert clock.binding is not None
    assert clock.binding.reason == "limit"
    decision = next(s for s in ladder(cold, clock) if s.key == "decision")
    assert decision.to_s == 1 * HOUR


def test_what_brings_the_decision_forward_is_held_against_the_day() -> None:
    lift = make_limited()
    clock = decide(lift, make_simulation(), SCHEDULE)
    found = {item.key: item for item in triggers(lift, clock)}
    assert set(found) == {"wind", "cold", "dusk", "passenger", "rope"}
    assert clock.dusk_clock_s is not None
    (by_dusk,) = [item for item in clock.latest if item.reason == "dusk"]
    usual_s = clock.dusk_clock_s - DUSK_THAT_DECIDES_S
    # Rule 4: 2 h before dusk; sooner where the work needs more daylight than that, for
    # the page names the latest order for dusk beside it.
    for latest_s, from_s in (
        (usual_s + 1, usual_s),
        (usual_s - HOUR, usual_s - HOUR),
    ):
        after_s = latest_s - clock.stop_clock_s
        held = replace(clock, latest=(replace(by_dusk, after_stop_s=after_s),))
        brings = {item.key: item for item in triggers(lift, held)}
        assert brings["dusk"].clock_s == pytest.approx(from_s)
        assert brings["dusk"].now is False
    assert found["passenger"].now is None
    late = changed(lift, "conditions", stop_clock_s=clock.dusk_clock_s - HOUR)
    assert trigger(late, clock, "dusk").now is True
    # From -28 on, itself included (common practice, no source).
    frozen = replace(clock, wind_chill_c=-28.0)
    mild = replace(clock, wind_chill_c=-27.4)
    assert trigger(lift, frozen, "cold").now is True
    assert trigger(lift, mild, "cold").now is False
    words = Words()
    for item in (*found.values(),):
        assert words.say(f"ladder.{item.key}", **item.values)
