"""All states of one side in one compiled loop, reduced to greatest and least values.

The loop runs through every stop position, tension rule and load of the order-free
set and keeps only extremes, so that tens of thousands of solved ropes need no memory.
"""

from __future__ import annotations

import math

import numpy as np

from evac.facts.lift import FloatArray
from evac.rope.compiled import compiled
from evac.rope.kernel import solve_state
from evac.rope.sweep import SOLVED, BoolArray, IntArray, copy_into

ALONE = 2
WINDOW_LOADED = 3
"""Numbers of runs, see `change_load`."""


@compiled
def note_state(
    x: FloatArray,
    z: FloatArray,
    grid_start: float,
    ground: FloatArray,
    carriers: FloatArray,
    supports: FloatArray,
    active: BoolArray,
    totals: FloatArray,
    label: int,
    greatest: FloatArray,
    least: FloatArray,
    slope: FloatArray,
    support_out: FloatArray,
    span_out: FloatArray,
    count: IntArray,
) -> None:
    """Let one solved state raise the greatest and lower the least values."""
    n = x.size
    profiles, size = ground.shape
    count[:] = 0
    for k in range(int(totals[4])):
        place = carriers[0, k] - grid_start
        left = int(place)
        left = max(0, min(left, size - 2))
        share = place - left
        nearest = left if share < 0.5 else left + 1
        for i in range(profiles):
            # Exactly on a sample the neighbour has no say: it may be a void.
            below = ground[i, left]
            if share > 1e-9:
                below += share * (ground[i, left + 1] - ground[i, left])
            height = carriers[1, k] - below
            if math.isnan(height):
                continue
            if not greatest[i, nearest] >= height:
                greatest[i, nearest] = height
            if not least[i, nearest] <= height:
                least[i, nearest] = height
        steep = abs(carriers[2, k])
        if not slope[nearest] >= steep:
            slope[nearest] = steep
        span = int(carriers[3, k])
        count[span] += 1
        chord = z[span] + (z[span + 1] - z[span]) * (carriers[0, k] - x[span]) / (
            x[span + 1] - x[span]
        )
        span_out[span, 2] = max(span_out[span, 2], chord - carriers[1, k])
    for j in range(n - 1):
        # A span after a support that the rope has left goes on with its tension.
        span_out[j, 0] = min(span_out[j, 0], supports[5, j], supports[1, j + 1])
        span_out[j, 1] = max(span_out[j, 1], supports[5, j], supports[1, j + 1])
        span_out[j, 3] = max(span_out[j, 3], count[j])
    for j in range(1, n - 1):
        load = supports[0, j]
        support_out[j, 0] = min(support_out[j, 0], load)
        support_out[j, 1] = max(support_out[j, 1], load)
        if abs(load) < support_out[j, 2]:
            support_out[j, 2] = abs(load)
            support_out[j, 3] = label
        turned = abs(supports[2, j] - supports[3, j])
        support_out[j, 4] = max(support_out[j, 4], turned)
        if not active[j]:
            support_out[j, 5] = 1.0


@compiled
def change_load(
    run: int,
    k: int,
    in_run: int,
    window: int,
    full: FloatArray,
    empty: FloatArray,
    alone: FloatArray,
    load: FloatArray,
) -> bool:
    """Go from state k - 1 to state k of one run; False where nothing changed.

    Run 0 empties the full side from the return, run 1 from the drive, one carrier a
    state. Run 2 loads carrier k alone. Runs 3 and 4 slide a window of carriers along
    the side: loaded on an empty side, and empty on a full one.
    """
    if run == ALONE:
        copy_into(load, empty)
        load[k] = alone[k]
        differs: bool = alone[k] != empty[k]
        return differs
    if run < ALONE:
        if k == 0:
            copy_into(load, full)
            return True
        gone = in_run - k if run == 0 else k - 1
        if load[gone] == empty[gone]:
            return False
        load[gone] = empty[gone]
        return True
    inside, outside = (full, empty) if run == WINDOW_LOADED else (empty, full)
    if k == 0:
        copy_into(load, outside)
        for i in range(min(window - 1, load.size)):
            load[i] = inside[i]
    if k + window - 1 < load.size:
        load[k + window - 1] = inside[k + window - 1]
    if k > 0:
        load[k - 1] = outside[k - 1]
    return True


@compiled
def reduce_side(
    x: FloatArray,
    z: FloatArray,
    sense: IntArray,
    weight: float,
    compliance: float,
    friction: FloatArray,
    phases: FloatArray,
    spacing: float,
    cases: FloatArray,
    empty: FloatArray,
    alone: FloatArray,
    full: FloatArray,
    window: int,
    stride: int,
    alone_stride: int,
    rules: FloatArray,
    grid_start: float,
    ground: FloatArray,
    greatest: FloatArray,
    least: FloatArray,
    slope: FloatArray,
    near: FloatArray,
    far: FloatArray,
    support_out: FloatArray,
    span_out: FloatArray,
    tally: FloatArray,
) -> int:
    """Solve the order-free set of one side and keep its extremes.

    Parameters
    ----------
    x, z, sense, weight, compliance : as in `solve_state`
    friction : (n,)
        Signed friction factor of the rollers.
    phases : (p,)
    spacing : float
    cases : (p, c, K)
        Carrier weights of the declared load cases [N].
    empty, alone : (K,)
        Weights of empty carriers, and of the one loaded carrier.
    full : (p, K)
        Weights of which the order-free set empties one end after the other.
    window : int
        So many carriers slide along as one group; 0: no such runs.
    stride : int
        Of each run only every so many states are solved, at another stop others.
    alone_stride : int
        The same for the run of one loaded carrier.
    rules : (p, r, 7)
    grid_start : float
        x of the first ground sample; samples are 1 m apart.
    ground : (g, m)
        Ground profiles [m], NaN where not known.
    greatest, least : (g, m); slope : (m,)
        Out: heights of the rope above each profile by nearest sample, steepest
        tangent at a carrier; NaN where no carrier ever stands. NaN before.
    near, far : (p, K)
        Out: least and greatest x of every carrier of every stop position, over all its
        states. Before: inf and -inf, or those of states solved before.
    support_out : (n, 6)
        Out: least, greatest and least absolute load, label of the last (case index,
        c: all empty, c + 1: one alone, c + 2: part emptied), deflection, lifted.
        Before: inf, -inf, inf, -1, 0, 0.
    span_out : (n - 1, 4)
        Out: least and greatest tension, sag at a carrier, most carriers. Before:
        inf, -inf, 0, 0.
    tally : (6,)
        Out: states solved, greatest residual [N]; where a state failed its phase
        index, label, span; and how many states had a carrier on a support.

    Returns
    -------
    int
        ``SOLVED``, or the status of the first state that failed.
    """
    n = x.size
    loads = empty.size
    number = cases.shape[1]
    runs = 5 if window > 0 else 3
    carriers = np.empty((4, loads))
    supports = np.empty((6, n))
    totals = np.zeros(10)
    load = empty.copy()
    count = np.zeros(n, np.int64)
    warm = np.full(n + 1, math.nan)
    active = np.ones(n, np.bool_)
    for r in range(rules.shape[1]):
        warm[:] = math.nan
        active[:] = True
        for p in range(phases.size):
            on_line = loads
            in_run = loads
            # The cases, all empty, then one state a carrier for each run.
            for step in range(number + 1 + runs * loads):
                label = step
                if step < number:
                    copy_into(load, cases[p, step])
                elif step == number:
                    copy_into(load, empty)
                else:
                    run = (step - number - 1) // loads
                    k = (step - number - 1) % loads
                    if k == 0:
                        # One more may come onto the side while it empties.
                        in_run = min(on_line + 1, loads)
                    if k > in_run or not change_load(
                        run, k, in_run, window, full[p], empty, alone, load
                    ):
                        continue
                    if (k + p) % (alone_stride if run == ALONE else stride) != 0:
                        continue
                    label = number + 1 if run == ALONE else number + 2
                status = solve_state(
                    x, z, sense, weight, compliance, friction, phases[p],
                    spacing, load, rules[p, r], warm, active, carriers, supports,
                    totals,
                )  # fmt: skip
                if status != SOLVED:
                    # Once more from nothing: a warm start may mislead.
                    warm[:] = math.nan
                    active[:] = True
                    status = solve_state(
                        x, z, sense, weight, compliance, friction, phases[p],
                        spacing, load, rules[p, r], warm, active, carriers,
                        supports, totals,
                    )  # fmt: skip
                if status != SOLVED:
                    tally[2] = p
                    tally[3] = label
                    tally[4] = totals[6]
                    return status
                on_line = int(totals[4])
                tally[0] += 1
                tally[1] = max(tally[1], totals[3])
                if totals[5] >= 0:
                    tally[5] += 1
                for i in range(on_line):
                    near[p, i] = min(near[p, i], carriers[0, i])
                    far[p, i] = max(far[p, i], carriers[0, i])
                note_state(
                    x, z, grid_start, ground, carriers, supports, active, totals,
                    label, greatest, least, slope, support_out, span_out, count,
                )  # fmt: skip
    return SOLVED
