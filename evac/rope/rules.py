"""Tension rules: what the tension system demands of one side's rope.

A rule is seven numbers; the rope of the side satisfies

    r0 T_drive + r1 S + r3 + r4 u + r5 u^2 + r6 u^3 = 0,   u = T_return - r2

with the tensions at both ends [N] and the unstretched length S [m]. The left side is
a force [N] that grows with the tension of the side.
"""

from __future__ import annotations

import math

import numpy as np

from evac.errors import RopeError
from evac.facts.lift import FloatArray

LENGTH_SCALE_N_PER_M = 1e4
"""Turns a length that is missed into a force; any order of size that keeps 1e-10 m
of rope above the rounding of the tension will do."""


def hold_return(tension_n: float) -> FloatArray:
    """Rule of a side whose tension is held at the return station.

    Parameters
    ----------
    tension_n : float
        Tension of this side's rope there [N], above 0; half the force on the
        carriage, because the bullwheel shares it equally.

    Returns
    -------
    numpy.ndarray, shape (7,)
    """
    tension = _above_zero(tension_n, "tension")
    return np.array([0.0, 0.0, tension, 0.0, 1.0, 0.0, 0.0])


def hold_drive(tension_n: float) -> FloatArray:
    """Rule of a side whose rope has a given tension at the drive station [N]."""
    tension = _above_zero(tension_n, "tension")
    return np.array([1.0, 0.0, tension, -tension, 0.0, 0.0, 0.0])


def hold_length(length_m: float, *, near_tension_n: float) -> FloatArray:
    """Rule of a side with a given unstretched length [m], such as a locked one.

    `near_tension_n` [N] is a return tension near the answer, to start from.
    """
    length = _above_zero(length_m, "length")
    tension = _above_zero(near_tension_n, "tension")
    scale = LENGTH_SCALE_N_PER_M
    return np.array([0.0, -scale, tension, scale * length, 0.0, 0.0, 0.0])


def _above_zero(value: float, name: str) -> float:
    if not (value > 0 and math.isfinite(value)):
        message = f"the {name} of a rope must be above 0, not {value}"
        raise RopeError(message)
    return float(value)
