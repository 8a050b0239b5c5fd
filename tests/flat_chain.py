"""A whole chain for tests, over heights made by hand: one rope height everywhere."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from builders import make_lift
from flat_heights import make_flat_heights

from evac import access, gear, hazards, timing
from evac.assignment import assign
from evac.facts.heights import Heights
from evac.facts.lift import Lift
from evac.facts.work import Assignment, Work

Chain = tuple[Lift, Heights, Work, Assignment]


def make_chain(lift: Lift | None = None, *, rope_m: float = 10.0) -> Chain:
    """Lift, heights, work and assignment."""
    lift = make_lift() if lift is None else lift
    heights = make_flat_heights(lift, rope_m=rope_m)
    options = gear.options(lift)
    gates = hazards.find_gates(lift, heights.line)
    reaches = gear.find_reaches(lift, options, heights.units, gates=gates)
    ways_in = access.open_ways(lift, heights.line)
    routes = access.find_routes(lift, heights.line, ways_in=ways_in)
    work = timing.build_work(
        lift,
        heights,
        options,
        reaches,
        gates,
        routes,
        passages=access.SupportWays(lift=lift, line=heights.line, ways_in=ways_in),
    )
    return lift, heights, work, assign(work)


def endless_day(lift: Lift) -> Lift:
    """The same lift where it does not get dark: midsummer far in the north."""
    conditions = replace(lift.conditions, date=dt.date(2026, 6, 21))
    return replace(lift, latitude_deg=70.0, conditions=conditions)
