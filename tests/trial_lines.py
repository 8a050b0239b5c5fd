"""Invented lines for tests and benchmarks of the rope."""

from __future__ import annotations

import numpy as np

from evac.facts.lift import FloatArray
from evac.rope.side import SideLoads, SidePoints

EMPTY_N = 300 * 9.80665
FULL_N = 620 * 9.80665


def crest_line(
    *,
    supports: int = 20,
    length_m: float = 2920.0,
    rise_m: float = 607.0,
    bulge_m: float = 14.0,
    seed: int = 4,
) -> SidePoints:
    """A line over a gentle crest, so that the rope rests on every support.

    The drive is the upper station: the tension held at the lower end then suffices
    for spans of ordinary sag. `supports` counts the towers between the stations.
    """
    drawn = np.random.default_rng(seed)
    x = np.linspace(0.0, length_m, supports + 2)
    gap = length_m / (supports + 1)
    x[1:-1] += drawn.uniform(-0.3, 0.3, supports) * gap
    share = x / length_m
    z = rise_m * (1 - share) + 4 * bulge_m * share * (1 - share)
    return SidePoints(
        x_m=x,
        z_m=z,
        weight_n_per_m=91.0,
        axial_stiffness_n=95e6,
        sense=np.ones(x.size, np.int64),
    )


def mixed_line(*, seed: int = 2) -> SidePoints:
    """A shorter line with a hollow, a hold-down in it, and uneven spans."""
    drawn = np.random.default_rng(seed)
    x = np.cumsum(np.concatenate([[0.0], drawn.uniform(45.0, 130.0, 12)]))
    z = 300 * x / x[-1] + 10 * np.sin(2 * np.pi * x / x[-1])
    return SidePoints(x_m=x, z_m=z, weight_n_per_m=52.0, axial_stiffness_n=55e6)


def loads_of(load_n: FloatArray | float, *, phase_m: float = 5.0) -> SideLoads:
    """Carriers every 23 m; one weight for all, or one each."""
    many = np.broadcast_to(np.asarray(load_n, float), (160,))
    if isinstance(load_n, np.ndarray):
        many = load_n
    return SideLoads(phase_m=phase_m, spacing_m=23.0, load_n=np.array(many))


def random_span(drawn: np.random.Generator) -> tuple[SidePoints, float]:
    """One elastic span as on ropeways, slack ones too, and its start tension [N]."""
    run = drawn.uniform(40, 300)
    rise = run * drawn.uniform(-0.5, 0.5)
    weight = drawn.uniform(30, 110)
    points = SidePoints(
        x_m=np.array([0.0, run]),
        z_m=np.array([0.0, rise]),
        weight_n_per_m=weight,
        axial_stiffness_n=drawn.uniform(3e7, 3e8),
    )
    return points, weight * run * drawn.uniform(1.5, 12) + weight * abs(rise)
