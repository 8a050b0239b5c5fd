"""How uncertain a height is: a margin from every source, and their sum.

Every source is an interval that holds with about 95 % (two standard deviations): the
rope is solved again with one value moved to the end of its interval, and the change
of the envelope along the line is that source's part. Sources are independent,
so parts add as the root of their squares. What the order-free set may miss, and a step
between the supports' ground and the ground below the ropes, is no chance: both are
added in full.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from evac.facts.heights import Line
from evac.facts.lift import FloatArray, Lift, LoadCase, Side, TensionState
from evac.heights.extremes import find_extremes
from evac.heights.load_cases import rises_and_falls
from evac.heights.passes import THIN_SET, fullest_case, state_passes
from evac.heights.side_model import SideModel, side_model
from evac.heights.stop import SolvedSide, solve_stop
from evac.heights.tension import NO_FRICTION, other_side

STIFFNESS_SHARE = 0.10
"""Modulus of six-strand haul ropes: 80-110 GPa (from memory)."""
ROPE_MASS_SHARE = 0.03
"""Ropeway ropes run a few per cent heavier than the tables (from memory)."""
EMPTY_MASS_SHARE = 0.05
"""Carriers with ice, covers and repairs (common practice, no source)."""
PASSENGER_MASS_SHARE = 0.10
"""80 kg, or 90 kg with gear (from memory)."""
SPACING_SHARE = 0.01
"""Creep of grips between two shifts of place (common practice, no source)."""
FRICTION = 0.03
"""Rollers hold back the rope by 2-3 % of their load (from memory)."""
SURVEY_M = 0.10
"""Surveyed rope at a support, two standard deviations (common practice)."""
ORDER_FREE_EXCESS_M = 0.20
"""What real sequences were found to exceed the order-free set by at most (measured:
`tests/heights/test_order_free.py`)."""
ORDER_FREE_SHARE = 0.15
"""The same on lines that rise and fall, as a share of the other parts where that is
more: sequences made to load rises and empty falls undercut single metres that hang
deep by 0.2-0.5 m, a twelfth to a seventh of 1.5-6.5 m (measured)."""
COUPLING_SHARE = 0.05
"""Longest step of an unknown tension by which a wrong pull is tried."""
DEVIATIONS = 2.0
STOPS = 16
"""Stop positions at which the rope is solved again for every change."""
SMOOTHED_M = 9
"""A part at a place is the upper quartile over so many ground samples of 1 m."""

SOURCES = (
    "tension",
    "modulus",
    "rope mass",
    "carrier mass",
    "passenger mass",
    "spacing",
    "friction",
    "survey",
    "ground",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Margins:
    """Parts of the margin along one side; ``part_m[source]`` has shape (m,).

    ``margin_m`` is the root of the squares of all parts, plus the height step
    (`evac.facts.heights.Line`) and ``order_m`` (m,), the excess over the order-free
    set.
    """

    distance_m: FloatArray
    part_m: dict[str, FloatArray]
    order_m: FloatArray
    margin_m: FloatArray


def find_margins(
    lift: Lift,
    line: Line,
    *,
    models: Mapping[Side, SideModel],
    side: Side,
    cases: tuple[LoadCase, ...],
    coupling_n: float = 0.0,
) -> Margins:
    """Margins along one side: how far the envelope moves with each uncertain value.

    Parameters
    ----------
    lift : Lift
    line : Line
    models : mapping of Side to SideModel
    side : Side
    cases : tuple of LoadCase
        The declared ones.
    coupling_n : float
        Force by which the other side's pull may be misjudged.

    Returns
    -------
    Margins

    Notes
    -----
    For every end of every interval the order-free set is solved again, thinned
    (`evac.heights.passes.THIN_SET`), and the greatest and least heights are compared
    metre by metre. Heights are taken above the fullest rope, not above the ground, so
    that it does not matter where within a metre a carrier stands. Where the tension is
    not known both are taken over its whole range, as the envelope is: the least heights
    stand at the low force, where every other value weighs more.
    """
    distance_m = line.ground[side].distance_m
    level = _above_fullest_rope(lift, line, models=models, side=side, cases=cases)
    base = _band(lift, level, models=models, side=side, cases=cases)
    parts = {source: np.zeros(distance_m.size) for source in SOURCES}
    for source, changed in _changes(lift).items():
        for other in changed:
            moved = _band(
                other,
                level,
                models={
                    each: side_model(other, line, side=each, kinds=model.kinds)
                    for each, model in models.items()
                },
                side=side,
                cases=cases,
            )
            parts[source] = np.maximum(parts[source], _moved_m(base, moved))
    for friction in _frictions(lift, side):
        moved = _band(
            lift, level, models=models, side=side, cases=cases, friction=friction
        )
        parts["friction"] = np.maximum(parts["friction"], _moved_m(base, moved))
    if coupling_n > 0:
        # A wrong pull of the other side acts as a wrong tension does.
        half_n = (lift.tension.high_force_n - lift.tension.low_force_n) / 2
        if lift.tension.state is TensionState.UNKNOWN:
            step_n = min(coupling_n, COUPLING_SHARE * lift.tension.low_force_n)
            wider = _wider_tension(lift, step_n)
            moved = _band(wider, level, models=models, side=side, cases=cases)
            parts["coupling"] = _moved_m(base, moved) * coupling_n / step_n
        elif half_n > 0:
            parts["coupling"] = parts["tension"] * coupling_n / half_n
    ground = line.ground[side]
    surveyed = np.array([support.surveyed for support in line.supports])
    sd_m = np.where(
        surveyed,
        SURVEY_M / DEVIATIONS,
        np.interp(line.distance_m, ground.distance_m, ground.sd_m),
    )
    parts["survey"] = DEVIATIONS * np.interp(distance_m, line.distance_m, sd_m)
    parts["ground"] = DEVIATIONS * ground.sd_m
    root_m = np.sqrt(np.sum([part**2 for part in parts.values()], axis=0))
    share = ORDER_FREE_SHARE if rises_and_falls(line) else 0.0
    order_m = np.maximum(ORDER_FREE_EXCESS_M, share * root_m)
    return Margins(
        distance_m=distance_m,
        part_m=parts,
        order_m=order_m,
        margin_m=root_m + abs(line.ground_step_m) + order_m,
    )


def _above_fullest_rope(
    lift: Lift,
    line: Line,
    *,
    models: Mapping[Side, SideModel],
    side: Side,
    cases: tuple[LoadCase, ...],
) -> Line:
    """The line with the rope of its fullest case in place of the ground."""
    rope_m = grip_elevation_m(
        lift, line, models=models, side=side, case=fullest_case(cases, side)
    )
    ground = replace(line.ground[side], elevation_m=rope_m, stance_m=rope_m)
    return replace(line, ground={**line.ground, side: ground})


def _band(
    lift: Lift,
    level: Line,
    *,
    models: Mapping[Side, SideModel],
    side: Side,
    cases: tuple[LoadCase, ...],
    friction: Mapping[Side, float] = NO_FRICTION,
) -> FloatArray:
    """Greatest and least heights (2, m) over the thinned set, NaN where none stood."""
    passes = state_passes(
        lift,
        level,
        models=models,
        side=side,
        cases=cases,
        sampling=THIN_SET,
        friction=friction,
    )
    found = find_extremes(level, model=models[side], passes=passes)
    return np.array([found.greatest_m[0], found.least_m[0]])


def _moved_m(base: FloatArray, moved: FloatArray) -> FloatArray:
    """By how much the greatest or the least height differs, whichever more; (m,)."""
    away = np.abs(moved - base).max(axis=0)
    known = ~np.isnan(away)
    place = np.arange(away.size)
    filled = np.interp(place, place[known], away[known])
    # Where one of the two thinned sets has no state that the other has, a few metres
    # stand out for no reason.
    padded = np.pad(filled, SMOOTHED_M // 2, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, SMOOTHED_M)
    smooth: FloatArray = np.quantile(windows, 0.75, axis=1)
    return smooth


def grip_elevation_m(
    lift: Lift,
    line: Line,
    *,
    models: Mapping[Side, SideModel],
    side: Side,
    case: LoadCase,
    friction: Mapping[Side, float | FloatArray] = NO_FRICTION,
) -> FloatArray:
    """Elevation at which grips pass every ground sample, over all stop positions.

    Taken at grips, not between them: a carrier that moves a little along the line
    takes the kink of its rope along, and only its height counts.
    """
    model = models[side]
    x_m: list[FloatArray] = []
    z_m: list[FloatArray] = []
    near: SolvedSide | None = None
    held = np.ones(model.points.x_m.size, np.bool_)
    for step in range(STOPS):
        near = solve_stop(
            lift,
            line,
            models=models,
            side=side,
            stop_offset_m=step * model.spacing_m / STOPS,
            load_case=case,
            friction=friction,
            near=near,
        )
        x_m.append(near.state.x_m)
        z_m.append(near.state.z_m)
        held &= ~near.state.lifted
    # Where the rope lies on a support its path has a kink, known exactly.
    places = np.concatenate([model.points.x_m[held], *x_m])
    heights = np.concatenate([model.points.z_m[held], *z_m])
    order = np.argsort(places, kind="stable")
    elevation_m: FloatArray = np.interp(
        line.ground[side].distance_m,
        model.by_distance(model.to_distance_m(places[order])),
        model.by_distance(heights[order]),
    )
    return elevation_m


def _frictions(lift: Lift, side: Side) -> list[dict[Side, float]]:
    """The extremes of what rollers do: all of a side hold back the rope one way.

    Every roller may hold back by anything from nothing to all of its friction. The
    tension of a span grows with each of those forces between it and the held end, so
    all of them together are the extremes. Unless the force is held at the return, the
    other side's rollers have their say over the bullwheel.
    """
    tension = lift.tension
    coupled = tension.held_at_drive or tension.state is not TensionState.CONSTANT
    return [
        {side: own, other_side(side): other}
        for own in (-FRICTION, FRICTION)
        for other in ((-FRICTION, FRICTION) if coupled else (own,))
    ]


def _wider_tension(lift: Lift, step_n: float) -> Lift:
    tension = lift.tension
    return replace(
        lift,
        tension=replace(
            tension,
            low_force_n=tension.low_force_n - step_n,
            high_force_n=tension.high_force_n + step_n,
        ),
    )


def _changes(lift: Lift) -> dict[str, tuple[Lift, ...]]:
    """The lift with one value at each end of its interval."""
    tension, rope, carriers = lift.tension, lift.rope, lift.carriers

    def both(share: float) -> tuple[float, float]:
        return 1 - share, 1 + share

    # An envelope of an unknown tension was itself taken over the whole range.
    is_unknown = tension.state is TensionState.UNKNOWN
    forces_n = () if is_unknown else (tension.low_force_n, tension.high_force_n)
    return {
        "tension": tuple(
            replace(lift, tension=replace(tension, force_n=force_n))
            for force_n in forces_n
        ),
        "modulus": tuple(
            replace(
                lift,
                rope=replace(rope, axial_stiffness_n=rope.axial_stiffness_n * f),
            )
            for f in both(STIFFNESS_SHARE)
        ),
        "rope mass": tuple(
            replace(lift, rope=replace(rope, mass_kg_per_m=rope.mass_kg_per_m * f))
            for f in both(ROPE_MASS_SHARE)
        ),
        "carrier mass": tuple(
            replace(
                lift,
                carriers=replace(carriers, empty_mass_kg=carriers.empty_mass_kg * f),
            )
            for f in both(EMPTY_MASS_SHARE)
        ),
        "passenger mass": tuple(
            replace(
                lift,
                carriers=replace(
                    carriers, passenger_mass_kg=carriers.passenger_mass_kg * f
                ),
            )
            for f in both(PASSENGER_MASS_SHARE)
        ),
        "spacing": tuple(
            replace(lift, carriers=replace(carriers, spacing_m=carriers.spacing_m * f))
            for f in both(SPACING_SHARE)
        ),
    }
