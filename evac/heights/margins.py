"""How uncertain a height is: a margin from every source, and their sum.

Every source is an interval that holds with about 95 % (two standard deviations): the
rope is solved again with one value moved to the end of its interval, and the change
of the rope's elevation along the line is that source's part. Sources are independent,
so parts add as the root of their squares; what the order-free set may miss is no
chance and is added in full.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from evac.facts.heights import Line
from evac.facts.lift import FloatArray, Lift, LoadCase, Side
from evac.heights.load_cases import ALL_EMPTY
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
DEVIATIONS = 2.0
STOPS = 16
"""Stop positions at which the rope is solved again for every change."""

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

    ``margin_m`` is the root of the squares of all parts, plus the excess over the
    order-free set.
    """

    distance_m: FloatArray
    part_m: dict[str, FloatArray]
    margin_m: FloatArray


def find_margins(
    lift: Lift,
    line: Line,
    *,
    models: Mapping[Side, SideModel],
    side: Side,
    load_case: LoadCase,
    coupling_n: float = 0.0,
) -> Margins:
    """Margins along one side, the greatest over the loaded and the empty line.

    Parameters
    ----------
    lift : Lift
    line : Line
    models : mapping of Side to SideModel
    side : Side
    load_case : LoadCase
        The fullest one of this side.
    coupling_n : float
        Force by which the other side's pull may be misjudged.

    Returns
    -------
    Margins
    """
    distance_m = line.ground[side].distance_m
    parts = {source: np.zeros(distance_m.size) for source in SOURCES}
    for case in (load_case, ALL_EMPTY):
        base = grip_elevation_m(lift, line, models=models, side=side, case=case)
        for source, changed in _changes(lift).items():
            for other in changed:
                moved = grip_elevation_m(
                    other,
                    line,
                    models={
                        each: side_model(other, line, side=each, kinds=model.kinds)
                        for each, model in models.items()
                    },
                    side=side,
                    case=case,
                )
                parts[source] = np.maximum(parts[source], np.abs(moved - base))
        parts["friction"] = np.maximum(
            parts["friction"], _friction_part(lift, line, models, side, case, base)
        )
    half_n = (lift.tension.high_force_n - lift.tension.low_force_n) / 2
    if coupling_n > 0 and half_n > 0:
        # A wrong pull of the other side acts as a wrong tension does.
        parts["coupling"] = parts["tension"] * coupling_n / half_n
    sd_m = [
        SURVEY_M / DEVIATIONS if support.surveyed else line.ground_sd_m
        for support in line.supports
    ]
    parts["survey"] = DEVIATIONS * np.interp(distance_m, line.distance_m, sd_m)
    parts["ground"] = np.full(distance_m.size, DEVIATIONS * line.ground_sd_m)
    squares = np.sum([part**2 for part in parts.values()], axis=0)
    return Margins(
        distance_m=distance_m,
        part_m=parts,
        margin_m=np.sqrt(squares) + ORDER_FREE_EXCESS_M,
    )


def grip_elevation_m(
    lift: Lift,
    line: Line,
    *,
    models: Mapping[Side, SideModel],
    side: Side,
    case: LoadCase,
    friction: Mapping[Side, float] = NO_FRICTION,
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


def _friction_part(
    lift: Lift,
    line: Line,
    models: Mapping[Side, SideModel],
    side: Side,
    case: LoadCase,
    base: FloatArray,
) -> FloatArray:
    """What rollers do that all hold back the rope the same way, one way or the other.

    Every roller may hold back by anything from nothing to all of its friction. The
    tension of a span grows with each of those forces between it and the held end, so
    all of them together are the extremes. Where the force is held at the drive, the
    other side's rollers have their say over the return bullwheel.
    """
    part: FloatArray = np.zeros(base.size)
    for own in (-FRICTION, FRICTION):
        for other in (-FRICTION, FRICTION) if lift.tension.held_at_drive else (own,):
            moved = grip_elevation_m(
                lift,
                line,
                models=models,
                side=side,
                case=case,
                friction={side: own, other_side(side): other},
            )
            part = np.maximum(part, np.abs(moved - base))
    return part


def _changes(lift: Lift) -> dict[str, tuple[Lift, ...]]:
    """The lift with one value at each end of its interval."""
    tension, rope, carriers = lift.tension, lift.rope, lift.carriers

    def both(share: float) -> tuple[float, float]:
        return 1 - share, 1 + share

    return {
        "tension": tuple(
            replace(lift, tension=replace(tension, force_n=force_n))
            for force_n in (tension.low_force_n, tension.high_force_n)
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
