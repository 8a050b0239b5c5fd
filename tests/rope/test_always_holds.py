"""What must hold for every rope, whatever its numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from trial_lines import EMPTY_N, FULL_N, crest_line, loads_of, mixed_line

from evac.rope.shape import rope_shape
from evac.rope.side import SideLoads, SidePoints, solve_side

QUICK = settings(max_examples=60, deadline=None)


@st.composite
def lines(draw):
    """A line of 2 to 12 supports with random loads and a tension that carries it."""
    spans = draw(st.integers(1, 11))
    runs = draw(st.lists(st.floats(20, 220), min_size=spans, max_size=spans))
    steps = draw(st.lists(st.floats(-0.25, 0.7), min_size=spans, max_size=spans))
    x = np.concatenate([[0.0], np.cumsum(runs)])
    z = np.concatenate([[0.0], np.cumsum(np.array(runs) * np.array(steps))])
    weight = draw(st.floats(30, 110))
    stiffness = draw(st.floats(3e7, 3e8))
    spacing = draw(st.floats(12, 60))
    phase = draw(st.floats(0.0, 1.0)) * spacing
    seed = draw(st.integers(0, 2**20))
    count = int(1.5 * np.hypot(np.diff(x), np.diff(z)).sum() / spacing) + 6
    load = np.random.default_rng(seed).uniform(500, 9000, count)
    points = SidePoints(
        x_m=x, z_m=z, weight_n_per_m=weight, axial_stiffness_n=stiffness
    )
    loads = SideLoads(phase_m=phase, spacing_m=spacing, load_n=load)
    # Taut by the rules of ropeways: the loaded sag stays below a twentieth, and in a
    # short span one carrier alone pulls less than a third of the tension.
    smeared = weight + 5000 / spacing
    tension = 3 * smeared * max(runs) + 1.2 * smeared * float(np.ptp(z))
    tension += 3 * float(load.max())
    return points, loads, tension


@QUICK
@given(lines())
def test_forces_balance_at_every_support_and_for_the_whole_line(case) -> None:
    points, loads, tension = case
    state = solve_side(points, loads, return_tension_n=tension)

    inner = slice(1, -1)
    arriving = state.support_tension_n[inner]
    leaving = state.start_tension_n[1:]
    alpha, beta = state.arriving_angle_rad[inner], state.leaving_angle_rad[inner]
    # What the rope does to the roller: pulls back along where it came from and on
    # along where it goes.
    push_x = -arriving * np.cos(alpha) + leaving * np.cos(beta)
    push_z = -arriving * np.sin(alpha) + leaving * np.sin(beta)
    middle = 0.5 * (alpha + beta)
    if state.on_support is None:
        # A frictionless roller feels the bisector only.
        along = push_x * np.cos(middle) + push_z * np.sin(middle)
        assert np.abs(along).max(initial=0) <= 1e-6 * tension
        across = push_x * np.sin(middle) - push_z * np.cos(middle)
        assert across == pytest.approx(state.load_n[inner], abs=1e-6 * tension)

    hung = loads.load_n[: state.x_m.size].sum()
    on_rollers = state.on_support is not None
    rope = points.weight_n_per_m * state.unstretched_length_m
    first = state.drive_tension_n * math.sin(state.start_angle_rad[0])
    last = state.return_tension_n * math.sin(state.arriving_angle_rad[-1])
    if not on_rollers:
        assert last - first - push_z.sum() * 1.0 == pytest.approx(
            hung + rope, abs=1e-6 * tension
        )
    horizontal = state.horizontal_tension_n
    if not on_rollers:
        assert horizontal[-1] - horizontal[0] == pytest.approx(
            push_x.sum(), abs=1e-6 * tension
        )


@QUICK
@given(lines())
def test_a_line_and_its_mirror_image_hang_alike(case) -> None:
    points, loads, tension = case
    state = solve_side(points, loads, return_tension_n=tension)
    assume(state.on_support is None and state.x_m.size > 0)
    end = points.x_m[-1]
    mirrored = SidePoints(
        x_m=end - points.x_m[::-1],
        z_m=points.z_m[::-1].copy(),
        weight_n_per_m=points.weight_n_per_m,
        axial_stiffness_n=points.axial_stiffness_n,
    )
    count = state.x_m.size
    last = loads.phase_m + (count - 1) * loads.spacing_m
    seen = SideLoads(
        phase_m=max(0.0, state.unstretched_length_m - last),
        spacing_m=loads.spacing_m,
        load_n=np.append(loads.load_n[:count][::-1], np.zeros(4)),
    )
    assume(loads.phase_m >= 1e-6)
    # Seen from the other end, the held tension is the one at the start.
    other = solve_side(mirrored, seen, drive_tension_n=tension)
    # A carrier within rounding of a support may count to either span.
    assume(other.on_support is None and other.x_m.size == count)
    assert end - other.x_m[::-1] == pytest.approx(state.x_m, abs=2e-7)
    assert other.z_m[::-1] == pytest.approx(state.z_m, abs=2e-7)
    assert other.return_tension_n == pytest.approx(state.drive_tension_n, rel=1e-8)


@QUICK
@given(lines(), st.floats(1e-3, 1e3))
def test_weights_forces_and_stiffness_scaled_together_change_no_place(
    case, factor
) -> None:
    points, loads, tension = case
    state = solve_side(points, loads, return_tension_n=tension)
    scaled = solve_side(
        SidePoints(
            x_m=points.x_m,
            z_m=points.z_m,
            weight_n_per_m=points.weight_n_per_m * factor,
            axial_stiffness_n=points.axial_stiffness_n * factor,
        ),
        SideLoads(
            phase_m=loads.phase_m,
            spacing_m=loads.spacing_m,
            load_n=loads.load_n * factor,
        ),
        return_tension_n=tension * factor,
    )
    assume(state.on_support is None and scaled.on_support is None)
    assume(state.x_m.size == scaled.x_m.size)
    # Two solutions a roller's length apart may both be right (evac.rope.kernel).
    assert scaled.x_m == pytest.approx(state.x_m, abs=1e-7)
    assert scaled.z_m == pytest.approx(state.z_m, abs=1e-7)


@QUICK
@given(lines())
def test_every_state_meets_its_tension_and_says_what_it_misses(case) -> None:
    points, loads, tension = case
    state = solve_side(points, loads, return_tension_n=tension)
    assert state.return_tension_n == pytest.approx(tension, rel=1e-11)
    assert 0 <= state.residual_n <= 1e-6 * tension
    assert np.all(np.diff(state.x_m) > 0)


def one_span(*, stiffness_n: float = 1e8, weight: float = 60.0) -> SidePoints:
    return SidePoints(
        x_m=np.array([0.0, 200.0]),
        z_m=np.array([0.0, 60.0]),
        weight_n_per_m=weight,
        axial_stiffness_n=stiffness_n,
    )


def test_the_rope_that_cannot_stretch_is_approached_in_proportion_to_1_over_ea() -> (
    None
):
    loads = SideLoads(phase_m=30.0, spacing_m=25.0, load_n=np.full(20, 5000.0))
    stiff = solve_side(one_span(stiffness_n=math.inf), loads, return_tension_n=150_000)
    departures = []
    for stiffness in (1e9, 1e10, 1e11):
        state = solve_side(
            one_span(stiffness_n=stiffness), loads, return_tension_n=150_000
        )
        departures.append(np.abs(state.x_m - stiff.x_m).max())
    assert departures[0] / departures[1] == pytest.approx(10, rel=0.01)
    assert departures[1] / departures[2] == pytest.approx(10, rel=0.01)


def test_the_parabola_is_approached_with_the_third_power_of_the_tension() -> None:
    # Sag of a level catenary: w l^2/8H (1 + (w l/H)^2/48 + ...), so what is beyond
    # the parabola falls with the third power of H.
    level = SidePoints(
        x_m=np.array([0.0, 200.0]),
        z_m=np.zeros(2),
        weight_n_per_m=60.0,
        axial_stiffness_n=math.inf,
    )
    beyond = []
    for tension in (40_000.0, 80_000.0, 160_000.0):
        state = solve_side(level, drive_tension_n=tension)
        h = state.horizontal_tension_n[0]
        sag = -rope_shape(level, loads_of(0.0, phase_m=1e9), state, step_m=100).z_m[1]
        beyond.append((sag - 60.0 * 200.0**2 / (8 * h)) * h**3)
    assert beyond[1] == pytest.approx(beyond[2], rel=5e-3)
    assert beyond[0] == pytest.approx(beyond[2], rel=2e-2)
    expected = (60.0 * 200.0**2 / 8) * (60.0 * 200.0) ** 2 / 48
    assert beyond[2] == pytest.approx(expected, rel=5e-3)


@QUICK
@given(
    st.floats(40, 250),
    st.floats(-0.7, 0.7),
    st.floats(0.05, 0.95),
    st.booleans(),
    st.floats(500, 9000),
)
def test_an_emptied_carrier_never_goes_lower_within_its_span(
    run_m, steepness, share, at_return, people_n
) -> None:
    points = SidePoints(
        x_m=np.array([0.0, run_m]),
        z_m=np.array([0.0, run_m * steepness]),
        weight_n_per_m=70.0,
        axial_stiffness_n=8e7,
    )
    place = share * math.hypot(run_m, run_m * steepness)
    end = {"return_tension_n" if at_return else "drive_tension_n": 120_000.0}

    def hung(load: float):
        loads = SideLoads(phase_m=place, spacing_m=1e6, load_n=np.array([load, 0.0]))
        return loads, solve_side(points, loads, **end)

    _, full = hung(3000.0 + people_n)
    loads, empty = hung(3000.0)
    shape = rope_shape(points, loads, empty, step_m=0.05)
    after = np.interp(full.x_m[0], shape.x_m, shape.z_m)
    # Straight lines between points 0.05 m apart lie above the rope by < 1e-6 m.
    assert after >= full.z_m[0] - 1e-6


@QUICK
@given(st.integers(0, 120), st.booleans(), st.floats(0, 22.9))
def test_weight_taken_off_changes_no_tension_towards_the_held_end(
    k, at_return, phase
) -> None:
    points = crest_line()
    end = {"return_tension_n" if at_return else "drive_tension_n": 330_000.0}
    nothing = np.zeros(160)
    one = nothing.copy()
    one[k] = FULL_N
    bare = solve_side(points, loads_of(nothing, phase_m=phase), **end)
    loaded = solve_side(points, loads_of(one, phase_m=phase), **end)
    assume(loaded.on_support is None)
    here = loaded.span[k]
    held_side = slice(here + 1, None) if at_return else slice(0, here + 1)
    assert loaded.support_tension_n[held_side] == pytest.approx(
        bare.support_tension_n[held_side], rel=1e-10
    )
    other = slice(0, here + 1) if at_return else slice(here + 1, None)
    assert (
        np.abs(loaded.support_tension_n[other] - bare.support_tension_n[other]).max()
        > 1.0
    )


def test_emptying_low_carriers_lowers_loaded_ones_above_where_the_bottom_is_held() -> (
    None
):
    # Rule 7: with the tension held at the lower station, weight taken off low on the
    # line takes tension off everything above.
    points = crest_line()
    full = np.full(160, FULL_N)
    before = solve_side(points, loads_of(full), return_tension_n=250_000)
    emptied = full.copy()
    low = before.x_m.size - 50
    emptied[low:] = EMPTY_N
    after = solve_side(points, loads_of(emptied), return_tension_n=250_000)
    still_loaded = slice(0, low - 8)
    sunk = before.z_m[still_loaded] - after.z_m[still_loaded]
    assert sunk.max() > 0.1
    # Held at the upper station it does not.
    tension = before.drive_tension_n
    kept = solve_side(points, loads_of(emptied), drive_tension_n=tension)
    assert (before.z_m[still_loaded] - kept.z_m[still_loaded]).max() < 1e-6


def test_one_unit_more_friction_and_less_enclose_the_frictionless_line() -> None:
    points = mixed_line()
    loads = loads_of(EMPTY_N)
    heights = []
    for friction in (-0.03, 0.0, 0.03):
        state = solve_side(points, loads, return_tension_n=160_000, friction=friction)
        steps = state.start_tension_n[1:] - state.support_tension_n[1:-1]
        assert steps == pytest.approx(friction * np.abs(state.load_n[1:-1]), abs=1e-3)
        heights.append(state.drive_tension_n)
    assert heights[0] > heights[1] > heights[2]
