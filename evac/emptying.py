"""Emptying the line by its emergency drive, and whether that beats going on."""

from __future__ import annotations

import math

from evac.facts.lift import Lift, Triple
from evac.facts.work import Schedule
from evac.line import line_length_m

UNLOAD_STOP_S = Triple(low=0.0, likely=10.0, high=30.0)
"""Lost at each carrier while people get off under emergency drive, where the folder
says nothing (common practice, no source)."""


def emptying_s(lift: Lift) -> tuple[float, float, float] | None:
    """Low, likely and high time to empty the line by the emergency drive (rule 5).

    Returns
    -------
    tuple of float or None
        Engaging the drive, the whole line at its speed, and the stops to unload [s];
        fast and soon gives the low value. None where the folder names no emergency
        drive.

    Notes
    -----
    Where people ride on both sides the carriers of the two come to their stations
    meanwhile, but not at the same moment: the high value has a stop for each of both.
    """
    speed, engage = lift.drives.emergency_speed_m_per_s, lift.drives.emergency_engage_s
    if speed is None or engage is None:
        return None
    length_m, stop = line_length_m(lift), unload_stop_s(lift)
    count = carriers_to_unload(lift)
    sides = 2 if both_sides_ride(lift) else 1
    return (
        engage.low + length_m / speed.high + count * stop.low,
        engage.likely + length_m / speed.likely + count * stop.likely,
        engage.high + length_m / speed.low + sides * count * stop.high,
    )


def unload_stop_s(lift: Lift) -> Triple:
    """Seconds lost at each carrier while people get off: the folder's or assumed."""
    return lift.drives.unload_stop_s or UNLOAD_STOP_S


def carriers_to_unload(lift: Lift) -> int:
    """Carriers of one side, each of which comes to a station while the line empties.

    As many of the other side come to theirs meanwhile.
    """
    return math.ceil(line_length_m(lift) / lift.carriers.spacing_m)


def both_sides_ride(lift: Lift) -> bool:
    """Whether people may have to get off the carriers of either side."""
    return lift.occupancy.high > 0 and lift.descending_occupancy.high > 0


def run_at_worst_s(lift: Lift) -> float | None:
    """Stand-down and emptying at their high values [s]; None: no emergency drive."""
    emptying = emptying_s(lift)
    return (
        None if emptying is None else lift.organisation.standdown_s.high + emptying[2]
    )


def running_pays_until_s(lift: Lift, schedule: Schedule) -> float | None:
    """Last moment from the order at which running still beats going on [s] (rule 3).

    Parameters
    ----------
    lift : Lift
        With its emergency drive and stand-down times.
    schedule : Schedule
        Says when the last is on the ground.

    Returns
    -------
    float or None
        Never below 0; None where the folder names no emergency drive.
    """
    run_s = run_at_worst_s(lift)
    return None if run_s is None else max(schedule.clear_s - run_s, 0.0)


def running_pays(lift: Lift, *, remaining_s: float) -> bool | None:
    """Whether standing down and running the line beats going on (rule 3).

    Parameters
    ----------
    lift : Lift
        With its emergency drive and stand-down times.
    remaining_s : float
        What the rope evacuation still needs, from now to the last on the ground [s].

    Returns
    -------
    bool or None
        True only if stand-down and emptying at their high values take less than what
        remains; None where the folder names no emergency drive.
    """
    run_s = run_at_worst_s(lift)
    return None if run_s is None else run_s < remaining_s
