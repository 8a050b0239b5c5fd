"""What lies under each unit of the line, as gates that open at a time (rule 20)."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from evac.facts.finding import Finding, Severity
from evac.facts.heights import Line, Span
from evac.facts.lift import Hazard, Lift, Side
from evac.facts.work import NEVER_S, Below, UnitGate

NEEDS_OPENING = ("power line", "road", "avalanche ground")
"""Kinds under which nobody is lowered before somebody confirms: isolation confirmed,
road closed, avalanche ground released."""

NEEDS_SECONDS = ("water", "ledge", "steep ground")
"""Kinds that cost time for every passenger: tag line or boat, second lowering,
receiver on steep ground."""

SIDES = (Side.ASCENDING, Side.DESCENDING)


def find_gates(lift: Lift, line: Line) -> tuple[UnitGate, ...]:
    """When work may begin in every unit, and what its hazards add.

    A hazard counts for a span of one side if it comes within the belayer's radius of
    that side's rope, seen from above: people are lowered, thrown to and received
    there. Several hazards under one unit: the latest opening; seconds and people add.

    Parameters
    ----------
    lift : Lift
    line : Line
        As laid out from the same lift.

    Returns
    -------
    tuple of UnitGate
        One for every unit, ascending side first, in order of span. ``opens_s`` is
        ``NEVER_S`` where a kind that needs opening states no time.

    See Also
    --------
    under : From where to where each hazard lies below the rope.
    doubts : What the plan must say about the gates.
    """
    radius_m = corridor_radius_m(lift)
    found: dict[tuple[Side, int], list[Hazard]] = {}
    for hazard, side, span, _ in _meetings(lift, line, radius_m=radius_m):
        found.setdefault((side, span.index), []).append(hazard)
    return tuple(
        _gate(side, span.index, found.get((side, span.index), []))
        for side in SIDES
        for span in line.spans
    )


def under(lift: Lift, line: Line) -> tuple[Below, ...]:
    """From where to where each hazard lies below each unit, for sheets and drawings.

    A hazard that leaves the corridor and comes back gives several stretches.

    Returns
    -------
    tuple of Below
        Ascending side first, then in order of distance.
    """
    radius_m = corridor_radius_m(lift)
    found = []
    for hazard, side, span, rope in _meetings(lift, line, radius_m=radius_m):
        near = hazard.geometry.buffer(radius_m).intersection(rope)
        for part in shapely.get_parts(near):
            along_m = [
                rope.project(shapely.Point(place))
                for place in shapely.get_coordinates(part)
            ]
            if not along_m:
                continue
            found.append(
                Below(
                    hazard_id=hazard.id,
                    kind=hazard.kind,
                    side=side,
                    span_index=span.index,
                    from_m=span.start_m + min(along_m),
                    to_m=span.start_m + max(along_m),
                )
            )
    order = {side: number for number, side in enumerate(SIDES)}
    return tuple(
        sorted(found, key=lambda b: (order[b.side], b.from_m, b.to_m, b.hazard_id))
    )


def doubts(lift: Lift, line: Line, gates: tuple[UnitGate, ...]) -> tuple[Finding, ...]:
    """What the plan must say about hazards.

    That nobody said what lies below; a gate that never opens, an opening with nobody
    named, seconds left out where the kind costs time, and hazards that lie away from
    the line.
    """
    if not lift.hazards:
        return (Finding(key="hazards.no_layer", severity=Severity.WARN),)
    hazards = {hazard.id: hazard for hazard in lift.hazards}
    findings: list[Finding] = []
    met: set[str] = set()
    for gate in gates:
        met.update(gate.hazard_ids)
        if gate.opens_s < NEVER_S:
            continue
        shut = [hazards[name] for name in gate.hazard_ids if _is_shut(hazards[name])]
        findings.append(
            Finding(
                key="hazards.shut",
                severity=Severity.STOP,
                where=f"{line.spans[gate.span_index].id} {gate.side.value}",
                values={"hazards": _named(shut)},
            )
        )
    for hazard in lift.hazards:
        values = {"hazard": _named([hazard])}
        if hazard.id not in met:
            findings.append(_finding("hazards.away", Severity.NOTE, hazard, values))
            continue
        if hazard.kind in NEEDS_OPENING and not _is_shut(hazard):
            if not hazard.opened_by:
                findings.append(
                    _finding("hazards.nobody_opens", Severity.WARN, hazard, values)
                )
        elif hazard.kind in NEEDS_SECONDS and hazard.extra_s_per_passenger == 0:
            findings.append(
                _finding("hazards.no_seconds", Severity.WARN, hazard, values)
            )
    return tuple(findings)


def corridor_radius_m(lift: Lift) -> float:
    """How far beside a rope work goes on: the greatest belayer's radius [m]."""
    return max(
        (technique.belayer_radius_m for technique in lift.techniques), default=10.0
    )


def _meetings(
    lift: Lift, line: Line, *, radius_m: float
) -> Iterator[tuple[Hazard, Side, Span, LineString]]:
    """Every hazard with every unit whose corridor it meets, and the unit's rope."""
    for side in SIDES:
        for span in line.spans:
            rope = _span_line(line, side, span)
            for hazard in lift.hazards:
                if _distance_m(hazard.geometry, rope) <= radius_m:
                    yield hazard, side, span, rope


def _distance_m(geometry: BaseGeometry, rope: LineString) -> float:
    return float(shapely.distance(geometry, rope))


def _span_line(line: Line, side: Side, span: Span) -> LineString:
    """One side's rope over one span, seen from above."""
    ground = line.ground[side]
    ends_m = np.array([span.start_m, span.end_m])
    return LineString(
        np.column_stack(
            [
                np.interp(ends_m, ground.distance_m, ground.x_m),
                np.interp(ends_m, ground.distance_m, ground.y_m),
            ]
        )
    )


def _gate(side: Side, span_index: int, hazards: list[Hazard]) -> UnitGate:
    shut = any(_is_shut(hazard) for hazard in hazards)
    opening = [hazard.opens_s for hazard in hazards if hazard.opens_s is not None]
    never = float(NEVER_S)
    return UnitGate(
        side=side,
        span_index=span_index,
        hazard_ids=tuple(hazard.id for hazard in hazards),
        opens_s=never if shut else max((o.likely for o in opening), default=0.0),
        opens_low_s=never if shut else max((o.low for o in opening), default=0.0),
        opens_high_s=never if shut else max((o.high for o in opening), default=0.0),
        extra_s_per_passenger=sum(h.extra_s_per_passenger for h in hazards),
        extra_people=sum(h.extra_people for h in hazards),
    )


def _is_shut(hazard: Hazard) -> bool:
    return hazard.kind in NEEDS_OPENING and hazard.opens_s is None


def _named(hazards: list[Hazard]) -> str:
    return ", ".join(
        f"{hazard.kind} {hazard.name}".strip()
        if hazard.name
        else f"{hazard.kind} {hazard.id}"
        for hazard in hazards
    )


def _finding(
    key: str, severity: Severity, hazard: Hazard, values: dict[str, str]
) -> Finding:
    return Finding(key=key, severity=severity, where=hazard.id, values=values)
