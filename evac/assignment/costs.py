"""What every zone would cost every option: the columns of the assignment.

A *zone* is a run of spans on the ascending side, on the descending side or on both.
Here every zone is walked through once for every option and start, unit by unit, at
all stop positions together.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evac.facts.heights import BoolArray, IntArray
from evac.facts.lift import Side
from evac.facts.work import NEVER_S, Assignment, Work, Zone
from evac.rope.compiled import compiled

SIDES = (Side.ASCENDING, Side.DESCENDING)
KIND_SIDES = ((SIDES[0],), (SIDES[1],), SIDES)
"""Sides of the three kinds of zone: ascending, descending, both."""
ASCENDING, DESCENDING, BOTH = range(3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Every zone of every option; arrays of shape (q, 3, n, n).

    Axes: option, kind of zone (0 ascending, 1 descending, 2 both sides), first span,
    last span. ``skipped`` counts the people in the zone's units that the option
    cannot take and walks past. ``finish_s`` is the cost, NEVER_S where the zone is
    impossible. ``wait_s`` is people x seconds until each unit is clear.
    """

    skipped: IntArray
    finish_s: IntArray
    work_s: IntArray
    wait_s: IntArray
    start_s: IntArray


def takes(work: Work) -> BoolArray:
    """Units each option can take: planned, valid, and with a gate that opens.

    Returns
    -------
    numpy.ndarray, shape (q, 2, n)
    """
    opens = work.planned & (work.gate_s < NEVER_S)
    found: BoolArray = work.valid & opens & (work.work_s < NEVER_S).all(axis=3)
    return found


def people_counted(work: Work) -> IntArray:
    """People of each unit (2, n); an empty unit with a carrier to check counts as 1.

    Every carrier is checked and logged, empty or not (rule 16), so a unit that is
    thought to be empty must not be left out for nothing.
    """
    possible = np.where(work.work_s < NEVER_S, work.work_s, 0)
    to_check = (possible > 0).any(axis=(0, 3)) if work.options else work.people > 0
    counted: IntArray = np.where((work.people == 0) & to_check, 1, work.people)
    return counted.astype(np.int64)


def make_columns(work: Work) -> Columns:
    """Walk every option through every zone.

    Notes
    -----
    The work starts at the zone's start end (its upper end unless the team's row says
    otherwise), when the team has arrived there, the line is secured and the gates of
    all units that it takes are open. In each span the team begins on the side where
    it stands (the ascending one in the first span), then changes sides. Between spans
    it crosses one support, also past spans it takes nothing in. Where nothing stands
    to climb (``no_start``), an option that must climb only goes on along the rope. A
    zone begins and ends with a unit that is taken; on both sides it takes at least one
    unit a side.

    At stop position o let e_o(i) be the seconds from the start until unit i is clear.
    Then finish = start + max_o e_o(last), work = max_o e_o(last) and waiting =
    sum over units of people_i x (start + max_o e_o(i)): all whole numbers.
    """
    q, n = len(work.options), work.people.shape[1]
    shape = (5, q, 3, n, n)
    table: NDArray[np.int64] = np.full(shape, NEVER_S, dtype=np.int64)
    high_start = work.start_upper == work.upper_is_last
    _walk(
        takes(work),
        np.ascontiguousarray(work.work_s, dtype=np.int64),
        work.cross_s.astype(np.int64),
        work.side_change_s.astype(np.int64),
        work.gate_s.astype(np.int64),
        int(work.secured_s),
        work.arrive_s[work.option_team].astype(np.int64).reshape(q, n + 1),
        people_counted(work),
        high_start[work.option_team],
        np.zeros((q, n + 1), dtype=np.bool_)
        if work.no_start is None
        else np.ascontiguousarray(work.no_start),
        int(min(work.latest_arrival_s, NEVER_S - 1)),
        table,
    )
    return Columns(
        skipped=table[0],
        finish_s=table[1],
        work_s=table[2],
        wait_s=table[3],
        start_s=table[4],
    )


def units_in_order(work: Work, zone: Zone) -> tuple[tuple[Side, int], ...]:
    """The units a zone takes, in order of work.

    Parameters
    ----------
    work : Work
        What the zone was made from.
    zone : Zone
        A zone of its assignment.

    Returns
    -------
    tuple of (Side, int)
        Side and span of each unit. Spans in the zone in which the team's option can
        take nothing are walked past and do not appear.
    """
    taken = takes(work)[zone.option.index]
    spans = list(range(zone.first_span, zone.last_span + 1))
    if zone.start_support != zone.first_span:
        spans.reverse()
    here = 0
    found: list[tuple[Side, int]] = []
    for span in spans:
        for number in (here, 1 - here):
            if SIDES[number] in zone.sides and taken[number, span]:
                found.append((SIDES[number], span))
        if found and found[-1][1] == span:
            here = SIDES.index(found[-1][0])
    return tuple(found)


def clear_times(work: Work, zone: Zone) -> tuple[tuple[Side, int, int], ...]:
    """When each unit of a zone is clear at its slowest stop, in order of work.

    Returns
    -------
    tuple of (Side, int, int)
        Side, span, and whole seconds from the order.
    """
    option = zone.option.index
    clock_s = np.full(work.work_s.shape[3], zone.start_s, dtype=np.int64)
    last: tuple[Side, int] | None = None
    found: list[tuple[Side, int, int]] = []
    for side, span in units_in_order(work, zone):
        if last is not None:
            low, high = sorted((last[1], span))
            clock_s += work.cross_s[option, low + 1 : high + 1].sum()
            clock_s += work.side_change_s[option] * (last[0] is not side)
        clock_s += work.work_s[option, SIDES.index(side), span]
        found.append((side, span, int(clock_s.max())))
        last = (side, span)
    return tuple(found)


def forbid_late(
    work: Work, columns: Columns, first: Sequence[tuple[Side, int]]
) -> Columns:
    """The columns in which each of these units is the first its team takes (rule 17).

    A zone that would take such a unit later than first becomes impossible.
    """
    taken = takes(work)
    finish_s = columns.finish_s.copy()
    high = (work.start_upper == work.upper_is_last)[work.option_team]
    n = work.people.shape[1]
    begins, ends = np.meshgrid(np.arange(n), np.arange(n), indexing="ij")
    for side, span in first:
        number = SIDES.index(side)
        inside = (begins <= span) & (span <= ends)
        for option in np.flatnonzero(taken[:, number, span]):
            begun = (ends if high[option] else begins) == span
            finish_s[option, number][inside & ~begun] = NEVER_S
            # On both sides a team begins on the ascending one, where it can.
            later = number == DESCENDING and taken[option, ASCENDING, span]
            finish_s[option, BOTH][inside & (later | ~begun)] = NEVER_S
    return replace(columns, finish_s=finish_s)


@compiled
def _walk(
    taken: BoolArray,
    work_s: IntArray,
    cross_s: IntArray,
    side_change_s: IntArray,
    gate_s: IntArray,
    secured_s: int,
    arrive_s: IntArray,
    people: IntArray,
    high_start: BoolArray,
    no_start: BoolArray,
    latest_s: int,
    table: IntArray,
) -> None:
    q, _, n, stops = work_s.shape
    clock = np.zeros(stops, dtype=np.int64)
    never = 10**9
    for option in range(q):
        step = -1 if high_start[option] else 1
        for kind in range(3):
            for begin in range(n):
                # Support at the start end: span k lies between supports k and k + 1.
                at = begin + 1 if high_start[option] else begin
                arrival = arrive_s[option, at]
                if arrival > latest_s or no_start[option, at]:
                    continue
                clock[:] = 0
                gate = max(secured_s, arrival)
                here = -1
                count_a = 0
                count_d = 0
                served = 0
                waited = 0
                longest = np.int64(0)
                skipped = 0
                k = begin
                while 0 <= k < n:
                    if k != begin:
                        behind = k + 1 if step < 0 else k
                        if no_start[option, behind]:
                            # Only along the rope, from the half before, on one side.
                            went = kind < 2 and taken[option, kind, k - step]
                            if not went:
                                break
                        passed = cross_s[option, behind]
                        if passed >= never:
                            break
                        for stop in range(stops):
                            clock[stop] += passed
                    take_a = kind != 1 and taken[option, 0, k]
                    take_d = kind != 0 and taken[option, 1, k]
                    if kind != 1 and not take_a:
                        skipped += people[0, k]
                    if kind != 0 and not take_d:
                        skipped += people[1, k]
                    if k == begin and not take_a and not take_d:
                        break
                    first = 1 if here == 1 else 0
                    for turn in range(2):
                        side = first if turn == 0 else 1 - first
                        if (side == 0 and not take_a) or (side == 1 and not take_d):
                            continue
                        if here >= 0 and here != side:
                            for stop in range(stops):
                                clock[stop] += side_change_s[option]
                        here = side
                        longest = clock[0]
                        for stop in range(stops):
                            clock[stop] += work_s[option, side, k, stop]
                            longest = max(longest, clock[stop])
                        gate = max(gate, gate_s[side, k])
                        served += people[side, k]
                        waited += people[side, k] * longest
                        if side == 0:
                            count_a += 1
                        else:
                            count_d += 1
                    whole = kind < 2 or (count_a > 0 and count_d > 0)
                    if (take_a or take_d) and whole:
                        a = min(begin, k)
                        b = max(begin, k)
                        table[0, option, kind, a, b] = skipped
                        table[1, option, kind, a, b] = gate + longest
                        table[2, option, kind, a, b] = longest
                        table[3, option, kind, a, b] = gate * served + waited
                        table[4, option, kind, a, b] = gate
                    k += step


def team_of_unit(work: Work, zones: Iterable[Zone]) -> dict[tuple[Side, int], str]:
    """The team that clears each unit; units that are only walked past have none."""
    return {unit: zone.team for zone in zones for unit in units_in_order(work, zone)}


def last_finish_s(assignment: Assignment) -> int:
    """When the last zone is clear at likely times, each at its worst stop [s].

    From the order. At any one stop the line is clear no later; 0 without a zone.
    """
    return max((zone.finish_s for zone in assignment.zones), default=0)
