"""How much lowering a descender has left (rule 14)."""

from __future__ import annotations

from collections.abc import Collection

from evac.facts.finding import Finding, Severity
from evac.facts.heights import Heights
from evac.facts.lift import Kit, Lift, Side
from evac.facts.work import Assignment, Rescue, Zone
from evac.units import GRAVITY_M_PER_S2

LOW_SHARE = 0.3
"""Below this share left of its energy class a descender is named (rule 14)."""


def descent_energy_j(*, mass_kg: float, height_m: float, descents: float) -> float:
    """Energy a descender turns into heat: m g h n.

    Parameters
    ----------
    mass_kg : float
        Mass lowered each time [kg].
    height_m : float
        Height of each descent [m].
    descents : float
        Number of descents.

    Returns
    -------
    float
        Energy [J].

    References
    ----------
    .. [1] EN 341:2011, "Personal fall protection equipment - Descender devices for
       rescue": W = m g h n; class A 7.5 MJ, B 1.5 MJ, C 0.5 MJ.

    Examples
    --------
    >>> round(descent_energy_j(mass_kg=100, height_m=20, descents=1))
    19613
    """
    return mass_kg * GRAVITY_M_PER_S2 * height_m * descents


def descents_left(kit: Kit, *, mass_kg: float, height_m: float) -> int | None:
    """Whole descents left in a kit's energy class; None where it states no class.

    Parameters
    ----------
    kit : Kit
    mass_kg, height_m : float
        Mass [kg] and height [m] of each descent, above 0.
    """
    left_j = energy_left_j(kit)
    if left_j is None:
        return None
    return int(
        left_j // descent_energy_j(mass_kg=mass_kg, height_m=height_m, descents=1)
    )


def energy_left_j(kit: Kit) -> float | None:
    """Energy [J] left of a kit's class; None where it states no class."""
    if kit.descent_energy_j is None:
        return None
    return max(kit.descent_energy_j - kit.descent_used_j, 0.0)


def rescue_energy_j(lift: Lift, heights: Heights, rescue: Rescue) -> float:
    """Energy [J] of lowering everybody of a carrier, at its span's greatest height."""
    return _lowered_j(
        lift,
        heights,
        sides=(rescue.side,),
        spans=(rescue.span_index,),
        descents=rescue.people,
    )


def zone_energy_j(lift: Lift, heights: Heights, zone: Zone) -> float:
    """Energy [J] of lowering everybody a zone is planned with, at greatest height."""
    return _lowered_j(
        lift,
        heights,
        sides=zone.sides,
        spans=range(zone.first_span, zone.last_span + 1),
        descents=zone.people,
    )


def _lowered_j(
    lift: Lift,
    heights: Heights,
    *,
    sides: Collection[Side],
    spans: Collection[int],
    descents: float,
) -> float:
    """Energy [J] of so many descents at the greatest height of some units."""
    highest_m = max(
        (
            max(unit.rope_greatest_m, unit.stance_greatest_m) + unit.margin_m
            for unit in heights.units
            if unit.side in sides and unit.span_index in spans and unit.known
        ),
        default=0.0,
    )
    return descent_energy_j(
        mass_kg=lift.carriers.passenger_mass_kg,
        height_m=highest_m - lift.carriers.rope_to_descender_m,
        descents=descents,
    )


def budget_doubts(
    lift: Lift, heights: Heights, assignment: Assignment
) -> tuple[Finding, ...]:
    """Descenders that the zones use up (stop) or leave under 30 % (warn).

    Parameters
    ----------
    lift : Lift
    heights : Heights
    assignment : Assignment
        Which kit lowers how many people where.
    """
    kits = {kit.id: kit for kit in lift.kits}
    findings = []
    for zone in assignment.zones:
        kit = kits[zone.option.kit]
        left_j = energy_left_j(kit)
        if left_j is None or kit.descent_energy_j is None:
            continue
        after_j = left_j - zone_energy_j(lift, heights, zone)
        if after_j >= LOW_SHARE * kit.descent_energy_j:
            continue
        findings.append(
            Finding(
                key="gear.energy_over" if after_j < 0 else "gear.energy_low",
                severity=Severity.STOP if after_j < 0 else Severity.WARN,
                where=zone.team,
                values={
                    "kit": kit.id,
                    "descents": zone.people,
                    "needed_j": left_j - after_j,
                    "left_j": left_j,
                    "left_share": max(after_j, 0.0) / kit.descent_energy_j,
                },
            )
        )
    return tuple(findings)
