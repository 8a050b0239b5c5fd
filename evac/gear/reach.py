"""Whether an option reaches a unit, and what decides (rules 9, 12 to 15)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from evac.facts.heights import UnitHeights
from evac.facts.lift import FloatArray, Kit, Lift, Side, Technique
from evac.facts.work import NEVER_S, Option, Reach, UnitGate
from evac.gear.budget import descent_energy_j, energy_left_j
from evac.gear.choices import kit_of, technique_of
from evac.gear.rope_needed import rope_needed_m
from evac.heights.stop import doubtful_spans

LEVEL_GROUND_DEG = 10.0
"""Steepest ground on which a ladder is footed (common practice, no source)."""

THROW_WIND_MOST_M_PER_S = 15.0
"""No line is thrown or shot above this wind, whatever the technique states (27)."""

HAND_THROW_M = 10.0
"""Above this rope height a line is shot with the launcher, not thrown: the lower end of
the 10 to 12 m that a hand throw reaches (rule 13; common practice, no source)."""

LADDER = "ladder"
ON_THE_ROPE = (
    "rescuer on the haul rope with a descender",
    "climb from the support",
    "from within a cabin",
)
"""Kinds whose rescuer climbs a support and gets onto the haul rope, or along it into
the cabins: not beside a doubtful support (rule 9), nor beside one whose rollers the
rope leaves in any state of the evacuation. So none of their zones begins at such a
support either, nor where nothing stands to climb."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """One option at one unit."""

    lift: Lift
    technique: Technique
    kit: Kit
    unit: UnitHeights
    needed_m: float


def find_reaches(
    lift: Lift,
    options: Sequence[Option],
    units: Sequence[UnitHeights],
    *,
    gates: Sequence[UnitGate] = (),
) -> tuple[Reach, ...]:
    """Whether each option reaches each unit, with the heights' margin.

    Heights are above bare ground: snow raises the ground and only helps. A technique
    that is worked or received from the ground (belayer's radius above 0) has its rope
    and attachment heights counted from the lowest ground around, taken as the greatest
    stance height of the unit. One stance serves all techniques: the lowest ground
    within the greatest of their radii (`evac.side_ground.stance_radius_m`), so one with
    a smaller radius of its own is held to need rather more rope than it does.

    Parameters
    ----------
    lift : Lift
    options : sequence of Option
        From :func:`evac.gear.options` of the same lift.
    units : sequence of UnitHeights
        From the heights' envelope.
    gates : sequence of UnitGate, optional
        A unit whose gate stays shut is not reached (limit ``gate``).

    Returns
    -------
    tuple of Reach
        Option by option, each in order of ``units``. ``limit`` says what decides.
    """
    shut = {(gate.side, gate.span_index) for gate in gates if gate.opens_s >= NEVER_S}
    return tuple(
        _reach(lift, option, unit, is_shut=(unit.side, unit.span_index) in shut)
        for option in options
        for unit in units
    )


def unit_rope_needed_m(lift: Lift, technique: Technique, unit: UnitHeights) -> float:
    """Rope [m] that a technique needs in a unit, margin included; NaN: not known."""
    return float(
        place_rope_needed_m(
            lift,
            technique,
            rope_height_m=unit.rope_greatest_m,
            stance_height_m=unit.stance_greatest_m,
            margin_m=unit.margin_m,
        )
    )


def place_rope_needed_m(
    lift: Lift,
    technique: Technique,
    *,
    rope_height_m: ArrayLike,
    stance_height_m: ArrayLike,
    margin_m: ArrayLike,
) -> FloatArray:
    """Rope that a technique needs at places of the line (rule 13).

    Parameters
    ----------
    lift : Lift
    technique : Technique
    rope_height_m, stance_height_m : array_like
        The haul rope above the ground right below it, and above the lowest ground
        within the belayer's radius [m].
    margin_m : array_like
        Uncertainty of both [m], 0 or more.

    Returns
    -------
    ndarray
        Rope needed [m], margin included; NaN where a height that counts is not known.
    """
    counted_m = _counted_m(technique, rope_height_m, stance_height_m)
    return rope_needed_m(
        technique,
        rope_height_m=counted_m,
        attachment_height_m=counted_m - lift.carriers.rope_to_descender_m,
        # Of the counted height: from the stance, where the ground falls away.
        seat_height_m=counted_m - lift.carriers.rope_to_seat_m,
        margin_m=margin_m,
    )


def counts_from_stance(technique: Technique) -> bool:
    """Whether heights count from the lowest ground within the belayer's radius."""
    return technique.belayer_radius_m > 0 and technique.most_seat_height_m is None


def _counted_m(
    technique: Technique, rope_height_m: ArrayLike, stance_height_m: ArrayLike
) -> FloatArray:
    """The height that counts; not known where either of two that count is not."""
    rope_m = np.asarray(rope_height_m, dtype=float)
    if not counts_from_stance(technique):
        return rope_m
    higher_m: FloatArray = np.maximum(rope_m, stance_height_m)
    return higher_m


def _counted_height_m(technique: Technique, unit: UnitHeights) -> float:
    return float(_counted_m(technique, unit.rope_greatest_m, unit.stance_greatest_m))


def _reach(lift: Lift, option: Option, unit: UnitHeights, *, is_shut: bool) -> Reach:
    technique = technique_of(lift, option.technique)
    kit = kit_of(lift, option.kit)
    needed_m = unit_rope_needed_m(lift, technique, unit)
    case = _Case(lift=lift, technique=technique, kit=kit, unit=unit, needed_m=needed_m)
    limit = "gate" if is_shut and unit.known else _limit(case)
    height_m = (
        unit.seat_greatest_m
        if technique.most_seat_height_m is not None
        else _counted_height_m(technique, unit)
    )
    return Reach(
        option_index=option.index,
        side=unit.side,
        span_index=unit.span_index,
        rope_needed_m=needed_m,
        rope_have_m=kit.rope_length_m,
        height_m=height_m,
        margin_m=unit.margin_m,
        ok=limit == "ok",
        limit=limit,
    )


def _limit(case: _Case) -> str:
    """The first thing that stops the work: the day, the place, then the height."""
    lift, technique, unit = case.lift, case.technique, case.unit
    if not unit.known:
        return "unknown"
    wind = lift.conditions.wind_m_per_s
    if wind > technique.wind_limit_m_per_s or (
        technique.needs_line_over_rope and wind > THROW_WIND_MOST_M_PER_S
    ):
        return "wind"
    # Slopes are compared so that one that is not known (NaN) is refused.
    if not unit.slope_greatest_deg <= technique.most_rope_slope_deg:
        return "slope"
    beside_doubt = unit.span_index in doubtful_spans(lift.supports)
    if technique.kind in ON_THE_ROPE and beside_doubt:
        return "rollers"
    if technique.kind in ON_THE_ROPE and unit.beside_lifted:
        return "lifted"
    if technique.kind == LADDER and not unit.ground_slope_deg <= LEVEL_GROUND_DEG:
        return "ground"
    if not _is_rated(case.kit, lift.carriers.passenger_mass_kg):
        return "load"
    worst = min(_spare_m(case).items(), key=lambda item: item[1])
    if not worst[1] >= 0:
        return worst[0]
    return "ok" if _has_energy(case) else "energy"


def _spare_m(case: _Case) -> Mapping[str, float]:
    """What is left of each length or height that limits the reach [m]."""
    technique, kit, unit = case.technique, case.kit, case.unit
    spare = {"rope": kit.rope_length_m - case.needed_m}
    if technique.needs_line_over_rope:
        spare["throw"] = kit.throw_height_m - unit.rope_greatest_m - unit.margin_m
    if technique.most_seat_height_m is not None:
        spare["seat"] = (
            technique.most_seat_height_m - unit.seat_greatest_m - unit.margin_m
        )
    return spare


def _is_rated(kit: Kit, mass_kg: float) -> bool:
    least, most = kit.rated_least_kg, kit.rated_most_kg
    return (least is None or mass_kg >= least) and (most is None or mass_kg <= most)


def _has_energy(case: _Case) -> bool:
    """Whether the descender can lower everybody the unit may hold."""
    left_j = energy_left_j(case.kit)
    if left_j is None:
        return True
    carriers, unit = case.lift.carriers, case.unit
    height_m = _counted_height_m(case.technique, unit) - carriers.rope_to_descender_m
    needed_j = descent_energy_j(
        mass_kg=carriers.passenger_mass_kg,
        height_m=height_m + unit.margin_m,
        descents=unit.carriers_most * carriers.seats,
    )
    return needed_j <= left_j


def unit_name(side: Side, span_id: str) -> str:
    """A unit as findings name it, such as ``"6-7 ascending"``."""
    return f"{span_id} {side.value}"
