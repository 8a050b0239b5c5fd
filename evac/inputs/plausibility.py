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
from evac.facts.finding import Finding, Severity
from evac.facts.lift import CarrierType, Grip, Lift
from evac.inputs import dem, fit
from evac.inputs.plausible_kit import kit_doubts, technique_doubts
from evac.inputs.plausible_rope import rope_doubts
from evac.inputs.problems import problem
from evac.inputs.unusual import unusual
from evac.units import GRAVITY_M_PER_S2

LIFT_TOML = "lift.toml"

EMPTY_KG_PER_SEAT = (25.0, 160.0)
PASSENGER_KG = (77.0, 120.0)
"""Least: 170 lb, the design load of ANSI B77.1, seen second-hand."""
ROPE_TO_SEAT_M = (1.5, 6.0)
GAUGE_M = (2.5, 9.0)
ROPE_HEIGHT_M = (2.0, 45.0)
FULL_SAG_SHARE = (0.002, 0.12)
INTERVAL_S = (4.0, 120.0)
MOST_PER_HOUR = 4_800.0
CAPACITY_SHARE = 0.15
"""By which a stated capacity may differ from spacing, seats and line speed: papers
round it, and lifts run at less than their full speed (common practice, no source)."""
LINE_SPEED_M_PER_S = {Grip.DETACHABLE: 6.0, Grip.FIXED: 2.8}
"""French limits of monocable ropeways; fixed grip with loading conveyor (seen)."""
STATION_DOUBT_M = 5.0
"""An upper station this much below the other one is no error of a survey."""
STEEPEST_DEG = 50.0
ZONE_HOURS = 3.0
LONGEST_EVACUATION_H = 8.0
"""Clocks that change later than this after the stop do not matter (common practice)."""


def checked(
    lift: Lift, *, supports_file: str, stated_per_hour: float | None = None
) -> Lift:
    """The lift with every doubt about its numbers added to its findings.

    Parameters
    ----------
    lift : Lift
        As read.
    supports_file : str
        Name of the table of supports, for messages.
    stated_per_hour : float, optional
        Passengers an hour by the lift's papers, if stated.

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
    found += _spacing(lift, stated_per_hour)
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
    found = unusual(
        "empty_mass",
        carriers.empty_mass_kg / carriers.seats,
        EMPTY_KG_PER_SEAT,
        unit="_kg",
    )
    found += unusual(
        "passenger_mass", carriers.passenger_mass_kg, PASSENGER_KG, unit="_kg"
    )
    if carriers.type is CarrierType.CHAIR:
        found += unusual(
            "rope_to_seat", carriers.rope_to_seat_m, ROPE_TO_SEAT_M, unit="_m"
        )
    return found + unusual("gauge", lift.gauge_m, GAUGE_M, unit="_m")


def _service(lift: Lift) -> list[Finding]:
    """Interval t = s / v and capacity C = 3600 p / t."""
    speed = lift.drives.line_speed_m_per_s
    interval_s = lift.carriers.spacing_m / speed
    found = unusual("interval", interval_s, INTERVAL_S, unit="_s")
    per_hour = _per_hour(lift)
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


def _per_hour(lift: Lift) -> float:
    speed = lift.drives.line_speed_m_per_s
    return 3600 * lift.carriers.seats * speed / lift.carriers.spacing_m


def _spacing(lift: Lift, stated_per_hour: float | None) -> list[Finding]:
    """The spacing says how many people hang on the line: it is held to a second figure.

    That is the capacity here, and the number of carriers in `_loop`.
    """
    carriers = lift.carriers
    assumed = any(item.key == "carriers.spacing_m" for item in lift.assumptions)
    if stated_per_hour is None:
        if carriers.on_loop is not None or assumed:
            return []
        values = {"spacing_m": carriers.spacing_m}
        return [
            Finding(
                key="inputs.spacing_unchecked", severity=Severity.WARN, values=values
            )
        ]
    per_hour = _per_hour(lift)
    if abs(per_hour - stated_per_hour) <= CAPACITY_SHARE * stated_per_hour:
        return []
    return [
        Finding(
            key="inputs.capacity_differs",
            severity=Severity.WARN,
            values={
                "spacing_m": carriers.spacing_m,
                "found_per_hour": per_hour,
                "stated_per_hour": stated_per_hour,
                "allowed_share": CAPACITY_SHARE,
                "fitting_m": carriers.spacing_m * per_hour / stated_per_hour,
            },
        )
    ]


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


_DOUBTS: tuple[Callable[[Lift], list[Finding]], ...] = (
    rope_doubts,
    _sag,
    _carriers,
    _service,
    _loop,
    _supports,
    kit_doubts,
    technique_doubts,
    _time_zone,
    _clock_change,
    _terrain,
    fit.doubts,
)
