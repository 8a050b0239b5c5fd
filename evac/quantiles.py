"""Quantiles of imagined days, and how well so many days know them."""

from __future__ import annotations

import numpy as np

from evac.facts.lift import FloatArray

_SCORE_95 = 1.959963984540054


def quantile(values: FloatArray, share: float) -> float:
    """The smallest value that at least ``share`` of the values do not exceed."""
    if np.isinf(values).all():
        # Interpolation would take the difference of two infinite values.
        return float(values[0])
    return float(np.quantile(values, share, method="inverted_cdf"))


def quantile_interval(values: FloatArray, share: float) -> tuple[float, float]:
    """95 % sampling interval of a quantile, whatever the distribution.

    Parameters
    ----------
    values : ndarray, shape (runs,)
        Independent draws.
    share : float
        Between 0 and 1.

    Returns
    -------
    tuple of float
        Two of the values. How many values lie below the true quantile is binomial, so
        ranks ``runs * share -+ 1.96 sqrt(runs * share * (1 - share))`` hold it.

    References
    ----------
    .. [1] H. A. David and H. N. Nagaraja, "Order Statistics", 3rd ed., Wiley, 2003,
       section 7.1.
    """
    count = values.size
    middle = count * share
    half = _SCORE_95 * np.sqrt(count * share * (1 - share))
    low = int(np.clip(np.floor(middle - half), 0, count - 1))
    high = int(np.clip(np.ceil(middle + half), 0, count - 1))
    found = np.partition(values, (low, high))
    return float(found[low]), float(found[high])
