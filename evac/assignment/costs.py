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
    it stands (the ascending one in the first span), then changes sides; at stops at
    which a carrier hangs on both sides of the span it also goes back along the span
    first (``walk_back_s``), since both are worked in one direction. Between spans it
    crosses one support, also past spans it takes nothing in. Those it passes on
    foot besides, from support to support (``pass_s``): where there is no way, or only
    one over avalanche ground that is never released, no zone goes on; where the way is
    released later, the zone begins then at the soonest. What ``spared_s`` takes off a
    set-up holds only right after a crossing on the same side. Where nothing stands
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
    pass_s, pass_open_s = _passages(work)
    _walk(
        takes(work),
        np.ascontiguousarray(work.work_s, dtype=np.int64),
        work.cross_s.astype(np.int64),
        spared(work),
        work.option_team.astype(np.int64),
        pass_s,
        pass_open_s,
        work.side_change_s.astype(np.int64),
        np.ascontiguousarray(work.walk_back_s, dtype=np.int64),
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


def spared(work: Work) -> IntArray:
    """Seconds of each crossing that the set-up after it is spared (q, n + 1)."""
    if work.spared_s is None:
        return np.zeros(work.cross_s.shape, dtype=np.int64)
    return np.ascontiguousarray(work.spared_s, dtype=np.int64)


def _passages(work: Work) -> tuple[IntArray, IntArray]:
    """Seconds past spans and when those ways open, each (t, n + 1, n + 1)."""
    supports = work.people.shape[1] + 1
    shape = (len(work.team_ids), supports, supports)
    if work.pass_s is None:
        return np.full(shape, NEVER_S, dtype=np.int64), np.zeros(shape, dtype=np.int64)
    opens = np.zeros(shape) if work.pass_open_s is None else work.pass_open_s
    return (
        np.ascontiguousarray(work.pass_s, dtype=np.int64),
        np.ascontiguousarray(opens, dtype=np.int64),
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
    team, spared_s = work.option_team[option], spared(work)
    pass_s, _ = _passages(work)
    clock_s = np.full(work.work_s.shape[3], zone.start_s, dtype=np.int64)
    found: list[tuple[Side, int, int]] = []
    for leg in legs(work, zone):
        clock_s += work.cross_s[option, list(leg.crossed)].sum()
        clock_s += work.side_change_s[option] * leg.changes_side
        if leg.walks_back:
            on_both = (work.work_s[option, :, leg.span_index] > 0).all(axis=0)
            clock_s += work.walk_back_s[option, leg.span_index] * on_both
        if leg.walked is not None:
            clock_s += pass_s[team, *leg.walked]
        unit_s = work.work_s[option, SIDES.index(leg.side), leg.span_index]
        clock_s += unit_s
        if leg.spares_at is not None:
            clock_s -= spared_s[option, leg.spares_at] * (unit_s > 0)
        found.append((leg.side, leg.span_index, int(clock_s.max())))
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """A unit of a zone, and how its team comes to it from the one before.

    ``crossed``: supports on the way. ``walked``: (from, to) the supports between which
    it walks past spans it takes nothing in, None where there are none.
    ``walks_back``: the unit before is the other side of the same span. ``spares_at``:
    the support after which its set-up is spared what the crossing did already.
    """

    side: Side
    span_index: int
    crossed: tuple[int, ...] = ()
    walked: tuple[int, int] | None = None
    changes_side: bool = False
    walks_back: bool = False
    spares_at: int | None = None


def legs(work: Work, zone: Zone) -> tuple[Leg, ...]:
    """The units a zone takes, in order of work, with the way to each.

    Parameters
    ----------
    work : Work
        What the zone was made from.
    zone : Zone
        A zone of its assignment.

    Returns
    -------
    tuple of Leg
        As `make_columns` counts them.
    """
    found: list[Leg] = []
    for side, span in units_in_order(work, zone):
        if not found:
            found.append(Leg(side=side, span_index=span))
            continue
        before = found[-1]
        rises = span > before.span_index
        # Span k lies between supports k and k + 1.
        left = before.span_index + rises
        reached = span + (not rises)
        low, high = sorted((before.span_index, span))
        found.append(
            Leg(
                side=side,
                span_index=span,
                crossed=tuple(range(low + 1, high + 1)),
                walked=(left, reached) if high - low > 1 else None,
                changes_side=before.side is not side,
                walks_back=before.span_index == span,
                spares_at=reached if high - low == 1 and before.side is side else None,
            )
        )
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
    spared_s: IntArray,
    team_of: IntArray,
    pass_s: IntArray,
    pass_open_s: IntArray,
    side_change_s: IntArray,
    walk_back_s: IntArray,
    gate_s: IntArray,
    secured_s: int,
    arrive_s: IntArray,
    people: IntArray,
    high_start: BoolArray,
    no_start: BoolArray,
    latest_s: int,
    table: IntArray,
) -> None:
    """Fill the columns, one option, kind of zone and start after the other.

    Parameters
    ----------
    taken : ndarray of bool, shape (q, 2, n)
        Units that each option takes.
    work_s : ndarray, shape (q, 2, n, o)
        Seconds in each unit at each stop position.
    cross_s, spared_s : ndarray, shape (q, n + 1)
        Seconds past each support; seconds of them that a set-up on the same side in
        the next span is spared.
    team_of : ndarray, shape (q,)
        Team of each option.
    pass_s, pass_open_s : ndarray, shape (t, n + 1, n + 1)
        Seconds on foot from support to support past spans in which nothing is taken;
        seconds from the order until that way is open.
    side_change_s : ndarray, shape (q,)
    walk_back_s : ndarray, shape (q, n)
    gate_s : ndarray, shape (2, n)
    secured_s : int
    arrive_s : ndarray, shape (q, n + 1)
    people : ndarray, shape (2, n)
    high_start : ndarray of bool, shape (q,)
        Works from the last towards the first span as drawn.
    no_start : ndarray of bool, shape (q, n + 1)
    latest_s : int
        Later arrivals are not allowed.
    table : ndarray, shape (5, q, 3, n, n)
        Written: the arrays of `Columns` in their order; NEVER_S is left standing.
    """
    q, _, n, stops = work_s.shape
    clock = np.zeros(stops, dtype=np.int64)
    for option in range(q):
        step = -1 if high_start[option] else 1
        team = team_of[option]
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
                left = -1  # the support after which the team walks past spans
                k = begin
                while 0 <= k < n:
                    behind = k + 1 if step < 0 else k
                    if k != begin:
                        if no_start[option, behind]:
                            # Only along the rope, from the half before, on one side.
                            went = kind < 2 and taken[option, kind, k - step]
                            if not went:
                                break
                        passed = cross_s[option, behind]
                        if passed >= NEVER_S:
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
                    spares = k != begin and left < 0
                    if left >= 0 and (take_a or take_d):
                        walked = pass_s[team, left, behind]
                        if walked >= NEVER_S:
                            break
                        for stop in range(stops):
                            clock[stop] += walked
                        gate = max(gate, pass_open_s[team, left, behind])
                        left = -1
                    elif left < 0 and not take_a and not take_d:
                        left = behind
                    first = 1 if here == 1 else 0
                    for turn in range(2):
                        side = first if turn == 0 else 1 - first
                        if (side == 0 and not take_a) or (side == 1 and not take_d):
                            continue
                        spare = np.int64(0)
                        if here >= 0 and here != side:
                            for stop in range(stops):
                                clock[stop] += side_change_s[option]
                        elif spares:
                            spare = spared_s[option, behind]
                        if turn == 1 and take_a and take_d:
                            for stop in range(stops):
                                other_s = work_s[option, 1 - side, k, stop]
                                if other_s > 0 and work_s[option, side, k, stop] > 0:
                                    clock[stop] += walk_back_s[option, k]
                        spares = False
                        here = side
                        longest = np.int64(0)
                        for stop in range(stops):
                            unit_s = work_s[option, side, k, stop]
                            clock[stop] += unit_s - (spare if unit_s > 0 else 0)
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
