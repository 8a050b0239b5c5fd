"""What an imported lift is assumed to be, where OpenStreetMap cannot say it.

Every value here is printed as an assumption on every document until it is replaced.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from evac.factors import LEAST_ROPE_SAFETY
from evac.inputs.osm_heights import HeightRules, Ropeway
from evac.reference import rope_factors
from evac.units import GRAVITY_M_PER_S2
from evac.words import Words

ROPE_DIAMETERS_MM = (24, 26, 28, 30, 32, 34, 36, 38, 40, 42, 44, 46, 48, 50, 52, 54, 56)
WIRE_GRADE_N_PER_MM2 = 1960
STEEL_MODULUS_GPA = 95
SAG_SHARE = 0.03
TENSION_SPREAD = 0.08
LEAST_TENSION_KN, MOST_TENSION_KN = 60.0, 260.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """The rope, its tension and its carriers, as assumed; units as in ``lift.toml``."""

    type: str
    grip: str
    seats: int
    empty_mass_kg: float
    passenger_mass_kg: float
    spacing_m: float
    line_speed_m_per_s: float
    rope_to_descender_m: float
    rope_to_seat_m: float
    gauge_m: float
    rope_mass_kg_per_m: float
    rope_diameter_mm: float
    axial_stiffness_mn: float
    breaking_force_kn: float
    carriage_force_kn: float
    rules: HeightRules
    reasons: Mapping[str, str]
    """Key of ``lift.toml`` -> why this value, as a sentence."""

    @property
    def rope(self) -> Ropeway:
        """The rope as the choice of support heights needs it."""
        bare = self.rope_mass_kg_per_m * GRAVITY_M_PER_S2
        full_kg = self.empty_mass_kg + self.seats * self.passenger_mass_kg
        side_n = self.carriage_force_kn * 500
        return Ropeway(
            bare_n_per_m=bare,
            loaded_n_per_m=bare + full_kg * GRAVITY_M_PER_S2 / self.spacing_m,
            tension_low_n=side_n * (1 - TENSION_SPREAD),
            tension_high_n=side_n * (1 + TENSION_SPREAD),
        )


def assume(
    tags: Mapping[str, str], *, length_m: float, longest_span_m: float, rise_m: float
) -> Assumed:
    """Rope, tension and carriers for a lift of which only the line is known.

    Parameters
    ----------
    tags : mapping
        Of the way; occupancy, capacity and duration are used where they are given.
    length_m, longest_span_m, rise_m : float
        Of the line [m].

    Returns
    -------
    Assumed
        Round numbers of the usual size, each with its reason.
    """
    words = Words()
    reasons: dict[str, str] = {}

    def because(key: str, name: str, **values: str | float) -> None:
        reasons[key] = words.say(f"osm.assumed.{name}", **values)

    cabin = tags.get("aerialway") == "gondola"
    seats = _whole(tags.get("aerialway:occupancy")) or (8 if cabin else 4)
    tagged = _whole(tags.get("aerialway:occupancy")) is not None
    because("carriers.seats", "seats_tagged" if tagged else "seats")
    speed, detachable = _speed(tags, length_m=length_m, cabin=cabin, seats=seats)
    because("drives.line_speed_m_per_s", "speed")
    because("drives.emergency_speed_m_per_s", "emergency")
    because("carriers.grip", "grip")
    spacing_m = _spacing_m(tags, seats=seats, speed=speed, cabin=cabin)
    because("carriers.spacing_m", "spacing")
    if cabin:
        empty_kg = 250.0 + 50.0 * seats
    else:
        empty_kg = 70.0 + 40.0 * seats + (60.0 if detachable else 0.0)
    because("carriers.empty_mass_kg", "mass")
    because("carriers.passenger_mass_kg", "passenger")
    because("carriers.rope_to_seat_m", "hanger")
    because("lift.gauge_m", "gauge")

    passenger_kg = 85.0
    load_n_per_m = (empty_kg + seats * passenger_kg) * GRAVITY_M_PER_S2 / spacing_m
    diameter_mm, mass, side_kn = _rope_and_tension(
        load_n_per_m, longest_span_m=longest_span_m, rise_m=rise_m
    )
    factors = rope_factors()[1]
    because("rope.mass_kg_per_m", "rope", diameter_mm=float(diameter_mm))
    because("rope.axial_stiffness_mn", "stiffness")
    because("tension.force_kn", "tension", sag_share=SAG_SHARE)
    because("tension.state", "tension_state")
    because("lift.drive_station", "drive")
    because("lift.ascending_side", "side")
    area_mm2 = factors.area_factor * diameter_mm**2
    strength_kn = factors.strength_factor * diameter_mm**2 * WIRE_GRADE_N_PER_MM2 / 1000
    rules = HeightRules(
        lowest_m=9.5 if cabin else 8.0,
        highest_m=20.0 if cabin else 16.0,
        station_m=5.0 if cabin else 4.5,
        clearance_m=7.0 if cabin else 5.6,
    )
    return Assumed(
        type="cabin" if cabin else "chair",
        grip="detachable" if detachable else "fixed",
        seats=seats,
        empty_mass_kg=empty_kg,
        passenger_mass_kg=passenger_kg,
        spacing_m=spacing_m,
        line_speed_m_per_s=speed,
        rope_to_descender_m=0.8 if cabin else 0.6,
        rope_to_seat_m=3.8 if cabin else 2.6,
        gauge_m=6.0 if detachable else 5.0,
        rope_mass_kg_per_m=round(mass, 2),
        rope_diameter_mm=float(diameter_mm),
        axial_stiffness_mn=round(area_mm2 * STEEL_MODULUS_GPA / 1000, 1),
        breaking_force_kn=round(strength_kn),
        carriage_force_kn=2 * side_kn,
        rules=rules,
        reasons=reasons,
    )


def _rope_and_tension(
    load_n_per_m: float, *, longest_span_m: float, rise_m: float
) -> tuple[int, float, float]:
    """Diameter [mm], mass [kg/m] and tension of one side [kN] that go together."""
    factors = rope_factors()[1]
    for diameter_mm in ROPE_DIAMETERS_MM:
        mass = factors.mass_factor * diameter_mm**2 / 100
        loaded = load_n_per_m + mass * GRAVITY_M_PER_S2
        side_kn = loaded * longest_span_m / (8 * SAG_SHARE) / 1000
        side_kn = min(max(side_kn, LEAST_TENSION_KN), MOST_TENSION_KN)
        side_kn = math.ceil(side_kn / 5) * 5.0
        greatest_kn = side_kn * (1 + TENSION_SPREAD) + loaded * rise_m / 1000
        strength_kn = (
            factors.strength_factor * diameter_mm**2 * WIRE_GRADE_N_PER_MM2 / 1000
        )
        if strength_kn >= LEAST_ROPE_SAFETY * greatest_kn:
            break
    return diameter_mm, mass, side_kn


def _speed(
    tags: Mapping[str, str], *, length_m: float, cabin: bool, seats: int
) -> tuple[float, bool]:
    """Line speed [m/s], and whether the carriers leave the rope in the stations."""
    minutes = _whole(tags.get("aerialway:duration"))
    if minutes:
        speed = length_m / (60 * minutes)
        if 0.8 <= speed <= 7:
            detachable = cabin or seats >= 6 or speed > 2.9
            return round(speed, 1), detachable
    if cabin or seats >= 6:
        return 5.0, True
    return 2.3, False


def _spacing_m(
    tags: Mapping[str, str], *, seats: int, speed: float, cabin: bool
) -> float:
    """Spacing by the tagged capacity, else by the usual interval."""
    interval_s = 12.0 if cabin else 6.0
    capacity = _whole(tags.get("aerialway:capacity"))
    if capacity and 100 <= capacity <= 6000:
        interval_s = min(max(3600 * seats / capacity, 4.0), 60.0)
    return round(max(speed * interval_s, 8.0), 1)


def _whole(text: str | None) -> int | None:
    """A tag as a whole number above 0, None where it is none or odd."""
    if text is None or not text.strip().isdecimal():
        return None
    number = int(text)
    return number if 0 < number < 10_000 else None
