"""Greatest and least values of one side over the order-free set of states."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evac.errors import RopeError
from evac.facts.heights import BoolArray, IntArray, Line, SideGround
from evac.facts.lift import FloatArray
from evac.heights.load_cases import ALL_EMPTY, PART_EMPTIED
from evac.heights.passes import StatePass
from evac.heights.reduce import reduce_side
from evac.heights.side_model import SideModel
from evac.rope.side import refuse
from evac.rope.sweep import SOLVED
from evac.words import Words


@dataclass(frozen=True, slots=True, kw_only=True)
class SideExtremes:
    """Extremes of one side; supports and spans in order of distance.

    ``distance_m`` (m,) are the ground's samples; ``greatest_m`` and ``least_m``
    (2, m): the rope at a carrier above the ground, and above the lowest ground within
    the belayer's radius, NaN where that is not known. ``drift_m`` (m,): how far along
    the line a carrier that comes there moves at one stop, whatever the tension does
    meanwhile where its state is not known. Per support (n,) loads [N],
    deflection [rad], name of the load with the least absolute load;
    per span (n - 1,) tensions [N], sag at a carrier [m] and most carriers.
    """

    distance_m: FloatArray
    greatest_m: FloatArray
    least_m: FloatArray
    slope: FloatArray
    drift_m: FloatArray
    least_load_n: FloatArray
    greatest_load_n: FloatArray
    worst_load: tuple[str, ...]
    deflection_rad: FloatArray
    lifted: BoolArray
    least_tension_n: FloatArray
    greatest_tension_n: FloatArray
    sag_m: FloatArray
    carriers_most: IntArray
    states: int
    greatest_residual_n: float


def find_extremes(
    line: Line, *, model: SideModel, passes: tuple[StatePass, ...]
) -> SideExtremes:
    """Solve the order-free set of one side and reduce it to extremes.

    Parameters
    ----------
    line : Line
    model : SideModel
    passes : tuple of StatePass
        What to solve.

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
    drift = np.zeros(profiles.shape[1])
    went: dict[object, _Went] = {}
    spans = np.tile([np.inf, -np.inf, 0.0, 0.0], (count - 1, 1))
    loads = np.tile([np.inf, -np.inf, np.inf, -1.0, 0.0, 0.0], (count, 1))
    worst = [""] * count
    states, residual_n = 0, 0.0
    for each in passes:
        supports = np.tile([np.inf, -np.inf, np.inf, -1.0, 0.0, 0.0], (count, 1))
        tally = np.zeros(6)
        reached = _went_of(went, each)
        status = reduce_side(
            model.points.x_m,
            model.points.z_m,
            model.points.senses,
            model.points.weight_n_per_m,
            model.points.compliance_per_n,
            np.full(count, each.friction),
            each.phase_m,
            model.spacing_m,
            each.cases_n,
            each.empty_n,
            each.alone_n,
            each.full_n,
            each.window,
            each.stride,
            each.alone_stride,
            each.rules,
            grid_start,
            profiles,
            height[0],
            height[1],
            slope,
            reached.near_m,
            reached.far_m,
            supports,
            spans,
            tally,
        )
        if status != SOLVED:
            _refuse(model, each, status, tally)
        states += int(tally[0])
        residual_n = max(residual_n, float(tally[1]))
        names = (*each.case_names, ALL_EMPTY.name, "one loaded carrier", PART_EMPTIED)
        for j in range(1, count - 1):
            if supports[j, 2] < loads[j, 2]:
                worst[j] = names[int(supports[j, 3])]
        loads[:, [0, 2]] = np.minimum(loads[:, [0, 2]], supports[:, [0, 2]])
        loads[:, [1, 4, 5]] = np.maximum(loads[:, [1, 4, 5]], supports[:, [1, 4, 5]])
    for reached in went.values():
        # Added in full, though the travel may undo some of the rope's own drift.
        moved_m = _moved_m(reached, start_m=grid_start, size=drift.size)
        drift = np.maximum(drift, moved_m + reached.travel_m)
    loads[[0, -1], :2] = np.nan
    turned = model.by_distance
    return SideExtremes(
        distance_m=ground.distance_m,
        greatest_m=turned(height[0]),
        least_m=turned(height[1]),
        slope=turned(slope),
        drift_m=turned(drift),
        least_load_n=turned(loads[:, 0].copy()),
        greatest_load_n=turned(loads[:, 1].copy()),
        worst_load=tuple(worst[::-1] if model.drive_at_last else worst),
        deflection_rad=turned(loads[:, 4].copy()),
        lifted=turned(loads[:, 5] > 0),
        least_tension_n=turned(spans[:, 0].copy()),
        greatest_tension_n=turned(spans[:, 1].copy()),
        sag_m=turned(spans[:, 2].copy()),
        carriers_most=turned(spans[:, 3].astype(np.int64)),
        states=states,
        greatest_residual_n=residual_n,
    )


@dataclass(slots=True, kw_only=True)
class _Went:
    """Least and greatest x (p, k) of the carriers of every stop position."""

    near_m: FloatArray
    far_m: FloatArray
    travel_m: float


def _went_of(went: dict[object, _Went], states: StatePass) -> _Went:
    """Where carriers went in the states that one evacuation may hold with these."""
    key: object = id(states)
    if states.one_evacuation:
        key = states.phase_m.tobytes()
    if key not in went:
        shape = (states.phase_m.size, states.empty_n.size)
        went[key] = _Went(
            near_m=np.full(shape, np.inf),
            far_m=np.full(shape, -np.inf),
            travel_m=states.travel_m,
        )
    found = went[key]
    found.travel_m = max(found.travel_m, states.travel_m)
    return found


def _moved_m(went: _Went, *, start_m: float, size: int) -> FloatArray:
    """The farthest that a carrier which comes to each sample moves along the line."""
    stood = went.far_m >= went.near_m
    near_m, far_m = went.near_m[stood], went.far_m[stood]
    first = np.maximum((near_m - start_m).astype(np.int64), 0)
    last = np.minimum((far_m - start_m).astype(np.int64) + 1, size - 1)
    moved_m = np.zeros(size)
    for step in range(int(np.max(last - first, initial=-1)) + 1):
        here = first + step <= last
        np.maximum.at(moved_m, first[here] + step, (far_m - near_m)[here])
    return moved_m


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
    model: SideModel, states: StatePass, status: int, tally: FloatArray
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
