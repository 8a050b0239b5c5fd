"""What can be read and still cannot be right, or is merely unusual.

Impossible: refused. Unusual: a finding that the plan prints, which names the usual
range and where it comes from. The ranges are common practice or from memory unless a
source stands beside them; they decide nothing but what a person is asked to look at.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from evac.errors import InputError, Problem
from evac.factors import LEAST_ROPE_SAFETY
from evac.facts.finding import Finding, Severity
from evac.facts.lift import CarrierType, Grip, Lift
from evac.inputs import dem, fit
from evac.inputs.problems import problem
from evac.inputs.rows import LADDER
from evac.reference import rope_factors
from evac.units import GRAVITY_M_PER_S2

LIFT_TOML = "lift.toml"

ROPE_MASS_SHARE = (0.95, 1.15)
"""Around the EN 12385 factors: ropeway ropes run a few per cent heavier (memory)."""
MODULUS_N_PER_MM2 = (80_000.0, 115_000.0)
"""Of six-strand haul ropes on the metallic area (memory)."""
WIRE_GRADE_N_PER_MM2 = (1_570.0, 2_160.0)
"""Grades of rope wire (EN 12385)."""
MOST_SAFETY = 12.0
"""Twice what ropes are chosen for: the force is mostly that of one side only (common
practice, no source)."""
EMPTY_KG_PER_SEAT = (25.0, 160.0)
PASSENGER_KG = (77.0, 120.0)
"""Least: 170 lb, the design load of ANSI B77.1, seen second-hand."""
ROPE_TO_SEAT_M = (1.5, 6.0)
GAUGE_M = (2.5, 9.0)
ROPE_HEIGHT_M = (2.0, 45.0)
FULL_SAG_SHARE = (0.002, 0.12)
INTERVAL_S = (4.0, 120.0)
MOST_PER_HOUR = 4_800.0
LINE_SPEED_M_PER_S = {Grip.DETACHABLE: 6.0, Grip.FIXED: 2.8}
"""French limits of monocable ropeways; fixed grip with loading conveyor (seen)."""
STATION_DOUBT_M = 5.0
"""An upper station this much below the other one is no error of a survey."""
STEEPEST_DEG = 50.0
ZONE_HOURS = 3.0
MOST_LADDER_SEAT_M = 5.0
"""Highest seat that a ladder serves (rule 15)."""
LONGEST_EVACUATION_H = 8.0
"""Clocks that change later than this after the stop do not matter (common practice)."""


def checked(lift: Lift, *, supports_file: str) -> Lift:
    """The lift with every doubt about its numbers added to its findings.

    Parameters
    ----------
    lift : Lift
        As read.
    supports_file : str
        Name of the table of supports, for messages.

    Raises
    ------
    InputError
        If numbers of the folder cannot go together.
    """
    _refuse(_spacing_problems(lift))
    fit.require_fit(lift, file=supports_file)
    # Terrain of another place may turn the line upside down, so that is told before.
    _refuse(_station_problems(lift))
    found: list[Finding] = []
    for doubt in _DOUBTS:
        found += doubt(lift)
    return replace(lift, findings=(*lift.findings, *found))


def _refuse(problems: list[Problem]) -> None:
    if problems:
        raise InputError(LIFT_TOML, problems)


def _spacing_problems(lift: Lift) -> list[Problem]:
    length_m = lift.supports[-1].distance_m
    if lift.carriers.spacing_m <= length_m:
        return []
    return [
        problem(
            "spacing_above_line",
            where="[carriers] spacing_m",
            found=round(lift.carriers.spacing_m, 2),
            length_m=length_m,
        )
    ]


def _station_problems(lift: Lift) -> list[Problem]:
    first_m, last_m = (lift.supports[end].ground_m for end in (0, -1))
    rise_m = last_m - first_m if lift.upper_is_last else first_m - last_m
    if rise_m >= -STATION_DOUBT_M:
        return []
    return [
        problem(
            "upper_is_lower",
            where="[lift] upper_station",
            found="last" if lift.upper_is_last else "first",
            other="first" if lift.upper_is_last else "last",
            lower_m=-rise_m,
        )
    ]


def _unusual(
    name: str,
    value: float,
    usual: tuple[float, float],
    *,
    unit: str,
    severity: Severity = Severity.WARN,
) -> list[Finding]:
    """One finding where `value` lies outside the usual range; [] inside."""
    low, high = usual
    if low <= value <= high:
        return []
    return [
        Finding(
            key=f"inputs.{name}",
            severity=severity,
            values={f"found{unit}": value, f"low{unit}": low, f"high{unit}": high},
        )
    ]


def _rope(lift: Lift) -> list[Finding]:
    """Mass, stiffness and strength against the diameter (EN 12385 factors)."""
    rope = lift.rope
    if rope.diameter_m is None:
        return []
    square_mm2 = (rope.diameter_m * 1000) ** 2
    factors = rope_factors()
    mass = [item.mass_factor * square_mm2 / 100 for item in factors]
    area_mm2 = [item.area_factor * square_mm2 for item in factors]
    strength = [item.strength_factor * square_mm2 for item in factors]
    found = _unusual(
        "rope_mass",
        rope.mass_kg_per_m,
        (min(mass) * ROPE_MASS_SHARE[0], max(mass) * ROPE_MASS_SHARE[1]),
        unit="_kg_per_m",
    )
    found += _unusual(
        "rope_stiffness",
        rope.axial_stiffness_n / 1e6,
        (
            min(area_mm2) * MODULUS_N_PER_MM2[0] / 1e6,
            max(area_mm2) * MODULUS_N_PER_MM2[1] / 1e6,
        ),
        unit="",
    )
    if rope.breaking_force_n is not None:
        found += _unusual(
            "rope_strength",
            rope.breaking_force_n,
            (
                min(strength) * WIRE_GRADE_N_PER_MM2[0],
                max(strength) * WIRE_GRADE_N_PER_MM2[1],
            ),
            unit="_n",
        )
    return found


def _safety(lift: Lift) -> list[Finding]:
    if lift.rope.breaking_force_n is None:
        return []
    # Half the carriage force runs in each side; the top of the line carries more.
    safety = lift.rope.breaking_force_n / (lift.tension.high_force_n / 2)
    if safety < LEAST_ROPE_SAFETY:
        values = {"safety": safety, "least": LEAST_ROPE_SAFETY}
        return [Finding(key="inputs.safety", severity=Severity.WARN, values=values)]
    if safety > MOST_SAFETY:
        values = {"safety": safety, "most": MOST_SAFETY}
        return [
            Finding(key="inputs.safety_high", severity=Severity.WARN, values=values)
        ]
    return []


def _sag(lift: Lift) -> list[Finding]:
    """Full carriers spread as a line load in the longest span: w L^2 / (8 H)."""
    carriers = lift.carriers
    longest_m = float(np.diff([s.distance_m for s in lift.supports]).max())
    full_kg = carriers.empty_mass_kg + carriers.seats * carriers.passenger_mass_kg
    load = lift.rope.mass_kg_per_m + full_kg / carriers.spacing_m
    tension_n = lift.tension.force_n / 2
    share = load * GRAVITY_M_PER_S2 * longest_m / (8 * tension_n)
    low, high = FULL_SAG_SHARE
    # A short line may have no long span to sag in: only a long one shows too much pull.
    if share <= high and (share >= low or longest_m < 80):
        return []
    key = "inputs.sag_large" if share > high else "inputs.sag_small"
    values = {
        "sag_m": share * longest_m,
        "span_m": longest_m,
        "force_n": lift.tension.force_n,
        "low_m": low * longest_m,
        "high_m": high * longest_m,
    }
    return [Finding(key=key, severity=Severity.WARN, values=values)]


def _carriers(lift: Lift) -> list[Finding]:
    carriers = lift.carriers
    found = _unusual(
        "empty_mass",
        carriers.empty_mass_kg / carriers.seats,
        EMPTY_KG_PER_SEAT,
        unit="_kg",
    )
    found += _unusual(
        "passenger_mass", carriers.passenger_mass_kg, PASSENGER_KG, unit="_kg"
    )
    if carriers.type is CarrierType.CHAIR:
        found += _unusual(
            "rope_to_seat", carriers.rope_to_seat_m, ROPE_TO_SEAT_M, unit="_m"
        )
    return found + _unusual("gauge", lift.gauge_m, GAUGE_M, unit="_m")


def _service(lift: Lift) -> list[Finding]:
    """Interval t = s / v and capacity C = 3600 p / t."""
    speed = lift.drives.line_speed_m_per_s
    interval_s = lift.carriers.spacing_m / speed
    found = _unusual("interval", interval_s, INTERVAL_S, unit="_s")
    per_hour = 3600 * lift.carriers.seats / interval_s
    if per_hour > MOST_PER_HOUR:
        values = {"found_per_hour": per_hour, "most_per_hour": MOST_PER_HOUR}
        found.append(
            Finding(key="inputs.capacity", severity=Severity.WARN, values=values)
        )
    most = LINE_SPEED_M_PER_S[lift.carriers.grip]
    if speed > most:
        found.append(
            Finding(
                key="inputs.line_speed",
                severity=Severity.WARN,
                values={
                    "found_m_per_s": speed,
                    "most_m_per_s": most,
                    "grip": str(lift.carriers.grip),
                },
            )
        )
    return found


def _loop(lift: Lift) -> list[Finding]:
    """Number of carriers times spacing against the rope's loop (rule 11)."""
    count = lift.carriers.on_loop
    if count is None:
        return []
    x_m = np.array([s.distance_m for s in lift.supports])
    z_m = np.array([s.ground_m + s.rope_height_m for s in lift.supports])
    # Both sides and half a turn round each bullwheel; sag adds well under 1 %.
    loop_m = 2 * float(np.hypot(np.diff(x_m), np.diff(z_m)).sum())
    loop_m += np.pi * lift.gauge_m
    carried_m = count * lift.carriers.spacing_m
    fixed = lift.carriers.grip is Grip.FIXED
    # Some carriers of a detachable lift stand in its stations or are parked.
    low, high = (0.96, 1.06) if fixed else (0.4, 1.2)
    if low * loop_m - lift.carriers.spacing_m <= carried_m <= high * loop_m:
        return []
    return [
        Finding(
            key="inputs.loop",
            severity=Severity.WARN,
            values={
                "count": count,
                "spacing_m": lift.carriers.spacing_m,
                "carried_m": carried_m,
                "loop_m": loop_m,
                "low_share": low,
                "high_share": high,
            },
        )
    ]


def _supports(lift: Lift) -> list[Finding]:
    found: list[Finding] = []
    low, high = ROPE_HEIGHT_M
    for support in lift.supports:
        if not low <= support.rope_height_m <= high:
            found.append(
                Finding(
                    key="inputs.rope_height",
                    severity=Severity.WARN,
                    where=support.id,
                    values={
                        "support": support.id,
                        "found_m": support.rope_height_m,
                        "low_m": low,
                        "high_m": high,
                    },
                )
            )
    for before, after in zip(lift.supports[:-1], lift.supports[1:], strict=True):
        rise_m = (after.ground_m + after.rope_height_m) - (
            before.ground_m + before.rope_height_m
        )
        slope_deg = float(
            np.degrees(np.arctan2(abs(rise_m), after.distance_m - before.distance_m))
        )
        if slope_deg > STEEPEST_DEG:
            found.append(
                Finding(
                    key="inputs.steep",
                    severity=Severity.WARN,
                    where=f"{before.id}-{after.id}",
                    values={
                        "before": before.id,
                        "after": after.id,
                        "slope_deg": slope_deg,
                        "usual_deg": STEEPEST_DEG,
                    },
                )
            )
    return found


def _time_zone(lift: Lift) -> list[Finding]:
    """Dusk is told by the clock: a zone far from the lift's longitude moves it."""
    day = lift.conditions.date
    noon = datetime(
        day.year, day.month, day.day, 12, tzinfo=ZoneInfo(lift.conditions.time_zone)
    )
    offset_h = (noon.utcoffset() or timedelta()).total_seconds() / 3600
    sun_h = lift.longitude_deg / 15
    apart_h = abs((offset_h - sun_h + 12) % 24 - 12)
    if apart_h <= ZONE_HOURS:
        return []
    return [
        Finding(
            key="inputs.time_zone",
            severity=Severity.WARN,
            values={
                "time_zone": lift.conditions.time_zone,
                "apart_s": apart_h * 3600,
            },
        )
    ]


def _clock_change(lift: Lift) -> list[Finding]:
    """A night when clocks are put forward or back within hours of the stop."""
    conditions = lift.conditions
    if not 1900 <= conditions.date.year <= 2900:
        return []  # a day given for a trial, near the ends of the calendar
    zone = ZoneInfo(conditions.time_zone)
    midnight = datetime.combine(conditions.date, time(), zone)
    before = midnight + timedelta(seconds=conditions.stop_clock_s)
    # Of two equal times of an autumn night the first is meant; a time that the spring
    # night leaves out is taken as the one before the change.
    stopped = before.astimezone(UTC)
    minutes = range(0, int(LONGEST_EVACUATION_H * 60) + 1, 15)
    for minute in minutes:
        here = (stopped + timedelta(minutes=minute)).astimezone(zone)
        if here.utcoffset() != before.utcoffset():
            values = {"change_clock_s": conditions.stop_clock_s + minute * 60}
            return [
                Finding(
                    key="inputs.clock_change", severity=Severity.WARN, values=values
                )
            ]
    return []


def _terrain(lift: Lift) -> list[Finding]:
    return [] if lift.terrain is None else list(dem.doubts(lift.terrain))


def _descenders(lift: Lift) -> list[Finding]:
    """Descenders that have lowered more than their class allows, by their own row."""
    return [
        Finding(
            key="inputs.descent_overused",
            severity=Severity.WARN,
            where=kit.id,
            values={"used_j": kit.descent_used_j, "class_j": kit.descent_energy_j},
        )
        for kit in lift.kits
        if kit.descent_energy_j is not None
        and kit.descent_used_j > kit.descent_energy_j
    ]


def _ladders(lift: Lift) -> list[Finding]:
    """Ladders for seats higher than one climbs to (rule 15)."""
    return [
        Finding(
            key="inputs.ladder_high",
            severity=Severity.WARN,
            where=technique.id,
            values={
                "found_m": technique.most_seat_height_m,
                "usual_m": MOST_LADDER_SEAT_M,
            },
        )
        for technique in lift.techniques
        if technique.kind == LADDER
        and technique.most_seat_height_m is not None
        and technique.most_seat_height_m > MOST_LADDER_SEAT_M
    ]


_DOUBTS: tuple[Callable[[Lift], list[Finding]], ...] = (
    _rope,
    _safety,
    _sag,
    _carriers,
    _service,
    _loop,
    _supports,
    _descenders,
    _ladders,
    _time_zone,
    _clock_change,
    _terrain,
    fit.doubts,
)
