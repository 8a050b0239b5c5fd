"""The two traps of a line with point rollers, lift-off, and what is refused."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from trial_lines import EMPTY_N, FULL_N, crest_line, loads_of

from evac.errors import RopeError
from evac.rope.side import (
    SideLoads,
    SidePoints,
    SideState,
    empty_deflections,
    solve_side,
)


def hollow(*, hold_down: bool, sense: int | None = None) -> SidePoints:
    """Two spans meeting in a hollow: the rope pulls upwards on the middle support."""
    return SidePoints(
        x_m=np.array([0.0, 60.0, 120.0]),
        z_m=np.array([0.0, -12.0 if hold_down else -1.0, 0.0]),
        weight_n_per_m=50.0,
        axial_stiffness_n=6e7,
        sense=None if sense is None else np.array([0, sense, 0]),
    )


@pytest.fixture(scope="module")
def jumping_states() -> list[tuple[float, SideState]]:
    """States of a hollow line at stops 0.1 mm apart while a carrier crosses."""
    coarse = [(phase, hollow_at(phase)) for phase in np.arange(0.0, 23.0, 0.005)]
    crossing = next(phase for phase, state in coarse if state.on_support == 1)
    near = crossing + np.arange(-0.012, 0.012, 1e-4)
    return [(phase, hollow_at(phase)) for phase in near]


def hollow_at(phase_m: float) -> SideState:
    loads = loads_of(FULL_N, phase_m=phase_m)
    return solve_side(hollow(hold_down=True), loads, return_tension_n=90_000)


def test_no_state_is_lost_where_a_carrier_crosses_a_support(jumping_states) -> None:
    # At a hold-down the return tension jumps upwards as a carrier crosses, so at some
    # stops no drive tension gives the return tension asked for. There the carrier
    # stands on the support, and nothing else changes abruptly.
    standing = [state for _, state in jumping_states if state.on_support == 1]
    assert len(standing) >= 10
    for _, state in jumping_states:
        assert state.return_tension_n == pytest.approx(90_000, rel=1e-10)
        assert state.residual_n < 1e-4
    for state in standing:
        assert np.abs(state.x_m - 60.0).min() == 0.0
        assert np.abs(state.z_m + 12.0).min() == 0.0


def test_heights_pass_through_a_crossing_without_a_step(jumping_states) -> None:
    # While the rollers take the carrier over, the drive tension passes through all
    # of the jump (some 350 N) within millimetres of the stop; without that, one of
    # these steps would be 7 mm.
    assert jumping_states[0][1].on_support is None
    assert jumping_states[-1][1].on_support is None
    for (_, one), (_, two) in pairwise(jumping_states):
        assert one.z_m.size == two.z_m.size
        assert np.abs(one.z_m - two.z_m).max() < 5e-4
    first, last = jumping_states[0][1], jumping_states[-1][1]
    assert abs(last.drive_tension_n - first.drive_tension_n) > 250


def test_a_jump_from_below_leaves_two_states_less_than_their_tension_apart() -> None:
    # Over a crest two states can meet one return tension; either is an equilibrium,
    # and they lie within the tension P dtheta of each other.
    points = crest_line()
    loads = loads_of(FULL_N)
    nominal = solve_side(points, loads, return_tension_n=250e3)
    turned = np.nanmax(np.abs(nominal.arriving_angle_rad - nominal.leaving_angle_rad))
    for phase in np.linspace(0, 22.9, 24):
        loads = loads_of(FULL_N, phase_m=phase)
        cold = solve_side(points, loads, return_tension_n=250e3)
        near = solve_side(points, loads, return_tension_n=252e3)
        warm = solve_side(points, loads, return_tension_n=250e3, near=near)
        apart = abs(warm.drive_tension_n - cold.drive_tension_n)
        assert apart <= 2 * FULL_N * turned
        count = min(warm.z_m.size, cold.z_m.size)
        assert np.abs(warm.z_m[:count] - cold.z_m[:count]).max() < 0.05


def test_a_carrier_on_a_station_s_edge_is_reported() -> None:
    points = crest_line()
    ends = set()
    state = None
    for phase in np.arange(0.0, 23.0, 0.02):
        loads = loads_of(FULL_N, phase_m=phase)
        state = solve_side(points, loads, return_tension_n=180e3, near=state)
        if state.on_support is not None:
            ends.add(state.on_support)
            assert state.x_m[-1] == points.x_m[-1] or state.on_support < 21
    assert 21 in ends


def test_a_span_that_cannot_hang_is_named() -> None:
    points = SidePoints(
        x_m=np.array([0.0, 50.0, 400.0]),
        z_m=np.zeros(3),
        weight_n_per_m=60.0,
        axial_stiffness_n=6e7,
        names=("bottom", "4", "top"),
    )
    with pytest.raises(RopeError, match=r"^in span 4-top no rope hangs"):
        solve_side(points, drive_tension_n=10_000)
    # From the least tension T of a level span, T = 0.7544 w l (c cosh(l/2c) least,
    # where l/2c tanh(l/2c) = 1), it hangs.
    least = 0.5 * 60 * 350 / 0.6627434193
    for factor, hangs in ((0.999, False), (1.001, True)):
        rope = SidePoints(
            x_m=np.array([0.0, 350.0]),
            z_m=np.zeros(2),
            weight_n_per_m=60.0,
            axial_stiffness_n=math.inf,
        )
        if hangs:
            state = solve_side(rope, drive_tension_n=least * factor)
            assert state.residual_n < 1e-6
        else:
            with pytest.raises(RopeError, match="no rope hangs"):
                solve_side(rope, drive_tension_n=least * factor)


def test_no_span_is_refused_that_a_scan_of_start_angles_solves() -> None:
    # Each refusal is confirmed by looking along all start angles for a sign change.
    drawn = np.random.default_rng(8)
    refused = 0
    for _ in range(400):
        run = drawn.uniform(30, 300)
        rise = run * drawn.uniform(-0.8, 0.8)
        weight = drawn.uniform(20, 100)
        tension = weight * run * drawn.uniform(0.4, 1.6)
        points = SidePoints(
            x_m=np.array([0.0, run]),
            z_m=np.array([0.0, rise]),
            weight_n_per_m=weight,
            axial_stiffness_n=math.inf,
        )
        angles = np.linspace(-1.5707, math.atan2(rise, run), 20_000)
        # Closed form of the inextensible catenary, from its start.
        c = tension * np.cos(angles) / weight
        first = np.arcsinh(np.tan(angles))
        with np.errstate(over="ignore"):
            end = c * (np.cosh(run / c + first) - np.cosh(first))
        hangs = bool((end < rise).any())
        margin = abs(np.min(end) - rise)
        try:
            state = solve_side(points, drive_tension_n=tension)
        except RopeError:
            refused += 1
            assert not hangs or margin < 1e-3
            continue
        assert hangs or margin < 1e-3
        # The taut one: the greatest of the angles.
        best = angles[np.flatnonzero(end < rise)[-1]]
        assert state.start_angle_rad[0] == pytest.approx(best, abs=2e-4)
    assert 20 < refused < 380


def test_a_support_that_would_have_to_pull_is_released_and_named() -> None:
    points = hollow(hold_down=False, sense=1)
    state = solve_side(points, return_tension_n=90_000)
    assert list(state.lifted) == [False, True, False]
    assert state.load_n[1] == 0.0
    # The same line without that support: the same rope.
    without = SidePoints(
        x_m=points.x_m[[0, 2]],
        z_m=points.z_m[[0, 2]],
        weight_n_per_m=50.0,
        axial_stiffness_n=6e7,
    )
    free = solve_side(without, return_tension_n=90_000)
    assert state.drive_tension_n == pytest.approx(free.drive_tension_n, rel=1e-12)
    # It hangs above the support, and arrives there as it leaves.
    assert state.arriving_angle_rad[1] == state.leaving_angle_rad[1]
    # With carriers the rope comes down on its support again.
    loaded = solve_side(points, loads_of(FULL_N), return_tension_n=90_000)
    assert not loaded.lifted.any()
    assert loaded.load_n[1] > 0


def test_a_hold_down_pressed_from_above_lets_go_as_well() -> None:
    points = hollow(hold_down=False, sense=-1)
    pulled = solve_side(points, return_tension_n=90_000)
    assert pulled.load_n[1] < 0
    assert not pulled.lifted.any()
    loaded = solve_side(points, loads_of(FULL_N), return_tension_n=90_000)
    assert loaded.lifted[1]


def test_carriers_know_their_span_where_the_rope_has_left_a_support() -> None:
    points = hollow(hold_down=False, sense=1)
    few = np.zeros(160)
    state = solve_side(
        points,
        SideLoads(phase_m=5.0, spacing_m=23.0, load_n=few),
        return_tension_n=90_000,
    )
    assert state.lifted[1]
    assert list(state.span) == [0, 0, 0, 1, 1]
    assert np.all(points.x_m[state.span] <= state.x_m)


def test_the_sign_of_the_empty_rope_tells_supports_from_hold_downs() -> None:
    turned = empty_deflections(hollow(hold_down=True), return_tension_n=90_000)
    assert turned[1] < 0
    turned = empty_deflections(crest_line(), return_tension_n=250_000)
    assert np.all(turned[1:-1] > 0)
    assert math.isnan(turned[0])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"x_m": np.array([0.0, 10.0, 10.0])}, "x_m must grow from the drive"),
        ({"z_m": np.array([0.0, math.nan, 0.0])}, "has no place"),
        ({"weight_n_per_m": -1.0}, "weight must be above 0"),
        ({"weight_n_per_m": math.nan}, "weight must be above 0"),
        ({"axial_stiffness_n": 0.0}, "stiffness must be above 0"),
        ({"x_m": np.zeros(1), "z_m": np.zeros(1)}, "two or more supports"),
        ({"sense": np.array([1, 1])}, "sense"),
        ({"names": ("a",)}, "name"),
    ],
)
def test_impossible_supports_are_refused_in_words(change, words) -> None:
    given = {
        "x_m": np.array([0.0, 50.0, 100.0]),
        "z_m": np.zeros(3),
        "weight_n_per_m": 50.0,
        "axial_stiffness_n": 6e7,
    }
    with pytest.raises(RopeError, match=words):
        SidePoints(**(given | change))


@pytest.mark.parametrize("tension", [0.0, -5.0, math.nan, math.inf])
def test_impossible_tensions_are_refused(tension) -> None:
    with pytest.raises(RopeError, match="must be above 0"):
        solve_side(hollow(hold_down=True), return_tension_n=tension)


def test_loads_that_end_before_the_line_does_are_refused() -> None:
    short = SideLoads(phase_m=5.0, spacing_m=23.0, load_n=np.full(3, EMPTY_N))
    with pytest.raises(RopeError, match="more carriers stand on the side"):
        solve_side(hollow(hold_down=True), short, return_tension_n=90_000)


def test_one_tension_must_be_given_not_two() -> None:
    with pytest.raises(RopeError, match="one"):
        solve_side(hollow(hold_down=True))
    with pytest.raises(RopeError, match="one"):
        solve_side(
            hollow(hold_down=True), drive_tension_n=90_000, return_tension_n=90_000
        )
