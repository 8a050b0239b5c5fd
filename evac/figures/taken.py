"""Which span-sides a team really works in."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from evac.assignment import units_in_order
from evac.facts.heights import IntArray
from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.facts.work import Zone


def units_taken(plan: Plan, zones: Sequence[Zone]) -> set[tuple[Side, int]]:
    """The span-sides that some zones clear; those only walked past are left out."""
    return {unit for zone in zones for unit in units_in_order(plan.work, zone)}


def units_passed(plan: Plan, zones: Sequence[Zone]) -> set[tuple[Side, int]]:
    """The span-sides between a zone's ends in which its team does not work."""
    inside = {
        (side, span)
        for zone in zones
        for side in zone.sides
        for span in range(zone.first_span, zone.last_span + 1)
    }
    return inside - units_taken(plan, zones)


def carriers_most(plan: Plan, zones: Sequence[Zone]) -> int:
    """Most carriers that some zones hold together at any one stop position.

    The grid knows one load and some stop positions: between two of them, or under
    another load, each row of spans may hold one more, never more than its spans do.
    """
    stops = plan.heights.stops
    most_of = {
        (unit.side, unit.span_index): unit.carriers_most for unit in plan.heights.units
    }
    held: list[IntArray] = []
    for side, row in _rows(units_taken(plan, zones)):
        counted = np.isin(stops.span_index[side], row).sum(axis=1)
        most = sum(most_of[side, span] for span in row)
        held.append(counted + np.clip(most - counted, 0, 1))
    return int(np.max(sum(held), initial=0))


def _rows(units: set[tuple[Side, int]]) -> list[tuple[Side, list[int]]]:
    """Spans of one side that follow one another, together."""
    rows: list[tuple[Side, list[int]]] = []
    for side, span in sorted(units):
        if rows and rows[-1][0] is side and rows[-1][1][-1] == span - 1:
            rows[-1][1].append(span)
        else:
            rows.append((side, [span]))
    return rows
