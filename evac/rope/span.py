"""One span: march from its start to the next support, and find the start angle.

The symbols are those of `evac.rope.segment`. Carriers hang at fixed unstretched
lengths, so a span is entered with ``gap``, the rope still to pass until carrier
``k``, and left with the gap to the next one.
"""

from __future__ import annotations

import math

from evac.facts.lift import FloatArray
from evac.rope.compiled import compiled
from evac.rope.segment import length_of, nearly_length_of, run_of

HEIGHT_TOLERANCE_M = 1e-10
"""How near to its support a span must end; the bar for carriers is 1e-9 m."""

END_TOLERANCE_M = 1e-5
"""Misses of a span's run below this are made good to first order."""


@compiled
def march_span(
    t: float,
    angle: float,
    w: float,
    c: float,
    d: float,
    gap: float,
    spacing: float,
    load: FloatArray,
    k: int,
    k_end: int,
    carriers: FloatArray,
    out: FloatArray,
) -> int:
    """March the span of run `d` that starts with tension `t` at `angle`.

    Carriers ``k .. k_end - 1`` may be met; where they are is written to `carriers`
    (rows x, z, slope, measured from the span's start). Writes to `out`:

    0 rise, 1 unstretched length, 2 vertical tension, 3 tension (both at the end),
    4 gap to the next carrier, 5 horizontal tension, and the derivatives
    6-8 of the rise, 9-11 of the length, 12-14 of the end tension, each with respect
    to ``angle``, ``t`` and the rope length passed before the span. Returns the next
    carrier.

    Notes
    -----
    What the end of a segment does when the force at its start changes is exact, too:
    with ``d(1/T)/ds = -w V/T^3`` and ``d(V/T)/ds = w H^2/T^3`` the integrals over a
    segment are differences of its ends,

        dX/dV = dZ/dH = (h/w) [1/T],   dZ/dV = [V/T]/w + l c,   dX/dH = dx/h - [V/T]/w,

    and add up over a span, because every segment feels the same change. So only the
    steps of ``1/T`` and ``V/T`` at the loads need to be summed. The same sums are what
    sliding all loads towards the start does: it replaces rope before a load by rope
    behind it, whose unit vector and stretch differ.
    """
    h = t * math.cos(angle)
    v = t * math.sin(angle)
    v_start = v
    inverse = 1 / t
    inverse_start = inverse
    x = 0.0
    z = 0.0
    length = 0.0
    weight = 0.0
    step_inverse = 0.0
    step_sine = 0.0
    if not h > 0:
        out[0] = math.nan
        return k
    inverse_h = 1 / h
    while k < k_end:
        run, v1, t1, r = run_of(gap, h, v, t, w, c)
        if x + h * run > d:
            break
        x += h * run
        z += gap * (v + v1) * (r + 0.5 * c)
        length += gap
        v = v1 + load[k]
        t = math.sqrt(h * h + v * v)
        # 1/t before and after the load by one division, which are the slowest steps.
        both = 1 / (t1 * t)
        inverse = t1 * both
        step_inverse += inverse - t * both
        step_sine += v * inverse - v1 * (t * both)
        weight += load[k]
        carriers[0, k] = x
        carriers[1, k] = z
        carriers[2, k] = (v if v + v1 > 0 else v1) * inverse_h
        k += 1
        gap = spacing

    piece = nearly_length_of(d - x, h, v, t, w, c)
    run, v1, t1, r = run_of(piece, h, v, t, w, c)
    if abs(x + h * run - d) > END_TOLERANCE_M:
        # One Newton step does on ropeways.
        piece += (d - x - h * run) / (h * (1 / t1 + c))
        run, v1, t1, r = run_of(piece, h, v, t, w, c)
    if not abs(x + h * run - d) <= END_TOLERANCE_M:
        piece = length_of(d - x, h, v, t, w, c)
        run, v1, t1, r = run_of(piece, h, v, t, w, c)
    z += piece * (v + v1) * (r + 0.5 * c)
    x += h * run
    length += piece
    v = v1
    t = t1
    inverse = 1 / t
    end_slope = v * inverse_h
    sine = v_start * inverse_start
    bare_inverse = (inverse - inverse_start - step_inverse) / w
    bare_sine = (v * inverse - sine - step_sine) / w
    x_v = h * bare_inverse
    z_v = bare_sine + length * c
    x_h = x * inverse_h - bare_sine
    x_s = h * step_inverse
    z_s = step_sine + weight * c

    # The end is where x = d: a move of the end by dX is made good by rope of the
    # length dL = -dX / (dx/dl), which also lifts the end by dL * dz/dl. So is what
    # is left of the run; the square of it is far below rounding.
    per_metre = 1 / (h * (inverse + c))
    missing = (d - x) * per_metre
    z += (d - x) * end_slope
    length += missing
    piece += missing
    v += w * missing
    t += w * missing * v * inverse
    cosine = h * inverse_start
    for i in range(3):
        # dH and dV at the start for one unit of angle, of tension, of offset.
        if i == 0:
            dh = -v_start
            dv = h
            move_x = x_h * dh + x_v * dv
            move_z = x_v * dh + z_v * dv
        elif i == 1:
            dh = cosine
            dv = sine
            move_x = x_h * dh + x_v * dv
            move_z = x_v * dh + z_v * dv
        else:
            dh = 0.0
            dv = 0.0
            move_x = x_s
            move_z = z_s
        d_length = -move_x * per_metre
        out[6 + i] = move_z - end_slope * move_x
        out[9 + i] = d_length
        out[12 + i] = (h * dh + v * (dv + w * d_length)) * inverse
    out[0] = z
    out[1] = length
    out[2] = v
    out[3] = t
    out[4] = gap - piece
    out[5] = h
    return k


@compiled
def taut_angle(
    t: float,
    guess: float,
    rise: float,
    w: float,
    c: float,
    d: float,
    gap: float,
    spacing: float,
    load: FloatArray,
    k: int,
    k_end: int,
    carriers: FloatArray,
    out: FloatArray,
) -> float:
    """Start angle of the taut rope that reaches the next support; NaN if none does.

    At a given tension the rise at the far support, as a function of the start angle,
    falls to a least value and rises again (as the throws of one speed do, upside
    down): no rope, or a slack and a taut one. A rope that leaves along the chord ends
    above the far support, so from there downwards lies the taut one, inside a
    bracket that Newton's steps may not leave.
    """
    high = math.atan2(rise, d)
    low = -math.pi / 2
    angle = guess if low < guess < high else high
    polished = False
    for _ in range(120):
        march_span(t, angle, w, c, d, gap, spacing, load, k, k_end, carriers, out)
        miss = out[0] - rise
        slope = out[6]
        if abs(miss) <= HEIGHT_TOLERANCE_M and slope > 0:
            if polished:
                return angle
            # One more step costs little and takes the miss down to rounding.
            polished = True
        if miss > 0 and slope > 0:
            high = angle
        else:
            # Below the support, or already on the slack rope's branch, or so steep
            # that the rope does not get across at all.
            low = angle
        if high - low < 1e-15:
            break
        angle = angle - miss / slope if slope > 0 else low
        if not low < angle < high:
            angle = 0.5 * (low + high)
    return math.nan
