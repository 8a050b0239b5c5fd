"""The compiled loops of the programme.

Names as in `evac.assignment.programme`; arrays only. A state's frontiers are ``i`` on
the ascending and ``j`` on the descending side; the rows of ``labels`` are people lost,
waiting, person-work and squares to go.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from evac.facts.heights import IntArray
from evac.rope.compiled import compiled

Int32Array = NDArray[np.int32]


@compiled
def forward(
    count: IntArray,
    stride: IntArray,
    loss: IntArray,
    begin: IntArray,
    end: IntArray,
    last: IntArray,
    excess: IntArray,
    finish_s: IntArray,
    most: int,
    latest: int,
    slack: int,
    least: Int32Array,
    finish: Int32Array,
) -> None:
    """Spread the least (lost, finish) from the start over all states.

    States later than ``latest`` are left out; once an end is found, those later than
    it by more than ``slack``.
    """
    sets, side, _ = least.shape
    n = side - 1
    groups = count.shape[0]
    least[0, 0, 0] = 0
    finish[0, 0, 0] = 0
    free = np.empty(groups, dtype=np.int64)
    for used in range(sets):
        frees = 0
        for group in range(groups):
            if used // stride[group] % (count[group] + 1) < count[group]:
                free[frees] = group
                frees += 1
        for i in range(side):
            for j in range(side):
                lost = least[used, i, j]
                until = finish[used, i, j]
                if lost > most or (lost == most and until > latest):
                    continue
                if i == n and j == n:
                    if lost < most or until + slack < latest:
                        most = lost
                        latest = until + slack
                    continue
                kind_from = 0 if i <= j else 1
                here = i if i <= j else j
                to_i = i + 1 if kind_from == 0 else i
                to_j = j if kind_from == 0 else j + 1
                total = lost + loss[kind_from, here]
                if total < least[used, to_i, to_j] or (
                    total == least[used, to_i, to_j]
                    and until < finish[used, to_i, to_j]
                ):
                    least[used, to_i, to_j] = total
                    finish[used, to_i, to_j] = until
                kinds = 2 if i == j else 1
                for position in range(frees):
                    group = free[position]
                    then = used + stride[group]
                    for turn in range(kinds):
                        kind = kind_from if turn == 0 else 2
                        for move in range(
                            begin[group, kind, here], end[group, kind, here]
                        ):
                            total = lost + excess[move]
                            worst = max(until, finish_s[move])
                            if total > most or (total == most and worst > latest):
                                continue
                            after = last[move] + 1
                            to_i = after if kind != 1 else i
                            to_j = after if kind != 0 else j
                            known = least[then, to_i, to_j]
                            if total < known or (
                                total == known and worst < finish[then, to_i, to_j]
                            ):
                                least[then, to_i, to_j] = total
                                finish[then, to_i, to_j] = worst


@compiled
def in_order(
    order: IntArray,
    loss: IntArray,
    begin: IntArray,
    end: IntArray,
    last: IntArray,
    excess: IntArray,
    finish_s: IntArray,
) -> tuple[int, int]:
    """The same for one order of the teams: best (lost, finish) at the end."""
    n = loss.shape[1]
    big = 2**31 - 1
    least = np.full((2, n + 1, n + 1), big, dtype=np.int64)
    finish = np.full((2, n + 1, n + 1), big, dtype=np.int64)
    least[0, 0, 0] = 0
    finish[0, 0, 0] = 0
    now = 0
    for position in range(order.shape[0] + 1):
        other = 1 - now
        least[other] = big
        finish[other] = big
        for i in range(n + 1):
            for j in range(n + 1):
                lost = least[now, i, j]
                until = finish[now, i, j]
                if lost == big:
                    continue
                if lost < least[other, i, j] or (
                    lost == least[other, i, j] and until < finish[other, i, j]
                ):
                    least[other, i, j] = lost
                    finish[other, i, j] = until
                if i == n and j == n:
                    continue
                first = 0 if i <= j else 1
                here = i if i <= j else j
                to_i = i + 1 if first == 0 else i
                to_j = j if first == 0 else j + 1
                total = lost + loss[first, here]
                if total < least[now, to_i, to_j] or (
                    total == least[now, to_i, to_j] and until < finish[now, to_i, to_j]
                ):
                    least[now, to_i, to_j] = total
                    finish[now, to_i, to_j] = until
                if position == order.shape[0]:
                    continue
                group = order[position]
                for turn in range(2 if i == j else 1):
                    kind = first if turn == 0 else 2
                    for move in range(begin[group, kind, here], end[group, kind, here]):
                        total = lost + excess[move]
                        worst = max(until, finish_s[move])
                        after = last[move] + 1
                        to_i = after if kind != 1 else i
                        to_j = after if kind != 0 else j
                        if total < least[other, to_i, to_j] or (
                            total == least[other, to_i, to_j]
                            and worst < finish[other, to_i, to_j]
                        ):
                            least[other, to_i, to_j] = total
                            finish[other, to_i, to_j] = worst
        now = other
    # The last turn, without a team, only carried the finished states over.
    return least[now, n, n], finish[now, n, n]


@compiled
def better(
    labels: IntArray,
    state: int,
    a: int,
    b: int,
    c: int,
    d: int,
) -> bool:
    """Whether (a, b, c, d) comes before a state's label."""
    if a != labels[0, state]:
        return bool(a < labels[0, state])
    if b != labels[1, state]:
        return bool(b < labels[1, state])
    if c != labels[2, state]:
        return bool(c < labels[2, state])
    return bool(d < labels[3, state])


@compiled
def backward(
    count: IntArray,
    stride: IntArray,
    loss: IntArray,
    begin: IntArray,
    end: IntArray,
    last: IntArray,
    excess: IntArray,
    finish_s: IntArray,
    wait_s: IntArray,
    work_s: IntArray,
    alive: IntArray,
    labels: IntArray,
) -> None:
    """The best label to go of every live state, from the end to the start."""
    sets, side, _ = alive.shape
    n = side - 1
    groups = count.shape[0]
    for used in range(sets - 1, -1, -1):
        for i in range(n, -1, -1):
            for j in range(n, -1, -1):
                state = alive[used, i, j]
                if state < 0:
                    continue
                if i == n and j == n:
                    labels[:, state] = 0
                    continue
                first = 0 if i <= j else 1
                here = i if i <= j else j
                to = alive[used, i + 1, j] if first == 0 else alive[used, i, j + 1]
                if to >= 0 and labels[0, to] < 2**62:
                    labels[0, state] = labels[0, to] + loss[first, here]
                    for row in range(1, 4):
                        labels[row, state] = labels[row, to]
                for group in range(groups):
                    if used // stride[group] % (count[group] + 1) >= count[group]:
                        continue
                    then = used + stride[group]
                    for turn in range(2 if i == j else 1):
                        kind = first if turn == 0 else 2
                        for move in range(
                            begin[group, kind, here], end[group, kind, here]
                        ):
                            after = last[move] + 1
                            to = alive[
                                then,
                                after if kind != 1 else i,
                                after if kind != 0 else j,
                            ]
                            if to < 0 or labels[0, to] >= 2**62:
                                continue
                            a = labels[0, to] + excess[move]
                            b = labels[1, to] + wait_s[move]
                            c = labels[2, to] + work_s[move]
                            d = labels[3, to] + finish_s[move] * finish_s[move]
                            if better(labels, state, a, b, c, d):
                                labels[0, state] = a
                                labels[1, state] = b
                                labels[2, state] = c
                                labels[3, state] = d


@compiled
def trace(
    count: IntArray,
    stride: IntArray,
    begin: IntArray,
    end: IntArray,
    last: IntArray,
    excess: IntArray,
    finish_s: IntArray,
    wait_s: IntArray,
    work_s: IntArray,
    alive: IntArray,
    labels: IntArray,
    zones: IntArray,
) -> int:
    """Follow the best labels from the start; rows (group, kind, first, last)."""
    n = alive.shape[1] - 1
    groups = count.shape[0]
    used = 0
    i = 0
    j = 0
    found = 0
    while i < n or j < n:
        state = alive[used, i, j]
        first = 0 if i <= j else 1
        here = i if i <= j else j
        moved = False
        for group in range(groups):
            if moved or used // stride[group] % (count[group] + 1) >= count[group]:
                continue
            for turn in range(2 if i == j else 1):
                kind = first if turn == 0 else 2
                for move in range(begin[group, kind, here], end[group, kind, here]):
                    after = last[move] + 1
                    to_i = after if kind != 1 else i
                    to_j = after if kind != 0 else j
                    to = alive[used + stride[group], to_i, to_j]
                    if to < 0 or labels[0, to] >= 2**62:
                        continue
                    if (
                        labels[0, to] + excess[move] == labels[0, state]
                        and labels[1, to] + wait_s[move] == labels[1, state]
                        and labels[2, to] + work_s[move] == labels[2, state]
                        and labels[3, to] + finish_s[move] * finish_s[move]
                        == labels[3, state]
                    ):
                        zones[found, 0] = group
                        zones[found, 1] = kind
                        zones[found, 2] = here
                        zones[found, 3] = last[move]
                        found += 1
                        used += stride[group]
                        i = to_i
                        j = to_j
                        moved = True
                        break
                if moved:
                    break
        if not moved:
            if first == 0:
                i += 1
            else:
                j += 1
    return found
