"""Which span-sides a team really works in."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from evac.assignment import units_in_order
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
    """Most carriers that some zones hold together at any one stop position."""
    taken = units_taken(plan, zones)
    found = sum(
        np.isin(spans, [span for its_side, span in taken if its_side is side]).sum(
            axis=1
        )
        for side, spans in plan.heights.stops.span_index.items()
    )
    return int(np.max(found, initial=0))
