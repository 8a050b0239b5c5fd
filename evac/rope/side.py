"""One side of the line at one stop and one load: shape and tension of its rope."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from evac.errors import RopeError
from evac.facts.lift import FloatArray
from evac.rope.kernel import solve_state
from evac.rope.rules import hold_drive, hold_return
from evac.rope.sweep import (
    CONTACT_UNSETTLED,
    NO_EQUILIBRIUM,
    SOLVED,
    TOO_FEW_LOADS,
    BoolArray,
    IntArray,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SidePoints:
    """Supports and rope of one side, from the drive to the return station.

    Parameters
    ----------
    x_m, z_m : numpy.ndarray, shape (n,)
        Horizontal distance from the drive, growing, and elevation of the rope at
        each support [m].
    weight_n_per_m : float
        Weight of one unstretched metre of rope [N/m].
    axial_stiffness_n : float
        Modulus times metallic area [N]; ``math.inf`` for a rope that cannot stretch.
    sense : numpy.ndarray of int, shape (n,), optional
        +1 the rope rests on the rollers, -1 it is held down by them, 0 the support
        carries either way. Stations always carry. Left out: 0 everywhere.
    names : tuple of str, optional
        Names of the supports for error texts; ``"0", "1", ...`` from the drive if
        left out.
    """

    x_m: FloatArray
    z_m: FloatArray
    weight_n_per_m: float
    axial_stiffness_n: float
    sense: IntArray | None = None
    names: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        size = self.x_m.size
        if size < 2 or self.z_m.shape != (size,):
            message = "a side needs two or more supports, each with x_m and z_m"
            raise RopeError(message)
        if not (np.all(np.isfinite(self.x_m)) and np.all(np.isfinite(self.z_m))):
            message = "a support of the rope has no place: x_m or z_m is not a number"
            raise RopeError(message)
        if not np.all(np.diff(self.x_m) > 0):
            message = "supports must be in order: x_m must grow from the drive"
            raise RopeError(message)
        if not (self.weight_n_per_m > 0 and math.isfinite(self.weight_n_per_m)):
            message = f"the rope's weight must be above 0, not {self.weight_n_per_m}"
            raise RopeError(message)
        if self.sense is not None and np.shape(self.sense) != (size,):
            message = "sense must have one value for each support"
            raise RopeError(message)
        if self.names and len(self.names) != size:
            message = "give a name for each support, or none"
            raise RopeError(message)
        if not self.axial_stiffness_n > 0:
            message = (
                f"the rope's axial stiffness must be above 0, not "
                f"{self.axial_stiffness_n}"
            )
            raise RopeError(message)

    @property
    def compliance_per_n(self) -> float:
        """One over the axial stiffness [1/N]."""
        return 1.0 / self.axial_stiffness_n

    @property
    def senses(self) -> IntArray:
        """`sense`, filled where left out, 0 at both stations."""
        if self.sense is None:
            return np.zeros(self.x_m.size, np.int64)
        filled = np.array(self.sense, np.int64)
        filled[[0, -1]] = 0
        return filled

    def span_name(self, start: int) -> str:
        """A span in the user's words, such as ``"3-4"``."""
        names = self.names or tuple(str(j) for j in range(self.x_m.size))
        return f"{names[start]}-{names[start + 1]}"


@dataclass(frozen=True, slots=True, kw_only=True)
class SideLoads:
    """Where the carriers of one side hang and what each weighs.

    Carrier ``k`` hangs at unstretched rope length ``phase_m + k * spacing_m`` from
    the drive's support and weighs ``load_n[k]`` [N]; ``load_n`` may be longer than
    what can stand on the side, never shorter.
    """

    phase_m: float
    spacing_m: float
    load_n: FloatArray

    def __post_init__(self) -> None:
        if not (self.spacing_m > 0 and self.phase_m >= 0):
            message = (
                "carriers need a spacing above 0 and a phase of 0 or more; got "
                f"spacing_m={self.spacing_m}, phase_m={self.phase_m}"
            )
            raise RopeError(message)
        if not np.all(np.isfinite(self.load_n) & (self.load_n >= 0)):
            message = "the weight of every carrier must be a number of 0 or more"
            raise RopeError(message)


NO_CARRIERS = SideLoads(phase_m=math.inf, spacing_m=math.inf, load_n=np.zeros(0))
"""The bare rope."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideState:
    """How the rope of one side hangs.

    Arrays by support have shape (n,), by span (n - 1,), by carrier on the side
    (c,), all from the drive. ``load_n`` is positive where the rope presses down on
    the support, along the bisector of its two directions, NaN at the stations.
    ``slope`` (dz/dx) is the steeper of the two tangents at the grip. ``span`` lies
    between supports ``span`` and ``span + 1``. Where the rope has left a support
    (``lifted``) its load is 0 and its angles are the rope's at that place.
    ``residual_n`` is what the solution misses, as a force. ``on_support`` is the
    support on which a carrier stands while its load is handed over; None mostly.
    """

    horizontal_tension_n: FloatArray
    start_angle_rad: FloatArray
    start_tension_n: FloatArray
    support_tension_n: FloatArray
    arriving_angle_rad: FloatArray
    leaving_angle_rad: FloatArray
    load_n: FloatArray
    lifted: BoolArray
    x_m: FloatArray
    z_m: FloatArray
    span: IntArray
    slope: FloatArray
    unstretched_length_m: float
    drive_tension_n: float
    return_tension_n: float
    residual_n: float
    on_support: int | None
    sweeps: int


def solve_side(
    points: SidePoints,
    loads: SideLoads = NO_CARRIERS,
    *,
    drive_tension_n: float | None = None,
    return_tension_n: float | None = None,
    rule: FloatArray | None = None,
    friction: float | FloatArray = 0.0,
    near: SideState | None = None,
) -> SideState:
    """Shape and tension of one side's rope under its carriers.

    The rope is perfectly flexible and stretches elastically; every support is a roller,
    frictionless unless `friction` is given, so that the tension's magnitude passes it
    unchanged, or changed by that share of its load; the rope is held at the drive, so
    carriers stand at fixed unstretched lengths from there.
    A support that the rope would have to pull is released and the line solved again.

    Parameters
    ----------
    points : SidePoints
        Supports and rope.
    loads : SideLoads, optional
        Carriers; the bare rope if left out.
    drive_tension_n, return_tension_n : float, optional
        Tension of this side's rope at that end [N]. Give one of them or `rule`.
    rule : numpy.ndarray, shape (7,), optional
        Any other tension rule (`evac.rope.rules`, `evac.rope.tension`).
    friction : float or numpy.ndarray, shape (n,)
        Rollers hold back the rope by this share of their load: its tension is greater
        on the side of the return (above 0) or of the drive (below 0).
    near : SideState, optional
        A similar state of the same supports, to start from.

    Returns
    -------
    SideState

    Raises
    ------
    RopeError
        If the input is impossible, if in some span (named) no rope hangs at the
        tension, if more carriers stand on the side than have a weight, or if the
        residual stays above 4e-12 of the tension at the drive (with `friction`, above
        1e-8 of it).

    Examples
    --------
    >>> points = SidePoints(
    ...     x_m=np.array([0.0, 150.0, 300.0]), z_m=np.array([0.0, 45.0, 80.0]),
    ...     weight_n_per_m=60.0, axial_stiffness_n=60e6,
    ... )
    >>> loads = SideLoads(phase_m=5.0, spacing_m=20.0, load_n=np.full(20, 5000.0))
    >>> state = solve_side(points, loads, return_tension_n=120_000)
    >>> len(state.x_m), state.drive_tension_n < state.return_tension_n
    (16, True)
    """
    chosen = _one_rule(drive_tension_n, return_tension_n, rule)
    size = points.x_m.size
    count = loads.load_n.size
    warm = np.full(size + 1, math.nan)
    active = np.ones(size, np.bool_)
    if near is not None:
        warm[:size] = near.leaving_angle_rad
        warm[size] = near.drive_tension_n
        active[:] = ~near.lifted
    carriers = np.empty((4, count))
    supports = np.empty((6, size))
    totals = np.zeros(10)
    status = solve_state(
        np.ascontiguousarray(points.x_m, float),
        np.ascontiguousarray(points.z_m, float),
        points.senses,
        points.weight_n_per_m,
        points.compliance_per_n,
        np.broadcast_to(friction, size).astype(float),
        loads.phase_m,
        loads.spacing_m,
        np.ascontiguousarray(loads.load_n, float),
        chosen,
        warm,
        active,
        carriers,
        supports,
        totals,
    )
    if status != SOLVED and near is not None:
        # Once more from nothing: a similar state may mislead.
        return solve_side(points, loads, rule=chosen, friction=friction)
    if status != SOLVED:
        refuse(points, status, int(totals[6]))
    return _state(carriers, supports, totals, active)


def empty_deflections(
    points: SidePoints,
    *,
    drive_tension_n: float | None = None,
    return_tension_n: float | None = None,
    rule: FloatArray | None = None,
) -> FloatArray:
    """Change of direction of the bare rope at each support, all supports holding.

    Its sign tells how a support must be built: above 0 the rope presses down on it,
    below 0 it must be held down.

    Parameters
    ----------
    points : SidePoints
        Supports and rope; `sense` is not looked at.
    drive_tension_n, return_tension_n, rule
        As in `solve_side`.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Arriving less leaving angle [rad]; NaN at the stations.

    Raises
    ------
    RopeError
        As in `solve_side`.
    """
    both_ways = SidePoints(
        x_m=points.x_m,
        z_m=points.z_m,
        weight_n_per_m=points.weight_n_per_m,
        axial_stiffness_n=points.axial_stiffness_n,
        names=points.names,
    )
    state = solve_side(
        both_ways,
        drive_tension_n=drive_tension_n,
        return_tension_n=return_tension_n,
        rule=rule,
    )
    turned: FloatArray = state.arriving_angle_rad - state.leaving_angle_rad
    return turned


def refuse(points: SidePoints, status: int, failed_span: int) -> None:
    """Raise the `RopeError` that says why a state could not be solved."""
    if status == NO_EQUILIBRIUM:
        span = points.span_name(failed_span) if failed_span >= 0 else "?"
        message = (
            f"in span {span} no rope hangs at this tension: it would sag without end. "
            "Check the rope's tension and mass, the carriers' masses and the heights "
            "of the two supports"
        )
    elif status == TOO_FEW_LOADS:
        message = (
            "more carriers stand on the side than have a weight: give load_n for all"
        )
    elif status == CONTACT_UNSETTLED:
        message = (
            "it cannot be settled which supports the rope rests on: check the heights "
            "and kinds of neighbouring supports"
        )
    else:
        message = (
            "the rope's shape could not be found to the accuracy asked for; nothing is "
            "shown rather than a doubtful height"
        )
    raise RopeError(message)


def _one_rule(
    drive_tension_n: float | None,
    return_tension_n: float | None,
    rule: FloatArray | None,
) -> FloatArray:
    given = [v for v in (drive_tension_n, return_tension_n, rule) if v is not None]
    if len(given) != 1:
        message = "give the tension at the drive, or at the return, or a rule: one"
        raise RopeError(message)
    if drive_tension_n is not None:
        return hold_drive(drive_tension_n)
    if return_tension_n is not None:
        return hold_return(return_tension_n)
    return np.ascontiguousarray(rule, float)


def _state(
    carriers: FloatArray,
    supports: FloatArray,
    totals: FloatArray,
    active: BoolArray,
) -> SideState:
    on_side = int(totals[4])
    # The rope leaves the return station's support as it arrives.
    leaving = supports[3].copy()
    leaving[-1] = supports[2, -1]
    return SideState(
        horizontal_tension_n=supports[4, :-1].copy(),
        start_angle_rad=supports[3, :-1].copy(),
        start_tension_n=supports[5, :-1].copy(),
        support_tension_n=np.append(supports[5, :1], supports[1, 1:]),
        arriving_angle_rad=supports[2].copy(),
        leaving_angle_rad=leaving,
        load_n=supports[0].copy(),
        lifted=~active,
        x_m=carriers[0, :on_side].copy(),
        z_m=carriers[1, :on_side].copy(),
        span=carriers[3, :on_side].astype(np.int64),
        slope=carriers[2, :on_side].copy(),
        unstretched_length_m=float(totals[2]),
        drive_tension_n=float(totals[0]),
        return_tension_n=float(totals[1]),
        residual_n=float(totals[3]),
        on_support=int(totals[5]) if totals[5] >= 0 else None,
        sweeps=int(totals[7]),
    )
