"""What happens to the rope while carriers are cleared, step by step (rules 7 and 8)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from evac.errors import NoPlanError
from evac.facts.finding import Finding, Severity
from evac.facts.heights import BoolArray, IntArray, Line
from evac.facts.lift import FloatArray, Lift, LoadCase, Side
from evac.heights.load_cases import people_of, row_of, weight_n
from evac.heights.side_model import SideModel, side_phase_m
from evac.heights.stop import side_models
from evac.heights.tension import (
    TensionCase,
    held_at_stop,
    side_state,
    solve_pair,
    tension_cases,
)
from evac.rope.side import SideLoads, SideState, solve_side
from evac.rope.tension import Held, Kept, LoopState
from evac.words import Words

WEAK_SHARE = 0.20
"""A support left with less of its load at the stop is named (rule 8)."""

CARRIAGE_TOLERANCE_M = 1e-3
"""How exactly the travel of a carriage that carries the drive bullwheel is found."""
CARRIAGE_ROUNDS = 4
"""Solutions for it at most. Each leaves some hundredths of what was missed before; only
where a carrier just then crosses a support does the rope jump to and fro."""

Step = tuple[Side, int]
"""A cleared carrier: its side, and its number from the drive, 0 first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideUnloading:
    """One side through a sequence; carriers (k,) from the drive, supports by distance.

    Rope heights are at the grip above bare ground, NaN where the ground is not known.
    ``reached_m``: when the carrier's team reaches it, before anyone is lowered (at
    the end for carriers not in the order). ``greatest_m`` and ``least_m`` over all
    steps. ``drift_m``: greatest move along the line from where it stood at the stop,
    above 0 towards the last station. ``least_distance_m`` and ``greatest_distance_m``
    bound where it went. ``load_n`` (t, s, n) holds the load of every support for each
    tension case t after s cleared carriers; ``lifted`` the same shape.
    """

    side: Side
    distance_m: FloatArray
    reached_m: FloatArray
    greatest_m: FloatArray
    least_m: FloatArray
    drift_m: FloatArray
    least_distance_m: FloatArray
    greatest_distance_m: FloatArray
    load_n: FloatArray
    lifted: BoolArray
    path_m: FloatArray
    height_m: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stand:
    """One solved side; its first ``gone`` carriers stand in the drive station."""

    state: SideState
    gone: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Unloading:
    """Both sides of the line through one sequence of cleared carriers."""

    order: tuple[Step, ...]
    load_name: str
    stop_offset_m: float
    sides: Mapping[Side, SideUnloading]
    states_solved: int
    greatest_residual_n: float


def unload(
    lift: Lift,
    line: Line,
    *,
    order: Sequence[Step],
    stop_offset_m: float,
    load_case: LoadCase,
) -> Unloading:
    """Heights and loads while carriers are cleared one after the other.

    Parameters
    ----------
    lift : Lift
    line : Line
    order : sequence of (Side, int)
        Carriers in the order in which they are cleared, whichever team does it; a
        number counts from the drive station, 0 first, as `CarrierHeights.ordinal`.
    stop_offset_m : float
        Stop position [m].
    load_case : LoadCase
        Who sat where at the stop.

    Returns
    -------
    Unloading
        Where the tension state is not known, heights are the extremes over all that
        it may be.

    Raises
    ------
    NoPlanError
        If the order names a carrier twice or one that is not on the line.
    RopeError
        If a state has no solution.

    See Also
    --------
    find_doubts : What the plan must say about it.
    """
    models = side_models(lift, line)
    loads = {
        side: _at_stop(lift, line, side, stop_offset_m, load_case) for side in Side
    }
    runs = [
        _run(lift, models, loads, order=order, tension=tension)
        for tension in tension_cases(lift)
    ]
    at_stop = runs[0][0]
    _refuse_order(order, {side: at_stop[side].state.x_m.size for side in Side})
    return Unloading(
        order=tuple(order),
        load_name=load_case.name,
        stop_offset_m=stop_offset_m,
        sides={
            side: _side(line, models[side], order, [[s[side] for s in r] for r in runs])
            for side in Side
        },
        states_solved=sum(len(run) for run in runs),
        greatest_residual_n=max(
            stand.state.residual_n
            for run in runs
            for step in run
            for stand in step.values()
        ),
    )


def find_doubts(line: Line, unloading: Unloading) -> tuple[Finding, ...]:
    """Supports that are left with little load."""
    findings: list[Finding] = []
    for found in unloading.sides.values():
        findings += _weak_supports(line, unloading, found)
    return tuple(findings)


def _at_stop(
    lift: Lift, line: Line, side: Side, stop_offset_m: float, case: LoadCase
) -> SideLoads:
    phase_m = side_phase_m(lift, side=side, stop_offset_m=stop_offset_m)
    row = row_of(lift, line, side=side, phase_m=phase_m)
    return SideLoads(
        phase_m=phase_m,
        spacing_m=lift.carriers.spacing_m,
        load_n=weight_n(lift, people_of(lift, line, row=row, case=case)),
    )


def _run(
    lift: Lift,
    models: Mapping[Side, SideModel],
    loads: Mapping[Side, SideLoads],
    *,
    order: Sequence[Step],
    tension: TensionCase,
) -> list[dict[Side, _Stand]]:
    """Both sides at the stop and after each cleared carrier."""
    held = held_at_stop(lift, force_n=tension.force_n)
    alone = held.kept is Kept.RETURN_FORCE and not tension.locked
    at_stop = pair = solve_pair(models, loads, held=held)
    stands = [_stands(pair, dict.fromkeys(Side, 0))]
    if tension.locked:
        held = Held(kept=Kept.LENGTH, amount=pair.unstretched_length_m)
    empty_n = float(weight_n(lift, np.zeros(1))[0])
    now = dict(loads)
    travel_m = 0.0
    for side, ordinal in order:
        if not 0 <= ordinal < now[side].load_n.size:
            _refuse_order([(side, ordinal)], {side: 0})
        weights = now[side].load_n.copy()
        weights[ordinal] = empty_n
        now[side] = replace(now[side], load_n=weights)
        step = dict(stands[-1])
        if alone:
            step[side] = _Stand(
                state=solve_side(
                    models[side].points,
                    now[side],
                    return_tension_n=held.amount / 2,
                    near=step[side].state,
                )
            )
        elif held.kept is Kept.DRIVE_FORCE:
            pair, travel_m, gone = _on_carriage(
                models, now, held=held, at_stop=at_stop, near=pair, travel_m=travel_m
            )
            step = _stands(pair, gone)
        else:
            pair = solve_pair(models, now, held=held, near=pair)
            step = _stands(pair, dict.fromkeys(Side, 0))
        stands.append(step)
    return stands


def _stands(pair: LoopState, gone: Mapping[Side, int]) -> dict[Side, _Stand]:
    return {
        side: _Stand(state=side_state(pair, side), gone=gone[side]) for side in Side
    }


def _on_carriage(
    models: Mapping[Side, SideModel],
    loads: Mapping[Side, SideLoads],
    *,
    held: Held,
    at_stop: LoopState,
    near: LoopState,
    travel_m: float,
) -> tuple[LoopState, float, dict[Side, int]]:
    """Both sides where the tension is kept at the drive station.

    The bullwheel that grips the rope stands on the carriage: the rope from it round
    the return bullwheel and back stays what it was, so that the carriage moves by half
    of what the line between the stations takes up or gives back, and every carrier of
    both sides moves along. ``travel_m`` is where it was before, above 0 towards the
    line.

    Returns
    -------
    tuple
        The state, the travel since the stop, and by side how many carriers it has
        drawn into the drive station.
    """
    for _ in range(CARRIAGE_ROUNDS):
        moved = {side: _moved(loads[side], by_m=travel_m) for side in Side}
        pair = solve_pair(
            models, {side: moved[side][0] for side in Side}, held=held, near=near
        )
        near = pair
        longer_m = (pair.unstretched_length_m - at_stop.unstretched_length_m) / 2
        if abs(longer_m - travel_m) <= CARRIAGE_TOLERANCE_M:
            break
        travel_m = longer_m
    return pair, longer_m, {side: moved[side][1] for side in Side}


def _moved(loads: SideLoads, *, by_m: float) -> tuple[SideLoads, int]:
    """Carriers moved away from the drive, and how many of them stand inside it now.

    Those that come out of the station are not counted: nobody knows what hung there.
    """
    phase_m = loads.phase_m + by_m
    gone = max(0, math.ceil(-phase_m / loads.spacing_m))
    return replace(
        loads, phase_m=phase_m + gone * loads.spacing_m, load_n=loads.load_n[gone:]
    ), gone


def _refuse_order(order: Sequence[Step], on_line: Mapping[Side, int]) -> None:
    seen: set[Step] = set()
    for step in order:
        side, ordinal = step
        if step in seen or not 0 <= ordinal < on_line[side]:
            message = Words().say(
                "heights.bad_order",
                carrier=ordinal,
                side=side.value,
                found=on_line[side],
            )
            raise NoPlanError(message)
        seen.add(step)


def _side(
    line: Line,
    model: SideModel,
    order: Sequence[Step],
    runs: list[list[_Stand]],
) -> SideUnloading:
    side = model.side
    count = runs[0][0].state.x_m.size
    # A carrier that drifts past the last support of either end has left the line: NaN.
    x_m, z_m = (
        np.array(
            [
                [_padded(getattr(s.state, name), count, gone=s.gone) for s in run]
                for run in runs
            ]
        )
        for name in ("x_m", "z_m")
    )
    distance_m = model.to_distance_m(x_m)
    ground = line.ground[side]
    height_m = z_m - np.interp(distance_m, ground.distance_m, ground.elevation_m)
    reached_at = np.full(count, len(order))
    for number, (of_side, ordinal) in enumerate(order):
        if of_side is side:
            reached_at[ordinal] = number
    moved_m = distance_m - distance_m[:, :1]
    farthest = np.nanargmax(
        np.where(np.isnan(moved_m), -1, np.abs(moved_m)).reshape(-1, count), axis=0
    )
    carriers = np.arange(count)
    return SideUnloading(
        side=side,
        distance_m=distance_m[0, 0],
        reached_m=height_m[:, reached_at, carriers].max(axis=0),
        greatest_m=_most(height_m),
        least_m=-_most(-height_m),
        drift_m=moved_m.reshape(-1, count)[farthest, carriers],
        least_distance_m=-_most(-distance_m),
        greatest_distance_m=_most(distance_m),
        load_n=np.array(
            [[model.by_distance(s.state.load_n) for s in run] for run in runs]
        ),
        lifted=np.array(
            [[model.by_distance(s.state.lifted) for s in run] for run in runs]
        ),
        path_m=distance_m,
        height_m=height_m,
    )


def _padded(values: FloatArray, count: int, *, gone: int) -> FloatArray:
    padded = np.full(count, np.nan)
    here = values[: count - gone]
    padded[gone : gone + here.size] = here
    return padded


def _most(values: FloatArray) -> FloatArray:
    """Greatest over tension cases and steps; NaN only where never known."""
    flat = values.reshape(-1, values.shape[-1])
    most = np.where(np.isnan(flat), -np.inf, flat).max(axis=0)
    return np.where(np.isinf(most), np.nan, most)


def weak_supports(found: SideUnloading) -> list[tuple[int, int, float]]:
    """Supports left with under a fifth of their load at the stop.

    Parameters
    ----------
    found : SideUnloading

    Returns
    -------
    list of (support index, cleared carriers, share of the load at the stop)
        For each such support the first step at which it happens.
    """
    at_stop = found.load_n[:, :1]
    share = found.load_n / np.where(at_stop == 0, np.nan, at_stop)
    share = np.where(found.lifted, 0.0, share)
    weak = (share < WEAK_SHARE).any(axis=0)
    steps: IntArray = weak.argmax(axis=0)
    return [
        (
            int(index),
            int(steps[index]),
            float(np.nanmin(share[:, steps[index], index])),
        )
        for index in np.flatnonzero(weak.any(axis=0))
    ]


def _weak_supports(
    line: Line, unloading: Unloading, found: SideUnloading
) -> list[Finding]:
    findings = []
    for index, step, share in weak_supports(found):
        cleared = unloading.order[step - 1] if step > 0 else None
        where_m = float("nan")
        if cleared is not None:
            where_m = float(unloading.sides[cleared[0]].distance_m[cleared[1]])
        findings.append(
            Finding(
                key="heights.weak_support" if cleared else "heights.weak_at_stop",
                severity=Severity.WARN,
                where=f"{line.supports[index].id} {found.side.value}",
                values={
                    "support": line.supports[index].id,
                    "side": found.side.value,
                    "load_share": max(share, 0.0),
                    "cleared_side": cleared[0].value if cleared else "",
                    "at_m": where_m,
                    "step": step,
                },
            )
        )
    return findings
