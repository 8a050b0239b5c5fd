"""Imagined days: what happens at once for everybody, and the walk through each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import comb

import numpy as np

from evac.access.routes import sharers
from evac.assignment.costs import legs
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
from evac.facts.lift import FloatArray, Lift, Side
from evac.facts.work import NEVER_S, Assignment, UnitGate, Work, Zone
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
    now_s: float = 0.0,
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
    now_s : float
        From the order until now, where the evacuation has begun; teams are ready
        at ``now_s`` or later.
    together : bool
        False: teams share no day; each has a factor of its own of the same spread.
    """
    organisation = lift.organisation
    # What has passed is known; only what is left until a team is free is drawn.
    day = DAY_SD * scores(seed, "day", runs)
    secured_s = fit_one(organisation.order_to_secured_s).at(
        scores(seed, "line secured", runs)
    )
    opened = _opened(lift, runs=runs, seed=seed)
    ready = {
        team.id: now_s
        + (team.ready_s - now_s)
        * fit_one(READY_FACTOR).at(scores(seed, f"ready {team.id}", runs))
        for team in lift.teams
    }
    factor = np.empty((len(assignment.zones), runs))
    start_s = np.empty_like(factor)
    for number, zone in enumerate(assignment.zones):
        own = TEAM_SD * scores(seed, f"team {zone.team}", runs)
        alone = DAY_SD * scores(seed, f"day of {zone.team} alone", runs)
        factor[number] = np.exp(own + (day if together else alone))
        start_s[number] = np.maximum(
            secured_s,
            _arrival(
                lift,
                work,
                zone,
                ready=ready,
                opened=opened,
                factor=factor[number],
                later_s=notice_s.get(zone.team, 0.0),
            ),
        )
        for name in _hazards_of(work, zone, gates):
            if name in opened:
                start_s[number] = np.maximum(start_s[number], opened[name])
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
    lift: Lift,
    work: Work,
    zone: Zone,
    *,
    ready: Mapping[str, FloatArray],
    opened: Mapping[str, FloatArray],
    factor: FloatArray,
    later_s: float,
) -> FloatArray:
    """When a team is at the start of its zone on each day.

    Teams in one vehicle leave when the last of them is ready. At the edge of avalanche
    ground a team waits until that is released.
    """
    team = lift.teams[zone.option.team_index]
    aboard = sharers(lift, team)
    leaves_s = np.max([ready[other.id] for other in aboard], axis=0) + later_s
    way = work.ways_in.get((zone.option.team_index, zone.start_support))
    planned_s = max(other.ready_s for other in aboard)
    travel_s = max(zone.arrival_s - planned_s - (way.wait_s if way else 0.0), 0.0)
    wait_s = np.zeros(factor.shape)
    for name, before_s in way.releases if way else ():
        if name in opened:
            there_s = leaves_s + before_s * factor
            wait_s = np.maximum(wait_s, opened[name] - there_s)
    # Snow, wind and dark that slow the work slow the way to it as well.
    found: FloatArray = leaves_s + travel_s * factor + wait_s
    return found


def _hazards_of(work: Work, zone: Zone, gates: tuple[UnitGate, ...]) -> set[str]:
    """Hazards below the units of a zone, and on foot between them."""
    below = {(gate.side, gate.span_index): gate.hazard_ids for gate in gates}
    found: set[str] = set()
    for leg in legs(work, zone):
        found.update(below.get((leg.side, leg.span_index), ()))
        if leg.walked is not None:
            at = (zone.option.team_index, *leg.walked)
            found.update(work.pass_hazards.get(at, ()))
    return found


def _opened(lift: Lift, *, runs: int, seed: int) -> dict[str, FloatArray]:
    """When each hazard that needs opening is open, on each day.

    One draw a hazard: whoever works below it or walks over it waits for the same
    people.
    """
    return {
        hazard.id: fit_one(hazard.opens_s).at(scores(seed, f"gate {hazard.id}", runs))
        for hazard in lift.hazards
        if hazard.opens_s is not None and 0 < hazard.opens_s.high < NEVER_S
    }


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
    hard_factor: float,
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
    hard_factor : float
        Multiplies what a hard case takes more.
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
        np.array([HARD_SHARE, hard_factor * HARD_LEAST_S, hard_factor * HARD_MOST_S]),
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
    """Go through every zone's items on every day.

    Parameters
    ----------
    begin : ndarray of int, shape (zones, stops + 1)
        First item of a zone at a stop; the last column is the end.
    row : ndarray of int, shape (items,)
        Carrier (ascending ones first) or unit of each item.
    is_carrier : ndarray of bool, shape (items,)
    first_fit : ndarray of int, shape (items,)
        Distribution of an item; of a carrier with nobody aboard, those for one and
        more people follow.
    shift, scale, shape : ndarray, shape (fits,)
        Of shifted lognormals [s, s, -].
    stop_index : ndarray of int, shape (runs,)
    factor, start_s : ndarray, shape (zones, runs)
        Of `Days`; seconds from the order.
    people_below : ndarray, shape (2, runs, seats + 1)
        Chance that a carrier of a side holds at most so many people.
    seat, score, hard : ndarray, shape (carriers, runs)
        A share in 0..1 that says how many sit there, a standard normal score of the
        time, and a share in 0..1 of which the least are hard cases.
    unit_scores : ndarray, shape (units, runs)
        Standard normal scores of the way to and set-up of a unit.
    own_factor : ndarray, shape (carriers, runs) or (0, 0)
        Where given, in place of ``factor`` for carriers.
    ascending : int
        Carriers of the ascending side.
    fatigue_per_hour : float
        Share by which times grow with every hour after the first.
    hard_case : ndarray, shape (3,)
        Share of occupied carriers, least and most seconds more [-, s, s].
    first_s, finish_s : ndarray, shape (zones, runs)
        Written: start of the first carrier and end of the last, seconds from the
        order; ``first_s`` is infinite where no carrier stands in the zone.
    """
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
