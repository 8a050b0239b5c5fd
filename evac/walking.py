"""Published walking rules: how long a way takes on foot."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from evac.facts.lift import FloatArray

RULES = ("naismith", "din33466", "tobler")
_KM_H = 1 / 3.6


def walking_seconds(
    rule: str, *, length_m: ArrayLike, up_m: ArrayLike, down_m: ArrayLike
) -> FloatArray:
    r"""Time on foot over a way, on dry ground, without rests.

    Parameters
    ----------
    rule : str
        ``"naismith"``, ``"din33466"`` or ``"tobler"``.
    length_m : array_like
        Horizontal length of the way [m], 0 or more.
    up_m, down_m : array_like
        Climb and descent on the way [m], 0 or more.

    Returns
    -------
    ndarray
        Seconds.

    Raises
    ------
    ValueError
        If the rule is not known.

    Notes
    -----
    Naismith: 5 km/h and an hour for every 600 m up. DIN 33466: 4 km/h along, 300 m/h
    up and 500 m/h down; the larger of the two times and half the smaller. Tobler:
    :math:`v = 6\,\exp(-3.5\,|s + 0.05|)` km/h with s the slope, which is the mean
    slope here: give short pieces.

    References
    ----------
    .. [1] W. W. Naismith, "Excursions", Scottish Mountaineering Club Journal 2, 1892.
    .. [2] DIN 33466, "Wanderwege in den Bergen", 2003 (figures as publicly stated).
    .. [3] W. Tobler, "Three presentations on geographical analysis and modeling",
       NCGIA Technical Report 93-1, 1993.

    Examples
    --------
    >>> walking_seconds("din33466", length_m=8000, up_m=900, down_m=0) / 3600
    np.float64(4.0)
    """
    length = np.asarray(length_m, dtype=float)
    up, down = np.asarray(up_m, dtype=float), np.asarray(down_m, dtype=float)
    if rule == "naismith":
        seconds: FloatArray = length / (5 * _KM_H) + up / 600 * 3600
        return seconds
    if rule == "din33466":
        along_s = length / (4 * _KM_H)
        vertical_s = (up / 300 + down / 500) * 3600
        larger = np.maximum(along_s, vertical_s)
        both: FloatArray = larger + np.minimum(along_s, vertical_s) / 2
        return both
    if rule == "tobler":
        slope = (up - down) / np.where(length > 0, length, 1.0)
        speed = 6 * _KM_H * np.exp(-3.5 * np.abs(slope + 0.05))
        walked: FloatArray = length / speed
        return walked
    message = f"the walking rule is one of {', '.join(RULES)}; got {rule!r}"
    raise ValueError(message)
