"""Find the drive tension that meets a tension rule, supports given, compiled.

`newton` converges from a similar state; `bracketed` from anywhere, and finds jumps.
"""

from __future__ import annotations

import math

from evac.facts.lift import FloatArray
from evac.rope.compiled import compiled, inlined
from evac.rope.sweep import (
    JUMP,
    LOST,
    NO_EQUILIBRIUM,
    NOT_CONVERGED,
    NOT_SETTLED,
    SETTLED,
    SOLVED,
    TOO_FEW_LOADS,
    ZERO,
    BoolArray,
    IntArray,
    sweep,
)


@inlined
def guess_start(
    x: FloatArray,
    z: FloatArray,
    active: BoolArray,
    w: float,
    phase: float,
    spacing: float,
    load: FloatArray,
    rule: FloatArray,
    warm: FloatArray,
) -> None:
    """Fill `warm` from a parabola under the weight of rope and carriers, smeared."""
    n = x.size
    chords = 0.0
    for j in range(n - 1):
        chords += math.hypot(x[j + 1] - x[j], z[j + 1] - z[j])
    count = min(load.size, max(0, int((chords - phase) / spacing)))
    smeared = w + load[:count].sum() / chords
    tension = rule[2] - smeared * (z[n - 1] - z[0])
    if rule[0] != 0.0 and rule[4] == 0.0:
        tension = -rule[3] / rule[0]
    warm[n] = max(tension, 0.05 * abs(rule[2]))
    start = 0
    for end in range(1, n):
        if active[end]:
            d = x[end] - x[start]
            rise = z[end] - z[start]
            tension = warm[n] + smeared * (z[start] - z[0])
            chord = math.hypot(d, rise)
            horizontal = max(tension, 0.05 * warm[n]) * d / chord
            warm[start] = math.atan(rise / d - smeared * chord / (2 * horizontal))
            start = end


@inlined
def newton(
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
    warm: FloatArray,
    steps: FloatArray,
    next_carrier: IntArray,
    carriers: FloatArray,
    supports: FloatArray,
    totals: FloatArray,
    out: FloatArray,
) -> int:
    """Newton on all start angles and the drive tension at once: two or three sweeps.

    Converges from a similar state or a fair guess; otherwise it says so, and
    `bracketed` takes over.
    """
    n = x.size
    for turn in range(14):
        status = sweep(
            x, z, active, w, c, friction, phase, spacing, load, rule, held,
            ZERO, NOT_SETTLED,
            warm, steps, next_carrier, carriers, supports, totals, out,
        )  # fmt: skip
        if status == SOLVED:
            totals[7] = turn + 1
            return status
        if status == LOST:
            return NOT_CONVERGED
        step = totals[9]
        if not abs(step) < 0.3 * warm[n]:
            return NOT_CONVERGED
        for start in range(n - 1):
            if active[start]:
                turned = steps[start, 0] + steps[start, 1] * step
                if not abs(turned) < 0.3:
                    return NOT_CONVERGED
                warm[start] += turned
        warm[n] += step
    return status


@compiled
def first_jump(below: IntArray, above: IntArray) -> int:
    """First support at which the next carrier differs; -1 if none."""
    for j in range(1, below.size):
        if below[j] != above[j]:
            return j
    return -1


@compiled
def bracketed(
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
    low: float,
    high: float,
    warm: FloatArray,
    below: IntArray,
    above: IntArray,
    steps: FloatArray,
    next_carrier: IntArray,
    carriers: FloatArray,
    supports: FloatArray,
    totals: FloatArray,
    out: FloatArray,
) -> int:
    """Meet the tension rule inside a bracket that only ever shrinks.

    The unknown is the drive tension, or with `held_count` > 0 the extra tension of
    the last held carrier. Rules grow with it. `below` and `above` receive the next
    carrier at every support for the two ends of the bracket.
    """
    n = x.size
    scale = warm[n]
    value = 0.5 * (low + high) if high < math.inf else scale
    low_fails = True
    miss_low, miss_high = math.nan, math.nan
    status = NOT_CONVERGED
    for turn in range(300):
        if held_count == 0:
            warm[n] = value
        else:
            held[held_count - 1, 2] = value
        for _ in range(12 if friction.any() else 1):
            status = sweep(
                x, z, active, w, c, friction, phase, spacing, load, rule, held,
                held_count, SETTLED, warm, steps, next_carrier, carriers, supports,
                totals, out,
            )  # fmt: skip
            if status != NOT_CONVERGED:
                break
        totals[7] = turn + 1
        if status == SOLVED:
            return status
        fails = status in (NO_EQUILIBRIUM, LOST)
        if fails or totals[8] < 0:
            low = value
            low_fails = fails
            miss_low = math.nan if fails else totals[8]
            for j in range(n):
                below[j] = next_carrier[j]
        else:
            high = value
            miss_high = totals[8]
            for j in range(n):
                above[j] = next_carrier[j]
        # A bracket that has closed on a jump is not closed further: at the last digits
        # it is chance on which side of the support a carrier is found.
        width = high - low
        if width <= 4e-15 * scale or (
            width <= 5e-14 * scale and first_jump(below, above) > 0
        ):
            break
        wanted = math.nan
        if held_count == 0 and not fails:
            wanted = value + totals[9]
        elif turn % 2 == 0:
            wanted = low - miss_low * (high - low) / (miss_high - miss_low)
        if not low < wanted < high:
            wanted = 2 * low + 0.1 * scale if high == math.inf else (low + high) / 2
        if wanted in (low, high):
            break
        value = wanted
        scale = max(scale, abs(value))
    if high == math.inf or low_fails:
        return NO_EQUILIBRIUM
    if status == TOO_FEW_LOADS:
        return status
    return JUMP


@inlined
def scan_down(
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
    guess: float,
    warm: FloatArray,
    steps: FloatArray,
    next_carrier: IntArray,
    carriers: FloatArray,
    supports: FloatArray,
    totals: FloatArray,
    out: FloatArray,
) -> tuple[float, float]:
    """Two neighbouring drive tensions between which the rule is met; 0, 0 if none.

    On a line so slack that spans hardly hang, the return tension does not grow with
    the drive tension and a bracket can close on the edge of existence beside a
    solution. The tautest solution is sought from above.
    """
    value = 4 * guess
    above = 0.0
    while value > 0.1 * guess:
        warm[x.size] = value
        status = sweep(
            x, z, active, w, c, friction, phase, spacing, load, rule, held,
            ZERO, SETTLED,
            warm, steps, next_carrier, carriers, supports, totals, out,
        )  # fmt: skip
        if status in (NO_EQUILIBRIUM, LOST):
            above = 0.0
        elif totals[8] >= 0:
            above = value
        elif above > 0:
            return value, above
        value *= 0.99
    return 0.0, 0.0
