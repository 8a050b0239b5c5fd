"""Low, likely and high as a distribution: P10, mode and P90 of a shifted lognormal."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from evac.errors import NoPlanError
from evac.facts.lift import FloatArray, Triple

P90_SCORE = 1.2815515655446004
"""Standard normal quantile of 0.9."""

_LEAST_SHAPE = 1e-6
"""Below this shape the curve is a normal one to within rounding."""

_SHAPES = np.linspace(_LEAST_SHAPE, P90_SCORE, 2049)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """Shifted lognormals ``shift + scale * exp(shape * z)``, z standard normal.

    Arrays of one shape. ``scale`` and ``shape`` are both negative where the likely
    value lies nearer to the high one (the curve is then mirrored).
    """

    shift: FloatArray
    scale: FloatArray
    shape: FloatArray

    def at(self, score: ArrayLike) -> FloatArray:
        """Values at standard normal scores, never below 0."""
        found: FloatArray = np.maximum(
            self.shift + self.scale * np.exp(self.shape * np.asarray(score, float)), 0.0
        )
        return found

    def mean(self) -> FloatArray:
        """Mean values, as if nothing were cut at 0."""
        found: FloatArray = self.shift + self.scale * np.exp(self.shape**2 / 2.0)
        return found


def fit(low: ArrayLike, likely: ArrayLike, high: ArrayLike) -> Fitted:
    r"""Fit a distribution to low, likely and high, read as P10, mode and P90.

    Parameters
    ----------
    low, likely, high : array_like
        Of one shape, 0 <= low <= likely <= high.

    Returns
    -------
    Fitted
        Its P10, mode and P90 are the three values. Where all three are equal it is
        that value.

    Raises
    ------
    NoPlanError
        If the three values are not in order, or one is negative or not known.

    Notes
    -----
    :math:`x = a + b\,e^{s z}` with z standard normal has its mode at
    :math:`a + b\,e^{-s^2}`. With u = 1.28155 (the P90 of z),

    .. math:: \frac{likely - low}{high - low} =
       \frac{e^{-s^2} - e^{-us}}{e^{us} - e^{-us}}

    falls from 1/2 to 0 as s goes from 0 to u, so one s answers each skewness; it is
    interpolated and then improved by Newton's rule. A likely value nearer to the high
    one is answered by the mirrored curve. Values below 0 are cut to 0, which touches
    neither P10 nor mode nor P90. The family was chosen because work times are bounded
    below and have a long tail above (common practice, no source).

    Examples
    --------
    >>> steps = fit([30.0], [75.0], [240.0])
    >>> steps.at(P90_SCORE).round(6), steps.at(-P90_SCORE).round(6)
    (array([240.]), array([30.]))
    """
    least, mode, most = np.broadcast_arrays(
        np.asarray(low, float), np.asarray(likely, float), np.asarray(high, float)
    )
    if not np.all((least >= 0) & (least <= mode) & (mode <= most) & (most < np.inf)):
        message = (
            "every time needs 0 <= low <= likely <= high, all known; at least one "
            "step or organisation time of this plan has not. Correct it in times.csv "
            "or lift.toml"
        )
        raise NoPlanError(message)
    width = most - least
    skew = np.divide(mode - least, width, out=np.full_like(width, 0.5), where=width > 0)
    side = np.where(skew <= 0.5, 1.0, -1.0)
    shape = _shape(np.where(skew <= 0.5, skew, 1.0 - skew))
    scale = side * width / (2.0 * np.sinh(P90_SCORE * shape))
    shift = mode - scale * np.exp(-(shape**2))
    return Fitted(shift=shift, scale=scale, shape=side * shape)


def _skew(shape: FloatArray) -> FloatArray:
    found: FloatArray = np.expm1(P90_SCORE * shape - shape**2) / np.expm1(
        2.0 * P90_SCORE * shape
    )
    return found


_SKEWS = _skew(_SHAPES)


def _shape(skew: FloatArray) -> FloatArray:
    shape = np.interp(skew, _SKEWS[::-1], _SHAPES[::-1])
    for _ in range(3):
        step = 1e-6
        slope = (_skew(shape + step) - _skew(np.maximum(shape - step, 1e-9))) / (
            shape + step - np.maximum(shape - step, 1e-9)
        )
        shape = np.clip(shape - (_skew(shape) - skew) / slope, _LEAST_SHAPE, P90_SCORE)
    found: FloatArray = shape
    return found


def fit_one(triple: Triple) -> Fitted:
    """`fit` for one low, likely and high."""
    return fit(triple.low, triple.likely, triple.high)


# A plan asks for the same few rows of its table many hundred times.
@lru_cache(maxsize=4096)
def mean_of(triple: Triple) -> float:
    """The mean of one low, likely and high: what adds up over many steps.

    The likely value is a mode; a sum of modes of skewed times is too short.

    Examples
    --------
    >>> mean_of(Triple(low=60, likely=60, high=60))
    60.0
    >>> mean_of(Triple(low=120, likely=300, high=900)) > 300
    True
    """
    return float(fit_one(triple).mean())
