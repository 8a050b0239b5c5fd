"""Clearing times over many imagined days: P50, P90, chance of meeting the limits."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from evac import hazards
from evac.clock import light_from_order
from evac.daylight import in_the_dark
from evac.errors import NoPlanError
from evac.factors import DAY_SD, NIGHT, TEAM_SD
from evac.facts.heights import Heights
from evac.facts.lift import FloatArray, Lift, Side, Triple
from evac.facts.work import Assignment, Simulation, UnitGate, Work
from evac.limits import limit_chance
from evac.quantiles import quantile, quantile_interval
from evac.simulation.days import Days, Finishes, draw_days, walk
from evac.simulation.draws import (
    CarrierDraws,
    Float32Array,
    draw_carriers,
    own_factors,
    scores,
)
from evac.simulation.table import Items, carrier_counts, make_items
from evac.triples import fit_one

__all__ = ["clearing_seconds", "simulate"]

INDEPENDENT_RUNS = 2500
"""Days on which the plan is imagined without common factors, for comparison only."""


def simulate(
    lift: Lift,
    heights: Heights,
    work: Work,
    assignment: Assignment,
    *,
    runs: int = 10_000,
    seed: int = 1,
    safe_s: Triple | None = None,
    gates: tuple[UnitGate, ...] | None = None,
    notice_s: Mapping[str, float] | None = None,
) -> Simulation:
    """Imagine many days on which the plan is carried out.

    Zones, order and starts stay those of the plan. Every day draws the stop position,
    how full the line is and each carrier, a factor that all teams share, one of each
    team, the time of every carrier and set-up, rare hard cases, when teams are ready,
    the line secured and gates open; teams tire.

    Parameters
    ----------
    lift, heights, work, assignment
        Of one chain.
    runs : int
        Imagined days, at least 100.
    seed : int
        0 or more. Every number depends on the seed and on what it is drawn for only,
        so two plans of one lift see the same days and can be compared run by run.
    safe_s : Triple, optional
        From the last passenger on the ground to all at a safe place [s]; the
        folder's ``ground_to_safe_s`` where not given. Infinite: not known when all
        are safe, and ``order_to_safe_s`` is infinite too.
    gates : tuple of UnitGate, optional
        Of `evac.hazards.find_gates`; found again where not given.
    notice_s : mapping of str to float, optional
        Team -> seconds from the order before it sets out, for plans that are taken
        up only once somebody notices that a team is missing.

    Returns
    -------
    Simulation

    Raises
    ------
    NoPlanError
        If no team has a zone, or a time of a zone is not known.

    Notes
    -----
    Low, likely and high are read as P10, mode and P90 of a shifted lognormal
    (`evac.triples`). Steps of one carrier are drawn with one score, so they
    are slow together: the cautious reading. Factors: a day's, lognormal with sd 0.25,
    a team's with 0.15; 1 occupied carrier in 50 takes 10 to 25 min more (24); +10 % an
    hour after the first (25); before sunrise and after dusk, by the order at its
    likely time, all takes 1.3 times as long (27), the way to the safe place too,
    unless the plan's own times are those of the night (`evac.daylight.by_night`). The
    drill-to-real factor (25) is part of learned times, see `evac.learning`; the table
    of step times is not drill data and gets none.
    """
    _require(assignment, runs=runs, seed=seed)
    imagined = _imagine(
        lift, heights, work, assignment, runs=runs, seed=seed, gates=gates
    )
    days = imagined.days(runs, together=True, notice_s=notice_s)
    done = imagined.walk(days, own_factor=np.empty((0, 0), dtype=np.float32))
    few = min(runs, INDEPENDENT_RUNS)
    independent = imagined.walk(
        imagined.days(few, together=False, notice_s=notice_s),
        own_factor=own_factors(
            seed, imagined.counts, few, spread=float(np.hypot(DAY_SD, TEAM_SD))
        ),
    )
    return _result(
        lift,
        assignment,
        days,
        done,
        independent,
        seed=seed,
        safe_s=lift.organisation.ground_to_safe_s if safe_s is None else safe_s,
    )


def clearing_seconds(
    lift: Lift,
    heights: Heights,
    work: Work,
    assignment: Assignment,
    *,
    runs: int,
    seed: int,
    gates: tuple[UnitGate, ...] | None = None,
    notice_s: Mapping[str, float] | None = None,
    now_s: float = 0.0,
) -> FloatArray:
    """Order -> last on the ground on each imagined day, and nothing else.

    The same days as `simulate` with the same seed, at a third of its work: for
    comparing many plans of one lift day by day.

    Returns
    -------
    numpy.ndarray, shape (runs,)

    Raises
    ------
    NoPlanError
        As `simulate`.
    """
    _require(assignment, runs=runs, seed=seed)
    imagined = _imagine(
        lift, heights, work, assignment, runs=runs, seed=seed, gates=gates
    )
    days = imagined.days(runs, together=True, notice_s=notice_s, now_s=now_s)
    done = imagined.walk(days, own_factor=np.empty((0, 0), dtype=np.float32))
    return in_the_dark(done.finish_s.max(axis=0), light_from_order(lift))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Imagined:
    """One plan written out, with what is drawn for its carriers and set-ups."""

    lift: Lift
    heights: Heights
    work: Work
    assignment: Assignment
    gates: tuple[UnitGate, ...]
    seed: int
    items: Items
    counts: dict[Side, int]
    carriers: CarrierDraws
    units: FloatArray

    def days(
        self,
        runs: int,
        *,
        together: bool,
        notice_s: Mapping[str, float] | None,
        now_s: float = 0.0,
    ) -> Days:
        return draw_days(
            self.lift,
            self.work,
            self.assignment,
            gates=self.gates,
            stops=len(self.heights.stops.offset_m),
            runs=runs,
            seed=self.seed,
            notice_s=dict(notice_s or {}),
            together=together,
            now_s=now_s,
        )

    def walk(self, days: Days, *, own_factor: Float32Array) -> Finishes:
        return walk(
            self.items,
            days,
            self.carriers,
            unit_scores=self.units,
            own_factor=own_factor,
            ascending=self.counts[Side.ASCENDING],
            hard_factor=NIGHT if self.lift.conditions.night else 1.0,
        )


def _imagine(
    lift: Lift,
    heights: Heights,
    work: Work,
    assignment: Assignment,
    *,
    runs: int,
    seed: int,
    gates: tuple[UnitGate, ...] | None,
) -> _Imagined:
    gates = hazards.find_gates(lift, heights.line) if gates is None else gates
    items = make_items(lift, heights, work, assignment, gates=gates)
    counts = carrier_counts(heights)
    return _Imagined(
        lift=lift,
        heights=heights,
        work=work,
        assignment=assignment,
        gates=gates,
        seed=seed,
        items=items,
        counts=counts,
        carriers=draw_carriers(seed, counts, runs),
        units=_unit_scores(items, len(heights.line.spans), runs=runs, seed=seed),
    )


def _require(assignment: Assignment, *, runs: int, seed: int) -> None:
    if not assignment.zones:
        message = (
            "no team can take any span, so no clearing time can be imagined; see what "
            "each span lacks and add kit, training or a way in"
        )
        raise NoPlanError(message)
    if runs < 100 or seed < 0:
        message = (
            "a simulation needs 100 runs or more and a seed of 0 or more, not "
            f"{runs} and {seed}"
        )
        raise NoPlanError(message)


def _unit_scores(items: Items, spans: int, *, runs: int, seed: int) -> FloatArray:
    found = np.zeros((2 * spans, runs))
    for row in np.unique(items.row[~items.is_carrier]):
        found[row] = scores(seed, f"set-up {divmod(int(row), spans)}", runs)
    return found


def _result(
    lift: Lift,
    assignment: Assignment,
    days: Days,
    done: Finishes,
    independent: Finishes,
    *,
    seed: int,
    safe_s: Triple,
) -> Simulation:
    runs = days.stop_index.size
    light = light_from_order(lift)
    by_day_s = done.finish_s.max(axis=0)
    clear_s = in_the_dark(by_day_s, light)
    apart_s = in_the_dark(independent.finish_s.max(axis=0), light)
    if math.isinf(safe_s.likely):
        all_safe_s = np.full(runs, math.inf)
    else:
        to_safe_s = fit_one(safe_s).at(scores(seed, "to the safe place", runs))
        # The way to the safe place is as slow in the dark as the work.
        all_safe_s = in_the_dark(by_day_s + to_safe_s, light)
    last = np.bincount(done.finish_s.argmax(axis=0), minlength=len(assignment.zones))
    return Simulation(
        runs=runs,
        seed=seed,
        order_to_first_s=in_the_dark(done.first_carrier_s.min(axis=0), light),
        order_to_clear_s=clear_s,
        order_to_safe_s=all_safe_s,
        stop_to_order_s=days.stop_to_order_s,
        p50_s=quantile(clear_s, 0.5),
        p90_s=quantile(clear_s, 0.9),
        p50_interval_s=quantile_interval(clear_s, 0.5),
        p90_interval_s=quantile_interval(clear_s, 0.9),
        p50_independent_s=quantile(apart_s, 0.5),
        p90_independent_s=quantile(apart_s, 0.9),
        safe_p90_s=quantile(all_safe_s, 0.9),
        chance_of_limit=limit_chance(
            lift.limits,
            clear_s=clear_s,
            safe_s=all_safe_s,
            stop_to_order_s=days.stop_to_order_s,
            everyone_reached=not assignment.uncovered,
        ),
        last_team_share={
            zone.team: float(count) / runs
            for zone, count in zip(assignment.zones, last, strict=True)
        },
        everyone_reached=not assignment.uncovered,
    )
