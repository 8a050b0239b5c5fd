"""Cables of the Code_Aster validation manuals (EDF), published."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evac.rope.rules import hold_length
from evac.rope.shape import rope_shape
from evac.rope.side import NO_CARRIERS, SidePoints, SideState, solve_side


def level_spans(*, runs_m: list[float], weight: float, stiffness_n: float):
    x = np.concatenate([[0.0], np.cumsum(runs_m)])
    return SidePoints(
        x_m=x,
        z_m=np.zeros(x.size),
        weight_n_per_m=weight,
        axial_stiffness_n=stiffness_n,
    )


def sag_m(points: SidePoints, state: SideState) -> float:
    # Level spans: lowest midway; the points of the shape hold every middle.
    shape = rope_shape(points, NO_CARRIERS, state, step_m=points.x_m[1] / 2)
    return float(-shape.z_m[1])


def test_cable_as_long_as_its_span_stretches_under_its_weight_ssnl114() -> None:
    # V6.02.114 SSNL114 (problem), V6.05.116 (sag 6.352 m): 325 m between level
    # points, unstretched length 325 m, A = 227.83 mm2, E = 57 GPa, 2844.23 kg/m3.
    area = 0.00022783
    points = level_spans(
        runs_m=[325.0], weight=2844.23 * 9.81 * area, stiffness_n=57e9 * area
    )
    state = solve_side(points, rule=hold_length(325.0, near_tension_n=13_000))
    assert sag_m(points, state) == pytest.approx(6.352, abs=0.0005)
    # The same case solved independently with more digits.
    assert sag_m(points, state) == pytest.approx(6.352161469714, rel=1e-6)
    assert state.horizontal_tension_n[0] == pytest.approx(13206.23915, rel=1e-6)


def test_two_spans_share_a_length_over_a_frictionless_pulley_ssnl100() -> None:
    # V6.02.100 SSNL100: two level spans of 100 m, 210 m of rope, 30 N/m, EA = 50 MN;
    # sag 13.93 m from 20 straight elements, so it is held to 0.2 % only.
    points = level_spans(runs_m=[100.0, 100.0], weight=30.0, stiffness_n=5e7)
    state = solve_side(points, rule=hold_length(210.0, near_tension_n=3_000))
    assert sag_m(points, state) == pytest.approx(13.93, rel=2e-3)
    # Closed form, solved independently.
    assert sag_m(points, state) == pytest.approx(13.939193351631, rel=1e-6)
    assert state.horizontal_tension_n == pytest.approx(2757.1078, rel=1e-6)


def test_two_spans_over_a_pulley_under_a_tension_r3_08_05() -> None:
    # R3.08.05, section 8: the same spans under an end tension of 5000 N, rope that
    # does not stretch: sag 7.941 m (theory).
    points = level_spans(runs_m=[100.0, 100.0], weight=30.0, stiffness_n=math.inf)
    state = solve_side(points, return_tension_n=5000)
    assert sag_m(points, state) == pytest.approx(7.941, abs=0.0005)
    # Independently, more digits; and with EA = 50 MN.
    assert sag_m(points, state) == pytest.approx(7.940537046, rel=1e-6)
    assert state.unstretched_length_m == pytest.approx(203.324117744, rel=1e-6)
    assert state.load_n[1] == pytest.approx(3049.8618, rel=1e-6)
    points = level_spans(runs_m=[100.0, 100.0], weight=30.0, stiffness_n=5e7)
    state = solve_side(points, return_tension_n=5000)
    assert sag_m(points, state) == pytest.approx(7.93967894, rel=1e-6)
