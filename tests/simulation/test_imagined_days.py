"""Imagined days: against a plain walk, against the schedule, and what always holds."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from builders import LOOP, along, make_lift
from flat_chain import Chain, endless_day, make_chain
from shapely.geometry import LineString, Polygon

import evac.simulation as simulation_module
import evac.simulation.days as days_module
from evac import hazards, timing
from evac.assignment import assign
from evac.clearing import carriers_in_unit, make_schedule, runs_towards_last, turns
from evac.clock import informer_round_s, light_from_order
from evac.daylight import by_night
from evac.errors import NoPlanError
from evac.factors import READY_FACTOR
from evac.facts.lift import Lift, Side, StepTime, Triple
from evac.facts.work import NEVER_S
from evac.simulation import clearing_seconds, simulate
from evac.simulation.draws import scores, stream
from evac.triples import fit_one

RUNS = 2000

SLOPE = ((-200, 30), (-50, 30), (-50, 400), (-200, 400))
"""Along the line and right of it [m]: below the first station, off the rope."""


@pytest.fixture(scope="module")
def chain() -> Chain:
    return make_chain()


def exact(triple: Triple) -> Triple:
    return Triple(low=triple.likely, likely=triple.likely, high=triple.likely)


def make_certain(lift: Lift) -> Lift:
    """The lift with every time and share exactly its planned value.

    Everybody works with the loop: riding along the rope has a spread of its own.
    """
    organisation = lift.organisation
    full = Triple(low=1.0, likely=1.0, high=1.0)
    none = Triple(low=0.0, likely=0.0, high=0.0)
    return replace(
        lift,
        occupancy=full,
        descending_occupancy=none,
        teams=tuple(replace(team, techniques=(LOOP,)) for team in lift.teams),
        step_times=tuple(
            replace(step, seconds=exact(step.seconds)) for step in lift.step_times
        ),
        hazards=tuple(
            replace(item, opens_s=exact(item.opens_s)) if item.opens_s else item
            for item in lift.hazards
        ),
        organisation=replace(
            organisation,
            stop_to_order_s=exact(organisation.stop_to_order_s),
            order_to_secured_s=exact(organisation.order_to_secured_s),
            ground_to_safe_s=exact(organisation.ground_to_safe_s),
        ),
    )


def test_with_nothing_left_to_chance_every_day_is_the_schedule(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    one = Triple(low=1.0, likely=1.0, high=1.0)
    for module, name, value in (
        (days_module, "DAY_SD", 0.0),
        (days_module, "TEAM_SD", 0.0),
        (simulation_module, "DAY_SD", 0.0),
        (simulation_module, "TEAM_SD", 0.0),
        (days_module, "FATIGUE_PER_HOUR", 0.0),
        (days_module, "READY_FACTOR", one),
        (days_module, "HARD_LEAST_S", 0.0),
        (days_module, "HARD_MOST_S", 0.0),
    ):
        monkeypatch.setattr(module, name, value)
    lift, heights, work, assignment = make_chain(make_certain(make_lift()))
    found = simulate(lift, heights, work, assignment, runs=400, seed=5)
    clear_s = sorted(
        {
            round(
                make_schedule(lift, heights, work, assignment, stop_index=stop).clear_s,
                3,
            )
            for stop in range(4)
        }
    )
    # The shift of an all but normal curve is known to 1e-10 of its width.
    assert sorted({round(value, 3) for value in found.order_to_clear_s}) == clear_s
    assert set(np.round(found.order_to_safe_s - found.order_to_clear_s, 6)) == {900.0}
    assert found.p90_independent_s == pytest.approx(found.p90_s)


def plain_walk(chain: Chain, *, seed: int, runs: int) -> np.ndarray[Any, Any]:
    """The clearing time of every day by a plain loop, written from the rules.

    It shares with the product the draws (named streams) and the step times, nothing
    else: no tables of items, no compiled code, one carrier at a time.
    """
    lift, heights, work, assignment = chain
    gates = hazards.find_gates(lift, heights.line)
    organisation = lift.organisation
    day = 0.25 * stream(seed, "day").standard_normal(runs)
    stop = np.floor(stream(seed, "stop position").random(runs) * 4).astype(int)
    secured = stream(seed, "line secured").standard_normal(runs)
    clear_s = np.zeros(runs)
    filled = {
        side: np.minimum(
            fit_one(share).at(stream(seed, f"occupancy {side}").standard_normal(runs)),
            1.0,
        )
        for side, share in (
            (Side.ASCENDING, lift.occupancy),
            (Side.DESCENDING, lift.descending_occupancy),
        )
    }
    streams = {
        (name, side, place): getattr(stream(seed, f"{name} {side} {place}"), how)(
            runs, dtype=np.float32
        ).astype(float)
        for name, how in (
            ("seats of", "random"),
            ("time of", "standard_normal"),
            ("hard case of", "random"),
        )
        for side in Side
        for place in range(heights.stops.span_index[side].shape[1])
    }
    for zone in assignment.zones:
        team = lift.teams[zone.option.team_index]
        own = 0.15 * stream(seed, f"team {zone.team}").standard_normal(runs)
        ready = stream(seed, f"ready {zone.team}").standard_normal(runs)
        for run in range(runs):
            slow = math.exp(day[run] + own[run])
            start_s = max(
                team.ready_s
                * float(fit_one(Triple(low=0.9, likely=1.0, high=1.5)).at(ready[run]))
                + (zone.arrival_s - team.ready_s) * slow,
                float(fit_one(organisation.order_to_secured_s).at(secured[run])),
            )
            zone_turns = turns(lift, heights, work, zone)
            for turn in zone_turns:
                for gate in gates:
                    here = (gate.side, gate.span_index) == (turn.side, turn.span_index)
                    for hazard in lift.hazards if here else ():
                        if hazard.id in gate.hazard_ids and hazard.opens_s is not None:
                            score = stream(seed, f"gate {hazard.id}").standard_normal(
                                runs
                            )[run]
                            opened_s = float(fit_one(hazard.opens_s).at(score))
                            start_s = max(start_s, opened_s)
            clock_s = start_s
            before_it = None
            for turn in zone_turns:
                side, span = turn.side, turn.span_index
                columns = carriers_in_unit(
                    heights,
                    side=side,
                    span_index=span,
                    stop_index=stop[run],
                    uphill=runs_towards_last(zone),
                )
                before = turn.passing
                if columns:
                    before = Triple(
                        low=before.low + turn.set_up.low,
                        likely=before.likely + turn.set_up.likely,
                        high=before.high + turn.set_up.high,
                    )
                across = before_it == (span, True)
                if columns and across and turn.back is not None:
                    before = Triple(
                        low=before.low + turn.back.low,
                        likely=before.likely + turn.back.likely,
                        high=before.high + turn.back.high,
                    )
                before_it = (span, bool(columns))
                number = (list(Side).index(side), span)
                score = stream(seed, f"set-up {number}").standard_normal(runs)[run]
                clock_s += tired(
                    float(fit_one(before).at(score)) * slow, clock_s - start_s
                )
                for column in columns:
                    share = streams["seats of", side, column][run]
                    people = seated(share, filled[side][run], lift.carriers.seats)
                    spread = timing.carrier_seconds(
                        lift,
                        heights,
                        gates,
                        zone.option,
                        side=side,
                        span_index=np.array(span),
                        people=people,
                        rope_height_m=heights.stops.rope_height_m[side][
                            stop[run], column
                        ],
                        seat_height_m=heights.stops.seat_height_m[side][
                            stop[run], column
                        ],
                    )
                    takes = Triple(
                        low=float(spread.low_s),
                        likely=float(spread.likely_s),
                        high=float(spread.high_s),
                    )
                    score = streams["time of", side, column][run]
                    hard = streams["hard case of", side, column][run]
                    clock_s += tired(
                        float(fit_one(takes).at(score)) * slow, clock_s - start_s
                    )
                    if people > 0 and hard < 0.02:
                        clock_s += 600.0 + 900.0 * hard / 0.02
            clear_s[run] = max(clear_s[run], clock_s)
    return clear_s


def tired(seconds: float, worked_s: float) -> float:
    return seconds * (1 + 0.1 * max(worked_s / 3600 - 1, 0))


def seated(share: float, filled: float, seats: int) -> int:
    below = 0.0
    for people in range(seats + 1):
        below += (
            math.comb(seats, people) * filled**people * (1 - filled) ** (seats - people)
        )
        if share <= below:
            return people
    return seats


def test_work_after_dusk_takes_as_long_as_in_the_dark(chain: Chain) -> None:
    # By hand (rule 27): what comes after dusk takes 1.3 times as long.
    bright = make_chain(endless_day(make_lift()))
    day_s = simulate(*bright, runs=500, seed=11).order_to_clear_s
    found = simulate(*chain, runs=500, seed=11)
    dusk_s = light_from_order(chain[0]).to_s
    late = day_s > dusk_s
    assert 50 < late.sum() < 450
    by_hand = np.where(late, dusk_s + 1.3 * (day_s - dusk_s), day_s)
    assert found.order_to_clear_s == pytest.approx(by_hand)
    days = clearing_seconds(*chain, runs=500, seed=11)
    assert days == pytest.approx(by_hand)
    # The way to the safe place falls into the dark as the work does.
    bright_safe_s = simulate(*bright, runs=500, seed=11).order_to_safe_s
    dark_s = np.maximum(bright_safe_s - dusk_s, 0.0)
    assert found.order_to_safe_s == pytest.approx(bright_safe_s + 0.3 * dark_s)


def at_seven_in_the_evening(*, night: bool) -> Lift:
    lift = make_lift()
    return replace(
        lift,
        conditions=replace(lift.conditions, stop_clock_s=19 * 3600.0, night=night),
    )


def test_a_plan_for_the_night_is_never_sooner_than_one_that_runs_into_it() -> None:
    # Rule 27: in the dark everything takes 1.3 times as long, however it is stated.
    bright = simulate(*make_chain(endless_day(make_lift())), runs=500, seed=11)
    dark = simulate(
        *make_chain(at_seven_in_the_evening(night=False)), runs=500, seed=11
    )
    chain = make_chain(by_night(at_seven_in_the_evening(night=True)))
    night = simulate(*chain, runs=500, seed=11)
    by_day_s = bright.order_to_safe_s - bright.order_to_clear_s
    assert dark.order_to_safe_s - dark.order_to_clear_s == pytest.approx(1.3 * by_day_s)
    # Distributions are fitted to the scaled times; a second of rounding a step.
    slow_s = night.order_to_safe_s - night.order_to_clear_s
    assert slow_s == pytest.approx(1.3 * by_day_s, abs=1.0)
    for share in (0.1, 0.5, 0.9):
        for name in ("order_to_first_s", "order_to_clear_s", "order_to_safe_s"):
            one, other = (np.quantile(getattr(x, name), share) for x in (night, dark))
            assert one >= other - 60.0, (name, share)


def test_the_night_is_counted_once() -> None:
    # By hand: 1.3 times (rule 27) what the folder states, once.
    day, night = (at_seven_in_the_evening(night=night) for night in (False, True))
    assert by_night(day) is day
    slow = by_night(night)
    assert by_night(slow) is slow
    assert [team.ready_s for team in slow.teams] == pytest.approx(
        [1.3 * team.ready_s for team in night.teams]
    )
    secured = night.organisation.order_to_secured_s
    assert slow.organisation.order_to_secured_s.high == pytest.approx(
        1.3 * secured.high
    )
    down = night.organisation.standdown_s
    assert slow.organisation.standdown_s.high == pytest.approx(1.3 * down.high)
    assert informer_round_s(slow) == pytest.approx(
        1.3 * (informer_round_s(night) or 0.0)
    )
    (_, heights, work, _), (_, _, slow_work, _) = make_chain(day), make_chain(slow)
    assert heights.line.supports
    there = work.arrive_s < NEVER_S
    assert (there == (slow_work.arrive_s < NEVER_S)).all()
    assert slow_work.arrive_s[there] == pytest.approx(
        1.3 * work.arrive_s[there], rel=0.01, abs=2.0
    )


def test_every_day_is_that_of_a_plain_loop_with_the_same_draws() -> None:
    chain = make_chain(endless_day(make_lift()))
    found = simulate(*chain, runs=100, seed=11)
    assert found.order_to_clear_s == pytest.approx(
        plain_walk(chain, seed=11, runs=100), rel=1e-9
    )


def test_more_days_only_add_days(chain: Chain) -> None:
    few = simulate(*chain, runs=500, seed=2)
    many = simulate(*chain, runs=RUNS, seed=2)
    assert (many.order_to_clear_s[:500] == few.order_to_clear_s).all()
    assert (many.stop_to_order_s[:500] == few.stop_to_order_s).all()


def test_the_days_of_one_team_do_not_depend_on_the_other_zones(chain: Chain) -> None:
    lift, heights, work, assignment = chain
    alone = [
        simulate(
            lift, heights, work, replace(assignment, zones=(zone,)), runs=500, seed=2
        ).order_to_clear_s
        for zone in assignment.zones
    ]
    together = simulate(lift, heights, work, assignment, runs=500, seed=2)
    assert (together.order_to_clear_s == np.max(alone, axis=0)).all()


def test_common_factors_make_the_late_days_later(chain: Chain) -> None:
    for seed in range(1, 4):
        found = simulate(*chain, runs=RUNS, seed=seed)
        assert found.p90_s > found.p90_independent_s
        assert (
            found.p90_s / found.p50_s
            > found.p90_independent_s / found.p50_independent_s
        )


def test_times_are_in_order_and_shares_add_up(chain: Chain) -> None:
    found = simulate(*chain, runs=RUNS, seed=1)
    assert (found.order_to_first_s > 0).all()
    assert (found.order_to_first_s < found.order_to_clear_s).all()
    assert (found.order_to_clear_s <= found.order_to_safe_s).all()
    assert found.p50_interval_s[0] <= found.p50_s <= found.p50_interval_s[1]
    assert found.p90_interval_s[0] <= found.p90_s <= found.p90_interval_s[1]
    assert sum(found.last_team_share.values()) == pytest.approx(1.0)
    assert set(found.last_team_share) == {zone.team for zone in chain[3].zones}


def test_the_same_days_on_an_emptier_line_never_end_later(chain: Chain) -> None:
    lift, heights, work, assignment = chain
    emptier = replace(lift, occupancy=Triple(low=0.15, likely=0.3, high=0.5))
    full = simulate(lift, heights, work, assignment, runs=RUNS, seed=4)
    half = simulate(emptier, heights, work, assignment, runs=RUNS, seed=4)
    assert (half.order_to_clear_s <= full.order_to_clear_s).all()
    assert half.p90_s < full.p90_s


def test_a_team_that_sets_out_later_never_ends_sooner() -> None:
    lift, heights, work, assignment = make_chain(endless_day(make_lift()))
    for zone in assignment.zones:
        alone = (lift, heights, work, replace(assignment, zones=(zone,)))
        usual = simulate(*alone, runs=RUNS, seed=4)
        # So late that neither the line nor a gate is what it waits for.
        late, later = (
            simulate(*alone, runs=RUNS, seed=4, notice_s={zone.team: seconds})
            for seconds in (9000.0, 9900.0)
        )
        assert (late.order_to_first_s > usual.order_to_first_s).all()
        assert (late.order_to_clear_s > usual.order_to_clear_s).all()
        shift_s = later.order_to_clear_s - late.order_to_clear_s
        assert shift_s == pytest.approx(np.full(RUNS, 900.0))


def test_teams_in_one_vehicle_leave_when_the_last_is_ready_that_day() -> None:
    # Of the builders' lift: the track is driven, and both teams start beside it.
    near = replace(
        make_lift().teams[0],
        id="Near",
        ready_s=300.0,
        travel="snow vehicle",
        vehicle="cat",
        drop_order=1,
        start_place="garage",
        start_x_m=along(0, 40)[0],
        start_y_m=along(0, 40)[1],
    )
    late = replace(near, id="Late", ready_s=3600.0, drop_order=2)
    kits = make_lift().kits
    lift = make_lift(
        teams=(near, late),
        kits=tuple(
            replace(kit, id=f"{kit.id} {team.id}", team=team.id)
            for team in (near, late)
            for kit in kits
        ),
    )
    lift, heights, work, assignment = make_chain(lift)
    zone = next(zone for zone in assignment.zones if zone.team == "Near")
    found = simulate(
        lift, heights, work, replace(assignment, zones=(zone,)), runs=RUNS, seed=4
    )
    late_s = 3600.0 * fit_one(READY_FACTOR).at(scores(4, "ready Late", RUNS))
    assert (found.order_to_first_s > late_s).all()


@pytest.mark.parametrize("likely_s", [600.0, 3600.0])
def test_nobody_walks_in_over_avalanche_ground_before_that_day_s_release(
    likely_s: float,
) -> None:
    # Over the track only, 30 m and more beside the line: no unit's gate.
    lift = make_lift()
    x_m, y_m = along(-300, 40)
    opens_s = Triple(low=likely_s / 3, likely=likely_s, high=4 * likely_s)
    slope = replace(
        lift.hazards[0],
        id="slope",
        kind="avalanche ground",
        geometry=Polygon([along(*at) for at in SLOPE]),
        opens_s=opens_s,
    )
    way = LineString([along(-300, 40), along(600, 40), along(600, 3)])
    lift = replace(
        lift,
        hazards=(slope,),
        ways=(replace(lift.ways[0], geometry=way),),
        teams=(
            replace(
                lift.teams[0],
                travel="foot",
                start_x_m=x_m,
                start_y_m=y_m,
                vehicle=None,
            ),
        ),
    )
    lift, heights, work, assignment = make_chain(lift)
    (zone,) = assignment.zones
    assert work.ways_in[0, zone.start_support].releases[0][0] == "slope"
    assert not any(gate.hazard_ids for gate in hazards.find_gates(lift, heights.line))
    found = simulate(lift, heights, work, assignment, runs=RUNS, seed=4)
    released_s = fit_one(opens_s).at(scores(4, "gate slope", RUNS))
    # From its far edge it is 650 m more to the top, over snow.
    assert (found.order_to_first_s > released_s + 300.0).all()
    # A day that releases early is a day with no wait at all.
    free = make_chain(replace(lift, hazards=()))
    usual = simulate(*free, runs=RUNS, seed=4)
    early = released_s < 60.0
    assert early.any()
    assert found.order_to_clear_s[early] == pytest.approx(
        usual.order_to_clear_s[early], abs=2.0
    )


def test_the_chance_of_the_limit_counts_the_days(chain: Chain) -> None:
    lift = chain[0]
    found = simulate(*chain, runs=RUNS, seed=1)
    took = found.stop_to_order_s + found.order_to_clear_s
    assert lift.limits[0].counts_from == "stop"
    limit_s = 60 * lift.limits[0].minutes
    assert found.chance_of_limit == np.mean(took <= limit_s)
    none = simulate(replace(lift, limits=()), *chain[1:], runs=500, seed=1)
    assert none.chance_of_limit is None


def test_an_added_team_never_makes_the_plan_longer(chain: Chain) -> None:
    lift, _, _, assignment = chain
    more = replace(
        lift,
        teams=(*lift.teams, replace(lift.teams[0], id="Team 4")),
        kits=(*lift.kits, replace(lift.kits[0], id="Kit 6", team="Team 4")),
    )
    assert make_chain(more)[3].objectives[:2] <= assignment.objectives[:2]


def test_no_zone_too_few_days_or_a_time_out_of_order_is_refused(chain: Chain) -> None:
    lift, heights, work, assignment = chain
    with pytest.raises(NoPlanError, match="no team can take any span"):
        simulate(lift, heights, work, replace(assignment, zones=()))
    with pytest.raises(NoPlanError, match="100 runs or more"):
        simulate(lift, heights, work, assignment, runs=10)
    step: StepTime = lift.step_times[3]
    wrong = replace(step, seconds=Triple(low=9000.0, likely=45.0, high=10.0))
    bad = replace(
        lift,
        step_times=tuple(wrong if item is step else item for item in lift.step_times),
    )
    with pytest.raises(NoPlanError, match=r"times\.csv"):
        simulate(bad, heights, work, assign(work), runs=100)
