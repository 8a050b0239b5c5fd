"""What the tension system keeps, at the stop and while carriers are emptied.

At the stop the system works as in service: the carriage is pulled with its force.
Afterwards it goes on so (constant), or the carriage is blocked and the rope on both
sides together stays as long as it was (locked). An unknown state is planned as both,
each at the least and the greatest force.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from evac.facts.lift import FloatArray, Lift, Side, TensionState
from evac.heights.side_model import SideModel
from evac.rope.rules import hold_drive, hold_return
from evac.rope.side import SideLoads, SideState, solve_side
from evac.rope.tension import Held, Kept, LoopSide, LoopState, solve_loop

NO_FRICTION: Mapping[Side, float] = MappingProxyType(dict.fromkeys(Side, 0.0))
"""Signed friction factors of the rollers, see `evac.rope.side.solve_side`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TensionCase:
    """One way the tension system may behave: its force at the stop, and locked or not.

    ``force_n`` acts on the carriage, on both sides together.
    """

    force_n: float
    locked: bool


def tension_cases(lift: Lift) -> tuple[TensionCase, ...]:
    """What has to be planned for the lift's tension state (rule 7)."""
    tension = lift.tension
    if tension.state is TensionState.CONSTANT:
        return (TensionCase(force_n=tension.force_n, locked=False),)
    if tension.state is TensionState.LOCKED:
        return (TensionCase(force_n=tension.force_n, locked=True),)
    return tuple(
        TensionCase(force_n=force_n, locked=locked)
        for locked in (False, True)
        for force_n in (tension.low_force_n, tension.high_force_n)
    )


def held_at_stop(lift: Lift, *, force_n: float) -> Held:
    """What the working tension system keeps: a force on its carriage."""
    kept = Kept.DRIVE_FORCE if lift.tension.held_at_drive else Kept.RETURN_FORCE
    return Held(kept=kept, amount=force_n)


def rough_rule(lift: Lift) -> FloatArray:
    """Rule of one side alone with half the force; exact where sides are alike."""
    half_n = lift.tension.force_n / 2
    return hold_drive(half_n) if lift.tension.held_at_drive else hold_return(half_n)


def solve_pair(
    models: Mapping[Side, SideModel],
    loads: Mapping[Side, SideLoads],
    *,
    held: Held,
    friction: Mapping[Side, float | FloatArray] = NO_FRICTION,
    near: LoopState | None = None,
) -> LoopState:
    """Both sides together; the ascending side first.

    Parameters
    ----------
    models, loads : mapping of Side
        Supports and carriers of both sides.
    held : Held
    friction : mapping of Side to float
        Of the rollers, signed.
    near : LoopState, optional
        A similar state to start from.
    """
    near_n = held.amount / 2
    if held.kept is Kept.LENGTH and near is not None:
        near_n = near.return_tension_n
    if held.kept is Kept.DRIVE_FORCE and near is None:
        near_n = _return_guess_n(models, loads, held.amount / 2)
    up, down = (
        LoopSide(points=models[side].points, loads=loads[side], friction=friction[side])
        for side in (Side.ASCENDING, Side.DESCENDING)
    )
    return solve_loop(up, down, held=held, near_tension_n=near_n, near=near)


def side_state(pair: LoopState, side: Side) -> SideState:
    """One side of a pair as `solve_pair` returns it."""
    return pair.first if side is Side.ASCENDING else pair.second


def other_side(side: Side) -> Side:
    """The other side of the line."""
    return Side.DESCENDING if side is Side.ASCENDING else Side.ASCENDING


def _return_guess_n(
    models: Mapping[Side, SideModel],
    loads: Mapping[Side, SideLoads],
    half_n: float,
) -> float:
    """Return tension of a side with half the force at its drive, both sides' mean."""
    return float(
        np.mean(
            [
                solve_side(
                    models[side].points, loads[side], rule=hold_drive(half_n)
                ).return_tension_n
                for side in Side
            ]
        )
    )
