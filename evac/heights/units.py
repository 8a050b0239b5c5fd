"""One span of one side: the heights by which its gear is chosen."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from evac.facts.finding import Finding, Severity
from evac.facts.heights import BoolArray, Line, SideEnvelope, Span, UnitHeights
from evac.facts.lift import FloatArray, Lift, Side
from evac.heights.cuts import samples_of
from evac.heights.extremes import SideExtremes
from evac.heights.margins import Margins
from evac.heights.stop import doubtful_spans, spans_beside

STEP, ORDER, PLACE = "height step", "order of work", "place"
"""Parts of a unit's margin that are added in full, the third never above 0."""


def side_envelope(
    lift: Lift, line: Line, *, extremes: SideExtremes, margins: Margins, side: Side
) -> SideEnvelope:
    """Extremes of one side as an envelope, one value a metre.

    A sample that no carrier comes nearest to (right at a station) takes its values
    from its neighbours; one without ground is not known. The sample on a support
    belongs to both spans beside it: it is doubtful only where both are.
    """
    ground = line.ground[side]
    void = np.isnan(ground.elevation_m) | np.isnan(ground.stance_m)
    greatest = _filled(extremes.greatest_m[0])
    least = _filled(extremes.least_m[0])
    stance = _filled(extremes.greatest_m[1])
    sunk = least - lift.carriers.rope_to_seat_m <= 0
    doubtful = doubtful_spans(line.supports)
    sure = np.zeros(ground.distance_m.size, dtype=bool)
    for span in line.spans:
        if span.index not in doubtful:
            sure |= samples_of(line, span, ground.distance_m)
    known = sure & ~(void | sunk)

    def shown(values: FloatArray) -> FloatArray:
        return np.where(known, values, np.nan)

    return SideEnvelope(
        side=side,
        distance_m=ground.distance_m,
        rope_greatest_m=shown(greatest),
        rope_least_m=shown(least),
        stance_greatest_m=shown(stance),
        margin_m=margins.margin_m,
        slope_greatest_deg=np.degrees(np.arctan(_filled(extremes.slope))),
        drift_m=extremes.drift_m,
        known=known,
    )


def unit_heights(
    lift: Lift,
    line: Line,
    *,
    extremes: Mapping[Side, SideExtremes],
    envelopes: Mapping[Side, SideEnvelope],
    margins: Mapping[Side, Margins],
) -> tuple[UnitHeights, ...]:
    """Every span of both sides, ascending first."""
    # A rope that hangs free on one side hangs beside whoever climbs to the other.
    lifted = np.any([found.lifted for found in extremes.values()], axis=0)
    beside = spans_beside(
        line.supports,
        {line.supports[index].id for index in np.flatnonzero(lifted)},
    )
    return tuple(
        _unit(
            lift,
            line,
            span,
            extremes=extremes[side],
            envelope=envelopes[side],
            margins=margins[side],
            beside_lifted=span.index in beside,
        )
        for side in Side
        for span in line.spans
    )


def unknown_findings(units: tuple[UnitHeights, ...]) -> list[Finding]:
    """A finding for every unit whose heights are not known."""
    return [
        Finding(
            key=f"heights.unknown_{unit.reason}",
            severity=Severity.STOP,
            where=f"{unit.span_id} {unit.side.value}",
        )
        for unit in units
        if not unit.known
    ]


def doubtful_findings(line: Line) -> list[Finding]:
    """What to do at every doubtful support, for whoever works near it (rule 9).

    The spans beside it are planned for nobody; those who work next to them or walk
    past must know all the same.
    """
    supports = line.supports
    return [
        Finding(
            key="heights.doubtful_support",
            severity=Severity.STOP,
            values={
                "support": support.id,
                "beside": ", ".join(
                    item.id for item in supports[max(index - 1, 0) : index + 2]
                ),
            },
        )
        for index, support in enumerate(supports)
        if support.doubtful
    ]


def _filled(values: FloatArray) -> FloatArray:
    """Samples between or beside known ones, from their neighbours."""
    seen = ~np.isnan(values)
    if not seen.any():
        return values
    places = np.arange(values.size)
    return np.interp(places, places[seen], values[seen])


def _unit(
    lift: Lift,
    line: Line,
    span: Span,
    *,
    extremes: SideExtremes,
    envelope: SideEnvelope,
    margins: Margins,
    beside_lifted: bool,
) -> UnitHeights:
    ground = line.ground[envelope.side]
    inside = samples_of(line, span, ground.distance_m)
    reason = _reason(lift, line, span, inside, extremes, envelope)
    known = not reason
    rope = np.where(known & inside, envelope.rope_greatest_m, np.nan)
    seat_m = lift.carriers.rope_to_seat_m
    at = int(np.nanargmax(rope)) if known else 0

    def most(values: FloatArray) -> float:
        return float(np.nanmax(values[inside])) if known else float("nan")

    margin_m, covering, off_m = float("nan"), 0, 0.0
    if known:
        margin_m, covering, off_m = max(
            _covering(values, envelope.margin_m, inside)
            for values in (
                envelope.rope_greatest_m,
                envelope.stance_greatest_m,
                -envelope.rope_least_m,
            )
        )
    least = float(np.nanmin(envelope.rope_least_m[inside])) if known else float("nan")
    return UnitHeights(
        side=envelope.side,
        span_index=span.index,
        span_id=span.id,
        rope_greatest_m=most(envelope.rope_greatest_m),
        stance_greatest_m=most(envelope.stance_greatest_m),
        greatest_at_m=float(ground.distance_m[at]) if known else float("nan"),
        rope_least_m=least,
        seat_greatest_m=most(envelope.rope_greatest_m) - seat_m,
        seat_least_m=least - seat_m,
        margin_m=margin_m,
        slope_greatest_deg=float(envelope.slope_greatest_deg[inside].max()),
        ground_slope_deg=_steepest(ground.slope_deg[inside]),
        carriers_most=int(extremes.carriers_most[span.index]),
        known=known,
        reason=reason,
        beside_lifted=beside_lifted,
        margin_parts_m={
            **{name: float(part[covering]) for name, part in margins.part_m.items()},
            STEP: abs(line.ground_step_m),
            ORDER: float(margins.order_m[covering]),
            PLACE: off_m,
        }
        if known
        else {},
    )


def _covering(
    values: FloatArray,
    margin_m: FloatArray,
    inside: BoolArray,
) -> tuple[float, int, float]:
    """What covers a span's greatest value: how much, at which sample, what is off.

    The sample whose value and margin together are greatest need not be the one with
    the greatest value; by what it lies below that one (0 or less) less is needed.
    """
    within = np.where(inside, values, np.nan)
    at = int(np.nanargmax(within + margin_m))
    off_m = float(values[at] - np.nanmax(within))
    return float(margin_m[at] + off_m), at, off_m


def _steepest(slope_deg: FloatArray) -> float:
    """Steepest ground that is known; NaN where none is."""
    known = slope_deg[~np.isnan(slope_deg)]
    return float(known.max()) if known.size else float("nan")


def _reason(
    lift: Lift,
    line: Line,
    span: Span,
    inside: BoolArray,
    extremes: SideExtremes,
    envelope: SideEnvelope,
) -> str:
    """Why a unit's heights are not known, as a words key below ``unknown.``; or ""."""
    if span.index in doubtful_spans(line.supports):
        return "doubtful"
    ground = line.ground[envelope.side]
    if np.isnan(ground.elevation_m[inside] + ground.stance_m[inside]).any():
        return "void"
    least_m = float(_filled(extremes.least_m[0])[inside].min())
    if least_m <= 0:
        return "rope_in_ground"
    if least_m - lift.carriers.rope_to_seat_m <= 0:
        return "seat_in_ground"
    return ""
