"""How much may be tried, counted in work and not by the clock.

A search that stops by the clock finds more on a quicker machine; then the same folder
would not give the same papers. So every trial is charged with what it takes to solve.
"""

from __future__ import annotations

from dataclasses import dataclass

from evac.assignment.solve import MOST_STATES
from evac.facts.work import Assignment

STATES_A_TRIAL = 300_000
"""States of the programme that take as long as making one trial ready (measured:
about 60 ms for a line of 17 spans, 8 teams and 13 kits)."""


@dataclass(slots=True, kw_only=True)
class Effort:
    """What is left to spend on trials; one trial costs 1 and more for its states."""

    left: float

    def allows(self, states: int) -> bool:
        """Whether a trial with about so many states may still be made.

        A programme that is too large for the exact method is searched by the clock,
        so it is never tried.
        """
        return states <= MOST_STATES and 1 + states / STATES_A_TRIAL <= self.left

    def charge(self, assignment: Assignment) -> None:
        """Count one trial that was solved."""
        self.left -= 1 + assignment.states / STATES_A_TRIAL
