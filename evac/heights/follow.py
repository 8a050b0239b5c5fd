"""The order of work that was chosen, followed through the envelope made before it.

Gear is chosen from an envelope that knows no order of work. Once the assignment gives
one, the rope is solved along it; where a carrier comes higher or lower than the
envelope with its margin allows, the envelope is raised, and gear and assignment must
be found again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from evac.facts.finding import Finding, Severity
from evac.facts.heights import Heights, Line, SideEnvelope, UnitHeights
from evac.facts.lift import FloatArray, Lift, LoadCase, Side
from evac.facts.work import Schedule
from evac.heights.cuts import grid_rope_m, samples_of, uncut
from evac.heights.margins import ORDER_FREE_EXCESS_M
from evac.heights.side_model import span_of
from evac.heights.stop import side_models, solve_stop, spans_beside
from evac.heights.unloading import (
    SideUnloading,
    Step,
    Unloading,
    find_doubts,
    unload,
)

Excess = Mapping[Side, tuple[FloatArray, FloatArray]]
"""How far grips went above and below the envelope of each side, by metre."""

LASTING = ("heights.raised", "heights.lifted_in_order")
"""Findings that stay true for the heights they raised, whatever order comes after."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """The rope through a schedule.

    ``above_m`` and ``below_m``: by how much grips went beyond the envelope at most, 0
    where they stayed inside. ``raised``: heights with a wider envelope, or with
    supports that the rope leaves in this order only (``left``: side and id); None
    where nothing is new.
    ``findings`` of a round that raises and is done again: those in `LASTING`.
    """

    unloading: Unloading
    above_m: float
    below_m: float
    left: tuple[tuple[Side, str], ...]
    raised: Heights | None
    findings: tuple[Finding, ...]


def follow(lift: Lift, heights: Heights, schedule: Schedule) -> Followed:
    """Solve the rope along a schedule and compare it with the envelope.

    Parameters
    ----------
    lift : Lift
    heights : Heights
        By which the schedule was made.
    schedule : Schedule

    Returns
    -------
    Followed

    Raises
    ------
    RopeError
        If a state on the way has no solution.
    """
    case = reference_case(heights)
    bare_lift, bare = uncut(lift, heights.line)
    unloading = unload(
        bare_lift,
        bare,
        order=order_of(lift, heights, schedule),
        stop_offset_m=schedule.stop_offset_m,
        load_case=case,
    )
    excess = _excess_of(heights, unloading)
    if _most_m(excess) > ORDER_FREE_EXCESS_M:
        # The order leaves the envelope in its fullest case: how far, in all of them.
        for other in heights.load_cases:
            if other is not case:
                found = _excess_of(
                    heights, _same_order(bare_lift, bare, unloading, load_case=other)
                )
                excess = {
                    side: (
                        np.maximum(above, found[side][0]),
                        np.maximum(below, found[side][1]),
                    )
                    for side, (above, below) in excess.items()
                }
    above_m = max(float(above.max()) for above, _ in excess.values())
    below_m = max(float(below.max()) for _, below in excess.values())
    raised = None
    findings = [_summary(heights, unloading), *find_doubts(bare, unloading)]
    left = _newly_lifted(heights, bare, unloading)
    if left:
        raised = _with_lifted(heights, left)
        findings += [
            Finding(
                key="heights.lifted_in_order",
                severity=Severity.WARN,
                where=f"{support_id} {side.value}",
                values={"support": support_id, "side": side.value},
            )
            for side, support_id in left
        ]
    if _most_m(excess) > ORDER_FREE_EXCESS_M:
        raised = _raised(lift, raised or heights, excess)
        findings.append(
            Finding(
                key="heights.raised",
                severity=Severity.NOTE,
                values={"above_m": above_m, "below_m": below_m},
            )
        )
    return Followed(
        unloading=unloading,
        above_m=above_m,
        below_m=below_m,
        left=left,
        raised=raised,
        findings=tuple(findings),
    )


def _excess_of(heights: Heights, unloading: Unloading) -> Excess:
    return {
        side: excess_m(heights.envelopes[side], unloading.sides[side]) for side in Side
    }


def _most_m(excess: Excess) -> float:
    return max(float(values.max()) for both in excess.values() for values in both)


def _same_order(
    lift: Lift, line: Line, unloading: Unloading, *, load_case: LoadCase
) -> Unloading:
    """The same order under another load; a carrier it moves off the line drops out."""

    def followed(order: Sequence[Step]) -> Unloading:
        return unload(
            lift,
            line,
            order=order,
            stop_offset_m=unloading.stop_offset_m,
            load_case=load_case,
        )

    stands = {side: found.distance_m.size for side, found in followed(()).sides.items()}
    return followed([step for step in unloading.order if step[1] < stands[step[0]]])


def _newly_lifted(
    heights: Heights, bare: Line, unloading: Unloading
) -> tuple[tuple[Side, str], ...]:
    """Supports whose rollers the rope leaves in this order and in no state before."""
    known = {
        (report.side, report.support_id) for report in heights.supports if report.lifted
    }
    return tuple(
        (side, bare.supports[index].id)
        for side, found in unloading.sides.items()
        for index in np.flatnonzero(found.lifted.any(axis=(0, 1)))
        if (side, bare.supports[index].id) not in known
    )


def _with_lifted(heights: Heights, left: Sequence[tuple[Side, str]]) -> Heights:
    """Heights in which the rope leaves these supports' rollers as well."""
    beside = spans_beside(heights.line.supports, {name for _, name in left})
    return replace(
        heights,
        supports=tuple(
            replace(report, lifted=True)
            if (report.side, report.support_id) in left
            else report
            for report in heights.supports
        ),
        units=tuple(
            replace(unit, beside_lifted=True) if unit.span_index in beside else unit
            for unit in heights.units
        ),
    )


def _summary(heights: Heights, unloading: Unloading) -> Finding:
    """How far carriers rise, sink and drift in this order, and who drifts most."""
    rise_m = sink_m = drift_m = at_m = 0.0
    side_name = span_id = ""
    for side, found in unloading.sides.items():
        at_stop = found.height_m[:, :1]
        change_m = np.nan_to_num(found.height_m - at_stop)
        rise_m = max(rise_m, float(change_m.max()))
        sink_m = max(sink_m, -float(change_m.min()))
        most = int(np.argmax(np.abs(found.drift_m)))
        if abs(found.drift_m[most]) >= drift_m:
            drift_m = float(abs(found.drift_m[most]))
            at_m = float(found.distance_m[most])
            side_name = side.value
            index = int(span_of(heights.line, found.distance_m[most : most + 1])[0])
            span_id = heights.line.spans[index].id
    return Finding(
        key="heights.sequence",
        severity=Severity.NOTE,
        where=f"{span_id} {side_name}",
        values={
            "rise_m": rise_m,
            "sink_m": sink_m,
            "drift_m": drift_m,
            "at_m": at_m,
            "side": side_name,
        },
    )


def reference_case(heights: Heights) -> LoadCase:
    """The load case of the reference state: the one that fills the ascending side."""
    name = heights.reference[Side.ASCENDING].load_name
    return next(case for case in heights.load_cases if case.name == name)


def order_of(lift: Lift, heights: Heights, schedule: Schedule) -> tuple[Step, ...]:
    """Carriers of a schedule in the order in which they are finished.

    A rescue is matched to the carrier that stands nearest to its place at the stop.
    """
    lift, line = uncut(lift, heights.line)
    models = side_models(lift, line)
    places: dict[Side, FloatArray] = {}
    for side, model in models.items():
        solved = solve_stop(
            lift,
            line,
            models=models,
            side=side,
            stop_offset_m=schedule.stop_offset_m,
            load_case=reference_case(heights),
        )
        places[side] = model.to_distance_m(solved.state.x_m)
    order: list[Step] = []
    for rescue in sorted(schedule.rescues, key=lambda rescue: rescue.finish_s):
        away_m = np.abs(places[rescue.side] - rescue.distance_m)
        step = (rescue.side, int(np.argmin(away_m)))
        if step not in order:
            order.append(step)
    return tuple(order)


def excess_m(
    envelope: SideEnvelope, found: SideUnloading
) -> tuple[FloatArray, FloatArray]:
    """How far grips went above and below the envelope, by metre of the line.

    Returns
    -------
    tuple of ndarray, each of shape (m,)
        0 where they stayed inside or where the envelope is not known.
    """
    place = np.rint(found.path_m - envelope.distance_m[0])
    inside = ~np.isnan(place) & ~np.isnan(found.height_m)
    index = np.clip(place[inside].astype(np.int64), 0, envelope.distance_m.size - 1)
    height_m = found.height_m[inside]
    above = np.zeros(envelope.distance_m.size)
    below = np.zeros(envelope.distance_m.size)
    np.maximum.at(
        above, index, np.nan_to_num(height_m - envelope.rope_greatest_m[index])
    )
    np.maximum.at(below, index, np.nan_to_num(envelope.rope_least_m[index] - height_m))
    return above, below


def _raised(lift: Lift, heights: Heights, excess: Excess) -> Heights:
    """Heights whose envelopes and units hold what was met on the way as well."""
    envelopes = dict(heights.envelopes)
    units: list[UnitHeights] = []
    spacing = round(lift.carriers.spacing_m / 2)
    for side, (above, below) in excess.items():
        up, down = (_widened(values, spacing) for values in (above, below))
        old = heights.envelopes[side]
        envelopes[side] = replace(
            old,
            rope_greatest_m=old.rope_greatest_m + up,
            stance_greatest_m=old.stance_greatest_m + up,
            rope_least_m=old.rope_least_m - down,
        )
        for unit in heights.units:
            if unit.side is side:
                units.append(_raised_unit(heights, unit, up=up, down=down))
    rope_m = grid_rope_m(heights.line, envelopes, stops=heights.stops)
    stops = replace(
        heights.stops,
        rope_height_m=rope_m,
        seat_height_m={
            side: values - lift.carriers.rope_to_seat_m
            for side, values in rope_m.items()
        },
    )
    return replace(heights, envelopes=envelopes, units=tuple(units), stops=stops)


def _widened(values: FloatArray, reach: int) -> FloatArray:
    """Greatest within half a spacing: other stop positions meet the same excess."""
    padded = np.pad(values, reach, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    widest: FloatArray = windows.max(axis=1)
    return widest


def _raised_unit(
    heights: Heights, unit: UnitHeights, *, up: FloatArray, down: FloatArray
) -> UnitHeights:
    if not unit.known:
        return unit
    old = heights.envelopes[unit.side]
    inside = samples_of(
        heights.line,
        heights.line.spans[unit.span_index],
        old.distance_m,
        drift_m=old.drift_m,
    )
    greatest = np.where(inside, old.rope_greatest_m + up, -np.inf)
    at = int(greatest.argmax())
    # Raising never lowers what a unit already holds.
    rises = float(greatest[at]) > unit.rope_greatest_m
    greatest_m = float(greatest[at]) if rises else unit.rope_greatest_m
    stance_m = float((old.stance_greatest_m + up)[inside].max())
    least_m = min(float((old.rope_least_m - down)[inside].min()), unit.rope_least_m)
    return replace(
        unit,
        rope_greatest_m=greatest_m,
        greatest_at_m=float(old.distance_m[at]) if rises else unit.greatest_at_m,
        seat_greatest_m=unit.seat_greatest_m + (greatest_m - unit.rope_greatest_m),
        stance_greatest_m=max(stance_m, unit.stance_greatest_m),
        rope_least_m=least_m,
        seat_least_m=unit.seat_least_m + (least_m - unit.rope_least_m),
    )
