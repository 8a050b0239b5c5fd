"""Solve one side of the line for a tension rule and for contact at its supports.

The two traps of a line with point rollers are met here:

**Jumps.** While the drive tension grows, carriers creep over the supports, and there
the return tension jumps by about the carrier's weight times the rope's change of
angle. A rule may then be met by no drive tension at all. Then the vertical piece of
the graph is filled in: the carrier stands right on the support, whose rollers hand
its load over from one span to the other, and the unknown is the share of it that
the rope has taken up (`held`). This is the limit of a roller battery of no length;
nothing remains of the jump, the rule is met to the same tolerance, and the state says
which support it is (``totals[5]``). Where the jump goes the other way (every support
on which the rope rests) two states a carrier's length of the battery apart meet the
rule; the solver keeps the one nearest to its start. They differ by at most twice the
carrier's weight times the change of angle in tension, and by less than 5 cm in height
on the lines of the tests, well inside the uncertainty of the tension itself. Where both
sides share one tension, see `evac.rope.tension.solve_loop`.

**Existence.** In a span the rope at a given tension may not hang at all; see
`evac.rope.span.taut_angle`, which proves it by closing a bracket. A tension at which
it does not is too low; where only such tensions remain the state ends with
``NO_EQUILIBRIUM`` and the span.
"""

from __future__ import annotations

import math

import numpy as np

from evac.facts.lift import FloatArray
from evac.rope.compiled import compiled, inlined
from evac.rope.search import bracketed, first_jump, guess_start, newton, scan_down
from evac.rope.span import march_span
from evac.rope.sweep import (
    CONTACT_UNSETTLED,
    JUMP,
    MOST_HELD,
    NO_EQUILIBRIUM,
    NOT_CONVERGED,
    SOLVED,
    TOO_FEW_LOADS,
    ZERO,
    BoolArray,
    IntArray,
    copy_into,
    finish_supports,
)

CONTACT_TOLERANCE = 1e-9
"""Of the drive tension: a load this near to nothing counts as contact."""


@inlined
def solve_contacts_given(
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
    warm: FloatArray,
    steps: FloatArray,
    next_carrier: IntArray,
    carriers: FloatArray,
    supports: FloatArray,
    totals: FloatArray,
    out: FloatArray,
) -> int:
    """Solve with the supports in `active` carrying, whatever sign their load has."""
    n = x.size
    held = np.zeros((MOST_HELD, 3))
    if not warm[n] > 0:
        guess_start(x, z, active, w, phase, spacing, load, rule, warm)
    kept = warm.copy()
    status = newton(
        x, z, active, w, c, friction, phase, spacing, load, rule, held, warm, steps,
        next_carrier, carriers, supports, totals, out,
    )  # fmt: skip
    if status in (SOLVED, TOO_FEW_LOADS):
        return status
    copy_into(warm, kept)
    below = np.zeros(n, np.int64)
    above = np.zeros(n, np.int64)
    low, high = 0.0, math.inf
    for held_count in range(MOST_HELD + 1):
        status = bracketed(
            x, z, active, w, c, friction, phase, spacing, load, rule, held,
            held_count, low, high, warm, below, above, steps, next_carrier, carriers,
            supports, totals, out,
        )  # fmt: skip
        if status == NO_EQUILIBRIUM and held_count == 0:
            failed = totals[6]
            low, high = scan_down(
                x, z, active, w, c, friction, phase, spacing, load, rule, held, kept[n],
                warm, steps, next_carrier, carriers, supports, totals, out,
            )  # fmt: skip
            totals[6] = failed
            if low > 0:
                status = bracketed(
                    x, z, active, w, c, friction, phase, spacing, load, rule, held,
                    ZERO, low, high, warm, below, above, steps, next_carrier,
                    carriers, supports, totals, out,
                )  # fmt: skip
        if status != JUMP or held_count == MOST_HELD:
            break
        jumped = first_jump(below, above)
        if jumped < 0:
            break
        held[held_count, 0] = jumped
        held[held_count, 1] = min(below[jumped], above[jumped])
        # The extra tension is the carrier's weight times the sine of some angle.
        high = load[int(held[held_count, 1])]
        low = -high
    return NOT_CONVERGED if status == JUMP else status


@inlined
def measure_lifted(
    x: FloatArray,
    z: FloatArray,
    sense: IntArray,
    w: float,
    c: float,
    spacing: float,
    load: FloatArray,
    active: BoolArray,
    warm: FloatArray,
    steps: FloatArray,
    next_carrier: IntArray,
    supports: FloatArray,
    out: FloatArray,
) -> int:
    """Rope at the supports it has left; the support it presses into most, or -1."""
    worst = 0.0
    support = -1
    start = 0
    aside = np.empty((4, load.size))
    for j in range(1, x.size - 1):
        if active[j]:
            start = j
            continue
        first = next_carrier[start] if start > 0 else ZERO
        march_span(
            supports[5, start], warm[start], w, c, x[j] - x[start], steps[start, 2],
            spacing, load, first, load.size, aside, out,
        )  # fmt: skip
        supports[0, j] = 0.0
        supports[1, j] = out[3]
        supports[2, j] = math.atan2(out[2], out[5])
        supports[3, j] = supports[2, j]
        supports[4, j] = out[5]
        supports[5, j] = out[3]
        warm[j] = supports[2, j]
        clear = (z[start] + out[0] - z[j]) * sense[j]
        if clear < worst - 1e-9:
            worst = clear
            support = j
    return support


@compiled
def solve_state(
    x: FloatArray,
    z: FloatArray,
    sense: IntArray,
    w: float,
    c: float,
    friction: FloatArray,
    phase: float,
    spacing: float,
    load: FloatArray,
    rule: FloatArray,
    warm: FloatArray,
    active: BoolArray,
    carriers: FloatArray,
    supports: FloatArray,
    totals: FloatArray,
) -> int:
    """Solve one state; release supports that the rope leaves until all is settled.

    Parameters
    ----------
    x, z : (n,)
        Supports from the drive to the return [m].
    sense : (n,)
        +1 the rope rests on the rollers, -1 it is held down, 0 either.
    w, c, phase, spacing : float
        Rope weight [N/m], compliance 1/EA [1/N], and where the carriers hang [m of
        unstretched rope].
    friction : (n,)
        Signed friction factor of the rollers of every support.
    load : (K,)
        Weight of every carrier from the drive [N].
    rule : (7,)
        Tension rule, see `evac.rope.rules`.
    warm : (n + 1,)
        In: start angles and drive tension of a similar state, or NaN for none.
        Out: those of this state.
    active : (n,)
        In: supports to begin with (all, or those of a similar state). Out: those
        that carry.
    carriers : (4, K), supports : (6, n), totals : (10,)
        Out. Carriers: x, z, steeper slope, span. Supports: load, tension and angle
        arriving, angle leaving, horizontal tension and tension leaving. Totals: drive
        and return tension, unstretched length, residual [N], carriers on the side,
        support that a carrier stands on or -1, failed span or -1, sweeps, and two
        of the solver's own.

    Returns
    -------
    int
        ``SOLVED`` or what went wrong.
    """
    n = x.size
    steps = np.zeros((n, 3))
    next_carrier = np.zeros(n, np.int64)
    out = np.empty(15)
    status = NOT_CONVERGED
    for _ in range(4 * n):
        totals[6] = -1
        status = solve_contacts_given(
            x, z, active, w, c, friction, phase, spacing, load, rule, warm, steps,
            next_carrier, carriers, supports, totals, out,
        )  # fmt: skip
        if status != SOLVED:
            return status
        finish_supports(active, supports)
        worst = CONTACT_TOLERANCE * totals[0]
        changed = -1
        lifted = False
        for j in range(1, n - 1):
            if not active[j]:
                lifted = True
            elif -supports[0, j] * sense[j] > worst:
                worst = -supports[0, j] * sense[j]
                changed = j
        if changed < 0 and lifted:
            changed = measure_lifted(
                x, z, sense, w, c, spacing, load, active, warm, steps, next_carrier,
                supports, out,
            )  # fmt: skip
        if changed < 0:
            for i in range(int(totals[4])):
                while x[int(carriers[3, i]) + 1] < carriers[0, i]:
                    carriers[3, i] += 1
            return SOLVED
        # One at a time, the worst first: releasing several at once can let go of
        # supports that would carry again.
        active[changed] = not active[changed]
    return CONTACT_UNSETTLED
