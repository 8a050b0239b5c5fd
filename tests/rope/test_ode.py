"""A whole loaded line against an independent integration of its equations.

scipy's DOP853 (Hairer, Norsett, Wanner, "Solving Ordinary Differential Equations I",
2nd ed., Springer 1993, II.5) knows nothing of catenaries: it integrates the balance
of a short piece of elastic rope. Only the start tension and the leaving angles are
taken from the solution; that the integrated rope then meets every support and every
carrier is what is checked.
"""

from __future__ import annotations

import numpy as np
import pytest
from ode_line import integrate_line
from trial_lines import EMPTY_N, FULL_N, crest_line, loads_of, mixed_line

from evac.rope.side import solve_side


@pytest.mark.parametrize(
    ("points", "tension_n"),
    [(crest_line(), 250e3), (mixed_line(), 160e3)],
    ids=["20 supports over a crest", "hollow with hold-downs"],
)
def test_a_loaded_line_agrees_with_an_integration_of_the_rope_s_balance(
    points, tension_n
) -> None:
    drawn = np.random.default_rng(11)
    loads = loads_of(np.where(drawn.random(160) < 0.6, FULL_N, EMPTY_N), phase_m=7.3)
    state = solve_side(points, loads, return_tension_n=tension_n)

    integrated = integrate_line(points, loads, state)

    assert integrated.x_m.size == state.x_m.size
    assert np.abs(integrated.x_m - state.x_m).max() < 1e-9
    assert np.abs(integrated.z_m - state.z_m).max() < 1e-9
    assert np.abs(integrated.support_miss_m).max() < 1e-9
    assert integrated.end_tension_n == pytest.approx(tension_n, rel=1e-12)
    assert integrated.length_m == pytest.approx(state.unstretched_length_m, abs=1e-9)
