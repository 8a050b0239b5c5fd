"""Catenaries with known ends and length of NREL MoorPy, tests/test_catenary.py.

Published there to the library's own tolerance of 1e-6 m.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from evac.rope.rules import hold_length
from evac.rope.side import SidePoints, solve_side


@pytest.mark.parametrize(
    ("run", "rise", "length", "stiffness", "weight", "published", "more"),
    [
        (
            *(400.0, 200.0, 500.0, 7.51e12, 200.0),
            (43694.580989, -22365.59935, 77634.40065),
            (43694.60462207, -22365.58945419, 77634.41054581),
        ),
        (
            *(89.9, 59.2, 130.0, 7.51e8, 881.05),
            (31373.229006023103, -26650.341270116318, 87886.15872988368),
            (31373.23487631, -26650.33870004, 87886.16129997),
        ),
    ],
    ids=["case 4, almost inextensible", "case 5"],
)
def test_end_forces_of_a_hanging_line(
    run, rise, length, stiffness, weight, published, more
) -> None:
    points = SidePoints(
        x_m=np.array([0.0, run]),
        z_m=np.array([0.0, rise]),
        weight_n_per_m=weight,
        axial_stiffness_n=stiffness,
    )
    rule = hold_length(length, near_tension_n=weight * length)
    state = solve_side(points, rule=rule)
    forces = (
        state.horizontal_tension_n[0],
        state.drive_tension_n * math.sin(state.start_angle_rad[0]),
        state.return_tension_n * math.sin(state.arriving_angle_rad[1]),
    )
    # `published` carries the library's own error of up to 5e-7; `more` is an
    # independent solution of the same case.
    assert forces == pytest.approx(published, rel=1e-6)
    assert forces == pytest.approx(more, rel=1e-8)
