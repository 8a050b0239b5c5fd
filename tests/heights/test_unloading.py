"""Clearing carriers one after the other: heights, drift, loads of supports."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from builders import make_lift
from invented_lines import five_lines

from evac.errors import NoPlanError
from evac.facts.lift import Lift, LoadCase, Side, TensionState
from evac.facts.work import Rescue, Schedule
from evac.heights.envelope import find_heights
from evac.heights.follow import excess_m, follow, order_of
from evac.heights.load_cases import ALL_EMPTY, DEFAULT_CASES
from evac.heights.passes import side_loads
from evac.heights.stop import side_models, stop_heights
from evac.heights.tension import held_at_stop, side_state, solve_pair
from evac.heights.unloading import Step, Unloading, find_doubts, unload, weak_supports
from evac.line import lay_out
from evac.rope.tension import LoopState
from evac.words import Words

FULL, BOTH = DEFAULT_CASES[0], DEFAULT_CASES[1]


def cleared(lift: Lift, order: list[Step], *, offset_m: float = 4.0) -> Unloading:
    return unload(
        lift, lay_out(lift), order=order, stop_offset_m=offset_m, load_case=BOTH
    )


def everyone(
    lift: Lift, *, from_drive: bool = True, offset_m: float = 4.0
) -> list[Step]:
    at_stop = cleared(lift, [], offset_m=offset_m)
    order = [
        (side, k) for side in Side for k in range(at_stop.sides[side].distance_m.size)
    ]
    return order if from_drive else order[::-1]


def with_tension(lift: Lift, state: TensionState, *, at_drive: bool) -> Lift:
    tension = replace(lift.tension, state=state, held_at_drive=at_drive)
    return replace(lift, tension=tension)


def test_after_the_last_carrier_the_line_hangs_as_if_it_had_been_empty() -> None:
    lift = make_lift()
    found = cleared(lift, everyone(lift)).sides[Side.ASCENDING]
    empty = stop_heights(
        lift,
        lay_out(lift),
        side=Side.ASCENDING,
        stop_offset_m=4.0,
        load_case=ALL_EMPTY,
    )
    assert found.height_m[0, -1] == pytest.approx(
        empty.carriers.rope_height_m, abs=1e-7
    )
    assert found.load_n[0, -1] == pytest.approx(
        empty.loads.load_n, abs=1e-3, nan_ok=True
    )


def test_a_carrier_is_reached_before_it_is_emptied() -> None:
    lift = make_lift()
    order = everyone(lift)
    found = cleared(lift, order).sides[Side.ASCENDING]
    for step, (side, ordinal) in enumerate(order):
        if side is Side.ASCENDING:
            assert found.reached_m[ordinal] == found.height_m[0, step, ordinal]
    assert (found.least_m <= found.reached_m).all()
    assert (found.reached_m <= found.greatest_m).all()


@pytest.mark.parametrize("state", list(TensionState))
@pytest.mark.parametrize("at_drive", [False, True])
def test_a_locked_rope_keeps_its_length_and_a_free_carriage_its_force(
    state: TensionState, at_drive: bool
) -> None:
    lift = with_tension(make_lift(), state, at_drive=at_drive)
    found = cleared(lift, everyone(lift))
    assert found.greatest_residual_n < 1e-6 * lift.tension.force_n
    cases = 4 if state is TensionState.UNKNOWN else 1
    assert found.sides[Side.ASCENDING].load_n.shape[0] == cases
    assert found.states_solved == cases * (len(found.order) + 1)


def test_an_unknown_tension_state_is_at_least_as_wide_as_each_known_one() -> None:
    lift = make_lift()
    order = everyone(lift)
    wide = cleared(with_tension(lift, TensionState.UNKNOWN, at_drive=False), order)
    for state in (TensionState.CONSTANT, TensionState.LOCKED):
        known = cleared(with_tension(lift, state, at_drive=False), order)
        for side in Side:
            over = known.sides[side].greatest_m - wide.sides[side].greatest_m
            under = wide.sides[side].least_m - known.sides[side].least_m
            assert max(over.max(), under.max()) < 1e-6


def test_with_tension_held_below_emptying_low_carriers_lets_loaded_ones_sink() -> None:
    # Rule 7 of the trade: the side where the tension is held matters. The return,
    # where the tension is held, is the lower station here.
    lift = five_lines()["steep, tension at the lower end"]
    count = cleared(lift, []).sides[Side.ASCENDING].distance_m.size
    lowest_first = [(Side.ASCENDING, k) for k in range(count - 1, count // 2, -1)]
    found = cleared(lift, lowest_first).sides[Side.ASCENDING]
    still_loaded = (
        found.height_m[0, -1, : count // 2] - found.height_m[0, 0, : count // 2]
    )
    assert still_loaded.min() < -0.1
    # They drift uphill, away from the lower station.
    assert found.drift_m[: count // 2].max() > 0.1


def test_a_support_left_with_a_fifth_of_its_load_is_named_with_the_carrier() -> None:
    # Rule 8. The second support of this line stands a little low: the full rope
    # presses on it, the emptied one hardly.
    lift = make_lift()
    supports = list(lift.supports)
    low = supports[2]
    supports[2] = replace(low, rope_height_m=low.rope_height_m - 4.4)
    lift = replace(lift, supports=tuple(supports))
    order = everyone(lift)
    line = lay_out(lift)
    found = unload(lift, line, order=order, stop_offset_m=4.0, load_case=BOTH)
    up = found.sides[Side.ASCENDING]
    weak = weak_supports(up)
    assert [index for index, _, _ in weak] == [2]
    index, step, share = weak[0]
    loads = np.where(up.lifted, 0.0, up.load_n)[0, :, index]
    assert loads[step] < 0.2 * loads[0] <= loads[step - 1]
    assert share == pytest.approx(loads[step] / loads[0])
    told = [f for f in find_doubts(line, found) if f.key == "heights.weak_support"]
    assert {f.where for f in told} == {"2 ascending", "2 descending"}
    side, ordinal = order[step - 1]
    assert told[0].values["at_m"] == pytest.approx(
        found.sides[side].distance_m[ordinal]
    )


@pytest.mark.parametrize("offset_m", [0.2, 11.0])
def test_a_carriage_with_the_drive_on_it_takes_every_carrier_along(
    offset_m: float,
) -> None:
    # Held at the drive the gripping bullwheel stands on the carriage. The rope from
    # it, round the return and back, is one piece: what the emptied line gives back
    # is drawn in at the drive, half of it on each side.
    lift = five_lines()["crest, tension at the lower end"]
    lift = with_tension(lift, TensionState.CONSTANT, at_drive=True)
    line = lay_out(lift)
    models = side_models(lift, line)
    held = held_at_stop(lift, force_n=lift.tension.force_n)
    full, empty = (
        solve_pair(
            models,
            {
                side: side_loads(lift, line, side=side, phase_m=offset_m, case=case)
                for side in Side
            },
            held=held,
        )
        for case in (BOTH, ALL_EMPTY)
    )
    travel_m = (empty.unstretched_length_m - full.unstretched_length_m) / 2
    assert travel_m < -0.5
    order = everyone(lift, offset_m=offset_m)
    found = unload(lift, line, order=order, stop_offset_m=offset_m, load_case=BOTH)
    for side, one in found.sides.items():
        stood_m = one.path_m[0, 0]
        # Where nothing draws at the drive the rope's own drift is next to nothing.
        first = 1 if offset_m < 1 else 0
        toward_drive = 1.0 if lift.drive_at_last else -1.0
        moved_m = toward_drive * (one.path_m[0, -1] - stood_m)
        assert moved_m[first] == pytest.approx(-travel_m, abs=0.1)
        # The whole line of the last state: solved again with the rope drawn in. That
        # the carriers then hang elsewhere changes the rope by some centimetres more.
        again = solve_pair(
            models,
            {
                each: replace(
                    loads := side_loads(
                        lift, line, side=each, phase_m=offset_m, case=ALL_EMPTY
                    ),
                    phase_m=loads.phase_m + travel_m + first * loads.spacing_m,
                    load_n=loads.load_n[first:],
                )
                for each in Side
            },
            held=held,
        )
        expected_m = models[side].to_distance_m(side_state(again, side).x_m)
        count = min(expected_m.size, stood_m.size - first)
        np.testing.assert_allclose(
            one.path_m[0, -1, first : first + count], expected_m[:count], atol=0.1
        )
        # Carriers drawn into the station have left the line.
        assert np.isnan(one.path_m[0, -1, :first]).all()
        envelope = find_heights(lift, line)[0].envelopes[side]
        assert np.nanmax(np.abs(one.drift_m)) <= envelope.drift_m.max() + 1e-6


def test_the_drift_beside_the_drive_holds_the_carriages_travel_at_every_stop() -> None:
    # Rule 7. Half of what the line gives back from full to empty, as above, solved a
    # metre apart; 13 mm are left for stops between those of the envelope.
    lift = five_lines()["crest, tension at the lower end"]
    lift = with_tension(lift, TensionState.CONSTANT, at_drive=True)
    line = lay_out(lift)
    models = side_models(lift, line)
    held = held_at_stop(lift, force_n=lift.tension.force_n)
    envelopes = find_heights(lift, line)[0].envelopes
    for offset_m in np.arange(0.0, lift.carriers.spacing_m, 1.0):
        full_m, empty_m = (
            solve_pair(
                models,
                {
                    side: side_loads(
                        lift, line, side=side, phase_m=float(offset_m), case=case
                    )
                    for side in Side
                },
                held=held,
            ).unstretched_length_m
            for case in (BOTH, ALL_EMPTY)
        )
        travel_m = abs(full_m - empty_m) / 2
        for envelope in envelopes.values():
            at_drive = -1 if lift.drive_at_last else 0
            assert envelope.drift_m[at_drive] >= travel_m - 0.013


@pytest.mark.parametrize("at_drive", [False, True])
def test_the_drift_of_an_unknown_tension_holds_its_bleeding_from_force_to_force(
    at_drive: bool,
) -> None:
    # Rule 7: full at one force and empty at the other within one evacuation. Held at
    # the drive the carriage goes along by half of the rope that the line gives back.
    lift = five_lines()["valley with a hold-down, tension at the upper end"]
    force_n = lift.tension.force_n
    tension = replace(
        lift.tension,
        state=TensionState.UNKNOWN,
        held_at_drive=at_drive,
        low_force_n=0.9 * force_n,
        high_force_n=1.1 * force_n,
    )
    lift = replace(lift, tension=tension)
    line = lay_out(lift)
    models = side_models(lift, line)
    envelopes = find_heights(lift, line)[0].envelopes

    def stood(case: LoadCase, held_n: float, offset_m: float) -> LoopState:
        loads = {
            side: side_loads(lift, line, side=side, phase_m=offset_m, case=case)
            for side in Side
        }
        return solve_pair(models, loads, held=held_at_stop(lift, force_n=held_n))

    low_n, high_n = tension.low_force_n, tension.high_force_n
    for offset_m in (0.0, 7.5, 15.0, 22.5):
        for first_n, then_n in ((high_n, low_n), (low_n, high_n)):
            full = stood(BOTH, first_n, offset_m)
            empty = stood(ALL_EMPTY, then_n, offset_m)
            travel_m = 0.0
            if at_drive:
                travel_m = full.unstretched_length_m - empty.unstretched_length_m
                travel_m = abs(travel_m) / 2
            for side, envelope in envelopes.items():
                from_m, to_m = (
                    models[side].to_distance_m(side_state(pair, side).x_m)
                    for pair in (full, empty)
                )
                count = min(from_m.size, to_m.size)
                moved_m = np.abs(to_m[:count] - from_m[:count])
                at = np.rint(from_m[:count]).astype(int)
                assert (envelope.drift_m[at] >= moved_m + travel_m - 1e-3).all()


def test_rollers_to_which_carriers_drift_are_told_whatever_the_stop_position() -> None:
    # Rule 7. A carrier that stands more than 3 m from a support, half a battery and a
    # grip (common practice, no source), and moves 1 m or more to within that.
    lift = five_lines()["valley with a hold-down, tension at the upper end"]
    line = lay_out(lift)
    findings = find_heights(lift, line)[1]
    keys = {"heights.drift", "heights.drift_everywhere"}
    told = {
        f"{support} {item.values['side']}": float(item.values["near_m"])
        for item in findings
        if item.key in keys
        for support in str(item.values["supports"]).split(", ")
    }
    for item in findings:
        if item.key in keys:
            # Not only of the stop and order that the schedule is written for.
            assert Words().finding(item)[0].startswith("At some stop, load and order")
    met = 0
    for offset_m in np.arange(0.0, 30.0, 1.5):
        found = unload(
            lift,
            line,
            order=everyone(lift, offset_m=float(offset_m)),
            stop_offset_m=float(offset_m),
            load_case=BOTH,
        )
        assert not [f for f in find_doubts(line, found) if f.key in keys]
        for side, one in found.sides.items():
            for support, at_m in zip(line.supports, line.distance_m, strict=True):
                away_m = np.abs(one.distance_m - at_m)
                comes = (one.least_distance_m <= at_m + 3.0) & (
                    one.greatest_distance_m >= at_m - 3.0
                )
                drifted = comes & (away_m > 3.0) & (np.abs(one.drift_m) >= 1.0)
                for stood_m in away_m[drifted]:
                    met += 1
                    assert stood_m <= told[f"{support.id} {side.value}"]
    assert met > 0


@pytest.mark.parametrize(
    "order",
    [
        [(Side.ASCENDING, 3), (Side.ASCENDING, 3)],
        [(Side.DESCENDING, 90)],
        [(Side.DESCENDING, -1)],
    ],
)
def test_an_order_that_names_a_carrier_wrongly_is_refused(order: list[Step]) -> None:
    with pytest.raises(NoPlanError, match="the order of clearing names carrier"):
        cleared(make_lift(), order)


def schedule_of(lift: Lift, order: list[Step]) -> Schedule:
    found = cleared(lift, [], offset_m=0.0)
    rescues = tuple(
        Rescue(
            team="Team 1",
            order=number,
            side=side,
            span_index=0,
            distance_m=float(found.sides[side].distance_m[ordinal]),
            people=4,
            rope_height_m=10.0,
            seat_height_m=7.0,
            rope_needed_m=30.0,
            start_s=100.0 * number,
            finish_s=100.0 * number + 90,
        )
        for number, (side, ordinal) in enumerate(order)
    )
    return Schedule(stop_offset_m=0.0, rescues=rescues, clear_s=0.0)


def test_a_schedule_is_followed_carrier_by_carrier() -> None:
    lift = make_lift()
    order = [(Side.ASCENDING, 5), (Side.DESCENDING, 2), (Side.ASCENDING, 0)]
    heights, _ = find_heights(lift, lay_out(lift))
    schedule = schedule_of(lift, order)
    assert list(order_of(lift, heights, schedule)) == order
    followed = follow(lift, heights, schedule)
    assert followed.unloading.order == tuple(order)
    assert followed.raised is None
    assert followed.above_m < 0.2
    told = next(f for f in followed.findings if f.key == "heights.sequence")
    sides = followed.unloading.sides.values()
    drift_m = max(float(np.abs(side.drift_m).max()) for side in sides)
    assert told.values["drift_m"] == pytest.approx(drift_m)
    risen = [side.height_m - side.height_m[:, :1] for side in sides]
    assert told.values["rise_m"] == pytest.approx(max(r.max() for r in risen))
    assert told.values["sink_m"] == pytest.approx(max(-r.min() for r in risen))
    assert all(Words().finding(told))


def test_an_envelope_that_is_too_low_is_raised_to_hold_what_was_met() -> None:
    lift = make_lift()
    heights, _ = find_heights(lift, lay_out(lift))
    shrunk = {
        side: replace(
            envelope,
            rope_greatest_m=envelope.rope_greatest_m - 1.5,
            rope_least_m=envelope.rope_least_m + 0.5,
        )
        for side, envelope in heights.envelopes.items()
    }
    schedule = schedule_of(lift, everyone(lift, from_drive=False))
    followed = follow(lift, replace(heights, envelopes=shrunk), schedule)
    assert followed.above_m > 0.5
    raised = followed.raised
    assert raised is not None
    for side in Side:
        above, below = excess_m(raised.envelopes[side], followed.unloading.sides[side])
        assert max(above.max(), below.max()) < 1e-9
    assert "heights.raised" in [finding.key for finding in followed.findings]


def test_an_order_that_leaves_the_envelope_is_followed_in_every_declared_case() -> None:
    lift = make_lift()
    line = lay_out(lift)
    heights, _ = find_heights(lift, line)
    # Too low for the full line already; where few sit the rope hangs higher yet.
    shrunk = {
        side: replace(envelope, rope_greatest_m=envelope.rope_greatest_m - 3.0)
        for side, envelope in heights.envelopes.items()
    }
    order = [(Side.ASCENDING, 5), (Side.DESCENDING, 2)]
    followed = follow(
        lift, replace(heights, envelopes=shrunk), schedule_of(lift, order)
    )
    raised = followed.raised
    assert raised is not None
    for case in heights.load_cases:
        found = unload(lift, line, order=order, stop_offset_m=0.0, load_case=case)
        for side in Side:
            above, below = excess_m(raised.envelopes[side], found.sides[side])
            assert max(above.max(), below.max()) < 1e-9
