"""Walk one side of the line from the drive to the return station, compiled.

The kernels take plain arrays in a fixed order, because they are called from other
compiled loops; `evac.rope.side` wraps them for everyone else.

Every state ends in one of the ``status`` numbers below. The residual is returned with
each, and a state is never accepted with a residual above the tolerance.
"""

from __future__ import annotations

import math
from typing import cast

import numpy as np
from numpy.typing import NDArray

from evac.facts.lift import FloatArray
from evac.rope.compiled import compiled
from evac.rope.span import HEIGHT_TOLERANCE_M, march_span, taut_angle

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

SOLVED = 0
NO_EQUILIBRIUM = 1
"""In one span no rope hangs at this tension."""
NOT_CONVERGED = 2
TOO_FEW_LOADS = 3
"""More carriers stand on the side than loads were given."""
CONTACT_UNSETTLED = 4
"""No set of supports that carry and supports that are left satisfies all."""
JUMP = 5
"""Inside the solver only: the tension rule is met nowhere but inside a jump."""
LOST = 6
"""Inside the solver only: a trial rope does not get across its span."""

ZERO = cast(int, np.int64(0))
NOT_SETTLED, SETTLED = cast(bool, np.bool_(False)), cast(bool, np.bool_(True))
"""A plain 0 or True is a type of its own to numba, which would compile the whole chain
of kernels once more for each."""

TENSION_TOLERANCE = 4e-12
"""Of the tension: 1 microNewton in 250 kN moves a carrier by less than 1e-9 m."""
RUB_TOLERANCE = 1e-8
"""The same for the friction force at a support."""
MOST_HELD = 4


@compiled
def copy_into(target: FloatArray, source: FloatArray) -> None:
    """Copy an array; a slice's assignment compiles the text of its errors, too."""
    for i in range(target.size):
        target[i] = source[i]


@compiled
def rule_value(
    rule: FloatArray, t_drive: float, t_return: float, length: float
) -> tuple[float, float]:
    """How far the tension rule is missed [N], and its slope with the return tension.

    ``rule[0] T_drive + rule[1] S + polynomial in (T_return - rule[2])``.
    """
    u = t_return - rule[2]
    value = rule[3] + u * (rule[4] + u * (rule[5] + u * rule[6]))
    slope = rule[4] + u * (2 * rule[5] + 3 * u * rule[6])
    return rule[0] * t_drive + rule[1] * length + value, slope


@compiled
def bisector_load(
    t_in: float, angle_in: float, t_out: float, angle_out: float, weight: float
) -> float:
    """Load on a support along the bisector of the rope's two directions [N].

    `weight` is that of a carrier standing right on the support.
    """
    middle = 0.5 * (angle_in + angle_out)
    return (t_in + t_out) * math.sin(0.5 * (angle_in - angle_out)) + weight * (
        math.cos(middle)
    )


@compiled
def finish_supports(active: BoolArray, supports: FloatArray) -> None:
    """Angles of arrival and loads, from what `sweep` leaves in `supports`."""
    n = active.size
    start = 0
    for end in range(1, n):
        if active[end]:
            angle = math.atan2(supports[2, end], supports[4, start])
            supports[2, end] = angle
            if end < n - 1:
                supports[0, end] = bisector_load(
                    supports[1, end],
                    angle,
                    supports[5, end],
                    supports[3, end],
                    supports[0, end],
                )
            start = end
    supports[0, 0] = math.nan
    supports[0, n - 1] = math.nan


@compiled
def sweep(
    x: FloatArray,
    z: FloatArray,
    active: BoolArray,
    w: float,
    c: float,
    friction: FloatArray,
    phase: float,
    spacing: float,
    load: FloatArray,
    rule: FloatArray,
    held: FloatArray,
    held_count: int,
    settle: bool,
    warm: FloatArray,
    steps: FloatArray,
    next_carrier: IntArray,
    carriers: FloatArray,
    supports: FloatArray,
    totals: FloatArray,
    out: FloatArray,
) -> int:
    """Walk from the drive to the return with the angles and drive tension of `warm`.

    With `settle` each span's angle is found before the next span is entered; without
    it every span is marched once with the angle at hand. Either way the Newton step
    of all angles and of the drive tension together is left in `steps`: span by span
    the angle's step, the tension and the rope length entering the next span are
    linear in the step of the drive tension, ``p + q dT``, and the tension rule at
    the return end fixes ``dT``.

    Row 0 of `supports` is left with the weight standing right on a support, row 2
    with the vertical tension arriving; `finish_supports` makes them what they are
    once the state is solved.

    `held` (MOST_HELD, 3): support, carrier and extra tension of the carriers that
    stand right on a support (see `evac.rope.kernel`).
    """
    n = x.size
    t = warm[n]
    t_drive = t
    gap = phase
    k = ZERO
    length = 0.0
    # (constant, per unit dT) of the tension and of the rope length passed
    t_p, t_q = 0.0, 1.0
    s_p, s_q = 0.0, 0.0
    worst_m = 0.0
    worst_n = 0.0
    worst_rub_n = 0.0
    on_support = -1
    t_in, angle_in, weight, extra = t, 0.0, 0.0, 0.0
    supports[:3, 0] = math.nan
    supports[3:, n - 1] = math.nan
    start = 0
    while start < n - 1:
        end = start + 1
        while not active[end]:
            end += 1
        k_end = load.size
        held_here = -1
        for i in range(held_count):
            if int(held[i, 0]) == end:
                held_here = i
                k_end = int(held[i, 1])
        d = x[end] - x[start]
        rise = z[end] - z[start]
        if settle:
            angle = taut_angle(
                t, warm[start], rise, w, c, d, gap, spacing, load, k, k_end,
                carriers, out,
            )  # fmt: skip
            if math.isnan(angle):
                totals[6] = start
                return NO_EQUILIBRIUM
            warm[start] = angle
        first = k
        angle = warm[start]
        if friction[start] != 0.0 and start > 0:
            # The leaving angle is known only now; a friction force that was taken
            # with another angle is a miss like any other.
            push = bisector_load(t_in, angle_in, t, angle, weight)
            rub = friction[start] * abs(push)
            worst_rub_n = max(worst_rub_n, abs(t - t_in - extra - rub))
        steps[start, 2] = gap
        k = march_span(t, angle, w, c, d, gap, spacing, load, k, k_end, carriers, out)
        miss = out[0] - rise
        if not out[6] > 0 or math.isnan(miss):
            totals[6] = start
            return LOST
        worst_m = max(worst_m, abs(miss))
        worst_n = max(worst_n, abs(miss / out[6]) * t)
        for i in range(first, k):
            carriers[0, i] += x[start]
            carriers[1, i] += z[start]
            carriers[3, i] = start

        steps[start, 0] = -(miss + out[7] * t_p + out[8] * s_p) / out[6]
        steps[start, 1] = -(out[7] * t_q + out[8] * s_q) / out[6]
        p, q = steps[start, 0], steps[start, 1]
        next_t_p = out[12] * p + out[13] * t_p + out[14] * s_p
        next_t_q = out[12] * q + out[13] * t_q + out[14] * s_q
        s_p += out[9] * p + out[10] * t_p + out[11] * s_p
        s_q += out[9] * q + out[10] * t_q + out[11] * s_q
        t_p, t_q = next_t_p, next_t_q

        length += out[1]
        gap = out[4]
        supports[3, start] = angle
        supports[4, start] = out[5]
        supports[5, start] = t
        t_in = out[3]
        supports[1, end] = t_in
        supports[2, end] = out[2]
        supports[0, end] = 0.0
        weight = 0.0
        extra = 0.0
        if held_here >= 0:
            worst_m = max(worst_m, abs(gap))
            weight = load[k_end]
            supports[0, end] = weight
            extra = held[held_here, 2]
            carriers[0, k_end] = x[end]
            carriers[1, k_end] = z[end]
            carriers[2, k_end] = out[2] / out[5]
            carriers[3, k_end] = start
            gap = spacing
            k = k_end + 1
            on_support = end
        t = t_in + extra
        if friction[end] != 0.0 and end < n - 1:
            angle_in = math.atan2(out[2], out[5])
            # The load grows with the friction force that it makes.
            push = bisector_load(t_in, angle_in, t, warm[end], weight)
            signed = friction[end] if push >= 0 else -friction[end]
            t += signed * push / (1 - signed * math.sin(0.5 * (angle_in - warm[end])))
        next_carrier[end] = k
        start = end

    value, slope = rule_value(rule, t_drive, t, length)
    along = rule[0] + rule[1] * s_q + slope * t_q
    totals[0] = t_drive
    totals[1] = t
    totals[2] = length
    totals[3] = max(worst_n, worst_rub_n, abs(value))
    totals[4] = k
    totals[5] = on_support
    totals[8] = value
    totals[9] = -(value + rule[1] * s_p + slope * t_p) / along
    if k == load.size and gap < 0:
        return TOO_FEW_LOADS
    if (
        worst_m <= HEIGHT_TOLERANCE_M
        and abs(value) <= TENSION_TOLERANCE * t_drive
        and worst_rub_n <= RUB_TOLERANCE * t_drive
    ):
        return SOLVED
    return NOT_CONVERGED
