"""Priority carriers: what it costs to take one unit first (rule 17)."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from evac.assignment.costs import (
    SIDES,
    Columns,
    clear_times,
    make_columns,
    units_in_order,
)
from evac.assignment.effort import Effort
from evac.assignment.solve import assign
from evac.facts.change import LiftedBy, Priority
from evac.facts.lift import Side
from evac.facts.work import NEVER_S, Assignment, Work

EFFORT = 15.0
"""Trials in all (`evac.assignment.effort`): about 1 s beside the plan."""


def find_priorities(
    work: Work, assignment: Assignment, *, lifting: Collection[str]
) -> tuple[Priority, ...]:
    """What it costs to take those carriers first that wait longest in each zone.

    Parameters
    ----------
    work : Work
    assignment : Assignment
        The plan.
    lifting : collection of str
        Techniques for people who cannot help themselves.

    Returns
    -------
    tuple of Priority
        In order of zones, as far as the effort allows.

    Notes
    -----
    Each is shared out by likely times. A plan by average times is therefore compared
    with the best sharing by likely ones, or being first would seem to gain time.
    """
    left = Effort(left=EFFORT)
    best_s = assignment.objectives[1]
    if assignment.chosen_by == "mean" and left.allows(assignment.states):
        best_s = min(best_s, assign(work).objectives[1])
    columns = make_columns(work)
    found = []
    for zone in assignment.zones:
        if not left.allows(assignment.states):
            break
        # The last unit of a zone waits longest in it.
        unit = units_in_order(work, zone)[-1]
        priority = take_first(work, assignment, unit)
        left.charge(assignment)
        if priority is not None:
            able = soonest_lifted(work, columns, unit, lifting=lifting)
            found.append(replace(priority, last_s=best_s, lifted_by=able))
    return tuple(found)


def soonest_lifted(
    work: Work,
    columns: Columns,
    unit: tuple[Side, int],
    *,
    lifting: Collection[str],
) -> LiftedBy | None:
    """Who could clear one unit soonest, of those who can lift a helpless passenger.

    The sharing that delays the line least may send a team that cannot (`take_first`).
    This one asks for the soonest alone: a team that goes to the unit first, whatever
    that does to the line.

    Parameters
    ----------
    work : Work
    columns : Columns
        Of `make_columns`.
    unit : (Side, int)
    lifting : collection of str
        Techniques for people who cannot help themselves.

    Returns
    -------
    LiftedBy or None
        The first option as listed among equals; None where nobody can.
    """
    side, span = unit
    ends_s = columns.finish_s[:, SIDES.index(side), span, span]
    able = [
        option
        for option in work.options
        if option.technique in lifting and ends_s[option.index] < NEVER_S
    ]
    if not able:
        return None
    best = min(able, key=lambda option: ends_s[option.index])
    return LiftedBy(option=best, clear_s=int(ends_s[best.index]))


def take_first(
    work: Work, assignment: Assignment, unit: tuple[Side, int]
) -> Priority | None:
    """Share the line anew so that one unit is the first its team takes.

    For a medical report, a child alone, the most exposed carriers. All objectives stay
    as they are; only zones in which the unit would come later are left out. So the
    line ends as soon as it then can: another team may be at the unit sooner.

    Parameters
    ----------
    work : Work
    assignment : Assignment
        The plan without the priority.
    unit : (Side, int)
        Side and span in which the carriers hang.

    Returns
    -------
    Priority or None
        None where nobody takes the unit, first or not.
    """
    before = _clear_s(work, assignment, unit)
    first = assign(work, first=(unit,))
    after = _clear_s(work, first, unit)
    if before is None or after is None:
        return None
    return Priority(
        side=unit[0],
        span_index=unit[1],
        team=after[0],
        clear_s=before[1],
        first_clear_s=after[1],
        last_s=assignment.objectives[1],
        first_last_s=first.objectives[1],
        more_uncovered=first.objectives[0] - assignment.objectives[0],
        assignment=first,
    )


def _clear_s(
    work: Work, assignment: Assignment, unit: tuple[Side, int]
) -> tuple[str, int] | None:
    for zone in assignment.zones:
        for side, span, clear_s in clear_times(work, zone):
            if (side, span) == unit:
                return zone.team, clear_s
    return None
