"""10,000 imagined days of 12 teams and 250 carriers, against SimPy day by day."""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from simpy_model import Model, long_chain

from evac.simulation import simulate

RUNS = 10_000
SIMPY_DAYS = 400


def run() -> dict[str, float]:
    """Seconds for 10,000 days, how many times SimPy's, and how far quantiles lie apart.

    The comparison is made in processor seconds, which other programs do not disturb.
    ``simulation.p50_off`` and ``p90_off`` are the differences in standard errors.
    """
    chain = long_chain()
    simulate(*chain, runs=200, seed=1)  # compiled once
    began = time.perf_counter()
    found = simulate(*chain, runs=RUNS, seed=1)
    ours_s = time.perf_counter() - began
    began = time.process_time()
    simulate(*chain, runs=RUNS, seed=2)
    ours_cpu_s = time.process_time() - began
    model = Model(chain)
    luck = random.Random(5)  # noqa: S311  # no secret: it must be repeatable
    model.day(luck)
    began = time.process_time()
    days = np.array([model.day(luck) for _ in range(SIMPY_DAYS)])
    simpy_cpu_s = (time.process_time() - began) * RUNS / SIMPY_DAYS
    offs = {
        f"simulation.p{round(100 * share)}_off": (
            float(np.mean(days <= np.quantile(found.order_to_clear_s, share))) - share
        )
        / np.sqrt(share * (1 - share) * (1 / SIMPY_DAYS + 1 / RUNS))
        for share in (0.5, 0.9)
    }
    return {
        "simulation.teams": len(chain[3].zones),
        "simulation.carriers": float(
            (chain[1].stops.span_index["ascending"][0] >= 0).sum()
        )
        * 2,
        "simulation.s": ours_s,
        "simulation.cpu_s": ours_cpu_s,
        "simulation.vs_simpy": simpy_cpu_s / ours_cpu_s,
        **offs,
    }
