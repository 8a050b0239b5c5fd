"""Cold: wind chill, and how soon bare skin freezes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from evac.facts.lift import FloatArray

LEAST_WIND_M_PER_S = 5 / 3.6
"""The formula starts at 5 km/h; less wind is counted as this, the colder answer."""

WARMEST_C = 5.0
"""Warmest column of the official chart; above it no wind chill is stated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ColdClass:
    """What a wind chill does to bare skin.

    ``key`` is a words key below ``exposure.``. ``least_s`` and ``most_s`` bound the
    time in which bare skin freezes; None where it does not for most people.
    """

    key: str
    least_s: float | None
    most_s: float | None


_CLASSES = (
    (-9, ColdClass(key="slight", least_s=None, most_s=None)),
    (-27, ColdClass(key="low", least_s=None, most_s=None)),
    (-39, ColdClass(key="moderate", least_s=600.0, most_s=1800.0)),
    (-47, ColdClass(key="high", least_s=300.0, most_s=600.0)),
    (-54, ColdClass(key="very_high", least_s=120.0, most_s=300.0)),
)
_EXTREME = ColdClass(key="extreme", least_s=0.0, most_s=120.0)
_NONE = ColdClass(key="none", least_s=None, most_s=None)


def wind_chill_c(temperature_c: ArrayLike, *, wind_m_per_s: ArrayLike) -> FloatArray:
    r"""How cold moving air feels to bare skin.

    Parameters
    ----------
    temperature_c : array_like
        Air temperature [C].
    wind_m_per_s : array_like
        Wind at 10 m above open ground [m/s], 0 or more. Below 5 km/h it is counted
        as 5 km/h.

    Returns
    -------
    ndarray
        Wind chill [C]; NaN where the air is warmer than 5 C, the end of the chart.

    Raises
    ------
    ValueError
        If a wind is negative.

    See Also
    --------
    cold_class : What a wind chill does to bare skin.

    Notes
    -----
    :math:`W = 13.12 + 0.6215\,T - 11.37\,V^{0.16} + 0.3965\,T\,V^{0.16}` with T the
    air temperature in C and V the wind in km/h.

    References
    ----------
    .. [1] R. Osczevski and M. Bluestein, "The new wind chill equivalent temperature
       chart", Bulletin of the American Meteorological Society 86(10), 2005,
       doi:10.1175/BAMS-86-10-1453.

    Examples
    --------
    >>> wind_chill_c(-10, wind_m_per_s=30 / 3.6).round(1)
    np.float64(-19.5)
    """
    temperature = np.asarray(temperature_c, dtype=float)
    wind = np.asarray(wind_m_per_s, dtype=float)
    if np.any(wind < 0):
        message = "a wind speed is 0 or more"
        raise ValueError(message)
    power = (3.6 * np.maximum(wind, LEAST_WIND_M_PER_S)) ** 0.16
    chill: FloatArray = (
        13.12 + 0.6215 * temperature - 11.37 * power + 0.3965 * temperature * power
    )
    return np.where(temperature > WARMEST_C, np.nan, chill)


def cold_class(wind_chill_c: float) -> ColdClass:
    """The frostbite class of a wind chill.

    Parameters
    ----------
    wind_chill_c : float
        Wind chill [C], rounded half up to whole degrees as the chart does; NaN (no
        wind chill stated) and values above 0 C are class ``none``.

    Returns
    -------
    ColdClass

    References
    ----------
    .. [1] Environment and Climate Change Canada, "Wind chill: the chilling facts",
       classes as stated in the published wind chill chart.

    Examples
    --------
    >>> cold_class(-30.2).key, cold_class(-30.2).least_s
    ('moderate', 600.0)
    """
    if np.isnan(wind_chill_c):
        return _NONE
    whole = whole_c(wind_chill_c)
    if whole > 0:
        return _NONE
    for coldest, found in _CLASSES:
        if whole >= coldest:
            return found
    return _EXTREME


def whole_c(wind_chill_c: float) -> float:
    """Rounded half up to whole degrees, as the chart does: one rule for all papers."""
    return float(np.floor(wind_chill_c + 0.5))
