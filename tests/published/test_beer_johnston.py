"""Inextensible catenaries of a statics textbook.

F. P. Beer, E. R. Johnston and D. F. Mazurek, "Vector Mechanics for Engineers:
Statics", ch. 7 (Cables, catenary). The problems give two of span, sag, length and
tension; our solver is asked for the others.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from evac.rope.rules import hold_length
from evac.rope.shape import rope_shape
from evac.rope.side import NO_CARRIERS, SidePoints, SideState, solve_side
from evac.units import FOOT_M

POUND_N = 4.4482216152605  # pound-force, exact by definition
LB_PER_FT = POUND_N / FOOT_M


def level_rope(
    span_ft: float, *, weight_lb_ft: float, length_ft: float
) -> tuple[SideState, float]:
    """The rope between two level points, and its sag in feet."""
    points = SidePoints(
        x_m=np.array([0.0, span_ft * FOOT_M]),
        z_m=np.zeros(2),
        weight_n_per_m=weight_lb_ft * LB_PER_FT,
        axial_stiffness_n=math.inf,
    )
    near = weight_lb_ft * LB_PER_FT * length_ft * FOOT_M
    rule = hold_length(length_ft * FOOT_M, near_tension_n=near)
    state = solve_side(points, rule=rule)
    shape = rope_shape(points, NO_CARRIERS, state, step_m=span_ft * FOOT_M / 2)
    return state, -shape.z_m[1] / FOOT_M


def rising_rope(
    run_ft: float, rise_ft: float, weight_lb_ft: float, length_ft: float
) -> SideState:
    """The rope from one point to a higher one."""
    points = SidePoints(
        x_m=np.array([0.0, run_ft * FOOT_M]),
        z_m=np.array([0.0, rise_ft * FOOT_M]),
        weight_n_per_m=weight_lb_ft * LB_PER_FT,
        axial_stiffness_n=math.inf,
    )
    near = weight_lb_ft * LB_PER_FT * length_ft * FOOT_M
    return solve_side(points, rule=hold_length(length_ft * FOOT_M, near_tension_n=near))


def start_angle_rad(
    run_ft: float, rise_ft: float, weight_lb_ft: float, length_ft: float
) -> float:
    state = rising_rope(run_ft, rise_ft, weight_lb_ft, length_ft)
    return float(state.start_angle_rad[0])


def test_sample_problem_of_a_500_ft_span_with_100_ft_sag_from_memory() -> None:
    # Rounded book values from memory, the page was not found: c = 328 ft,
    # Tmin = 984 lb, Tmax = 1284 lb, length = 550 ft. More digits: closed form of
    # y = c cosh(x/c), solved again independently.
    length_ft = brentq(
        lambda length: level_rope(500, weight_lb_ft=3, length_ft=length)[1] - 100,
        520,
        600,
        xtol=1e-10,
    )
    state, _ = level_rope(500, weight_lb_ft=3, length_ft=length_ft)
    least_lb = state.horizontal_tension_n[0] / POUND_N
    most_lb = state.drive_tension_n / POUND_N
    assert length_ft == pytest.approx(550, abs=0.5)
    assert least_lb == pytest.approx(984, abs=0.5)
    assert most_lb == pytest.approx(1284, abs=0.5)
    assert least_lb / 3 == pytest.approx(328, abs=0.5)
    assert length_ft == pytest.approx(549.859104, rel=1e-6)
    assert least_lb == pytest.approx(983.79388, rel=1e-6)
    assert most_lb == pytest.approx(1283.79388, rel=1e-6)


@pytest.mark.parametrize(
    ("length_ft", "weight_lb_ft", "sag_ft", "span_ft", "most_lb", "span_more_ft"),
    [
        # Problem 7.128: 500 ft of 2.8 lb/ft, sag 125 ft -> 412 ft, 875 lb.
        (500.0, 2.8, 125.0, (412, 0.5), (875, 0.5), 411.979608),
        # Problem 7.127: a chain of 25 ft and 30 lb, sag 10 ft -> 12.36 ft, 15.38 lb.
        (25.0, 30 / 25, 10.0, (12.36, 0.005), (15.38, 0.0051), 12.359388),
    ],
    ids=["problem 7.128", "problem 7.127"],
)
def test_span_and_tension_of_a_rope_of_given_length_and_sag(
    length_ft, weight_lb_ft, sag_ft, span_ft, most_lb, span_more_ft
) -> None:
    # The statements are published, the answers follow in closed form:
    # c = (s^2 - h^2) / 2h with s = L/2, span = 2 c asinh(s/c), T = w (c + h).
    # 15.375 prints as 15.38: the half unit needs the last digit of rounding.
    # Half of it: from the lowest point, where the rope is level, to the support.
    found_ft = 2 * brentq(
        lambda run: start_angle_rad(run, sag_ft, weight_lb_ft, length_ft / 2),
        0.45 * span_ft[0],
        0.55 * span_ft[0],
        xtol=1e-12,
    )
    state = rising_rope(found_ft / 2, sag_ft, weight_lb_ft, length_ft / 2)
    assert found_ft == pytest.approx(span_ft[0], abs=span_ft[1])
    assert state.return_tension_n / POUND_N == pytest.approx(most_lb[0], abs=most_lb[1])
    assert found_ft == pytest.approx(span_more_ft, rel=1e-6)
