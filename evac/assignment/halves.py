"""The work where one span more is cut in two, for a remedy."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import replace

from evac import access, gear, hazards, timing
from evac.facts.heights import Heights
from evac.facts.lift import Lift
from evac.facts.work import Work
from evac.heights.cuts import cut


def halved_work(
    lift: Lift,
    heights: Heights,
    *,
    at_m: float,
    usable_kits: Collection[str],
) -> Work:
    """The work where one span is two columns; every later column moves up by one.

    Parameters
    ----------
    lift, heights : Lift, Heights
        As planned; the envelope tells the heights of each half.
    at_m : float
        The distance along the line at which its span is cut.
    usable_kits : collection of str
        Kits that may be planned with (in date, not given away).

    Returns
    -------
    Work
        With n + 1 columns. Passing the cut costs no crossing; the second half is set
        up anew, also where one team takes both.
    """
    cut_lift, halves = cut(lift, heights, cuts_m=(at_m,))
    gates = hazards.find_gates(cut_lift, halves.line)
    # Whether a kit is in date is said by ``usable_kits`` alone; spares are dealt out
    # among those too.
    equipped = replace(
        cut_lift, kits=tuple(kit for kit in cut_lift.kits if kit.id in usable_kits)
    )
    options = gear.options(equipped, date=dt.date.min)
    ways_in = access.open_ways(cut_lift, halves.line)
    return timing.build_work(
        cut_lift,
        halves,
        options,
        gear.find_reaches(cut_lift, options, halves.units, gates=gates),
        gates,
        access.find_routes(cut_lift, halves.line, ways_in=ways_in),
        passages=access.SupportWays(lift=cut_lift, line=halves.line, ways_in=ways_in),
    )
