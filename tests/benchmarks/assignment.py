"""How long the exact programme takes beside a general solver."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
from ortools.sat.python import cp_model

sys.path.insert(0, str(Path(__file__).parents[1] / "assignment"))

from drawn_work import CompactModel, draw_work

from evac.assignment import assign

LIMIT_S = 60.0
"""Given to the general solver; what it has not proven by then counts as this."""


def run() -> dict[str, float]:
    """Seconds for 30 columns x 2 sides x 12 differing teams, and the ratio.

    CP-SAT gets the column model ready built, and only the two first objectives; one
    worker, as the programme uses one core.
    """
    work = draw_work(
        np.random.default_rng(30), columns=30, teams=12, stops=16, valid_share=0.97
    )
    assign(work)  # compiles
    started = time.perf_counter()
    found = assign(work)
    ours_s = time.perf_counter() - started
    assert found.proven
    theirs_s, proven = _cp_sat(CompactModel(work), found.objectives[:2])
    return {
        "assignment.s": ours_s,
        "assignment.vs_cpsat": theirs_s / ours_s,
        "assignment.cpsat_proven": float(proven),
    }


def _cp_sat(model: CompactModel, ours: tuple[int, ...]) -> tuple[float, bool]:
    spent_s = 0.0
    for objective, value in zip(model.objectives, ours, strict=False):
        model.model.minimize(objective)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.max_time_in_seconds = max(LIMIT_S - spent_s, 0.1)
        status = solver.solve(model.model)
        spent_s += solver.wall_time
        if status != cp_model.OPTIMAL:
            return spent_s, False
        assert round(solver.objective_value) == value
        model.model.add(objective <= value)
    return spent_s, True


if __name__ == "__main__":
    for name, number in run().items():
        print(name, f"{number:.3g}")
