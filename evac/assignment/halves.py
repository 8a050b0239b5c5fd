"""A span cut in two at a named place, so that two teams can share it.

The cut is the same on both sides. It is a place to begin or end a zone, like a support,
but nothing stands there: no rollers are passed and the rope hangs as before.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np

from evac import access, gear, hazards, timing
from evac.facts.heights import (
    Heights,
    IntArray,
    Line,
    SideEnvelope,
    Span,
    StopGrid,
    UnitHeights,
)
from evac.facts.lift import Lift, Side, Support, SupportKind
from evac.facts.work import Work

SIDES = (Side.ASCENDING, Side.DESCENDING)


def halved_work(
    lift: Lift,
    heights: Heights,
    *,
    span_index: int,
    at_m: float,
    usable_kits: Collection[str],
) -> Work:
    """The work where one span is two columns; every later column moves up by one.

    Parameters
    ----------
    lift, heights : Lift, Heights
        As planned; the envelope tells the heights of each half.
    span_index, at_m : int, float
        The span, and the distance along the line at which it is cut.
    usable_kits : collection of str
        Kits that may be planned with (in date, not given away).

    Returns
    -------
    Work
        With n + 1 columns. Passing the cut costs no crossing; the second half is set
        up anew, also where one team takes both.
    """
    cut_lift = _cut_lift(lift, heights, span_index, at_m)
    cut = _cut_heights(cut_lift, heights, span_index, at_m)
    gates = hazards.find_gates(cut_lift, cut.line)
    options = tuple(
        replace(option, index=number)
        for number, option in enumerate(
            item for item in gear.options(cut_lift) if item.kit in usable_kits
        )
    )
    work = timing.build_work(
        cut_lift,
        cut,
        options,
        gear.find_reaches(cut_lift, options, cut.units, gates=gates),
        gates,
        access.find_routes(cut_lift, cut.line),
    )
    cross_s = work.cross_s.copy()
    cross_s[:, span_index + 1] = 0
    return replace(work, cross_s=cross_s)


def _cut_lift(lift: Lift, heights: Heights, span_index: int, at_m: float) -> Lift:
    before, after = lift.supports[span_index : span_index + 2]
    share = (at_m - before.distance_m) / (after.distance_m - before.distance_m)
    ground = heights.line.ground[Side.ASCENDING]
    envelope = heights.envelopes[Side.ASCENDING]
    mark = Support(
        id=f"cut {heights.line.spans[span_index].id}",
        distance_m=at_m,
        ground_m=float(np.interp(at_m, ground.distance_m, ground.elevation_m)),
        rope_height_m=float(
            np.interp(at_m, envelope.distance_m, envelope.rope_greatest_m)
        ),
        kind=SupportKind.SUPPORT,
        x_m=before.x_m + share * (after.x_m - before.x_m),
        y_m=before.y_m + share * (after.y_m - before.y_m),
        surveyed=False,
    )
    return replace(
        lift,
        supports=(
            *lift.supports[: span_index + 1],
            mark,
            *lift.supports[span_index + 1 :],
        ),
    )


def _cut_heights(
    cut_lift: Lift, heights: Heights, span_index: int, at_m: float
) -> Heights:
    line = _cut_line(cut_lift, heights.line, span_index)
    stops = heights.stops
    cut = replace(
        heights,
        line=line,
        stops=StopGrid(
            offset_m=stops.offset_m,
            distance_m=stops.distance_m,
            span_index={side: _moved(stops, side, span_index, at_m) for side in SIDES},
            rope_height_m=stops.rope_height_m,
            seat_height_m=stops.seat_height_m,
        ),
    )
    units: list[UnitHeights] = []
    for unit in heights.units:
        if unit.span_index < span_index:
            units.append(unit)
        elif unit.span_index > span_index:
            units.append(replace(unit, span_index=unit.span_index + 1))
        else:
            units += [
                _half(cut_lift, cut, unit, line.spans[span_index + half])
                for half in (0, 1)
            ]
    return replace(cut, units=tuple(units))


def _cut_line(cut_lift: Lift, line: Line, span_index: int) -> Line:
    supports = cut_lift.supports
    whole = line.spans[span_index]
    spans = list(line.spans[:span_index])
    for start, name in ((span_index, "a"), (span_index + 1, "b")):
        spans.append(
            Span(
                index=start,
                id=f"{whole.id}{name}",
                start_m=supports[start].distance_m,
                end_m=supports[start + 1].distance_m,
                start_support=supports[start].id,
                end_support=supports[start + 1].id,
            )
        )
    spans += [
        replace(span, index=span.index + 1) for span in line.spans[span_index + 1 :]
    ]
    mark = supports[span_index + 1]
    return replace(
        line,
        supports=supports,
        spans=tuple(spans),
        distance_m=np.insert(line.distance_m, span_index + 1, mark.distance_m),
        rope_elevation_m=np.insert(
            line.rope_elevation_m, span_index + 1, mark.ground_m + mark.rope_height_m
        ),
    )


def _moved(stops: StopGrid, side: Side, span_index: int, at_m: float) -> IntArray:
    spans = stops.span_index[side]
    # A carrier exactly at the cut belongs to the lower-numbered half, as at a support.
    beyond = (spans == span_index) & (stops.distance_m[side] > at_m)
    moved: IntArray = spans + ((spans > span_index) | beyond)
    return moved


def _half(lift: Lift, heights: Heights, unit: UnitHeights, half: Span) -> UnitHeights:
    """One half of a unit, its heights from the same envelope."""
    envelope: SideEnvelope = heights.envelopes[unit.side]
    # Carriers at the cut are met from either half: both hold the sample beside it.
    inside = (envelope.distance_m >= half.start_m - 1.0) & (
        envelope.distance_m <= half.end_m + 1.0
    )
    placed = heights.stops.span_index[unit.side] == half.index
    named = replace(
        unit,
        span_index=half.index,
        span_id=half.id,
        carriers_most=int(placed.sum(axis=1).max()),
    )
    if not unit.known or not envelope.known[inside].all():
        return named if not unit.known else replace(named, known=False, reason="void")
    rope = np.where(inside, envelope.rope_greatest_m, -np.inf)
    least_m = float(envelope.rope_least_m[inside].min())
    greatest_m = float(rope.max())
    return replace(
        named,
        rope_greatest_m=greatest_m,
        stance_greatest_m=float(envelope.stance_greatest_m[inside].max()),
        greatest_at_m=float(envelope.distance_m[int(np.argmax(rope))]),
        rope_least_m=least_m,
        seat_greatest_m=greatest_m - lift.carriers.rope_to_seat_m,
        seat_least_m=least_m - lift.carriers.rope_to_seat_m,
        margin_m=max(unit.margin_m, float(envelope.margin_m[inside].max())),
        slope_greatest_deg=float(envelope.slope_greatest_deg[inside].max()),
    )
