"""When each carrier is clear: the assignment written out carrier by carrier."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from evac import hazards, timing
from evac.assignment.costs import Leg, legs
from evac.errors import NoPlanError
from evac.facts.finding import Finding, Severity
from evac.facts.heights import Heights, Line, UnitHeights
from evac.facts.lift import FloatArray, Lift, Side, Technique, Triple
from evac.facts.work import (
    Assignment,
    Option,
    Rescue,
    Schedule,
    Spread,
    UnitGate,
    Work,
    Zone,
)
from evac.gear import place_rope_needed_m
from evac.heights.cuts import at_places


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """One unit of a zone, as its team comes to it.

    ``passing`` is spent in any case: supports crossed since the last unit, spans
    walked past, a change of side. ``set_up`` is spent only where a carrier hangs in
    the unit at this stop; what a crossing on the rope did of it is taken off.
    ``back`` is the way back along the span whose other side was worked just before,
    spent only where a carrier hangs on both sides; None where there was none.
    """

    side: Side
    span_index: int
    passing: Triple
    set_up: Triple
    back: Triple | None


def turns(lift: Lift, heights: Heights, work: Work, zone: Zone) -> tuple[Turn, ...]:
    """The units of a zone in order of work, with what is spent before each.

    Parameters
    ----------
    lift : Lift
        The lift.
    heights : Heights
        Its heights.
    work : Work
        What the assignment was made from.
    zone : Zone
        A zone of the assignment.

    Returns
    -------
    tuple of Turn
        As the assignment counts them: spans in which the team takes nothing are walked
        past, their supports crossed; every unit has its own set-up (rule 18).
    """
    units = {(unit.side, unit.span_index): unit for unit in heights.units}
    return tuple(
        Turn(
            side=leg.side,
            span_index=leg.span_index,
            passing=_sum(_passing(lift, heights, work, zone.option, leg)),
            set_up=_set_up(
                lift, heights, zone.option, leg, units[leg.side, leg.span_index]
            ),
            back=timing.walk_back_seconds(
                lift, heights, zone.option, span_index=leg.span_index
            )
            if leg.walks_back
            else None,
        )
        for leg in legs(work, zone)
    )


def spent_before(heights: Heights, turn: Turn, *, stop_index: int) -> Triple:
    """What is spent before the first carrier of a unit at one stop.

    Parameters
    ----------
    heights : Heights
        With its stop grid.
    turn : Turn
    stop_index : int
        Row of the stop grid.
    """
    stands = {
        side: bool(np.any(rows[stop_index] == turn.span_index))
        for side, rows in heights.stops.span_index.items()
    }
    parts = [turn.passing]
    if turn.back is not None and all(stands.values()):
        parts.append(turn.back)
    if stands[turn.side]:
        parts.append(turn.set_up)
    return _sum(iter(parts))


def _passing(
    lift: Lift, heights: Heights, work: Work, option: Option, leg: Leg
) -> Iterator[Triple]:
    for support in leg.crossed:
        yield timing.cross_seconds(
            lift, heights, option, support_index=support, sets_up_next=False
        )
    if leg.walked is not None and work.pass_s is not None:
        walked_s = float(work.pass_s[option.team_index, *leg.walked])
        # As on the way in, what slows it is the day.
        yield Triple(low=walked_s, likely=walked_s, high=walked_s)
    if leg.changes_side:
        yield timing.side_change_seconds(lift, option)


def _set_up(
    lift: Lift, heights: Heights, option: Option, leg: Leg, unit: UnitHeights
) -> Triple:
    whole = timing.setup_seconds(lift, option, unit)
    if leg.spares_at is None:
        return whole
    crossing, beside = (
        timing.cross_seconds(
            lift,
            heights,
            option,
            support_index=leg.spares_at,
            sets_up_next=sets_up_next,
        )
        for sets_up_next in (False, True)
    )
    return Triple(
        low=whole.low - (crossing.low - beside.low),
        likely=whole.likely - (crossing.likely - beside.likely),
        high=whole.high - (crossing.high - beside.high),
    )


def _sum(triples: Iterator[Triple]) -> Triple:
    low = likely = high = 0.0
    for triple in triples:
        low, likely, high = low + triple.low, likely + triple.likely, high + triple.high
    return Triple(low=low, likely=likely, high=high)


def passage_doubts(
    lift: Lift, line: Line, work: Work, assignment: Assignment
) -> tuple[Finding, ...]:
    """What a team walks inside its zone: past spans, over what, and back along them."""
    names = {hazard.id: hazard.name or hazard.id for hazard in lift.hazards}
    findings: list[Finding] = []
    for zone in assignment.zones:
        findings += _ways_back(work, zone)
        for leg in legs(work, zone):
            if leg.walked is None or work.pass_s is None:
                continue
            at = (zone.option.team_index, *leg.walked)
            over = work.pass_hazards.get(at, ())
            values: dict[str, str | float | int] = {
                "first": line.supports[leg.walked[0]].id,
                "last": line.supports[leg.walked[1]].id,
                "walk_s": float(work.pass_s[at]),
            }
            if over:
                values["grounds"] = ", ".join(names[name] for name in over)
            findings.append(
                Finding(
                    key=f"clearing.{'walks_over' if over else 'walks_past'}",
                    severity=Severity.WARN if over else Severity.NOTE,
                    where=zone.team,
                    values=values,
                )
            )
            if wet := work.pass_crosses.get(at, ()):
                hazards = ", ".join(names[name] for name in wet)
                findings.append(
                    Finding(
                        key="clearing.crosses_off_way",
                        severity=Severity.WARN,
                        where=zone.team,
                        values={**values, "hazards": hazards},
                    )
                )
    return tuple(findings)


def _ways_back(work: Work, zone: Zone) -> list[Finding]:
    """Spans worked on both sides: there is a way back before the second (rule 18)."""
    spans = [leg.span_index for leg in legs(work, zone) if leg.walks_back]
    if not spans:
        return []
    return [
        Finding(
            key="clearing.walks_back",
            severity=Severity.NOTE,
            where=zone.team,
            values={
                "count": len(spans),
                "walk_s": float(work.walk_back_s[zone.option.index, spans].sum()),
            },
        )
    ]


def carriers_in_unit(
    heights: Heights, *, side: Side, span_index: int, stop_index: int, uphill: bool
) -> list[int]:
    """Columns of the stop grid with a carrier in one unit, in order of work.

    Parameters
    ----------
    heights : Heights
        With its stop grid.
    side, span_index, stop_index : Side, int, int
        The unit and the row of the stop grid.
    uphill : bool
        True where the work runs towards the last support as drawn.

    Returns
    -------
    list of int
    """
    row = heights.stops.span_index[side][stop_index]
    found = [int(column) for column in np.flatnonzero(row == span_index)]
    return found if uphill else found[::-1]


def runs_towards_last(zone: Zone) -> bool:
    """Whether a zone is worked from its first towards its last span as drawn."""
    return zone.start_support == zone.first_span


def make_schedule(
    lift: Lift,
    heights: Heights,
    work: Work,
    assignment: Assignment,
    *,
    stop_index: int = 0,
    gates: tuple[UnitGate, ...] | None = None,
) -> Schedule:
    """Write an assignment out carrier by carrier at one stop position.

    Parameters
    ----------
    lift : Lift
        The lift.
    heights : Heights
        Its heights; the stop grid says which carrier stands where.
    work : Work
        What the assignment was made from.
    assignment : Assignment
        Who clears what.
    stop_index : int
        Row of the stop grid.
    gates : tuple of UnitGate, optional
        Of `evac.hazards.find_gates`; found again where not given.

    Returns
    -------
    Schedule
        Likely times from the order, people as the assignment counts them. Only at
        the stop position that takes a team longest does its last finish equal its
        zone's; at any other it is earlier.

    Raises
    ------
    NoPlanError
        If the stop grid has no such row, or a carrier of a zone has no known time.
    """
    if not 0 <= stop_index < len(heights.stops.offset_m):
        message = (
            f"there is no stop position number {stop_index}: the line was worked out "
            f"for {len(heights.stops.offset_m)}"
        )
        raise NoPlanError(message)
    gates = hazards.find_gates(lift, heights.line) if gates is None else gates
    people = planned_people(lift, heights, stop_index=stop_index)
    rescues: list[Rescue] = []
    for zone in assignment.zones:
        rescues += _zone_rescues(
            lift, heights, work, zone, stop_index=stop_index, gates=gates, people=people
        )
    return Schedule(
        stop_offset_m=float(heights.stops.offset_m[stop_index]),
        rescues=tuple(rescues),
        clear_s=max((rescue.finish_s for rescue in rescues), default=0.0),
    )


def planned_people(
    lift: Lift, heights: Heights, *, stop_index: int
) -> Mapping[Side, FloatArray]:
    """People the plan counts with in every carrier of one stop, by side.

    Returns
    -------
    mapping of Side to numpy.ndarray, shape (k,)
        By column of the stop grid; 0 where a stop has fewer carriers.
    """
    return {
        side: timing.stop_people(lift, heights.stops, side)[stop_index].astype(float)
        for side in heights.stops.span_index
    }


def _zone_rescues(
    lift: Lift,
    heights: Heights,
    work: Work,
    zone: Zone,
    *,
    stop_index: int,
    gates: tuple[UnitGate, ...],
    people: Mapping[Side, FloatArray],
) -> list[Rescue]:
    technique = next(t for t in lift.techniques if t.id == zone.option.technique)
    uphill = runs_towards_last(zone)
    clock_s = float(zone.start_s)
    found: list[Rescue] = []
    for turn in turns(lift, heights, work, zone):
        side, span = turn.side, turn.span_index
        clock_s += spent_before(heights, turn, stop_index=stop_index).likely
        columns = carriers_in_unit(
            heights, side=side, span_index=span, stop_index=stop_index, uphill=uphill
        )
        if not columns:
            continue
        rope_m = heights.stops.rope_height_m[side][stop_index, columns]
        seat_m = heights.stops.seat_height_m[side][stop_index, columns]
        spread = timing.carrier_seconds(
            lift,
            heights,
            gates,
            zone.option,
            side=side,
            span_index=np.full(len(columns), span),
            people=people[side][columns],
            rope_height_m=rope_m,
            seat_height_m=seat_m,
        )
        _require_known(spread, team=zone.team, span=heights.line.spans[span].id)
        needed_m = _rope_needed_m(lift, heights, technique, side, columns, stop_index)
        for place, column in enumerate(columns):
            finish_s = clock_s + float(spread.likely_s[place])
            found.append(
                Rescue(
                    team=zone.team,
                    order=len(found) + 1,
                    side=side,
                    span_index=span,
                    distance_m=float(
                        heights.stops.distance_m[side][stop_index, column]
                    ),
                    people=int(people[side][column]),
                    rope_height_m=float(rope_m[place]),
                    seat_height_m=float(seat_m[place]),
                    rope_needed_m=float(needed_m[place]),
                    start_s=clock_s,
                    finish_s=finish_s,
                )
            )
            clock_s = finish_s
    return found


def _require_known(spread: Spread, *, team: str, span: str) -> None:
    if not np.all(np.isfinite(spread.likely_s)):
        message = (
            f"the time for a carrier in span {span} is not known, yet {team} is to "
            "clear it; give the heights or the step times of that span"
        )
        raise NoPlanError(message)


def _rope_needed_m(
    lift: Lift,
    heights: Heights,
    technique: Technique,
    side: Side,
    columns: list[int],
    stop_index: int,
) -> FloatArray:
    """Rope for every carrier of some columns, as its span's is found but at its place.

    The envelope's heights and margin there are at most those of the span, so that a
    kit that reaches the span suffices for each of its carriers.
    """
    envelope, stops = heights.envelopes[side], heights.stops
    stance_m, margin_m = (
        at_places(
            heights.line,
            envelope,
            values,
            distance_m=stops.distance_m[side][stop_index, columns],
            span_index=stops.span_index[side][stop_index, columns],
        )
        for values in (envelope.stance_greatest_m, envelope.margin_m)
    )
    return place_rope_needed_m(
        lift,
        technique,
        rope_height_m=stops.rope_height_m[side][stop_index, columns],
        stance_height_m=stance_m,
        margin_m=margin_m,
    )
