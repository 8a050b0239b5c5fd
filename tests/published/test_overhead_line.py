"""Spans of overhead lines: sag, and several spans that share a tension."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evac.rope.rules import hold_length
from evac.rope.shape import rope_shape
from evac.rope.side import NO_CARRIERS, SidePoints, solve_side


def test_sag_of_a_160_m_span_of_wadhwa_example_7_1() -> None:
    # C. L. Wadhwa, "Electrical Power Systems", example 7.1: l = 160 m, H/w = 800 m,
    # sag 4 m (l^2/8c). The catenary's own closed form is c (cosh(l/2c) - 1).
    weight = 10.0
    points = SidePoints(
        x_m=np.array([0.0, 160.0]),
        z_m=np.zeros(2),
        weight_n_per_m=weight,
        axial_stiffness_n=math.inf,
    )
    tension = weight * 800 * math.cosh(160 / 1600)
    state = solve_side(points, drive_tension_n=tension)
    sag = -rope_shape(points, NO_CARRIERS, state, step_m=80).z_m[1]
    assert sag == pytest.approx(4, abs=0.5)
    assert sag == pytest.approx(4.003334444643, rel=1e-6)


def test_the_ruling_span_finds_the_common_tension_of_level_spans() -> None:
    # IEC 60050 (IEV) "equivalent span": sqrt(sum a^3 / sum a) = 165.831239518 m for
    # spans of 100, 150 and 200 m, strung at H = 50 kN and warmed by 30 K.
    runs = np.array([100.0, 150.0, 200.0])
    ruling = math.sqrt((runs**3).sum() / runs.sum())
    assert ruling == pytest.approx(165.831239518, rel=1e-9)

    warmer = 1 + 1.2e-5 * 30
    # Frictionless sheaves make the tension T, not H, common to the spans.
    at_stringing = solve_side(rope(runs), drive_tension_n=50_000)
    rule = hold_length(
        at_stringing.unstretched_length_m * warmer, near_tension_n=45_000
    )
    shared = solve_side(rope(runs), rule=rule)
    assert shared.drive_tension_n == pytest.approx(43883.548539, rel=1e-6)

    # One span as long as the ruling span, strung at H = 50 kN, loses as much.
    tension = math.hypot(50_000, 0.5 * 20 * ruling)
    for _ in range(30):
        single = solve_side(rope(np.array([ruling])), drive_tension_n=tension)
        tension += 50_000 - single.horizontal_tension_n[0]
    rule = hold_length(single.unstretched_length_m * warmer, near_tension_n=45_000)
    single = solve_side(rope(np.array([ruling])), rule=rule)
    assert single.horizontal_tension_n[0] == pytest.approx(43877.653584, rel=1e-6)


def rope(runs_m: np.ndarray) -> SidePoints:
    x = np.concatenate([[0.0], np.cumsum(runs_m)])
    return SidePoints(
        x_m=x, z_m=np.zeros(x.size), weight_n_per_m=20.0, axial_stiffness_n=2e7
    )
