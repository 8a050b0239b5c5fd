"""Quantiles and their sampling intervals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from evac.quantiles import quantile, quantile_interval


def test_the_interval_holds_the_true_quantile_in_95_of_100_samples() -> None:
    # True quantile from scipy; 2,000 samples of 1,000: 95 % -+ 4 standard errors.
    generator = np.random.default_rng(8)
    for share in (0.5, 0.9):
        truth = stats.lognorm(s=0.5).ppf(share)
        held = 0
        for sample in generator.lognormal(0.0, 0.5, size=(2000, 1000)):
            low, high = quantile_interval(sample, share)
            held += low <= truth <= high
        assert held / 2000 == pytest.approx(0.95, abs=0.02)


def test_a_quantile_is_a_value_that_occurred() -> None:
    values = np.array([5.0, 1.0, 4.0, 2.0, 3.0, 10.0, 9.0, 8.0, 7.0, 6.0])
    assert quantile(values, 0.9) == 9.0
    assert quantile(values, 0.5) == 5.0
