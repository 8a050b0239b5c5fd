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
    With ``m = (v0 + v1) r`` and ``q = l/(t0 t1)`` a segment's end moves by
    ``dX/dV = dZ/dH = -h m q``, ``dZ/dV = a + l c`` and ``dX/dH = dx/h - a``, where
    ``a = (t0 - v0 m) q``. These are exact and add up over a span, because every
    segment feels the same change of the force at its start. Sliding all loads
    towards the start replaces rope before a load by rope behind it: the difference
    of the two unit stretches, summed.
    """
    h = t * math.cos(angle)
    v = t * math.sin(angle)
    v_start = v
    t_start = t
    inverse = 1 / t
    x = 0.0
    z = 0.0
    length = 0.0
    x_h = 0.0
    x_v = 0.0
    z_v = 0.0
    x_s = 0.0
    z_s = 0.0
    if not h > 0:
        out[0] = math.nan
        return k
    while True:
        piece = gap
        last = True
        if k < k_end:
            run, v1, t1, r = run_of(piece, h, v, t, w, c)
            last = x + h * run > d
        if last:
            piece = nearly_length_of(d - x, h, v, t, w, c)
            run, v1, t1, r = run_of(piece, h, v, t, w, c)
            if abs(x + h * run - d) > END_TOLERANCE_M:
                # One Newton step does on ropeways.
                piece += (d - x - h * run) / (h * (1 / t1 + c))
                run, v1, t1, r = run_of(piece, h, v, t, w, c)
            if not abs(x + h * run - d) <= END_TOLERANCE_M:
                piece = length_of(d - x, h, v, t, w, c)
                run, v1, t1, r = run_of(piece, h, v, t, w, c)
        inverse1 = 1 / t1
        m = (v + v1) * r
        q = piece * inverse * inverse1
        a = (t - v * m) * q
        x_h += run - a
        x_v -= h * m * q
        z_v += a + piece * c
        z += piece * (v + v1) * (r + 0.5 * c)
        x += h * run
        length += piece
        v = v1
        t = t1
        inverse = inverse1
        if last:
            break
        v_after = v + load[k]
        t_after = math.sqrt(h * h + v_after * v_after)
        inverse_after = 1 / t_after
        x_s += h * (inverse_after - inverse)
        z_s += v_after * inverse_after - v * inverse + c * load[k]
        carriers[0, k] = x
        carriers[1, k] = z
        carriers[2, k] = (v if abs(v) > abs(v_after) else v_after) / h
        v = v_after
        t = t_after
        inverse = inverse_after
        k += 1
        gap = spacing

    # The end is where x = d: a move of the end by dX is made good by rope of the
    # length dL = -dX / (dx/dl), which also lifts the end by dL * dz/dl. So is what
    # is left of the run; the square of it is far below rounding.
    end_slope = v / h
    per_metre = 1 / (h * (inverse + c))
    missing = (d - x) * per_metre
    z += (d - x) * end_slope
    length += missing
    piece += missing
    v += w * missing
    t += w * missing * v * inverse
    cosine = h / t_start
    sine = v_start / t_start
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
