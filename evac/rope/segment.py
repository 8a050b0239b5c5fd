"""The elastic catenary between two loads, without cancellation.

Symbols, as in every kernel of this package: ``h`` horizontal and ``v`` vertical part
of the tension ``t`` (v > 0 where the rope rises away from the drive); ``w`` weight
per unstretched metre; ``c = 1/EA`` compliance; ``length`` is unstretched; ``d``
horizontal distance. All SI.

References
----------
.. [1] H. M. Irvine, "Cable Structures", MIT Press, 1981, ch. 2 (elastic catenary).
.. [2] H. B. Jayaraman and W. C. Knudson, "A curved element for the analysis of cable
   structures", Computers & Structures 14, 1981.
"""

from __future__ import annotations

import math

from evac.rope.compiled import compiled, inlined


@inlined
def atanh_ratio(y: float) -> float:
    """``atanh(y) / y``, exact to rounding for every ``|y| < 1``.

    On ropeways y is about 0.005, so the series may be cut where its next term is
    below rounding; the closed form serves the very slack ropes of textbooks.
    """
    u = y * y
    if u < 1e-3:
        return 1 + u * (1 / 3 + u * (1 / 5 + u * (1 / 7 + u / 9)))
    return math.atanh(y) / y


@inlined
def run_of(
    length: float, h: float, v: float, t: float, w: float, c: float
) -> tuple[float, float, float, float]:
    """Horizontal run of a segment of unstretched `length` that starts with ``h, v, t``.

    Returns ``dx, v1, t1, r``: the run, the vertical tension and the tension at the
    far end, and ``r = 1/(t + t1)``. The textbook form
    ``h/w (asinh(v1/h) - asinh(v/h))`` loses digits on a taut rope;
    ``asinh a - asinh b = 2 atanh(w length r)`` does not.
    """
    v1 = v + w * length
    t1 = math.sqrt(h * h + v1 * v1)
    r = 1 / (t + t1)
    return length * (2 * r * atanh_ratio(w * length * r) + c), v1, t1, r


@inlined
def nearly_length_of(
    d: float, h: float, v: float, t: float, w: float, c: float
) -> float:
    """Unstretched length of the segment whose run is `d`, by the tangent midway.

    Its third-order error is a micrometre on a ropeway.
    """
    length = d / (h * (1 / t + c))
    v_middle = v + w * length / 2
    return d / (h * (1 / math.sqrt(h * h + v_middle * v_middle) + c))


@compiled
def length_of(d: float, h: float, v: float, t: float, w: float, c: float) -> float:
    """Unstretched length of the segment whose horizontal run is `d`; NaN if none."""
    length = nearly_length_of(d, h, v, t, w, c)
    for _ in range(80):
        run, _, t1, _ = run_of(length, h, v, t, w, c)
        step = (d / h - run) / (1 / t1 + c)
        if length + step <= 0:
            step = -length / 2
        length += step
        # Quadratic convergence: the error left is the square of this step.
        if abs(step) <= 1e-7 * length:
            return length
    return math.nan
