"""Imagined days: what happens at once for everybody, and the walk through each."""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np

from evac.assignment.costs import units_in_order
from evac.factors import (
    DAY_SD,
    FATIGUE_PER_HOUR,
    HARD_LEAST_S,
    HARD_MOST_S,
    HARD_SHARE,
    READY_FACTOR,
    TEAM_SD,
)
from evac.facts.heights import IntArray
from evac.facts.lift import FloatArray, Lift, Side, Triple
from evac.facts.work import Assignment, UnitGate, Work, Zone
from evac.rope.compiled import compiled
from evac.simulation.draws import CarrierDraws, Float32Array, scores, shares
from evac.simulation.table import Items
from evac.triples import fit_one


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """What is common to a day; arrays (runs,) or, for zones, (zones, runs).

    ``factor`` multiplies the zone's times in the run: day times team. ``start_s`` is
    when work begins in the zone: arrived, line secured, its gates open.
    ``people_below`` (2, runs, seats + 1): chance that a carrier of a side holds at
    most so many people.
    """

    stop_index: IntArray
    factor: FloatArray
    start_s: FloatArray
    people_below: FloatArray
    stop_to_order_s: FloatArray


def draw_days(
    lift: Lift,
    work: Work,
    assignment: Assignment,
    *,
    gates: tuple[UnitGate, ...],
    stops: int,
    runs: int,
    seed: int,
    notice_s: dict[str, float],
    together: bool,
) -> Days:
    """Draw what is common to a day.

    Parameters
    ----------
    lift, work, assignment, gates
        Of one chain.
    stops : int
        Rows of the stop grid, all equally likely.
    runs, seed : int
        Imagined days; the same seed gives the same days.
    notice_s : dict of str to float
        Seconds from the order before which a team does not set out (rule 25's branch:
        it is sent elsewhere only once somebody has noticed).
    together : bool
        False: teams share no day; each has a factor of its own of the same spread.
    """
    organisation = lift.organisation
    day = DAY_SD * scores(seed, "day", runs)
    secured_s = fit_one(organisation.order_to_secured_s).at(
        scores(seed, "line secured", runs)
    )
    opened = _gates_open(gates, runs=runs, seed=seed)
    factor = np.empty((len(assignment.zones), runs))
    start_s = np.empty_like(factor)
    for number, zone in enumerate(assignment.zones):
        own = TEAM_SD * scores(seed, f"team {zone.team}", runs)
        alone = DAY_SD * scores(seed, f"day of {zone.team} alone", runs)
        factor[number] = np.exp(own + (day if together else alone))
        ready_s = fit_one(READY_FACTOR).at(scores(seed, f"ready {zone.team}", runs))
        arrive_s = _arrival(lift, zone, ready=ready_s, factor=factor[number])
        arrive_s = arrive_s + notice_s.get(zone.team, 0.0)
        start_s[number] = np.maximum(arrive_s, secured_s)
        for unit in _units(work, zone):
            if unit in opened:
                start_s[number] = np.maximum(start_s[number], opened[unit])
    return Days(
        stop_index=np.minimum(
            (shares(seed, "stop position", runs) * stops).astype(np.int64), stops - 1
        ),
        factor=factor,
        start_s=start_s,
        people_below=_people_below(lift, runs=runs, seed=seed),
        stop_to_order_s=fit_one(organisation.stop_to_order_s).at(
            scores(seed, "decision", runs)
        ),
    )


def _arrival(
    lift: Lift, zone: Zone, *, ready: FloatArray, factor: FloatArray
) -> FloatArray:
    team = lift.teams[zone.option.team_index]
    travel_s = max(zone.arrival_s - team.ready_s, 0.0)
    # Snow, wind and dark that slow the work slow the way to it as well.
    found: FloatArray = team.ready_s * ready + travel_s * factor
    return found


def _units(work: Work, zone: Zone) -> list[tuple[Side, int]]:
    return list(units_in_order(work, zone))


def _gates_open(
    gates: tuple[UnitGate, ...], *, runs: int, seed: int
) -> dict[tuple[Side, int], FloatArray]:
    found: dict[tuple[Side, int], FloatArray] = {}
    for gate in gates:
        if gate.opens_high_s <= 0 or not np.isfinite(gate.opens_high_s):
            continue
        # Units over the same hazards wait for the same people.
        source = "gate " + " | ".join(sorted(gate.hazard_ids))
        opens = Triple(
            low=gate.opens_low_s, likely=gate.opens_s, high=gate.opens_high_s
        )
        found[gate.side, gate.span_index] = fit_one(opens).at(
            scores(seed, source, runs)
        )
    return found


def _people_below(lift: Lift, *, runs: int, seed: int) -> FloatArray:
    seats = lift.carriers.seats
    found = np.empty((2, runs, seats + 1))
    for number, (side, occupancy) in enumerate(
        (
            (Side.ASCENDING, lift.occupancy),
            (Side.DESCENDING, lift.descending_occupancy),
        )
    ):
        taken = fit_one(occupancy).at(scores(seed, f"occupancy {side}", runs))
        taken = np.minimum(taken, 1.0)
        for people in range(seats + 1):
            found[number, :, people] = (
                comb(seats, people) * taken**people * (1 - taken) ** (seats - people)
            )
    return np.cumsum(found, axis=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finishes:
    """When each zone is begun and clear, seconds from the order; (zones, runs)."""

    first_carrier_s: FloatArray
    finish_s: FloatArray


def walk(
    items: Items,
    days: Days,
    carriers: CarrierDraws,
    *,
    unit_scores: FloatArray,
    own_factor: Float32Array,
    ascending: int,
) -> Finishes:
    """Walk every team through every imagined day.

    Parameters
    ----------
    items : Items
        What is to be done.
    days : Days
        What is common to a day.
    carriers : CarrierDraws
        What is drawn for every carrier.
    unit_scores : ndarray, shape (units, runs)
        Scores of the way to and set-up of every unit.
    own_factor : ndarray, shape (carriers, runs) or (0, 0)
        Where given, a carrier's own factor instead of the zone's common one.
    ascending : int
        Number of carriers of the ascending side; they come first.
    """
    shape = days.factor.shape
    first_s, finish_s = np.empty(shape), np.empty(shape)
    _walk(  # type: ignore[no-untyped-call]  # compiled: types come from the call
        items.begin,
        items.row,
        items.is_carrier,
        items.first_fit,
        items.fitted.shift,
        items.fitted.scale,
        items.fitted.shape,
        days.stop_index,
        days.factor,
        days.start_s,
        days.people_below,
        carriers.seat,
        carriers.score,
        carriers.hard,
        unit_scores,
        own_factor,
        ascending,
        FATIGUE_PER_HOUR,
        np.array([HARD_SHARE, HARD_LEAST_S, HARD_MOST_S]),
        first_s,
        finish_s,
    )
    return Finishes(first_carrier_s=first_s, finish_s=finish_s)


@compiled
def _sorted_by_stop(stop_index: IntArray, stops: int) -> tuple[IntArray, IntArray]:
    """Runs in order of their stop position, and where each position's runs begin.

    Written out: numba takes a second and a half to compile numpy's sort.
    """
    ends = np.zeros(stops + 1, np.int64)
    for stop in stop_index:
        ends[stop + 1] += 1
    for stop in range(stops):
        ends[stop + 1] += ends[stop]
    filled = ends.copy()
    by_stop = np.empty(stop_index.size, np.int64)
    for run in range(stop_index.size):
        stop = stop_index[run]
        by_stop[filled[stop]] = run
        filled[stop] += 1
    return by_stop, ends


@compiled
def _walk(  # type: ignore[no-untyped-def]  # compiled: types come from the call
    begin,
    row,
    is_carrier,
    first_fit,
    shift,
    scale,
    shape,
    stop_index,
    factor,
    start_s,
    people_below,
    seat,
    score,
    hard,
    unit_scores,
    own_factor,
    ascending,
    fatigue_per_hour,
    hard_case,
    first_s,
    finish_s,
):
    zones = factor.shape[0]
    stops = begin.shape[1] - 1
    last = people_below.shape[2] - 1
    # Runs of one stop position share their items: taken together, item by item, the
    # draws of one carrier are read from one stretch of memory.
    by_stop, ends = _sorted_by_stop(stop_index, stops)
    for zone in range(zones):
        for run in range(stop_index.size):
            first_s[zone, run] = np.inf
            finish_s[zone, run] = start_s[zone, run]
        for stop in range(stops):
            here = by_stop[ends[stop] : ends[stop + 1]]
            reached = False
            for item in range(begin[zone, stop], begin[zone, stop + 1]):
                where = row[item]
                carrier = is_carrier[item]
                if carrier and not reached:
                    reached = True
                    for run in here:
                        first_s[zone, run] = finish_s[zone, run]
                side = 0 if where < ascending else 1
                for run in here:
                    number = first_fit[item]
                    more = 0.0
                    by = factor[zone, run]
                    if carrier:
                        people = 0
                        share = seat[where, run]
                        while people < last and share > people_below[side, run, people]:
                            people += 1
                        number += people
                        drawn = score[where, run]
                        odds = hard[where, run] / hard_case[0]
                        if people > 0 and odds < 1.0:
                            more = hard_case[1] + (hard_case[2] - hard_case[1]) * odds
                        if own_factor.shape[0] > 0:
                            by = own_factor[where, run]
                    else:
                        drawn = unit_scores[where, run]
                    took = shift[number] + scale[number] * np.exp(shape[number] * drawn)
                    hours = (finish_s[zone, run] - start_s[zone, run]) / 3600.0
                    tired = 1.0 + fatigue_per_hour * max(hours - 1.0, 0.0)
                    finish_s[zone, run] += max(took, 0.0) * by * tired + more
