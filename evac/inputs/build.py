"""Checked rows and sections become facts in SI units."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from evac.facts.drill import DrillRecord
from evac.facts.lift import (
    Assumption,
    Carriers,
    CarrierType,
    Conditions,
    Drives,
    Grip,
    Kit,
    Limit,
    LoadCase,
    Organisation,
    Rope,
    StepTime,
    Team,
    Technique,
    Tension,
    TensionState,
    Travel,
    Triple,
)
from evac.frame import Frame
from evac.inputs.problems import WORDS
from evac.inputs.rows import DrillRow, KitRow, StepTimeRow, TeamRow, TechniqueRow
from evac.inputs.sections import (
    CarriersSection,
    ConditionsSection,
    DrivesSection,
    LiftToml,
    OrganisationSection,
    TensionSection,
)

TENSION_DOUBT_SHARE = 0.05
"""Assumed either way where ``low_kn`` and ``high_kn`` are blank (common practice,
no source)."""


def rope(toml: LiftToml) -> Rope:
    """The haul rope."""
    section = toml.rope
    return Rope(
        mass_kg_per_m=section.mass_kg_per_m,
        axial_stiffness_n=section.axial_stiffness_mn * 1e6,
        diameter_m=None if section.diameter_mm is None else section.diameter_mm / 1e3,
        breaking_force_n=_thousand(section.breaking_force_kn),
    )


def tension(section: TensionSection) -> Tension:
    """The tension system; blank bounds are taken 5 % either way."""
    low_n, high_n = _thousand(section.low_kn), _thousand(section.high_kn)
    force_n = _thousand(section.force_kn)
    if force_n is None:
        # Only where the state is unknown, which demands both bounds.
        force_n = ((low_n or 0.0) + (high_n or 0.0)) / 2
    return Tension(
        state=TensionState(section.state),
        held_at_drive=section.held_at == "drive",
        force_n=force_n,
        low_force_n=force_n * (1 - TENSION_DOUBT_SHARE) if low_n is None else low_n,
        high_force_n=force_n * (1 + TENSION_DOUBT_SHARE) if high_n is None else high_n,
    )


def tension_assumptions(toml: LiftToml) -> tuple[Assumption, ...]:
    """What `tension` assumed for blank bounds, as a printed assumption."""
    section = toml.tension
    if "tension.low_kn" in toml.assumptions or "tension.high_kn" in toml.assumptions:
        return ()
    if section.low_kn is not None and section.high_kn is not None:
        return ()
    taken = tension(section)
    return (
        Assumption(
            key="tension.low_kn, tension.high_kn",
            value=WORDS.say(
                "inputs.tension_range",
                low_n=taken.low_force_n,
                high_n=taken.high_force_n,
            ),
            reason=WORDS.say("inputs.tension_reason", doubt_share=TENSION_DOUBT_SHARE),
            accepted=False,
        ),
    )


def carriers(section: CarriersSection, *, axial_stiffness_n: float) -> Carriers:
    """The carriers; a spacing measured under tension is let back to no tension."""
    strain = section.spacing_at_tension_kn * 1000 / axial_stiffness_n
    return Carriers(
        type=CarrierType(section.type),
        grip=Grip(section.grip),
        seats=section.seats,
        empty_mass_kg=section.empty_mass_kg,
        passenger_mass_kg=section.passenger_mass_kg,
        spacing_m=section.spacing_m / (1 + strain),
        rope_to_descender_m=section.rope_to_descender_m,
        rope_to_seat_m=section.rope_to_seat_m,
        # Whoever lists their numbers has counted them.
        on_loop=section.on_loop or len(section.numbers) or None,
        numbers=section.numbers,
        loop_offset_m=section.loop_offset_m,
    )


def load_cases(toml: LiftToml) -> tuple[LoadCase, ...]:
    """Who sits where."""
    return tuple(
        LoadCase(
            name=case.name,
            ascending_share=case.ascending,
            descending_share=case.descending,
            from_share=case.from_share,
            to_share=case.to_share,
            batch_loaded=case.batch_loaded,
            batch_empty=case.batch_empty,
        )
        for case in toml.loading.case
    )


def limits(toml: LiftToml) -> tuple[Limit, ...]:
    """The time limits."""
    return tuple(
        Limit(
            minutes=limit.minutes,
            counts_from=limit.counts_from,
            counts_to=limit.counts_to,
            source=limit.source,
            before_rescue_min=limit.before_rescue_min,
        )
        for limit in toml.limit
    )


def drives(section: DrivesSection) -> Drives:
    """The drives."""
    speed, engage = section.emergency_speed_m_per_s, section.emergency_engage_min
    unload = section.unload_stop_s
    return Drives(
        line_speed_m_per_s=section.line_speed_m_per_s,
        emergency_speed_m_per_s=None if speed is None else triple(speed, factor=1),
        emergency_engage_s=None if engage is None else triple(engage, factor=60),
        unload_stop_s=None if unload is None else triple(unload, factor=1),
    )


def conditions(section: ConditionsSection, *, today: date) -> Conditions:
    """The day; `today` where the folder leaves it open."""
    return Conditions(
        date=section.date or today,
        stop_clock_s=section.stop_time,
        time_zone=section.time_zone,
        air_temperature_c=section.air_temperature_c,
        wind_m_per_s=section.wind_m_per_s,
        gust_m_per_s=section.gust_m_per_s,
        night=section.night,
        iced_rope=section.iced_rope,
        snow_least_m=section.snow_least_m,
        snow_most_m=section.snow_most_m,
        skyline_angle_deg=section.skyline_angle_deg,
        clothing=section.clothing,
    )


def organisation(section: OrganisationSection) -> Organisation:
    """The common steps, in seconds."""
    latest = section.latest_arrival_min
    return Organisation(
        stop_to_order_s=triple(section.stop_to_order_min, factor=60),
        order_to_secured_s=triple(section.order_to_secured_min, factor=60),
        ground_to_safe_s=triple(section.ground_to_safe_min, factor=60),
        standdown_s=triple(section.standdown_min, factor=60),
        roles=dict(section.roles),
        people_present=section.people_present,
        informer_count=section.informers,
        informer_speed_m_per_s=section.informer_speed_m_per_s,
        first_word_s=section.first_word_min * 60,
        repeat_word_s=section.repeat_word_min * 60,
        pickoff_s=section.pickoff_min * 60,
        latest_arrival_s=None if latest is None else latest * 60,
        drill_rule=section.drill_rule,
    )


def travel(toml: LiftToml) -> Travel:
    """The walking rule and speeds."""
    return Travel(**toml.travel.model_dump())


def teams(rows: Sequence[TeamRow], *, frame: Frame) -> tuple[Team, ...]:
    """The teams, placed in the frame."""
    x_m, y_m = frame.from_degrees(
        latitude_deg=[row.start_lat for row in rows],
        longitude_deg=[row.start_lon for row in rows],
    )
    return tuple(
        Team(
            id=row.team,
            crew=row.crew,
            techniques=row.techniques,
            start_place=row.start_place,
            start_x_m=float(x),
            start_y_m=float(y),
            ready_s=row.ready_min * 60,
            travel=row.travel,
            start_upper=row.starts_at != "lower",
            vehicle=row.vehicle,
            last_drill=row.last_drill,
            cost=row.cost,
            channel=row.channel,
            drop_order=row.drop_order,
            duty_from_s=row.duty_from,
            duty_to_s=row.duty_to,
        )
        for row, x, y in zip(rows, x_m, y_m, strict=True)
    )


def kits(rows: Sequence[KitRow]) -> tuple[Kit, ...]:
    """The kits."""
    return tuple(
        Kit(
            id=row.kit,
            team=row.team,
            technique=row.technique,
            rope_length_m=row.rope_length_m,
            throw_height_m=row.throw_height_m,
            launcher=row.launcher,
            descent_energy_j=_million(row.descent_energy_mj),
            descent_used_j=_million(row.descent_used_mj) or 0.0,
            rated_least_kg=row.rated_least_kg,
            rated_most_kg=row.rated_most_kg,
            inspection_due=row.inspection_due,
            retire_on=row.retire_on,
            stored_at=row.stored_at,
            pause_after=row.pause_after,
            pause_s=60.0 * (row.pause_min or 0.0),
        )
        for row in rows
    )


def techniques(rows: Sequence[TechniqueRow]) -> tuple[Technique, ...]:
    """The techniques."""
    return tuple(
        Technique(id=row.technique, **row.model_dump(exclude={"technique"}))
        for row in rows
    )


def drill_records(
    rows: Sequence[DrillRow], *, numbers: Sequence[int], file: str
) -> tuple[DrillRecord, ...]:
    """What was timed in drills, each record with the row it came from."""
    return tuple(
        DrillRecord(
            **row.model_dump(exclude={"note"}),
            where=WORDS.say("inputs.row_of", file=file, row=number),
        )
        for row, number in zip(rows, numbers, strict=True)
    )


def step_times(rows: Sequence[StepTimeRow]) -> tuple[StepTime, ...]:
    """The step times."""
    return tuple(
        StepTime(
            technique=row.technique,
            step=row.step,
            per=row.per,
            seconds=Triple(low=row.low_s, likely=row.likely_s, high=row.high_s),
            condition=row.condition,
        )
        for row in rows
    )


def triple(three: tuple[float, float, float], *, factor: float) -> Triple:
    """Low, likely, high times `factor`."""
    low, likely, high = three
    return Triple(low=low * factor, likely=likely * factor, high=high * factor)


def _thousand(value: float | None) -> float | None:
    return None if value is None else value * 1e3


def _million(value: float | None) -> float | None:
    return None if value is None else value * 1e6
