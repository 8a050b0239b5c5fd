"""One side of the line at one stop position and one load."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from evac.facts.heights import (
    CarrierHeights,
    Line,
    StopHeights,
    SupportLoads,
)
from evac.facts.lift import FloatArray, Lift, LoadCase, Side, Support
from evac.heights.cuts import uncut, with_marks
from evac.heights.kinds import support_kinds
from evac.heights.load_cases import people_of, row_of, weight_n
from evac.heights.side_model import SideModel, side_model, side_phase_m, span_of
from evac.heights.tension import NO_FRICTION, held_at_stop, side_state, solve_pair
from evac.rope.rules import hold_return
from evac.rope.shape import rope_shape
from evac.rope.side import SideLoads, SideState, solve_side
from evac.rope.tension import Kept, LoopState

DRAWN_STEP_M = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SolvedSide:
    """A solved side with everything it was solved for."""

    model: SideModel
    loads: SideLoads
    people: FloatArray
    """Of every carrier that was given a load, from the drive; shape (K,)."""
    state: SideState
    pair: LoopState | None = None
    """Both sides, where they had to be solved together."""


def stop_heights(
    lift: Lift, line: Line, *, side: Side, stop_offset_m: float, load_case: LoadCase
) -> StopHeights:
    """Heights of one side's carriers at one stop position.

    Parameters
    ----------
    lift : Lift
    line : Line
    side : Side
    stop_offset_m : float
        Unstretched rope from the drive's support to the nearest carrier of the
        ascending side [m]; taken modulo the spacing.
    load_case : LoadCase

    Returns
    -------
    StopHeights

    Raises
    ------
    RopeError
        If no rope hangs as the lift describes it.
    """
    bare_lift, bare = uncut(lift, line)
    solved = solve_stop(
        bare_lift,
        bare,
        models=side_models(bare_lift, bare),
        side=side,
        stop_offset_m=stop_offset_m,
        load_case=load_case,
    )
    found = describe(
        bare_lift,
        bare,
        solved,
        stop_offset_m=stop_offset_m,
        load_name=load_case.name,
    )
    return with_marks(found, before=bare, line=line)


def side_models(lift: Lift, line: Line) -> dict[Side, SideModel]:
    """Both sides as the rope sees them, ascending first."""
    kinds, _ = support_kinds(lift, line)
    return {side: side_model(lift, line, side=side, kinds=kinds) for side in Side}


def solve_stop(
    lift: Lift,
    line: Line,
    *,
    models: Mapping[Side, SideModel],
    side: Side,
    stop_offset_m: float,
    load_case: LoadCase,
    friction: Mapping[Side, float | FloatArray] = NO_FRICTION,
    near: SolvedSide | None = None,
) -> SolvedSide:
    """Solve one side at a stop position under a load case, as the lift came to stop.

    The tension system still works then, whatever it does later. Where its force is
    kept at the drive station the other side is solved along. `near` is a similar
    solution of the same side, to start from.
    """
    people: dict[Side, FloatArray] = {}
    loads: dict[Side, SideLoads] = {}
    for each in Side:
        phase_m = side_phase_m(lift, side=each, stop_offset_m=stop_offset_m)
        row = row_of(lift, line, side=each, phase_m=phase_m)
        people[each] = people_of(lift, line, row=row, case=load_case)
        loads[each] = SideLoads(
            phase_m=phase_m,
            spacing_m=lift.carriers.spacing_m,
            load_n=weight_n(lift, people[each]),
        )
    held = held_at_stop(lift, force_n=lift.tension.force_n)
    pair: LoopState | None = None
    if held.kept is Kept.RETURN_FORCE:
        state = solve_side(
            models[side].points,
            loads[side],
            rule=hold_return(held.amount / 2),
            friction=friction[side],
            near=near.state if near else None,
        )
    else:
        pair = solve_pair(
            models,
            loads,
            held=held,
            friction=friction,
            near=near.pair if near else None,
        )
        state = side_state(pair, side)
    return SolvedSide(
        model=models[side],
        loads=loads[side],
        people=people[side],
        state=state,
        pair=pair,
    )


def describe(
    lift: Lift,
    line: Line,
    solved: SolvedSide,
    *,
    stop_offset_m: float,
    load_name: str,
) -> StopHeights:
    """A solved side as heights above ground, in order of distance."""
    model, state = solved.model, solved.state
    shape = rope_shape(model.points, solved.loads, state, step_m=DRAWN_STEP_M)
    turned = np.degrees(np.abs(state.arriving_angle_rad - state.leaving_angle_rad))
    turned[[0, -1]] = np.nan
    return StopHeights(
        side=model.side,
        stop_offset_m=stop_offset_m,
        load_name=load_name,
        rope_distance_m=model.by_distance(model.to_distance_m(shape.x_m)),
        rope_elevation_m=model.by_distance(shape.z_m),
        carriers=carrier_heights(lift, line, solved),
        loads=SupportLoads(
            side=model.side,
            load_n=model.by_distance(state.load_n),
            tension_n=model.by_distance(state.support_tension_n),
            deflection_deg=model.by_distance(turned),
            lifted=model.by_distance(state.lifted),
        ),
        span_horizontal_tension_n=model.by_distance(state.horizontal_tension_n),
        residual_n=state.residual_n,
    )


def carrier_heights(lift: Lift, line: Line, solved: SolvedSide) -> CarrierHeights:
    """Heights of a solved side's carriers above their own ground."""
    model, state = solved.model, solved.state
    distance_m = model.by_distance(model.to_distance_m(state.x_m))
    elevation_m = model.by_distance(state.z_m)
    ground = line.ground[model.side]
    below_m = np.interp(distance_m, ground.distance_m, ground.elevation_m)
    spans = span_of(line, distance_m)
    rope_m = elevation_m - below_m
    seat_m = rope_m - lift.carriers.rope_to_seat_m
    known = (
        (seat_m > 0)
        & ~np.isnan(rope_m)
        & ~np.isin(spans, doubtful_spans(line.supports))
    )
    ordinal = model.by_distance(np.arange(state.x_m.size, dtype=np.int64))
    rise = model.by_distance(state.slope)
    return CarrierHeights(
        side=model.side,
        ordinal=ordinal,
        distance_m=distance_m,
        span_index=spans,
        rope_elevation_m=elevation_m,
        rope_height_m=np.where(known, rope_m, np.nan),
        attachment_height_m=np.where(
            known, rope_m - lift.carriers.rope_to_descender_m, np.nan
        ),
        seat_height_m=np.where(known, seat_m, np.nan),
        rope_slope_deg=np.degrees(np.arctan(np.abs(rise))),
        people=model.by_distance(solved.people[: state.x_m.size]),
        known=known,
    )


def doubtful_spans(supports: Sequence[Support]) -> list[int]:
    """Spans beside a support whose rope is not where it should be (rule 9).

    Of a cut span every part: nothing stands at a mark that would hold the rope up.
    """
    named = {support.id for support in supports if support.doubtful}
    return spans_beside(supports, named)


def spans_beside(supports: Sequence[Support], named: Collection[str]) -> list[int]:
    """Spans beside the supports named by their ids; of a cut span every part."""
    stands = [index for index, support in enumerate(supports) if not support.mark]
    return [
        span
        for start, end in pairwise(stands)
        if supports[start].id in named or supports[end].id in named
        for span in range(start, end)
    ]
