"""Spans cut at named places, so that two teams can share them.

A cut is the same on both sides. A zone may end there, like at a support, and whoever
works from the ground may begin there too; but nothing stands there to climb, so nobody
who gets onto the rope begins at it. No rollers are passed and the rope hangs as before.
In a cut lift it is a support with ``mark``; whoever solves the rope takes the marks out
first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from evac.facts.heights import (
    BoolArray,
    Heights,
    IntArray,
    Line,
    SideEnvelope,
    Span,
    StopGrid,
    StopHeights,
    SupportLoads,
    UnitHeights,
)
from evac.facts.lift import FloatArray, Lift, Side, Support, SupportKind
from evac.heights.side_model import span_of

LEAST_DRIFT_M = 3.0
"""Carriers near a cut drift across it while others are emptied. Heights of a half reach
so far beyond its cut, or farther by what the envelope's states say: by 1.8 m on short
lines, by 5 to 12 m on long ones driven from above (measured)."""

SIDES = (Side.ASCENDING, Side.DESCENDING)


def cut(
    lift: Lift, heights: Heights, *, cuts_m: Sequence[float]
) -> tuple[Lift, Heights]:
    """The lift and its heights with some spans cut in two.

    Parameters
    ----------
    lift, heights : Lift, Heights
        As found for the whole spans; the envelope tells the heights of each half.
    cuts_m : sequence of float
        Distances along the line, each inside a span, none on a support.

    Returns
    -------
    Lift, Heights
        With a support more for every cut (``mark``), and a span more. Rope, loads and
        tensions are reported for the whole spans as before.
    """
    for at_m in sorted(cuts_m):
        index = int(np.searchsorted(heights.line.distance_m, at_m, side="left")) - 1
        lift = _lift_cut(lift, heights, index, at_m)
        heights = _heights_cut(lift, heights, index, at_m)
    return lift, heights


def marks_m(lift: Lift) -> tuple[float, ...]:
    """Where a lift's spans are cut."""
    return tuple(item.distance_m for item in lift.supports if item.mark)


def uncut(lift: Lift, line: Line) -> tuple[Lift, Line]:
    """The lift and the line as the rope knows them: without marks."""
    if not any(support.mark for support in line.supports):
        return lift, line
    stands = _stands(line)
    supports = tuple(support for support in line.supports if not support.mark)
    return replace(
        lift, supports=tuple(item for item in lift.supports if not item.mark)
    ), replace(
        line,
        supports=supports,
        spans=tuple(
            Span(
                index=index,
                id=f"{start.id}-{end.id}",
                start_m=start.distance_m,
                end_m=end.distance_m,
                start_support=start.id,
                end_support=end.id,
            )
            for index, (start, end) in enumerate(pairwise(supports))
        ),
        distance_m=line.distance_m[stands],
        rope_elevation_m=line.rope_elevation_m[stands],
    )


def with_marks(stop: StopHeights, *, before: Line, line: Line) -> StopHeights:
    """One stop as told for one line, told for the same line with other marks.

    Marks carry no load: their entries are NaN, and not lifted.
    """
    old, new = _stands(before), _stands(line)

    def spaced(values: FloatArray) -> FloatArray:
        found = np.full(new.size, np.nan)
        found[new] = values[old]
        return found

    lifted = np.zeros(new.size, dtype=bool)
    lifted[new] = stop.loads.lifted[old]
    # Each true span once, then again for every part of it.
    tension_n = stop.span_horizontal_tension_n[np.flatnonzero(old)[:-1]]
    return replace(
        stop,
        carriers=replace(
            stop.carriers, span_index=span_of(line, stop.carriers.distance_m)
        ),
        loads=SupportLoads(
            side=stop.side,
            load_n=spaced(stop.loads.load_n),
            tension_n=spaced(stop.loads.tension_n),
            deflection_deg=spaced(stop.loads.deflection_deg),
            lifted=lifted,
        ),
        span_horizontal_tension_n=tension_n[np.cumsum(new)[:-1] - 1],
    )


def _stands(line: Line) -> BoolArray:
    return np.array([not support.mark for support in line.supports])


def _lift_cut(lift: Lift, heights: Heights, span_index: int, at_m: float) -> Lift:
    before, after = lift.supports[span_index : span_index + 2]
    share = (at_m - before.distance_m) / (after.distance_m - before.distance_m)
    ground = heights.line.ground[Side.ASCENDING]
    envelope = heights.envelopes[Side.ASCENDING]
    mark = Support(
        id=f"mark {at_m:.0f} m",
        distance_m=at_m,
        ground_m=float(np.interp(at_m, ground.distance_m, ground.elevation_m)),
        rope_height_m=float(
            np.interp(at_m, envelope.distance_m, envelope.rope_greatest_m)
        ),
        kind=SupportKind.SUPPORT,
        x_m=before.x_m + share * (after.x_m - before.x_m),
        y_m=before.y_m + share * (after.y_m - before.y_m),
        surveyed=False,
        mark=True,
    )
    return replace(
        lift,
        supports=(
            *lift.supports[: span_index + 1],
            mark,
            *lift.supports[span_index + 1 :],
        ),
    )


def _heights_cut(
    cut_lift: Lift, heights: Heights, span_index: int, at_m: float
) -> Heights:
    line = _line_cut(cut_lift, heights.line, span_index)
    stops = heights.stops
    cut = replace(
        heights,
        line=line,
        reference={
            side: with_marks(stop, before=heights.line, line=line)
            for side, stop in heights.reference.items()
        },
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


def _line_cut(cut_lift: Lift, line: Line, span_index: int) -> Line:
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


def samples_of(
    line: Line,
    span: Span,
    distance_m: FloatArray,
    *,
    drift_m: FloatArray | float = 0.0,
) -> BoolArray:
    """Samples a metre apart that count for a span, or for a part of one.

    The sample on a support belongs to both spans beside it: carriers of either meet
    it. Beyond a mark so many more count as carriers may drift (``drift_m``, of every
    sample), but none of another span.
    """
    first, last = span.index, span.index + 1
    start_m, end_m = span.start_m, span.end_m
    moves_m = np.broadcast_to(drift_m, distance_m.shape)
    if line.supports[first].mark:
        start_m -= _drift_at_m(moves_m, distance_m, start_m)
    if line.supports[last].mark:
        end_m += _drift_at_m(moves_m, distance_m, end_m)
    stands_m = line.distance_m[_stands(line)]
    before_m = stands_m[stands_m <= span.start_m][-1]
    after_m = stands_m[stands_m >= span.end_m][0]
    inside: BoolArray = (distance_m >= max(start_m, before_m) - 0.5) & (
        distance_m <= min(end_m, after_m) + 0.5
    )
    return inside


def _drift_at_m(drift_m: FloatArray, distance_m: FloatArray, at_m: float) -> float:
    """How far from a cut a carrier may hang that hangs at the cut at another time."""
    beside = np.abs(distance_m - at_m) <= 1.0
    return max(LEAST_DRIFT_M, float(drift_m[beside].max()))


def grid_rope_m(
    line: Line, envelopes: Mapping[Side, SideEnvelope], *, stops: StopGrid
) -> dict[Side, FloatArray]:
    """The envelope's greatest rope height at every carrier of a stop grid."""
    return {
        side: at_places(
            line,
            envelope,
            envelope.rope_greatest_m,
            distance_m=stops.distance_m[side],
            span_index=stops.span_index[side],
        )
        for side, envelope in envelopes.items()
    }


def at_places(
    line: Line,
    envelope: SideEnvelope,
    values: FloatArray,
    *,
    distance_m: FloatArray,
    span_index: IntArray,
) -> FloatArray:
    """Values of an envelope where carriers stand, each from samples of its own span.

    Parameters
    ----------
    line : Line
    envelope : SideEnvelope
    values : ndarray, shape (m,)
        One of the envelope's, a value a metre.
    distance_m, span_index : ndarray of one shape
        Places, and the span of each; -1 where nothing stands.

    Returns
    -------
    ndarray
        Of the places' shape; NaN where nothing stands, and in a span that holds a
        sample that is not known.
    """
    found = np.full(distance_m.shape, np.nan)
    for span in line.spans:
        here = span_index == span.index
        if not here.any():
            continue
        # A neighbour beyond the support may belong to a span that is not known.
        inside = samples_of(line, span, envelope.distance_m, drift_m=envelope.drift_m)
        if envelope.known[inside].all():
            found[here] = np.interp(
                distance_m[here], envelope.distance_m[inside], values[inside]
            )
    return found


def _half(lift: Lift, heights: Heights, unit: UnitHeights, half: Span) -> UnitHeights:
    """One half of a unit, its heights from the same envelope."""
    envelope: SideEnvelope = heights.envelopes[unit.side]
    inside = samples_of(
        heights.line, half, envelope.distance_m, drift_m=envelope.drift_m
    )
    placed = heights.stops.span_index[unit.side] == half.index
    named = replace(
        unit,
        span_index=half.index,
        span_id=half.id,
        # The grid knows one load and sixteen stops: others may bring one more in.
        carriers_most=min(unit.carriers_most, int(placed.sum(axis=1).max()) + 1),
    )
    if not unit.known:
        return named
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
