"""Draw a drill from a plan: where the lift stops, who sits where, who does what."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from evac.clearing import make_schedule
from evac.facts.lift import Lift
from evac.facts.plan import Plan
from evac.facts.rehearsal import (
    Drill,
    DrillCarrier,
    DrillKind,
    DrillTeam,
    TimedStep,
    WeatherCard,
)
from evac.facts.work import PickOff, Rescue, Zone
from evac.gear import technique_of
from evac.rehearsal.steps import carrier_steps, span_steps
from evac.simulation.draws import stream

LIVE_HEIGHT_M = 7.0
"""Seats that may hang higher than this, margin and all, carry a dummy and no
volunteer: 6 to 8 m (rule 26)."""

COLD_DRILL_C = -18.0
"""Air temperature on the card of a cold drill (common practice, no source)."""


def draw_drill(
    plan: Plan,
    *,
    seed: int,
    kind: DrillKind | None = None,
    carriers_a_team: int = 3,
    most_live_height_m: float = LIVE_HEIGHT_M,
) -> Drill:
    """Draw a drill; the same plan, seed and kind give the same drill.

    Parameters
    ----------
    plan : Plan
        Its zones are rehearsed as they stand.
    seed : int
        0 or more.
    kind : DrillKind, optional
        Drawn too where not given.
    carriers_a_team : int
        Neighbouring carriers that each team clears, at least 1.
    most_live_height_m : float
        Seats that may hang above this, by their height and its margin, are cleared
        with a dummy [m].

    Returns
    -------
    Drill
    """
    random = stream(seed, "drill")
    kinds = tuple(DrillKind)
    drawn = kinds[int(random.integers(len(kinds)))]
    kind = drawn if kind is None else kind
    stop_index = int(random.integers(len(plan.heights.stops.offset_m)))
    share = float(
        random.triangular(plan.lift.occupancy.low, *_mode_and_high(plan.lift))
        if plan.lift.occupancy.high > plan.lift.occupancy.low
        else plan.lift.occupancy.likely
    )
    schedule = make_schedule(
        plan.lift, plan.heights, plan.work, plan.assignment, stop_index=stop_index
    )
    missing = None
    if kind is DrillKind.TEAM_MISSING and plan.assignment.zones:
        zone_index = int(random.integers(len(plan.assignment.zones)))
        missing = plan.assignment.zones[zone_index].team
    teams = []
    for zone in plan.assignment.zones:
        own = [item for item in schedule.rescues if item.team == zone.team]
        # Each team draws from its own stream: a team more moves nobody else's draw.
        team_random = stream(seed, f"drill {zone.team}")
        chosen = _neighbours(own, count=carriers_a_team, random=team_random)
        teams.append(
            _drill_team(
                plan,
                zone,
                chosen,
                missing=zone.team == missing,
                share=share,
                incapacitated=kind is DrillKind.INCAPACITATED,
                most_live_height_m=most_live_height_m,
                random=team_random,
            )
        )
    return Drill(
        kind=kind,
        seed=seed,
        date=plan.date,
        stop_offset_m=float(plan.heights.stops.offset_m[stop_index]),
        occupied_share=share,
        weather=_weather(plan.lift, kind),
        most_live_height_m=most_live_height_m,
        restored_after=(
            max(1, carriers_a_team - 1) if kind is DrillKind.DRIVE_RESTORED else None
        ),
        teams=tuple(teams),
    )


def _mode_and_high(lift: Lift) -> tuple[float, float]:
    return lift.occupancy.likely, lift.occupancy.high


def _neighbours(
    rescues: Sequence[Rescue], *, count: int, random: np.random.Generator
) -> Sequence[Rescue]:
    first = int(random.integers(max(1, len(rescues) - count + 1)))
    return rescues[first : first + count]


def _drill_team(
    plan: Plan,
    zone: Zone,
    rescues: Sequence[Rescue],
    *,
    missing: bool,
    share: float,
    incapacitated: bool,
    most_live_height_m: float,
    random: np.random.Generator,
) -> DrillTeam:
    seats = plan.lift.carriers.seats
    spans = plan.heights.line.spans
    margins_m = {
        (unit.side, unit.span_index): unit.margin_m for unit in plan.heights.units
    }
    technique = technique_of(plan.lift, zone.option.technique)
    unconscious = incapacitated and technique.incapacitated
    carriers = tuple(
        DrillCarrier(
            number=number,
            side=rescue.side,
            span_id=spans[rescue.span_index].id,
            distance_m=rescue.distance_m,
            seat_height_m=rescue.seat_height_m,
            margin_m=(margin_m := margins_m[rescue.side, rescue.span_index]),
            # The first is never empty, or nothing is practised.
            people=max(int(random.binomial(seats, share)), int(number == 1)),
            # A height that is not known is above every cap.
            dummy=not rescue.seat_height_m + margin_m <= most_live_height_m,
            incapacitated=unconscious and number == 1,
            calls_pickoff=incapacitated and not unconscious and number == 1,
        )
        for number, rescue in enumerate(rescues, start=1)
    )
    team = next(item for item in plan.lift.teams if item.id == zone.team)
    steps: list[TimedStep] = []
    begun: set[str] = set()
    for carrier in carriers:
        if carrier.span_id not in begun:
            begun.add(carrier.span_id)
            steps += span_steps(plan.lift, technique.kind, zone.team, carrier.span_id)
        steps += carrier_steps(plan.lift, technique, team, carrier)
    return DrillTeam(
        team=zone.team,
        technique=zone.option.technique,
        kit=zone.option.kit,
        enters_at=plan.lift.supports[_enters_at(plan, zone, rescues)].id,
        missing=missing,
        carriers=carriers,
        steps=() if missing else tuple(steps),
        pickoff=_pickoff(plan, zone.team),
    )


def _enters_at(plan: Plan, zone: Zone, rescues: Sequence[Rescue]) -> int:
    """The support from which a team comes to the first of its drawn carriers.

    It is the end of that carrier's span nearer to where the zone is begun. Where only
    a mark stands there, it is the next support on the way from the zone's begin.
    """
    if not rescues:
        return zone.start_support
    from_last = zone.start_support > zone.first_span
    support = rescues[0].span_index + int(from_last)
    while support != zone.start_support and plan.lift.supports[support].mark:
        support += 1 if from_last else -1
    return support


def _pickoff(plan: Plan, team: str) -> PickOff | None:
    return next(
        (item for item in plan.pickoffs if item.zone_team == team and item.team), None
    )


def _weather(lift: Lift, kind: DrillKind) -> WeatherCard:
    conditions = lift.conditions
    return WeatherCard(
        air_temperature_c=min(conditions.air_temperature_c, COLD_DRILL_C)
        if kind is DrillKind.COLD
        else conditions.air_temperature_c,
        wind_m_per_s=conditions.wind_m_per_s,
        night=conditions.night or kind is DrillKind.NIGHT,
        snow_m=conditions.snow_most_m,
    )
