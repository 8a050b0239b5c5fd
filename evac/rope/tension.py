"""Both sides of the line together, over the free return bullwheel.

The return bullwheel turns freely, so both ropes have the same tension there. The
tension system adds one condition: at the return end each side has half the force;
at the drive end the two tensions there sum to the force; locked, the rope on both
sides together stays as long, unstretched, as it was at the stop.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from evac.errors import RopeError
from evac.facts.lift import FloatArray
from evac.rope.rules import LENGTH_SCALE_N_PER_M, hold_drive, hold_length, hold_return
from evac.rope.side import SideLoads, SidePoints, SideState, solve_side

LOOP_TOLERANCE = 1e-10
"""Of the return tension: what the condition of the tension system may be missed by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopSide:
    """One side's supports and rope, its carriers, and the friction of its rollers."""

    points: SidePoints
    loads: SideLoads
    friction: float | FloatArray = 0.0
    """As in `solve_side`."""

    def solve(self, rule: FloatArray, *, near: SideState | None = None) -> SideState:
        """Solve the side alone under a tension rule."""
        return solve_side(
            self.points, self.loads, rule=rule, friction=self.friction, near=near
        )


class Kept(StrEnum):
    """What a tension system keeps while carriers are emptied."""

    RETURN_FORCE = "force on the carriage at the return station"
    DRIVE_FORCE = "force on the carriage at the drive station"
    LENGTH = "unstretched rope of both sides, the carriage being locked"


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What is kept, and how much of it for both sides together: [N] or [m]."""

    kept: Kept
    amount: float

    def __post_init__(self) -> None:
        if not self.amount > 0:
            message = f"a tension system keeps an amount above 0, not {self.amount}"
            raise RopeError(message)

    def side_value_n(self, state: SideState) -> float:
        """One side's part of the condition, as a force that grows with the tension."""
        if self.kept is Kept.LENGTH:
            return -LENGTH_SCALE_N_PER_M * state.unstretched_length_m
        if self.kept is Kept.DRIVE_FORCE:
            return state.drive_tension_n
        return state.return_tension_n

    @property
    def goal_n(self) -> float:
        """What both sides' parts must sum to."""
        if self.kept is Kept.LENGTH:
            return -LENGTH_SCALE_N_PER_M * self.amount
        return self.amount

    def missed_n(self, first: SideState, second: SideState) -> float:
        """How far two sides with the same return tension are from it, as a force."""
        return self.side_value_n(first) + self.side_value_n(second) - self.goal_n


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopState:
    """Both sides of the line in equilibrium with the tension system.

    ``residual_n`` is the greatest of both sides' and of what the condition of the
    tension system misses, as a force.
    """

    first: SideState
    second: SideState
    return_tension_n: float
    drive_force_n: float
    """Both sides' tensions at the drive station together."""
    unstretched_length_m: float
    residual_n: float


def solve_loop(
    first: LoopSide,
    second: LoopSide,
    *,
    held: Held,
    near_tension_n: float,
    near: LoopState | None = None,
) -> LoopState:
    """Shape and tension of both sides under one tension system.

    Parameters
    ----------
    first, second : LoopSide
        The two sides; both `x` from the drive station.
    held : Held
        What the tension system keeps.
    near_tension_n : float
        A return tension near the answer [N], above 0.
    near : LoopState, optional
        A similar state of the same line, to start from.

    Returns
    -------
    LoopState

    Raises
    ------
    RopeError
        As `solve_side`; or if no return tension meets the condition.

    Notes
    -----
    The unknown is the return tension; secant steps inside a bracket. The condition
    can jump where a carrier passes a support (see `evac.rope.kernel`). If the
    bracket closes on a jump, the side that jumps is solved with a rule that holds the
    other side's answer to the return tension, which puts the carrier on its support;
    sides that are loaded alike jump together and share it.
    """
    last: list[SideState | None] = [None, None]
    if near is not None:
        last = [near.first, near.second]

    def solve(tension: float) -> tuple[SideState, SideState]:
        rule = hold_return(tension)
        a = first.solve(rule, near=last[0])
        b = second.solve(rule, near=last[1])
        last[:] = [a, b]
        return a, b

    start = near.return_tension_n if near is not None else near_tension_n
    if held.kept is Kept.RETURN_FORCE:
        start = held.amount / 2
    ends = _close_in(solve, held=held, start=start)
    if len(ends) == 1:
        return _loop(*ends[0], held=held)
    return _on_jump(first, second, ends=ends, held=held)


def _close_in(
    solve: Callable[[float], tuple[SideState, SideState]], *, held: Held, start: float
) -> list[tuple[SideState, SideState]]:
    """The pair that meets the condition, or the two pairs on either side of a jump."""
    low, high = 0.0, np.inf
    pairs: dict[float, tuple[SideState, SideState]] = {}
    missed: dict[float, float] = {}
    tension = start
    previous: float | None = None
    for turn in range(200):
        try:
            pairs[tension] = solve(tension)
        except RopeError:
            # No rope hangs at so low a tension; the answer must be above.
            if turn == 0 or tension > start:
                raise
            low = tension
            tension = (tension + min(high, start)) / 2
            continue
        miss = missed[tension] = held.missed_n(*pairs[tension])
        if abs(miss) <= LOOP_TOLERANCE * tension:
            return [pairs[tension]]
        if miss < 0:
            low = tension
        else:
            high = tension
        slope = 2.0
        if previous is not None and missed[previous] != miss:
            slope = (miss - missed[previous]) / (tension - previous)
        wanted = tension - miss / slope if slope > 0 else np.nan
        # A locked rope answers to the tension by far more or less than a held force.
        wanted = min(max(wanted, 0.7 * tension), 1.4 * tension)
        if not low < wanted < high or turn > 20:
            wanted = (low + high) / 2 if high < np.inf else 1.3 * tension
        if wanted in (low, high) or high - low <= 1e-13 * tension:
            break
        previous, tension = tension, wanted
    if low not in pairs or high not in pairs:
        message = (
            "no rope tension satisfies the tension system: check the force or the "
            "length at which the rope is locked"
        )
        raise RopeError(message)
    return [pairs[low], pairs[high]]


def _on_jump(
    first: LoopSide,
    second: LoopSide,
    *,
    ends: list[tuple[SideState, SideState]],
    held: Held,
) -> LoopState:
    low, high = ends
    jumps = [held.side_value_n(high[i]) - held.side_value_n(low[i]) for i in range(2)]
    found = None
    if min(jumps) > 0.5 * max(jumps):
        found = _both_on_jump(first, second, ends=ends, held=held)
    if found is None:
        which = int(jumps[1] > jumps[0])
        found = _one_on_jump((first, second), which, near=low[which], held=held)
    if found is not None:
        return found
    message = (
        "the two sides' tensions could not be brought together to the accuracy asked "
        "for; nothing is shown rather than a doubtful height"
    )
    raise RopeError(message)


def _one_on_jump(
    sides: tuple[LoopSide, LoopSide], which: int, *, near: SideState, held: Held
) -> LoopState | None:
    """One side has a carrier on a support; the other answers as a smooth rule."""
    jumping, smooth = sides[which], sides[1 - which]
    tension, reach = near.return_tension_n, 1e-3
    for _ in range(8):
        rule, _ = rule_beside(
            smooth,
            held=held,
            low_tension_n=tension * (1 - reach),
            high_tension_n=tension * (1 + reach),
        )
        one = jumping.solve(rule, near=near)
        other = smooth.solve(hold_return(one.return_tension_n))
        pair = (one, other) if which == 0 else (other, one)
        if _agree(pair, held=held):
            return _loop(*pair, held=held)
        # The smooth side may have a jump of its own in reach.
        tension, reach = one.return_tension_n, 0.2 * reach
    return None


def _both_on_jump(
    first: LoopSide,
    second: LoopSide,
    *,
    ends: list[tuple[SideState, SideState]],
    held: Held,
) -> LoopState | None:
    """Sides that are loaded alike have their carriers on the same support at once.

    Each side then takes the same share of its jump, and the tensions at the return
    agree because the sides do.
    """
    missed = [held.missed_n(*pair) for pair in ends]
    share = missed[0] / (missed[0] - missed[1])
    pair = []
    for side, low, high in zip((first, second), *ends, strict=True):
        if held.kept is Kept.LENGTH:
            length_m = low.unstretched_length_m
            length_m += share * (high.unstretched_length_m - length_m)
            rule = hold_length(length_m, near_tension_n=low.return_tension_n)
        else:
            tension_n = low.drive_tension_n
            tension_n += share * (high.drive_tension_n - tension_n)
            rule = hold_drive(tension_n)
        pair.append(side.solve(rule, near=low))
    if _agree((pair[0], pair[1]), held=held):
        return _loop(*pair, held=held)
    return None


def _agree(pair: tuple[SideState, SideState], *, held: Held) -> bool:
    first, second = pair
    apart_n = abs(first.return_tension_n - second.return_tension_n)
    allowed_n = LOOP_TOLERANCE * first.return_tension_n
    return max(apart_n, abs(held.missed_n(first, second))) <= allowed_n


def _loop(first: SideState, second: SideState, *, held: Held) -> LoopState:
    return LoopState(
        first=first,
        second=second,
        return_tension_n=first.return_tension_n,
        drive_force_n=first.drive_tension_n + second.drive_tension_n,
        unstretched_length_m=first.unstretched_length_m + second.unstretched_length_m,
        residual_n=max(
            first.residual_n,
            second.residual_n,
            abs(first.return_tension_n - second.return_tension_n),
            abs(held.missed_n(first, second)),
        ),
    )


def rule_beside(
    other: LoopSide, *, held: Held, low_tension_n: float, high_tension_n: float
) -> tuple[FloatArray, float]:
    """Rule of one side while the other side stands as given; and its error.

    One side's rope can then be solved alone, many times, while the other side gives
    way as it does in truth.

    Parameters
    ----------
    other : LoopSide
        The other side, with the loads it has meanwhile.
    held : Held
        What the tension system keeps for both.
    low_tension_n, high_tension_n : float
        Return tensions between which the rule must hold [N].

    Returns
    -------
    tuple of numpy.ndarray, shape (7,), and float
        The rule (`evac.rope.rules`), and the greatest force [N] by which it departs
        from the other side's exact answer at nine tensions in the range: the fit's
        error, and jumps where the other side's carriers pass supports.

    Raises
    ------
    RopeError
        As `solve_side`, over the range.
    """
    if held.kept is Kept.RETURN_FORCE:
        return hold_return(held.amount / 2), 0.0
    middle = 0.5 * (low_tension_n + high_tension_n)
    reach = max(0.5 * (high_tension_n - low_tension_n), 1e-6 * middle)
    shares = np.cos(np.pi * (np.arange(9) + 0.5) / 9)
    answers = np.empty(9)
    state: SideState | None = None
    for i, share in enumerate(shares):
        state = other.solve(hold_return(middle + reach * share), near=state)
        answers[i] = held.side_value_n(state) - held.goal_n
    factors = np.zeros(4)
    if held.kept is Kept.LENGTH:
        # Chebyshev nodes: the fit departs about equally all over the range.
        fit = np.polynomial.Polynomial.fit(shares, answers, 3, domain=[-1, 1])
        factors[:] = np.asarray(fit.coef, float) / reach ** np.arange(4)
        misfit = float(np.abs(fit(shares) - answers).max())
    else:
        # The two ends' tensions of a rope differ by its weight and little else: a
        # straight line is right to a few newtons, and a jump does not tilt it.
        slope = float(np.median(np.diff(answers) / np.diff(shares)))
        above = answers - slope * shares
        factors[:2] = 0.5 * (above.max() + above.min()), slope / reach
        misfit = 0.5 * float(above.max() - above.min())
    own = (0.0, -LENGTH_SCALE_N_PER_M) if held.kept is Kept.LENGTH else (1.0, 0.0)
    return np.array([*own, middle, *factors]), misfit
