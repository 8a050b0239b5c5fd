"""An elastic rope over rollers, integrated by scipy: shares no code with `evac`."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp


@dataclass(frozen=True, kw_only=True)
class IntegratedLine:
    """What the integration met on its way from the drive to the return."""

    x_m: np.ndarray
    z_m: np.ndarray
    support_miss_m: np.ndarray
    end_tension_n: float
    length_m: float


def integrate_line(points, loads, state) -> IntegratedLine:
    """March by s up to each carrier, and by x over the last piece of a span."""
    w = points.weight_n_per_m
    c = 1 / points.axial_stiffness_n
    to_carrier = loads.phase_m
    k = 0
    length = 0.0
    tension = state.drive_tension_n
    x_carriers, z_carriers, misses = [], [], []
    for j in range(points.x_m.size - 1):
        angle = state.start_angle_rad[j]
        h, v = tension * math.cos(angle), tension * math.sin(angle)
        x, z = points.x_m[j], points.z_m[j]
        while True:
            x1, z1 = _by_length(x, z, h, v, w, c, to_carrier)
            if x1 > points.x_m[j + 1]:
                break
            x, z = x1, z1
            length += to_carrier
            v += w * to_carrier + loads.load_n[k]
            x_carriers.append(x)
            z_carriers.append(z)
            k += 1
            to_carrier = loads.spacing_m
        z, piece = _by_run(x, z, h, v, w, c, points.x_m[j + 1])
        length += piece
        v += w * piece
        to_carrier -= piece
        misses.append(z - points.z_m[j + 1])
        tension = math.hypot(h, v)
    return IntegratedLine(
        x_m=np.array(x_carriers),
        z_m=np.array(z_carriers),
        support_miss_m=np.array(misses),
        end_tension_n=tension,
        length_m=length,
    )


def _by_length(x, z, h, v, w, c, length):
    def rates(s, _):
        t = math.hypot(h, v + w * s)
        return [h / t + h * c, (v + w * s) / t + (v + w * s) * c]

    end = solve_ivp(rates, (0, length), [x, z], "DOP853", rtol=1e-12, atol=1e-12)
    return end.y[0, -1], end.y[1, -1]


def _by_run(x, z, h, v, w, c, x_end):
    def rates(_, now):
        v_now = v + w * now[1]
        t = math.hypot(h, v_now)
        return [v_now / h, 1 / (h / t + h * c)]

    end = solve_ivp(rates, (x, x_end), [z, 0.0], "DOP853", rtol=1e-12, atol=1e-12)
    return end.y[0, -1], end.y[1, -1]
