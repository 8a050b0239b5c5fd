"""Priority carriers: what it costs to take one unit first (rule 17)."""

from __future__ import annotations

from dataclasses import replace

from evac.assignment.costs import clear_times, units_in_order
from evac.assignment.effort import Effort
from evac.assignment.solve import assign
from evac.facts.change import Priority
from evac.facts.lift import Side
from evac.facts.work import Assignment, Work

EFFORT = 15.0
"""Trials in all (`evac.assignment.effort`): about 1 s beside the plan."""


def find_priorities(work: Work, assignment: Assignment) -> tuple[Priority, ...]:
    """What it costs to take those carriers first that wait longest in each zone.

    Parameters
    ----------
    work : Work
    assignment : Assignment
        The plan.

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
    found = []
    for zone in assignment.zones:
        if not left.allows(assignment.states):
            break
        # The last unit of a zone waits longest in it.
        priority = take_first(work, assignment, units_in_order(work, zone)[-1])
        left.charge(assignment)
        if priority is not None:
            found.append(replace(priority, last_s=best_s))
    return tuple(found)


def take_first(
    work: Work, assignment: Assignment, unit: tuple[Side, int]
) -> Priority | None:
    """Share the line anew so that one unit is the first its team takes.

    For a medical report, a child alone, the most exposed carriers. All objectives stay
    as they are; only zones in which the unit would come later are left out.

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
