"""The rope between carriers, as points for drawings and sags."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from evac.errors import RopeError
from evac.facts.lift import FloatArray
from evac.rope.segment import length_of, run_of
from evac.rope.side import SideLoads, SidePoints, SideState


@dataclass(frozen=True, slots=True, kw_only=True)
class RopeShape:
    """Points along the rope, from the drive to the return station; shape (m,)."""

    x_m: FloatArray
    z_m: FloatArray


def rope_shape(
    points: SidePoints, loads: SideLoads, state: SideState, *, step_m: float = 5.0
) -> RopeShape:
    """Points on the rope, at every support and carrier and at most `step_m` apart.

    Parameters
    ----------
    points, loads
        As solved.
    state : SideState
        The solution for them.
    step_m : float
        Greatest horizontal distance between neighbouring points [m], above 0.

    Returns
    -------
    RopeShape

    Raises
    ------
    RopeError
        If `step_m` is not above 0.
    """
    if not step_m > 0:
        message = f"points along the rope need a step above 0, not {step_m}"
        raise RopeError(message)
    w, c = points.weight_n_per_m, points.compliance_per_n
    x_all = [float(points.x_m[0])]
    z_all = [float(points.z_m[0])]
    carrier = 0
    holds = np.flatnonzero(~state.lifted)
    for start, end in pairwise(holds):
        x, z = float(points.x_m[start]), float(points.z_m[start])
        h = float(state.horizontal_tension_n[start])
        v = h * math.tan(float(state.start_angle_rad[start]))
        far = float(points.x_m[end])
        while True:
            at_carrier = carrier < state.x_m.size and state.x_m[carrier] <= far
            goal = float(state.x_m[carrier]) if at_carrier else far
            pieces = max(1, math.ceil((goal - x) / step_m))
            run = (goal - x) / pieces
            for _ in range(pieces if goal > x else 0):
                t = math.hypot(h, v)
                length = length_of(run, h, v, t, w, c)
                _, v1, _, r = run_of(length, h, v, t, w, c)
                x, z = x + run, z + length * (v + v1) * (r + c / 2)
                v = v1
                x_all.append(x)
                z_all.append(z)
            if not at_carrier:
                break
            v += float(loads.load_n[carrier])
            carrier += 1
        # The march ends within 1e-10 m; start the next span from the support itself.
        z_all[-1] = float(points.z_m[end])
    return RopeShape(x_m=np.array(x_all), z_m=np.array(z_all))
