"""The mean of low, likely and high by scipy: shares no code with `evac.triples`."""

from __future__ import annotations

import math

from scipy.optimize import brentq
from scipy.stats import lognorm


def mean_of_three(low: float, likely: float, high: float) -> float:
    """Mean of the shifted lognormal with this P10, mode and P90 (skewed to the right).

    Parameters
    ----------
    low, likely, high : float
        With the likely value no nearer to the high one than to the low one.
    """
    if high == low:
        return likely
    wanted = (likely - low) / (high - low)
    if wanted > 0.5 - 1e-9:
        return likely

    def miss(shape: float) -> float:
        least, most = lognorm.ppf([0.1, 0.9], shape)
        return float((math.exp(-(shape**2)) - least) / (most - least)) - wanted

    shape = brentq(miss, 1e-4, 1.28)
    least, most = lognorm.ppf([0.1, 0.9], shape)
    scale = (high - low) / (most - least)
    return float(low + scale * (lognorm.mean(shape) - least))
