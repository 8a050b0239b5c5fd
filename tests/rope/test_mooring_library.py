"""Random elastic spans against MoorPy, a general mooring-line library (NREL)."""

from __future__ import annotations

import numpy as np
from moorpy.Catenary import catenary
from trial_lines import random_span

from evac.rope.shape import rope_shape
from evac.rope.side import NO_CARRIERS, solve_side

SPANS = 220


def test_more_than_200_random_spans_agree_with_a_mooring_library_within_1_mm() -> None:
    drawn = np.random.default_rng(3)
    converged = 0
    for _ in range(SPANS):
        points, tension = random_span(drawn)
        ours = solve_side(points, drive_tension_n=tension)
        run, rise = points.x_m[1], points.z_m[1]
        try:
            *forces, info = catenary(
                run,
                rise,
                ours.unstretched_length_m,
                points.axial_stiffness_n,
                points.weight_n_per_m,
                CB=-1e5,  # no sea bed
                Tol=1e-7,
                nNodes=21,
                plots=1,  # 1 only returns the nodes
            )
        except Exception:  # noqa: S112 - it raises many kinds where it does not converge
            continue
        converged += 1
        shape = rope_shape(points, NO_CARRIERS, ours, step_m=run / 4000)
        height = np.interp(info["X"], shape.x_m, shape.z_m)
        assert np.abs(height - info["Z"]).max() < 1e-3
        assert abs(forces[0] - ours.horizontal_tension_n[0]) < 1e-5 * tension
    assert converged >= 200
