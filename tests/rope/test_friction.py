"""Friction of the rollers: the tension steps by it at every support, either way."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_always_holds import lines

from evac.rope.side import SideLoads, SidePoints, solve_side


@settings(max_examples=80, deadline=None)
@given(lines(), st.integers(0, 2**20))
def test_rollers_may_hold_back_each_by_its_own_share_of_its_load(case, seed) -> None:
    # Coulomb's law at every roller battery, one way or the other.
    points, loads, tension = case
    drawn = np.random.default_rng(seed)
    friction = 0.03 * drawn.uniform(-1, 1, points.x_m.size)
    state = solve_side(points, loads, return_tension_n=tension, friction=friction)
    inner = slice(1, -1)
    steps = state.start_tension_n[1:] - state.support_tension_n[inner]
    expected = friction[inner] * np.abs(state.load_n[inner])
    if state.on_support is not None:
        # There the rollers also hand over a carrier's weight.
        steps[state.on_support - 1 :] = expected[state.on_support - 1 :]
    assert steps == pytest.approx(expected, abs=2e-8 * state.drive_tension_n)
    assert state.return_tension_n == pytest.approx(tension, rel=1e-11)
    assert state.residual_n < 1e-6 * tension


def test_a_carrier_on_a_support_is_found_beside_friction_too() -> None:
    # A locked, partly emptied line whose length is met only while a carrier stands on
    # its last support but one. Friction blurs the last digits of the place where it
    # crosses; a bracket closed further than that lost the crossing (found on a random
    # line, and kept with all its digits for that).
    points = SidePoints(
        x_m=np.array(
            [0, 180, 235, 415, 500, 600, 765, 865, 985, 1025, 1175, 1295], float
        ),
        z_m=np.array(
            [
                300.0,
                377.31467872570977,
                400.2218045651739,
                468.248061937192,
                504.4437266087827,
                547.3446383763898,
                614.2707136802021,
                648.5767037412338,
                687.2748463045305,
                700.2002821366214,
                745.36343164337,
                793.9169638669916,
            ]
        ),
        weight_n_per_m=39.97861344613652,
        axial_stiffness_n=1 / 2.3375105728406843e-08,
        sense=np.array([0, 1, 1, 0, 1, 1, 1, 1, 1, 1, 0, 0]),
    )
    load_n = np.full(72, 3726.5269999999996)
    load_n[35:45] = 7256.920999999999
    state = solve_side(
        points,
        SideLoads(
            phase_m=6.78858798883204, spacing_m=20.365763966496118, load_n=load_n
        ),
        rule=np.array(
            [
                0.0,
                -10000.0,
                364206.01534795377,
                13763928.382238926,
                0.7026642781164497,
                -3.236511193293163e-06,
                2.3063703229481216e-11,
            ]
        ),
        friction=-0.03,
    )
    assert state.on_support == 10
    assert state.residual_n < 1e-3
