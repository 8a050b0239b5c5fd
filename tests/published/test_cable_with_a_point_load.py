"""Cables that carry single loads."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import fsolve

from evac.rope.rules import hold_length
from evac.rope.side import SideLoads, SidePoints, solve_side
from evac.rope.span import march_span


def test_isolated_elastic_cable_of_michalos_and_birnstiel_from_memory() -> None:
    # Michalos and Birnstiel 1962; the elastic catenary's values as in Jayaraman and
    # Knudson, Computers & Structures 14, 1981. Numbers from memory: a cable of
    # 304.8 m span, 46.12 N/m, E = 131 GPa, A = 548.4 mm2 hangs with its node at
    # (121.92, -29.276); 35.586 kN there move the node by (-0.859, -5.626) m.
    points = SidePoints(
        x_m=np.array([0.0, 304.8]),
        z_m=np.zeros(2),
        weight_n_per_m=46.12,
        axial_stiffness_n=131e9 * 0.0005484,
    )

    def node(before_m: float, after_m: float, load_n: float):
        loads = SideLoads(phase_m=before_m, spacing_m=1e5, load_n=np.array([load_n]))
        rule = hold_length(before_m + after_m, near_tension_n=18_000 + load_n)
        state = solve_side(points, loads, rule=rule)
        return np.array([state.x_m[0], state.z_m[0]])

    # The lengths are those at which the unloaded node stands where stated.
    lengths = fsolve(
        lambda pair: node(pair[0], pair[1], 0.0) - np.array([121.92, -29.276]),
        [125.9, 186.9],
        xtol=1e-13,
    )
    moved = node(lengths[0], lengths[1], 35_586.0) - np.array([121.92, -29.276])
    assert moved == pytest.approx([-0.859, -5.626], abs=0.0005)
    # The same case solved independently.
    assert lengths == pytest.approx([125.84701162, 186.8552616], rel=1e-6)
    assert moved == pytest.approx([-0.859366, -5.625598], rel=1e-6)


def test_weightless_cable_with_three_loads_example_10_1() -> None:
    # Textbook companion, example 10.1 "Cable subjected to concentrated loads": four
    # bays of 2 m, loads of 400, 600 and 400 N, H = 1600 N, V = 1100 N at B:
    # Tmax = 1941.648784 N, T in CA = 1627.88206 N, E lies 1.375 m below B.
    out = np.empty(15)
    carriers = np.empty((4, 1))
    vertical = 1100.0
    tensions, drops = [], []
    for load in (400.0, 600.0, 400.0, 0.0):
        tension = math.hypot(1600.0, vertical)
        angle = math.atan2(-vertical, 1600.0)
        march_span(
            *(tension, angle, 0.0, 0.0, 2.0, 1e9, 1e9, np.zeros(1)),
            *(0, 0, carriers, out),
        )
        tensions.append(out[3])
        drops.append(-out[0])
        vertical -= load
    assert tensions[0] == pytest.approx(1941.648784, abs=5e-7)
    assert tensions[3] == pytest.approx(1627.88206, abs=5e-6)
    assert drops[0] == pytest.approx(1.375, abs=5e-4)


def test_sags_approach_the_handbook_parabola_as_the_tension_grows() -> None:
    # Handbook: w l^2 / 8H = 3.75 m and P a b / (l H) = 5.5556 m for l = 300 m,
    # w = 20 N/m, H = 60 kN, P = 5 kN at 100 m. Exact in the limit: weights shrunk
    # a thousandfold at the same tension, the sag grown as much.
    small = 1e-3
    points = SidePoints(
        x_m=np.array([0.0, 300.0]),
        z_m=np.zeros(2),
        weight_n_per_m=20.0 * small,
        axial_stiffness_n=math.inf,
    )

    def sag(place_m: float, load_n: float, weight: float) -> float:
        line = SidePoints(
            x_m=points.x_m,
            z_m=points.z_m,
            weight_n_per_m=weight,
            axial_stiffness_n=math.inf,
        )
        loads = SideLoads(phase_m=place_m, spacing_m=1e5, load_n=np.array([load_n]))
        return -solve_side(line, loads, return_tension_n=60e3).z_m[0] / small

    assert sag(150.0, 0.0, 20.0 * small) == pytest.approx(3.75, rel=1e-6)
    assert sag(100.0, 5e3 * small, 1e-9) == pytest.approx(5.5555555556, rel=1e-6)
