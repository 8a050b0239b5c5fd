"""Priority carriers: what it costs to take one unit first (rule 17)."""

from __future__ import annotations

from evac.assignment.costs import clear_times
from evac.assignment.solve import assign
from evac.facts.change import Priority
from evac.facts.lift import Side
from evac.facts.work import Assignment, Work


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
