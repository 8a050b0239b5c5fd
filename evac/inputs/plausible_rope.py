"""Mass, stiffness and strength of the haul rope against each other.

The factors of EN 12385 tie mass, metallic area and strength of a rope to its diameter.
Where the diameter is not given they still tie the three to each other.
"""

from __future__ import annotations

from evac.factors import LEAST_ROPE_SAFETY
from evac.facts.finding import Finding, Severity
from evac.facts.lift import Lift
from evac.inputs.unusual import unusual
from evac.reference import rope_factors
from evac.units import GRAVITY_M_PER_S2

MASS_SHARE = (0.95, 1.15)
"""Around the EN 12385 factors: ropeway ropes run a few per cent heavier (memory)."""
MODULUS_N_PER_MM2 = (80_000.0, 115_000.0)
"""Of six-strand haul ropes on the metallic area (memory)."""
WIRE_GRADE_N_PER_MM2 = (1_570.0, 2_160.0)
"""Grades of rope wire (EN 12385)."""
USUAL_GRADE_N_PER_MM2 = (1_770.0, 1_960.0)
"""Grades that haul ropes mostly have (common practice, no source)."""
MASS_KG_PER_M = (1.5, 15.0)
"""Of haul ropes from some 20 to some 60 mm thick (common practice, no source)."""
MOST_SAFETY = 12.0
"""Twice what ropes are chosen for: the force is mostly that of one side only (common
practice, no source)."""


def rope_doubts(lift: Lift) -> list[Finding]:
    """Doubts about the rope's own figures and the force that pulls at it."""
    return [*_figures(lift), *_strength(lift), *_unchecked(lift), *_safety(lift)]


def _figures(lift: Lift) -> list[Finding]:
    """Mass and stiffness by the diameter, or by each other where there is none."""
    rope = lift.rope
    stiffness_mn = rope.axial_stiffness_n / 1e6
    if rope.diameter_m is None:
        found = unusual(
            "rope_mass_alone", rope.mass_kg_per_m, MASS_KG_PER_M, unit="_kg_per_m"
        )
        usual_mn = _stiffness_by_mass_mn(rope.mass_kg_per_m)
        return found + unusual(
            "rope_stiffness_by_mass",
            stiffness_mn,
            usual_mn,
            unit="",
            mass_kg_per_m=rope.mass_kg_per_m,
        )
    square_mm2 = (rope.diameter_m * 1000) ** 2
    mass = [item.mass_factor * square_mm2 / 100 for item in rope_factors()]
    area_mm2 = [item.area_factor * square_mm2 for item in rope_factors()]
    found = unusual(
        "rope_mass",
        rope.mass_kg_per_m,
        (min(mass) * MASS_SHARE[0], max(mass) * MASS_SHARE[1]),
        unit="_kg_per_m",
    )
    return found + unusual(
        "rope_stiffness",
        stiffness_mn,
        (
            min(area_mm2) * MODULUS_N_PER_MM2[0] / 1e6,
            max(area_mm2) * MODULUS_N_PER_MM2[1] / 1e6,
        ),
        unit="",
    )


def _stiffness_by_mass_mn(mass_kg_per_m: float) -> tuple[float, float]:
    """Usual stiffness [MN] of a rope of this mass, low and high."""
    # Of a rope d mm thick the area is C d^2 [mm2] and the mass W d^2 / 100 [kg/m].
    area_mm2 = [
        100 * item.area_factor / item.mass_factor * mass_kg_per_m
        for item in rope_factors()
    ]
    low_n = min(area_mm2) / MASS_SHARE[1] * MODULUS_N_PER_MM2[0]
    high_n = max(area_mm2) / MASS_SHARE[0] * MODULUS_N_PER_MM2[1]
    return low_n / 1e6, high_n / 1e6


def _strength(lift: Lift) -> list[Finding]:
    rope = lift.rope
    if rope.diameter_m is None or rope.breaking_force_n is None:
        return []
    square_mm2 = (rope.diameter_m * 1000) ** 2
    strength = [item.strength_factor * square_mm2 for item in rope_factors()]
    return unusual(
        "rope_strength",
        rope.breaking_force_n,
        (
            min(strength) * WIRE_GRADE_N_PER_MM2[0],
            max(strength) * WIRE_GRADE_N_PER_MM2[1],
        ),
        unit="_n",
    )


def _unchecked(lift: Lift) -> list[Finding]:
    """That the diameter is missing, by which mass and stiffness are compared closely.

    A breaking force that is missing as well is named beside it; alone it is not missed,
    since mass and diameter say how strong a rope is.
    """
    if lift.rope.diameter_m is not None:
        return []
    given = {
        "diameter_mm": lift.rope.diameter_m,
        "breaking_force_kn": lift.rope.breaking_force_n,
    }
    missing = [name for name, value in given.items() if value is None]
    return [
        Finding(
            key="inputs.rope_unchecked",
            severity=Severity.WARN,
            values={"keys": ", ".join(missing)},
        )
    ]


def _safety(lift: Lift) -> list[Finding]:
    """Breaking force over pull; by the rope's mass where no breaking force is given."""
    rope = lift.rope
    # Half the carriage force runs in each side; the top of the line carries more. A
    # force is too small only where even the most that the line adds is not enough.
    pull_n = lift.tension.high_force_n / 2
    top_pull_n = pull_n + _line_weight_n(lift)
    if rope.breaking_force_n is not None:
        low = high = rope.breaking_force_n / pull_n
        ending = ""
    else:
        strength_n = [
            100 * item.strength_factor / item.mass_factor * rope.mass_kg_per_m
            for item in rope_factors()
        ]
        low = min(strength_n) * USUAL_GRADE_N_PER_MM2[0] / pull_n
        high = max(strength_n) * USUAL_GRADE_N_PER_MM2[1] / pull_n
        ending = "_by_mass"
    if high < LEAST_ROPE_SAFETY:
        key, bound = "inputs.safety", {"least": LEAST_ROPE_SAFETY}
    elif low * pull_n / top_pull_n > MOST_SAFETY:
        key, bound = "inputs.safety_high", {"most": MOST_SAFETY}
        low, high = low * pull_n / top_pull_n, high * pull_n / top_pull_n
    else:
        return []
    values = {"safety": (low + high) / 2, **bound}
    return [Finding(key=key + ending, severity=Severity.WARN, values=values)]


def _line_weight_n(lift: Lift) -> float:
    """What the full line adds to the pull from the tension system up to its top.

    A rope on free rollers gains its own weight per metre for each metre it rises, with
    what hangs on it; nothing where the force is held at the top.
    """
    held_at_last = lift.tension.held_at_drive == lift.drive_at_last
    elevation_m = [item.ground_m + item.rope_height_m for item in lift.supports]
    rise_m = max(elevation_m) - elevation_m[-1 if held_at_last else 0]
    carriers = lift.carriers
    full_kg = carriers.empty_mass_kg + carriers.seats * carriers.passenger_mass_kg
    load_kg_per_m = lift.rope.mass_kg_per_m + full_kg / carriers.spacing_m
    return load_kg_per_m * GRAVITY_M_PER_S2 * rise_m
