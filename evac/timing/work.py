"""The work table: whole seconds of every option in every unit at every stop."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from evac.facts.heights import BoolArray, Heights, IntArray, StopGrid, UnitHeights
from evac.facts.lift import FloatArray, Lift, Side, Triple
from evac.facts.work import (
    NEVER_S,
    Option,
    Passage,
    Passages,
    Reach,
    Route,
    UnitGate,
    WayIn,
    Work,
)
from evac.gear import technique_of
from evac.gear.reach import ON_THE_ROPE
from evac.timing.seconds import (
    carrier_seconds,
    cross_seconds,
    planned_people,
    setup_seconds,
    side_change_seconds,
    walk_back_seconds,
)
from evac.timing.steps import has_times
from evac.triples import fit, mean_of

SIDES = (Side.ASCENDING, Side.DESCENDING)


def build_work(
    lift: Lift,
    heights: Heights,
    options: Sequence[Option],
    reaches: Sequence[Reach],
    gates: Sequence[UnitGate],
    routes: Sequence[Route],
    *,
    passages: Passages | None = None,
    at_mean: bool = False,
) -> Work:
    """Everything the assignment needs, in whole seconds, each rounded up once.

    A unit's work is its set-up plus every carrier that stands in it at a stop, at
    likely times and with the planned people; 0 where no carrier stands in it. Heights
    are the envelope's, so that a zone is good for every load and order of work.

    Parameters
    ----------
    lift : Lift
    heights : Heights
    options, reaches
        From `evac.gear`; a unit is valid for an option that reaches it, has step
        times and whose gate opens.
    gates : sequence of UnitGate
    routes : sequence of Route
        Every team to every support.
    passages : Passages, optional
        Ways from support to support (`evac.access.SupportWays`), asked only where an
        option leaves out spans between two that it takes. Where not given, nobody
        walks past a span.
    at_mean : bool
        Mean instead of likely step times, to share out by: means add up, likely times
        of skewed steps come out too short in a sum.

    Returns
    -------
    Work
        With q options, n spans, o stops: ``work_s`` (q, 2, n, o), ``cross_s``
        (q, n + 1) with 0 at the two stations, ``side_change_s`` (q,), ``walk_back_s``
        (q, n), ``gate_s`` (2, n), ``arrive_s`` (teams, n + 1). Ways past spans
        (teams, n + 1, n + 1) in the direction in which the team works, at likely times
        in any case.
    """
    spans = len(lift.supports) - 1
    units = _unit_table(heights, spans)
    gate_s = _gate_table(gates, spans)
    people, counts = _people_tables(lift, heights, spans)
    valid = _valid(lift, options, reaches, gate_s)
    known = np.array([[unit.known for unit in row] for row in units])
    people_most = people.max(axis=2)
    one = mean_of if at_mean else _likely
    cross_s, beside_s = (
        _cross_table(lift, heights, options, one=one, sets_up_next=sets_up_next)
        for sets_up_next in (False, True)
    )
    secured_s = _whole(lift.organisation.order_to_secured_s.likely)
    arrive_s = _arrivals(lift, routes)
    past = _Past(len(lift.teams), len(lift.supports))
    if passages is not None:
        for team, start, end in _gaps(lift, options, valid & known):
            there_s = max(int(arrive_s[team].min()), secured_s)
            way = passages(lift.teams[team].id, start, end, there_s=there_s)
            past.keep((team, start, end), way)
    return Work(
        team_ids=tuple(team.id for team in lift.teams),
        crew=np.array([team.crew for team in lift.teams], dtype=np.int64),
        start_upper=np.array([team.start_upper for team in lift.teams], dtype=bool),
        upper_is_last=lift.upper_is_last,
        options=tuple(options),
        option_team=np.array([o.team_index for o in options], dtype=np.int64),
        valid=valid,
        work_s=_work_table(
            lift, heights, options, gates, units, counts, valid, at_mean=at_mean
        ),
        cross_s=cross_s,
        spared_s=cross_s - beside_s,
        side_change_s=np.array(
            [_whole(one(side_change_seconds(lift, option))) for option in options],
            dtype=np.int64,
        ),
        walk_back_s=_back_table(lift, heights, options, one=one),
        gate_s=gate_s,
        secured_s=secured_s,
        arrive_s=arrive_s,
        # An empty unit still has carriers to check, so it is never worth nothing.
        people_at=people,
        people=np.where(
            counts.max(axis=2) > 0, np.maximum(people_most, 1), people_most
        ),
        planned=known,
        no_start=_no_start(lift, options),
        latest_arrival_s=NEVER_S
        if lift.organisation.latest_arrival_s is None
        else _whole(lift.organisation.latest_arrival_s),
        pass_s=past.seconds,
        pass_open_s=past.opens_s,
        pass_hazards=past.hazards,
        pass_crosses=past.crosses,
        ways_in={
            (number, route.support_index): WayIn(
                wait_s=route.wait_s, releases=route.releases
            )
            for number, team in enumerate(lift.teams)
            for route in routes
            if route.team == team.id and route.releases
        },
    )


def _whole(seconds: float) -> int:
    """Whole seconds, rounded up; the tiny part lost to floating point is not a second.

    >>> _whole(90.0000000001), _whole(90.2)
    (90, 91)
    """
    return min(int(np.ceil(seconds - 1e-6)), NEVER_S)


def _likely(triple: Triple) -> float:
    return triple.likely


def _unit_table(heights: Heights, spans: int) -> list[list[UnitHeights]]:
    found = {(unit.side, unit.span_index): unit for unit in heights.units}
    return [[found[side, span] for span in range(spans)] for side in SIDES]


def _gate_table(gates: Sequence[UnitGate], spans: int) -> IntArray:
    opens = np.zeros((2, spans), dtype=np.int64)
    for gate in gates:
        opens[SIDES.index(gate.side), gate.span_index] = _whole(gate.opens_s)
    return opens


def _people_tables(
    lift: Lift, heights: Heights, spans: int
) -> tuple[IntArray, IntArray]:
    """People and carriers in every unit at every stop, each (2, n, o)."""
    stops = heights.stops
    people = np.zeros((2, spans, stops.offset_m.size), dtype=np.int64)
    counts = np.zeros_like(people)
    for number, side in enumerate(SIDES):
        span_index = stops.span_index[side]
        here = stop_people(lift, stops, side)
        for stop in range(span_index.shape[0]):
            on = span_index[stop] >= 0
            placed = span_index[stop][on]
            counts[number, :, stop] = np.bincount(placed, minlength=spans)
            people[number, :, stop] = np.bincount(
                placed, weights=here[stop][on], minlength=spans
            )
    return people, counts


def stop_people(lift: Lift, stops: StopGrid, side: Side) -> IntArray:
    """Planned people of each carrier of a stop grid (o, k); 0 for the padding."""
    span_index = stops.span_index[side]
    if stops.people is not None:
        return np.where(span_index >= 0, stops.people[side], 0)
    people = np.zeros(span_index.shape, dtype=np.int64)
    for stop in range(span_index.shape[0]):
        on = np.flatnonzero(span_index[stop] >= 0)
        people[stop, on] = planned_people(lift, side, carriers=on.size)
    return people


def _valid(
    lift: Lift,
    options: Sequence[Option],
    reaches: Sequence[Reach],
    gate_s: IntArray,
) -> BoolArray:
    valid = np.zeros((len(options), *gate_s.shape), dtype=bool)
    row = {option.index: number for number, option in enumerate(options)}
    timed = [
        has_times(lift, technique_of(lift, option.technique).kind) for option in options
    ]
    for reach in reaches:
        number = row[reach.option_index]
        valid[number, SIDES.index(reach.side), reach.span_index] = (
            reach.ok and timed[number]
        )
    return valid & (gate_s < NEVER_S)


def _work_table(
    lift: Lift,
    heights: Heights,
    options: Sequence[Option],
    gates: Sequence[UnitGate],
    units: list[list[UnitHeights]],
    counts: IntArray,
    valid: BoolArray,
    *,
    at_mean: bool,
) -> IntArray:
    one = mean_of if at_mean else _likely
    stops = heights.stops
    spans, grid = counts.shape[1:]
    work = np.full((len(options), 2, spans, grid), NEVER_S, dtype=np.int64)
    for number, side in enumerate(SIDES):
        span_index = stops.span_index[side]
        people = stop_people(lift, stops, side)
        # Nobody works in a span that is not known: its heights, and those of places
        # without a carrier, do not count. Of any other span none may be missing.
        known = np.append([unit.known for unit in units[number]], [False])[span_index]
        rope_m, seat_m = (
            np.where(known, heights_m[side], 0.0)
            for heights_m in (stops.rope_height_m, stops.seat_height_m)
        )
        place = np.where(span_index >= 0, span_index, spans) + (
            (spans + 1) * np.arange(grid)[:, None]
        )
        for row, option in enumerate(options):
            if not valid[row, number].any():
                continue
            spread = carrier_seconds(
                lift,
                heights,
                gates,
                option,
                side=side,
                span_index=span_index,
                people=people,
                rope_height_m=rope_m,
                seat_height_m=seat_m,
            )
            seconds = spread.likely_s
            if at_mean:
                seconds = fit(spread.low_s, seconds, spread.high_s).mean()
            summed = _summed(place, seconds, spans=spans, grid=grid)
            setup = [one(setup_seconds(lift, option, unit)) for unit in units[number]]
            seconds_up = np.ceil(summed + np.array(setup)[:, None] - 1e-6)
            summed = np.where(counts[number] > 0, seconds_up, 0.0)
            taken = valid[row, number]
            work[row, number, taken] = summed[taken].astype(np.int64)
    return work


def _summed(
    place: IntArray, seconds: FloatArray, *, spans: int, grid: int
) -> FloatArray:
    """Carriers' seconds added up by span and stop (n, o); the padding's bin dropped."""
    flat: FloatArray = np.bincount(
        place.ravel(), weights=seconds.ravel(), minlength=grid * (spans + 1)
    ).astype(np.float64)
    return flat.reshape(grid, spans + 1)[:, :spans].T


def _cross_table(
    lift: Lift,
    heights: Heights,
    options: Sequence[Option],
    *,
    one: Callable[[Triple], float],
    sets_up_next: bool,
) -> IntArray:
    supports = len(lift.supports)
    cross = np.zeros((len(options), supports), dtype=np.int64)
    for row, option in enumerate(options):
        for support in range(1, supports - 1):
            seconds = cross_seconds(
                lift,
                heights,
                option,
                support_index=support,
                sets_up_next=sets_up_next,
            )
            cross[row, support] = _whole(one(seconds))
    return cross


def _back_table(
    lift: Lift,
    heights: Heights,
    options: Sequence[Option],
    *,
    one: Callable[[Triple], float],
) -> IntArray:
    spans = len(heights.line.spans)
    back = np.zeros((len(options), spans), dtype=np.int64)
    for row, option in enumerate(options):
        for span in range(spans):
            seconds = walk_back_seconds(lift, heights, option, span_index=span)
            back[row, span] = _whole(one(seconds))
    return back


def _no_start(lift: Lift, options: Sequence[Option]) -> BoolArray | None:
    """Where options that climb find nothing to climb: at the marks of cut spans."""
    marks = np.array([support.mark for support in lift.supports])
    if not marks.any():
        return None
    climbs = np.array(
        [technique_of(lift, o.technique).kind in ON_THE_ROPE for o in options],
        dtype=bool,
    )
    found: BoolArray = climbs[:, None] & marks[None, :]
    return found


def _arrivals(lift: Lift, routes: Sequence[Route]) -> IntArray:
    ready_s = {team.id: team.ready_s for team in lift.teams}
    row = {team.id: number for number, team in enumerate(lift.teams)}
    arrive = np.full((len(lift.teams), len(lift.supports)), NEVER_S, dtype=np.int64)
    for route in routes:
        if route.seconds < NEVER_S:
            arrive[row[route.team], route.support_index] = _whole(
                ready_s[route.team] + route.seconds
            )
    return arrive


def _gaps(
    lift: Lift, options: Sequence[Option], taken: BoolArray
) -> list[tuple[int, int, int]]:
    """Where an option leaves out spans between two that it takes: (team, from, to).

    On one side or on both; supports in the direction in which the team works.
    """
    found: set[tuple[int, int, int]] = set()
    for option, units in zip(options, taken, strict=True):
        team = option.team_index
        falls = lift.teams[team].start_upper == lift.upper_is_last
        for run in (units[0], units[1], units[0] | units[1]):
            spans = np.flatnonzero(run)
            for before, after in pairwise(spans.tolist()):
                if after - before > 1:
                    # Span k lies between supports k and k + 1.
                    low, high = before + 1, after
                    found.add((team, high, low) if falls else (team, low, high))
    return sorted(found)


class _Past:
    """Ways past spans, (teams, supports, supports); those not asked for are shut."""

    def __init__(self, teams: int, supports: int) -> None:
        shape = (teams, supports, supports)
        self.seconds: IntArray = np.full(shape, NEVER_S, dtype=np.int64)
        self.opens_s: IntArray = np.zeros(shape, dtype=np.int64)
        self.hazards: dict[tuple[int, int, int], tuple[str, ...]] = {}
        self.crosses: dict[tuple[int, int, int], tuple[str, ...]] = {}

    def keep(self, at: tuple[int, int, int], way: Passage) -> None:
        """Write down the way of a team from a support to another."""
        self.seconds[at] = _whole(way.seconds)
        self.opens_s[at] = _whole(way.opens_s)
        if way.hazard_ids:
            self.hazards[at] = way.hazard_ids
        if way.crosses:
            self.crosses[at] = way.crosses
