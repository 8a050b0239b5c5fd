"""One invented lift for tests: 600 m long, six supports, three teams.

Nothing in it is a real place. Step times: `step_times.csv` beside this file, a copy of
the first table of step times, so that tests run without the shared data.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from shapely.geometry import LineString

from evac.facts.lift import (
    Carriers,
    CarrierType,
    Conditions,
    Drives,
    Grip,
    GroundTable,
    Hazard,
    Kit,
    Lift,
    Limit,
    MusterPoint,
    Organisation,
    Rope,
    StepTime,
    Support,
    SupportKind,
    Team,
    Technique,
    Tension,
    TensionState,
    Terrain,
    Travel,
    Triple,
    Way,
)

BEARING_DEG = 30.0
"""Of the invented line, clockwise from north."""

LOOP = "loop over the haul rope belayed from the ground"
ON_ROPE = "rescuer on the haul rope with a descender"

STEP_TIMES = Path(__file__).with_name("step_times.csv")


def make_lift(**changes: Any) -> Lift:
    """A complete small lift; ``changes`` replace fields of `Lift`.

    Examples
    --------
    >>> make_lift(gauge_m=5.0).gauge_m
    5.0
    >>> [support.id for support in make_lift().supports]
    ['0', '1', '2', '3', '4', '5']
    """
    lift = Lift(
        name="Testfell Quad",
        operator="Testfell Lifts",
        revision="A",
        kind="detachable four-seat chairlift",
        ascending_on_right=True,
        upper_is_last=True,
        drive_at_last=False,
        gauge_m=6.0,
        latitude_deg=46.8,
        longitude_deg=9.9,
        supports=make_supports(),
        rope=Rope(
            mass_kg_per_m=5.9,
            axial_stiffness_n=63e6,
            diameter_m=0.040,
            breaking_force_n=1_000_000.0,
        ),
        tension=Tension(
            state=TensionState.CONSTANT,
            held_at_drive=False,
            force_n=360_000.0,
            low_force_n=342_000.0,
            high_force_n=378_000.0,
        ),
        carriers=Carriers(
            type=CarrierType.CHAIR,
            grip=Grip.DETACHABLE,
            seats=4,
            empty_mass_kg=350.0,
            passenger_mass_kg=90.0,
            spacing_m=30.0,
            rope_to_descender_m=0.5,
            rope_to_seat_m=2.8,
            on_loop=42,
        ),
        load_cases=(),
        occupancy=Triple(low=0.3, likely=0.6, high=1.0),
        descending_occupancy=Triple(low=0.0, likely=0.02, high=0.1),
        limits=(
            Limit(
                minutes=180.0,
                counts_from="stop",
                counts_to="on the ground",
                source="invented for tests",
            ),
        ),
        drives=Drives(
            line_speed_m_per_s=5.0,
            emergency_speed_m_per_s=Triple(low=0.5, likely=1.0, high=2.0),
            emergency_engage_s=Triple(low=300.0, likely=600.0, high=1200.0),
        ),
        conditions=Conditions(
            date=date(2026, 1, 20),
            stop_clock_s=13 * 3600.0,
            time_zone="Europe/Zurich",
            air_temperature_c=-8.0,
            wind_m_per_s=4.0,
            gust_m_per_s=8.0,
            night=False,
            iced_rope=False,
            snow_least_m=0.0,
            snow_most_m=1.2,
            skyline_angle_deg=5.0,
        ),
        organisation=Organisation(
            stop_to_order_s=Triple(low=600.0, likely=900.0, high=1800.0),
            order_to_secured_s=Triple(low=300.0, likely=600.0, high=900.0),
            ground_to_safe_s=Triple(low=600.0, likely=900.0, high=1500.0),
            standdown_s=Triple(low=600.0, likely=900.0, high=1500.0),
            roles={"command": 1, "line mechanic": 1, "drive operator": 1},
            people_present=14,
            informer_count=2,
            informer_speed_m_per_s=1.0,
            first_word_s=900.0,
            repeat_word_s=1200.0,
        ),
        travel=Travel(
            walking_rule="din33466",
            foot_factor=1.5,
            ski_down_m_per_s=5.0,
            ski_flat_m_per_s=1.2,
            vehicle_m_per_s=4.0,
            off_way_factor=2.0,
        ),
        teams=make_teams(),
        kits=make_kits(),
        techniques=make_techniques(),
        step_times=make_step_times(),
        hazards=(
            Hazard(
                id="road",
                kind="road",
                name="Test road",
                geometry=LineString([along(160, 60), along(160, -60)]),
                opens_s=Triple(low=300.0, likely=600.0, high=900.0),
                opened_by="parking staff",
                extra_s_per_passenger=0.0,
                extra_people=1,
                note="closed at both ends",
            ),
        ),
        ways=(
            Way(
                id="track",
                kind="track",
                name="Supply track",
                geometry=LineString(
                    [along(d, 40 + 15 * np.sin(d / 60)) for d in range(0, 601, 30)]
                ),
                travel=("foot", "snow vehicle", "ski"),
                one_way=False,
                speed_m_per_s=None,
            ),
        ),
        muster_points=(
            MusterPoint(
                id="hut",
                name="Lower hut",
                x_m=along(-20, 40)[0],
                y_m=along(-20, 40)[1],
                shelter_places=120,
                vehicle_seats=8,
                vehicle_round_s=900.0,
                receivers=2,
            ),
        ),
        terrain=None,
        ground_table=make_ground_table(),
        assumptions=(),
        plan_texts={},
        findings=(),
        fingerprint={},
    )
    return replace(lift, **changes)


def along(distance_m: float, right_m: float = 0.0) -> tuple[float, float]:
    """Place (x_m, y_m) at a distance along the line, ``right_m`` to its right."""
    bearing = np.radians(BEARING_DEG)
    east, north = np.sin(bearing), np.cos(bearing)
    return (
        float(distance_m * east + right_m * north),
        float(distance_m * north - right_m * east),
    )


def ground_m(distance_m: Any) -> Any:
    """Invented ground below the centre line, with a gully between 2 and 3."""
    distance = np.asarray(distance_m, float)
    slope = np.interp(
        distance,
        [-100, 0, 110, 230, 345, 470, 600, 700],
        [0, 0, 22, 55, 90, 130, 158, 160],
    )
    gully = 14 * np.exp(-(((distance - 287) / 18) ** 2))
    return slope - gully


def make_supports() -> tuple[Support, ...]:
    """Two stations' edges and four towers."""
    rows = (
        ("0", 0.0, 6.0, SupportKind.STATION),
        ("1", 110.0, 13.0, SupportKind.SUPPORT),
        ("2", 230.0, 13.0, SupportKind.SUPPORT),
        ("3", 345.0, 14.0, SupportKind.SUPPORT),
        ("4", 470.0, 13.0, SupportKind.SUPPORT),
        ("5", 600.0, 6.0, SupportKind.STATION),
    )
    return tuple(
        Support(
            id=name,
            distance_m=distance,
            ground_m=float(ground_m(distance)),
            rope_height_m=height,
            kind=kind,
            x_m=along(distance)[0],
            y_m=along(distance)[1],
        )
        for name, distance, height, kind in rows
    )


def make_ground_table() -> GroundTable:
    """A surveyed table every 5 m; the descending side lies 0.5 m lower.

    Supports stand midway between the two ropes, and so does their ground.
    """
    distance = np.arange(0.0, 601.0, 5.0)
    return GroundTable(
        distance_m=distance,
        ascending_m=ground_m(distance) + 0.25,
        descending_m=ground_m(distance) - 0.25,
        sd_m=0.3,
    )


def make_terrain(*, cell_m: float = 5.0, cross_slope: float = 0.1) -> Terrain:
    """The same ground as a grid; it falls by ``cross_slope`` to the right."""
    bearing = np.radians(BEARING_DEG)
    x_m = np.arange(-100.0, 460.0, cell_m)
    y_m = np.arange(-120.0, 640.0, cell_m)
    east, north = np.meshgrid(x_m, y_m)
    distance = east * np.sin(bearing) + north * np.cos(bearing)
    right = east * np.cos(bearing) - north * np.sin(bearing)
    return Terrain(
        west_m=float(x_m[0]),
        south_m=float(y_m[0]),
        cell_m=cell_m,
        elevation_m=ground_m(distance) - cross_slope * right,
        source_cell_m=cell_m,
        sd_m=0.5,
        source="invented",
    )


def make_teams() -> tuple[Team, ...]:
    """Three teams: two from the lower station, one from the upper."""
    rows = (
        ("Team 1", 4, (LOOP,), "lower station", along(-10, 15), 300.0, "foot", True),
        (
            "Team 2",
            3,
            (LOOP, ON_ROPE),
            "patrol hut",
            along(-40, 30),
            600.0,
            "ski",
            True,
        ),
        (
            "Team 3",
            4,
            (LOOP, "ladder"),
            "upper station",
            along(610, 12),
            420.0,
            "ski",
            True,
        ),
    )
    return tuple(
        Team(
            id=name,
            crew=crew,
            techniques=techniques,
            start_place=place,
            start_x_m=start[0],
            start_y_m=start[1],
            ready_s=ready,
            travel=travel,
            start_upper=upper,
            vehicle=None,
            last_drill=date(2025, 11, 20),
            cost=None,
            channel="3",
        )
        for name, crew, techniques, place, start, ready, travel, upper in rows
    )


def make_kits() -> tuple[Kit, ...]:
    """One kit a team for its first technique, a descender for team 2, a ladder."""
    rows = (
        ("Kit 1", "Team 1", LOOP, 60.0, 14.0, False),
        ("Kit 2", "Team 2", LOOP, 80.0, 40.0, True),
        ("Kit 3", "Team 3", LOOP, 60.0, 14.0, False),
        ("Kit 4", "Team 2", ON_ROPE, 60.0, 99.0, False),
        ("Kit 5", "Team 3", "ladder", 6.0, 6.0, False),
    )
    return tuple(
        Kit(
            id=name,
            team=team,
            technique=technique,
            rope_length_m=length,
            throw_height_m=throw,
            launcher=launcher,
            descent_energy_j=1.5e6 if technique == ON_ROPE else None,
            descent_used_j=0.0,
            rated_least_kg=30.0 if technique == ON_ROPE else None,
            rated_most_kg=150.0 if technique == ON_ROPE else None,
            inspection_due=date(2026, 10, 1),
            retire_on=date(2030, 10, 1),
            stored_at="patrol hut",
        )
        for name, team, technique, length, throw, launcher in rows
    )


def make_techniques() -> tuple[Technique, ...]:
    """Loop, rescuer on the rope, ladder, with the common figures of rule 13."""
    loop = Technique(
        id=LOOP,
        kind=LOOP,
        min_crew=3,
        roles="belayer, thrower, receiver",
        carrier_types=(CarrierType.CHAIR,),
        per_rope_height=2.0,
        per_attachment_height=0.0,
        per_seat_height=0.0,
        stance_m=7.0,
        knots_tails_m=3.0,
        belayer_tail_m=3.0,
        stretch_share=0.03,
        reserve_m=3.0,
        reserve_share=0.05,
        needs_line_over_rope=True,
        most_seat_height_m=None,
        most_rope_slope_deg=90.0,
        passes_rollers=True,
        passes_hold_downs=True,
        incapacitated=False,
        downhill_only=True,
        wind_limit_m_per_s=15.0,
        approval="test approval 1",
    )
    on_rope = replace(
        loop,
        id=ON_ROPE,
        kind=ON_ROPE,
        min_crew=2,
        roles="rescuer on the rope, receiver",
        carrier_types=(CarrierType.CHAIR, CarrierType.CABIN),
        per_rope_height=0.0,
        per_attachment_height=1.0,
        stance_m=0.0,
        belayer_tail_m=4.0,
        needs_line_over_rope=False,
        most_rope_slope_deg=30.0,
        passes_rollers=True,
        passes_hold_downs=False,
        incapacitated=True,
        approval="test approval 2",
    )
    ladder = replace(
        loop,
        id="ladder",
        kind="ladder",
        min_crew=3,
        roles="two footing, one climbing",
        per_rope_height=0.0,
        per_seat_height=1.0,
        stance_m=0.0,
        knots_tails_m=0.0,
        belayer_tail_m=0.0,
        stretch_share=0.0,
        reserve_m=0.5,
        reserve_share=0.0,
        needs_line_over_rope=False,
        most_seat_height_m=4.5,
        downhill_only=False,
        approval="test approval 3",
    )
    return (loop, on_rope, ladder)


def make_step_times() -> tuple[StepTime, ...]:
    """The typed table as facts."""
    rows = csv.DictReader(STEP_TIMES.read_text("utf-8").splitlines())
    return tuple(
        StepTime(
            technique=row["technique"],
            step=row["step"],
            per=row["per"],
            seconds=Triple(
                low=float(row["low_s"]),
                likely=float(row["likely_s"]),
                high=float(row["high_s"]),
            ),
            condition=row["condition"],
        )
        for row in rows
    )
