"""Numbers of kits and techniques that would make the plan reach more than teams can.

A number in feet, per cent or km/h in a column of metres, degrees or m/s errs to the
dangerous side: a longer rope, a higher throw, a steeper rope, a stronger wind.
"""

from __future__ import annotations

from evac.facts.finding import Finding, Severity
from evac.facts.lift import Lift
from evac.inputs.rows import LADDER
from evac.inputs.unusual import unusual
from evac.units import FOOT_M

HAND_THROW_M = (10.0, 12.0)
"""How high a line gets over the haul rope by hand (rule 13)."""
MOST_HAND_THROW_M = 15.0
"""A good throw; above it nobody is believed without being asked (common practice, no
source)."""
MOST_LAUNCHED_M = 40.0
"""How high a launcher usually gets a line (common practice, no source)."""
LONGEST_ROPE_M = 120.0
"""Of ropes that rescuers carry (common practice, no source)."""
STEEPEST_ROPE_DEG = 45.0
"""On which techniques are used (common practice, no source)."""
MOST_LADDER_SEAT_M = 5.0
"""Highest seat that a ladder serves (rule 15)."""
STRONGEST_WIND_M_PER_S = 25.0
"""In which nobody lowers anybody any more (common practice, no source)."""


def kit_doubts(lift: Lift) -> list[Finding]:
    """Ropes and throws that are longer than usual; descenders used up."""
    thrown = {item.id for item in lift.techniques if item.needs_line_over_rope}
    found: list[Finding] = []
    for kit in lift.kits:
        over_rope = kit.technique in thrown
        if over_rope and kit.launcher:
            found += unusual(
                "launched_height",
                kit.throw_height_m,
                (0.0, MOST_LAUNCHED_M),
                unit="_m",
                where=kit.id,
                by_feet_m=kit.throw_height_m * FOOT_M,
            )
        elif over_rope and kit.throw_height_m > MOST_HAND_THROW_M:
            found += unusual(
                "throw_height",
                kit.throw_height_m,
                HAND_THROW_M,
                unit="_m",
                where=kit.id,
            )
        found += unusual(
            "rope_length",
            kit.rope_length_m,
            (0.0, LONGEST_ROPE_M),
            unit="_m",
            where=kit.id,
            by_feet_m=kit.rope_length_m * FOOT_M,
        )
        energy_j = kit.descent_energy_j
        if energy_j is not None and kit.descent_used_j > energy_j:
            found.append(
                Finding(
                    key="inputs.descent_overused",
                    severity=Severity.WARN,
                    where=kit.id,
                    values={"used_j": kit.descent_used_j, "class_j": energy_j},
                )
            )
    return found


def technique_doubts(lift: Lift) -> list[Finding]:
    """Steeper ropes, stronger winds and higher ladders than are usual."""
    found: list[Finding] = []
    for item in lift.techniques:
        found += unusual(
            "rope_slope",
            item.most_rope_slope_deg,
            (0.0, STEEPEST_ROPE_DEG),
            unit="_deg",
            where=item.id,
        )
        found += unusual(
            "wind_limit",
            item.wind_limit_m_per_s,
            (0.0, STRONGEST_WIND_M_PER_S),
            unit="_m_per_s",
            where=item.id,
        )
        seat_m = item.most_seat_height_m
        if item.kind == LADDER and seat_m is not None and seat_m > MOST_LADDER_SEAT_M:
            found.append(
                Finding(
                    key="inputs.ladder_high",
                    severity=Severity.WARN,
                    where=item.id,
                    values={"found_m": seat_m, "usual_m": MOST_LADDER_SEAT_M},
                )
            )
    return found
