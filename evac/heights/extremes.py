"""Greatest and least values of one side over the order-free set of states."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evac.errors import RopeError
from evac.facts.heights import BoolArray, IntArray, Line, SideGround
from evac.facts.lift import FloatArray, Lift, LoadCase
from evac.heights.load_cases import (
    fullest_people,
    most_alone,
    people_of,
    row_of,
    weight_n,
)
from evac.heights.reduce import reduce_side
from evac.heights.side_model import SideModel
from evac.rope.side import refuse
from evac.rope.sweep import SOLVED
from evac.words import Words

STOP_STEP_M = 0.25
"""Distance between two stop positions that are tried."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideExtremes:
    """Extremes of one side; supports and spans in order of distance.

    ``distance_m`` (m,) are the ground's samples; ``greatest_m`` and ``least_m``
    (2, m): the rope at a carrier above the ground, and above the lowest ground within
    the belayer's radius, NaN where that is not known. Per support (n,) loads [N],
    deflection [rad], index of the load with the least absolute load (-1: station);
    per span (n - 1,) tensions [N], sag at a carrier [m] and most carriers.
    """

    distance_m: FloatArray
    greatest_m: FloatArray
    least_m: FloatArray
    slope: FloatArray
    least_load_n: FloatArray
    greatest_load_n: FloatArray
    worst_label: IntArray
    deflection_rad: FloatArray
    lifted: BoolArray
    least_tension_n: FloatArray
    greatest_tension_n: FloatArray
    sag_m: FloatArray
    carriers_most: IntArray
    states: int
    greatest_residual_n: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SideStates:
    """The loads of the order-free set at each stop position, from the drive.

    ``phase_m`` (p,); ``cases_n`` (p, c, k) and ``full_n`` (p, k) weights; ``empty_n``
    and ``alone_n`` (k,).
    """

    phase_m: FloatArray
    cases_n: FloatArray
    full_n: FloatArray
    empty_n: FloatArray
    alone_n: FloatArray


def stop_positions_m(spacing_m: float) -> FloatArray:
    """All stop positions that are tried, 0 first, at most 0.25 m apart.

    Examples
    --------
    >>> stop_positions_m(0.8)
    array([0. , 0.2, 0.4, 0.6])
    """
    count = int(np.ceil(spacing_m / STOP_STEP_M - 1e-9))
    positions: FloatArray = spacing_m * np.arange(count) / count
    return positions


def side_states(
    lift: Lift,
    line: Line,
    *,
    model: SideModel,
    cases: tuple[LoadCase, ...],
    phase_m: FloatArray,
) -> SideStates:
    """The weights of all carriers for every state of the order-free set."""
    rows = [row_of(lift, line, side=model.side, phase_m=float(p)) for p in phase_m]
    people = np.array(
        [[people_of(lift, line, row=row, case=case) for case in cases] for row in rows]
    )
    count = people.shape[2]
    full = np.array([fullest_people(lift, each, model.side) for each in people])
    alone = max(most_alone(lift, each, model.side) for each in people)
    return SideStates(
        phase_m=phase_m,
        cases_n=weight_n(lift, people),
        full_n=weight_n(lift, full),
        empty_n=weight_n(lift, np.zeros(count)),
        alone_n=weight_n(lift, np.full(count, alone)),
    )


def find_extremes(
    line: Line,
    *,
    model: SideModel,
    states: SideStates,
    rules: FloatArray,
    friction: FloatArray,
) -> SideExtremes:
    """Solve the order-free set of one side and reduce it to extremes.

    Parameters
    ----------
    line : Line
    model : SideModel
    states : SideStates
    rules : ndarray, shape (p, r, 7)
        Tension rules at each stop position.
    friction : ndarray, shape (f,)
        Friction factors of the rollers, signed.

    Returns
    -------
    SideExtremes

    Raises
    ------
    RopeError
        If one state has no solution, with its stop position.
    """
    ground = line.ground[model.side]
    grid_start, profiles = profiles_from_drive(model, ground)
    count = model.points.x_m.size
    height = np.full((2, *profiles.shape), np.nan)
    slope = np.full(profiles.shape[1], np.nan)
    supports = np.tile([np.inf, -np.inf, np.inf, -1.0, 0.0, 0.0], (count, 1))
    spans = np.tile([np.inf, -np.inf, 0.0, 0.0], (count - 1, 1))
    tally = np.zeros(6)
    status = reduce_side(
        model.points.x_m,
        model.points.z_m,
        model.points.senses,
        model.points.weight_n_per_m,
        model.points.compliance_per_n,
        friction,
        states.phase_m,
        model.spacing_m,
        states.cases_n,
        states.empty_n,
        states.alone_n,
        states.full_n,
        rules,
        grid_start,
        profiles,
        height[0],
        height[1],
        slope,
        supports,
        spans,
        tally,
    )
    if status != SOLVED:
        _refuse(model, states, status, tally)
    turned = model.by_distance
    return SideExtremes(
        distance_m=ground.distance_m,
        greatest_m=turned(height[0]),
        least_m=turned(height[1]),
        slope=turned(slope),
        least_load_n=turned(np.where(np.isinf(supports[:, 0]), np.nan, supports[:, 0])),
        greatest_load_n=turned(
            np.where(np.isinf(supports[:, 1]), np.nan, supports[:, 1])
        ),
        worst_label=turned(supports[:, 3].astype(np.int64)),
        deflection_rad=turned(supports[:, 4].copy()),
        lifted=turned(supports[:, 5] > 0),
        least_tension_n=turned(spans[:, 0].copy()),
        greatest_tension_n=turned(spans[:, 1].copy()),
        sag_m=turned(spans[:, 2].copy()),
        carriers_most=turned(spans[:, 3].astype(np.int64)),
        states=int(tally[0]),
        greatest_residual_n=float(tally[1]),
    )


def profiles_from_drive(
    model: SideModel, ground: SideGround
) -> tuple[float, FloatArray]:
    """Ground and stance every metre from the drive, and where the first sample is.

    The last sample of a line that is no whole metres long is moved out to the next
    metre, along the slope of the ground, so that samples are evenly spaced; between
    it and its neighbour the ground stays what it was.
    """
    distance_m = ground.distance_m
    profiles = np.array([ground.elevation_m, ground.stance_m])
    last_step_m = float(distance_m[-1] - distance_m[-2])
    outer = profiles[:, -2] + (profiles[:, -1] - profiles[:, -2]) / last_step_m
    profiles[:, -1] = outer
    if not model.drive_at_last:
        return 0.0, np.ascontiguousarray(profiles)
    return last_step_m - 1.0, np.ascontiguousarray(profiles[:, ::-1])


def _refuse(
    model: SideModel, states: SideStates, status: int, tally: FloatArray
) -> None:
    try:
        refuse(model.points, status, int(tally[4]))
    except RopeError as error:
        message = Words().say(
            "heights.failed",
            side=model.side.value,
            stop_m=float(states.phase_m[int(tally[2])]),
            reason=str(error),
        )
        raise RopeError(message) from error
