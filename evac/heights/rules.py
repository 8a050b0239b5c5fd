"""What the lift's tension system demands of the rope of each side."""

from __future__ import annotations

import numpy as np

from evac.errors import NoPlanError
from evac.facts.lift import FloatArray, Lift, TensionState
from evac.rope.rules import hold_return
from evac.words import Words


def nominal_rule(lift: Lift) -> FloatArray:
    """The rule of one side at the stated force, both sides alike; shape (7,)."""
    tension = lift.tension
    if tension.state is TensionState.CONSTANT and not tension.held_at_drive:
        return hold_return(tension.force_n / 2)
    raise NoPlanError(
        Words().say(
            "heights.tension_not_supported",
            state=tension.state.value,
            end="drive station" if tension.held_at_drive else "return station",
        )
    )


def envelope_rules(lift: Lift, *, phases: int) -> FloatArray:
    """Rules to go through at each stop position; shape (phases, r, 7)."""
    rule = nominal_rule(lift)
    return np.broadcast_to(rule, (phases, 1, 7)).copy()
