"""Both sides of a line over the free return bullwheel, under each tension system."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from trial_lines import EMPTY_N, FULL_N, crest_line, loads_of

from evac.errors import RopeError
from evac.rope.side import solve_side
from evac.rope.tension import Held, Kept, LoopSide, rule_beside, solve_loop

FORCE_N = 500e3


def side(load_n, *, phase_m: float) -> LoopSide:
    return LoopSide(points=crest_line(), loads=loads_of(load_n, phase_m=phase_m))


def at_the_stop():
    up, down = side(FULL_N, phase_m=4.0), side(EMPTY_N, phase_m=15.0)
    held = Held(kept=Kept.RETURN_FORCE, amount=FORCE_N)
    return up, down, solve_loop(up, down, held=held, near_tension_n=FORCE_N / 2)


def held_as(kept: Kept, stop) -> Held:
    amount = {
        Kept.RETURN_FORCE: FORCE_N,
        Kept.DRIVE_FORCE: stop.drive_force_n,
        Kept.LENGTH: stop.unstretched_length_m,
    }
    return Held(kept=kept, amount=amount[kept])


@pytest.mark.parametrize("kept", list(Kept))
def test_at_the_stop_every_tension_system_gives_the_same_line(kept) -> None:
    up, down, stop = at_the_stop()
    again = solve_loop(up, down, held=held_as(kept, stop), near_tension_n=220e3)
    assert again.return_tension_n == pytest.approx(FORCE_N / 2, rel=1e-9)
    assert again.first.z_m == pytest.approx(stop.first.z_m, abs=1e-8)
    assert again.second.z_m == pytest.approx(stop.second.z_m, abs=1e-8)


@pytest.mark.parametrize("kept", [Kept.DRIVE_FORCE, Kept.LENGTH])
def test_the_coupled_sides_agree_with_a_plain_root_of_their_one_condition(kept) -> None:
    _, down, stop = at_the_stop()
    emptied = side(EMPTY_N, phase_m=4.0)
    held = held_as(kept, stop)
    found = solve_loop(emptied, down, held=held, near_tension_n=250e3)

    def missed(tension: float) -> float:
        states = [
            solve_side(one.points, one.loads, return_tension_n=tension)
            for one in (emptied, down)
        ]
        if kept is Kept.LENGTH:
            lengths = sum(state.unstretched_length_m for state in states)
            return stop.unstretched_length_m - lengths
        return sum(state.drive_tension_n for state in states) - stop.drive_force_n

    root = brentq(missed, 150e3, 400e3, xtol=1e-6)
    assert found.return_tension_n == pytest.approx(root, abs=1e-4)


def test_a_locked_line_loses_tension_when_it_is_emptied() -> None:
    _, down, stop = at_the_stop()
    held = held_as(Kept.LENGTH, stop)
    emptied = solve_loop(
        side(EMPTY_N, phase_m=4.0), down, held=held, near_tension_n=250e3
    )
    assert emptied.return_tension_n < stop.return_tension_n - 1000
    assert emptied.unstretched_length_m == pytest.approx(
        stop.unstretched_length_m, abs=1e-9
    )


def test_with_the_force_at_the_drive_emptying_tightens_the_return() -> None:
    # Less weight hangs from the upper station, so more of the force reaches the lower.
    _, down, stop = at_the_stop()
    held = held_as(Kept.DRIVE_FORCE, stop)
    emptied = solve_loop(
        side(EMPTY_N, phase_m=4.0), down, held=held, near_tension_n=250e3
    )
    assert emptied.return_tension_n > stop.return_tension_n + 1000
    assert emptied.drive_force_n == pytest.approx(stop.drive_force_n, rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(
    st.integers(0, 2**20),
    st.sampled_from([Kept.DRIVE_FORCE, Kept.LENGTH]),
    st.floats(0, 22.9),
    st.floats(0, 22.9),
)
def test_any_loads_on_both_sides_are_solved_to_a_small_residual(
    seed, kept, one_m, other_m
) -> None:
    drawn = np.random.default_rng(seed)
    _, _, stop = at_the_stop()
    loads = [
        np.where(drawn.random(160) < share, FULL_N, EMPTY_N) for share in (0.5, 0.1)
    ]
    found = solve_loop(
        side(loads[0], phase_m=one_m),
        side(loads[1], phase_m=other_m),
        held=held_as(kept, stop),
        near_tension_n=250e3,
    )
    assert found.residual_n < 1e-6 * found.return_tension_n
    assert found.first.return_tension_n == pytest.approx(
        found.second.return_tension_n, rel=1e-9
    )


@pytest.mark.parametrize("kept", [Kept.DRIVE_FORCE, Kept.LENGTH])
def test_one_side_s_rule_beside_the_other_is_as_good_as_it_says(kept) -> None:
    _, down, stop = at_the_stop()
    held = held_as(kept, stop)
    emptied = side(EMPTY_N, phase_m=4.0)
    exact = solve_loop(emptied, down, held=held, near_tension_n=250e3)
    rule, misfit = rule_beside(
        down, held=held, low_tension_n=225e3, high_tension_n=290e3
    )
    alone = solve_side(emptied.points, emptied.loads, rule=rule)
    # The condition's slope with the return tension is 1 or more, so the error of the
    # tension is no larger than the misfit.
    assert abs(alone.return_tension_n - exact.return_tension_n) <= 1.5 * misfit
    assert misfit < 2e-3 * stop.return_tension_n
    assert np.abs(alone.z_m - exact.first.z_m).max() < 1e-2


def test_a_jump_of_the_other_side_does_not_tilt_its_rule() -> None:
    # The two ends' tensions of a rope differ by its weight: their slope is one within
    # a few per cent, whatever jumps lie within the range.
    stop = solve_side(
        crest_line(), loads_of(FULL_N, phase_m=3.3), return_tension_n=FORCE_N / 2
    )
    held = Held(kept=Kept.DRIVE_FORCE, amount=2 * stop.drive_tension_n)
    for phase_m in np.arange(0.0, 23.0, 1.0):
        rule, misfit = rule_beside(
            side(FULL_N, phase_m=float(phase_m)),
            held=held,
            low_tension_n=247e3,
            high_tension_n=253e3,
        )
        assert rule[4] == pytest.approx(1.0, abs=0.05)
        assert misfit < 1.5e3


def test_a_force_held_at_the_return_is_shared_equally() -> None:
    _, _, stop = at_the_stop()
    assert stop.first.return_tension_n == pytest.approx(FORCE_N / 2, rel=1e-12)
    assert stop.second.return_tension_n == pytest.approx(FORCE_N / 2, rel=1e-12)
    held = Held(kept=Kept.RETURN_FORCE, amount=FORCE_N)
    rule, misfit = rule_beside(
        side(FULL_N, phase_m=1.0), held=held, low_tension_n=2e5, high_tension_n=3e5
    )
    assert misfit == 0.0
    assert rule[2] == FORCE_N / 2


def test_what_no_tension_system_can_keep_is_refused() -> None:
    up, down, _ = at_the_stop()
    with pytest.raises(RopeError, match="above 0"):
        Held(kept=Kept.LENGTH, amount=0.0)
    # Two sides of 2.98 km each cannot take up 20 km of rope and stay taut.
    held = Held(kept=Kept.LENGTH, amount=20_000.0)
    with pytest.raises(RopeError, match="no rope"):
        solve_loop(up, down, held=held, near_tension_n=250e3)


@pytest.mark.parametrize("kept", [Kept.DRIVE_FORCE, Kept.LENGTH])
def test_sides_that_are_loaded_alike_share_what_happens_at_a_crossing(kept) -> None:
    # Both sides full: their carriers come to the same support at the same tension, so
    # neither side answers smoothly to the other.
    at_3_m = side(FULL_N, phase_m=3.3)
    stop = solve_side(at_3_m.points, at_3_m.loads, return_tension_n=FORCE_N / 2)
    amount = {
        Kept.DRIVE_FORCE: 2 * stop.drive_tension_n,
        Kept.LENGTH: 2 * stop.unstretched_length_m,
    }
    held = Held(kept=kept, amount=amount[kept])
    for phase_m in np.arange(0.0, 23.0, 0.02):
        one = side(FULL_N, phase_m=float(phase_m))
        found = solve_loop(one, one, held=held, near_tension_n=FORCE_N / 2)
        assert found.residual_n <= 2e-10 * FORCE_N
        assert found.first.z_m == pytest.approx(found.second.z_m, abs=1e-7)
