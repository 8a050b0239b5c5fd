"""Quantiles equal those of an independent SimPy model within sampling error."""

from __future__ import annotations

import random

import numpy as np
import pytest
from builders import make_lift
from flat_chain import endless_day, make_chain
from simpy_model import Model

from evac.simulation import simulate


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_quantiles_equal_those_of_simpy(share: float) -> None:
    # The model knows no night.
    chain = make_chain(endless_day(make_lift()))
    no_gates = (chain[0], chain[1], chain[2], chain[3])
    found = simulate(*no_gates, runs=10_000, seed=7, gates=())
    model = Model(no_gates)
    luck = random.Random(9)  # noqa: S311  # no secret: it must be repeatable
    days = np.array([model.day(luck) for _ in range(1500)])
    below = float(np.mean(days <= np.quantile(found.order_to_clear_s, share)))
    # Four standard errors of a share of 1,500 days, seen beside 10,000.
    error = np.sqrt(share * (1 - share) * (1 / 1500 + 1 / 10_000))
    assert below == pytest.approx(share, abs=4 * error)
