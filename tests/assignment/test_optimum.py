"""The programme against a compact model of columns in OR-Tools CP-SAT."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drawn_work import CompactModel, draw_work

from evac.assignment import assign
from evac.assignment.column_model import can_finish
from evac.facts.work import Work

GROUPS_OF_TEN = range(25)


def small(seed: int) -> Work:
    """At most 14 units and 5 teams."""
    rng = np.random.default_rng([2026, seed])
    return draw_work(
        rng,
        columns=int(rng.integers(1, 8)),
        teams=int(rng.integers(1, 6)),
        alike=seed % 3 == 0,
        valid_share=(0.6, 0.85, 1.0)[seed % 3],
        options_each=1 + seed % 2,
    )


@pytest.mark.parametrize("tens", GROUPS_OF_TEN)
def test_ten_small_lines_equal_the_compact_model_in_all_objectives(tens: int) -> None:
    # Source: OR-Tools CP-SAT on columns enumerated one by one in plain Python.
    for seed in range(10 * tens, 10 * tens + 10):
        work = small(seed)
        found = assign(work)
        assert found.proven
        assert found.objectives == CompactModel(work).solve(), seed
        assert found.bound_s == found.objectives[1]
