"""The most carriers that a team's spans hold, whichever stop the line stands at."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from made_plan import make_plan

from evac.facts.heights import IntArray
from evac.facts.lift import FloatArray, Side
from evac.facts.plan import Plan
from evac.facts.work import Zone
from evac.figures.taken import carriers_most


def spans_of(plan: Plan, offset_m: FloatArray, *, spacing_m: float) -> IntArray:
    """Span of every carrier of a level line, a row a stop; -1 beyond its end."""
    supports_m = plan.heights.line.distance_m
    count = int(supports_m[-1] / spacing_m) + 1
    at_m = offset_m[:, None] + spacing_m * np.arange(count)
    spans = np.searchsorted(supports_m, at_m, side="right") - 1
    return np.where(at_m < supports_m[-1], spans, -1)


def zone_of(zone: Zone, *, first: int, last: int, sides: tuple[Side, ...]) -> Zone:
    return replace(
        zone, first_span=first, last_span=last, start_support=first, sides=sides
    )


def test_a_carrier_more_is_counted_that_no_stop_of_the_grid_shows() -> None:
    # By hand: spans k spacings and 1 m long hold k + 1 carriers where one stands in
    # their first metre. Sixteen stops 3 m apart and more, none with one there, show k.
    plan = make_plan()
    line = plan.heights.line
    zone = next(z for z in plan.assignment.zones if z.last_span > z.first_span)
    first, last = zone.first_span, zone.last_span
    start_m, end_m = line.spans[first].start_m, line.spans[last].end_m
    k = int((end_m - start_m - 1.0) / 50.0)
    spacing_m = (end_m - start_m - 1.0) / k
    grid_m = np.sort((start_m + 1.5 + spacing_m * np.arange(16) / 16) % spacing_m)
    every_m = np.arange(0.0, spacing_m, 0.1)
    shown = spans_of(plan, grid_m, spacing_m=spacing_m)
    every = spans_of(plan, every_m, spacing_m=spacing_m)
    units = tuple(
        replace(
            unit,
            carriers_most=int((every == unit.span_index).sum(axis=1).max()),
        )
        for unit in plan.heights.units
    )
    stops = replace(
        plan.heights.stops, offset_m=grid_m, span_index=dict.fromkeys(Side, shown)
    )
    plan = replace(plan, heights=replace(plan.heights, stops=stops, units=units))

    def most(spans: IntArray, low: int, high: int) -> int:
        return int(((spans >= low) & (spans <= high)).sum(axis=1).max())

    assert (most(shown, first, last), most(every, first, last)) == (k, k + 1)
    one = zone_of(zone, first=first, last=last, sides=(Side.ASCENDING,))
    both = zone_of(zone, first=first, last=last, sides=tuple(Side))
    assert carriers_most(plan, [one]) == k + 1
    assert carriers_most(plan, [both]) == 2 * (k + 1)
    for low in range(first, last + 1):
        # A span alone holds what the envelope counted in it, and no more.
        alone = zone_of(zone, first=low, last=low, sides=(Side.ASCENDING,))
        assert carriers_most(plan, [alone]) == most(every, low, low)
        for high in range(low + 1, last + 1):
            some = zone_of(zone, first=low, last=high, sides=(Side.ASCENDING,))
            found = carriers_most(plan, [some])
            assert most(every, low, high) <= found <= most(shown, low, high) + 1
