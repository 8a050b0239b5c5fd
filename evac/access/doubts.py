"""What the plan must say about the ways in."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString

from evac.access.network import AVALANCHE
from evac.access.strands import LIFT_KIND, PIECE_M, is_own_line
from evac.facts.finding import Finding, Severity
from evac.facts.heights import Line
from evac.facts.lift import Lift
from evac.facts.work import NEVER_S, Route
from evac.ground import sample_grid

DEEP_SNOW_M = 0.5
LEAST_SNOW_FACTOR = 1.5
"""Walking in snow deeper than the first is hardly quicker than the second times dry
ground (common practice, no source)."""


def doubts(lift: Lift, line: Line, routes: tuple[Route, ...]) -> tuple[Finding, ...]:
    """Straight lines instead of ways, supports without a way, unknown ground.

    Parameters
    ----------
    lift : Lift
    line : Line
    routes : tuple of Route
        From :func:`evac.access.find_routes`.
    """
    return (
        *_no_ways(lift),
        *_unreached(lift, routes),
        *_ground(lift),
        *_own_lift(lift),
        *_avalanche(lift, line, routes),
        *_vehicles(lift),
        *_snow(lift),
    )


def _snow(lift: Lift) -> list[Finding]:
    """Somebody wades in deep snow with a factor for packed ground."""
    factor, snow_m = lift.travel.foot_factor, lift.conditions.snow_most_m
    walks = any(team.travel != "ski" for team in lift.teams)
    if not walks or snow_m < DEEP_SNOW_M or factor >= LEAST_SNOW_FACTOR:
        return []
    return [
        Finding(
            key="access.slow_snow",
            severity=Severity.WARN,
            values={"snow_m": snow_m, "factor": f"{factor:g}"},
        )
    ]


def _no_ways(lift: Lift) -> list[Finding]:
    if lift.ways:
        return []
    return [
        Finding(
            key="access.no_ways",
            severity=Severity.WARN,
            values={"factor": lift.travel.off_way_factor},
        )
    ]


def _unreached(lift: Lift, routes: tuple[Route, ...]) -> list[Finding]:
    findings = []
    for team in lift.teams:
        never = [
            lift.supports[route.support_index].id
            for route in routes
            if route.team == team.id and route.seconds >= NEVER_S
        ]
        if never:
            findings.append(
                Finding(
                    key="access.no_way",
                    severity=Severity.WARN,
                    where=team.id,
                    values={"supports": ", ".join(never)},
                )
            )
    return findings


def _ground(lift: Lift) -> list[Finding]:
    if lift.terrain is None:
        return [Finding(key="access.no_terrain", severity=Severity.WARN)]
    outside = []
    for way in lift.ways:
        x_m, y_m = shapely.get_coordinates(way.geometry.segmentize(PIECE_M)).T
        if np.isnan(sample_grid(lift.terrain, x_m=x_m, y_m=y_m)).any():
            outside.append(way.name or way.id)
    for team in lift.teams:
        at = sample_grid(lift.terrain, x_m=[team.start_x_m], y_m=[team.start_y_m])
        if np.isnan(at).any():
            outside.append(team.start_place)
    if not outside:
        return []
    return [
        Finding(
            key="access.beyond_terrain",
            severity=Severity.WARN,
            values={"places": ", ".join(dict.fromkeys(outside))},
        )
    ]


def _own_lift(lift: Lift) -> list[Finding]:
    return [
        Finding(key="access.own_lift", severity=Severity.WARN, where=way.name or way.id)
        for way in lift.ways
        if way.kind == LIFT_KIND
        and isinstance(way.geometry, LineString)
        and is_own_line(lift, way.geometry)
    ]


def _avalanche(lift: Lift, line: Line, routes: tuple[Route, ...]) -> list[Finding]:
    grounds = [hazard for hazard in lift.hazards if hazard.kind == AVALANCHE]
    if not grounds or not routes:
        return []
    names = ", ".join(hazard.name or hazard.id for hazard in grounds)
    return [
        Finding(
            key="access.avalanche",
            severity=Severity.WARN,
            values={"grounds": names, "spans": len(line.spans)},
        )
    ]


def _vehicles(lift: Lift) -> list[Finding]:
    findings = []
    vehicles = dict.fromkeys(t.vehicle for t in lift.teams if t.vehicle is not None)
    for vehicle in vehicles:
        aboard = [team for team in lift.teams if team.vehicle == vehicle]
        if len({team.start_place for team in aboard}) > 1:
            findings.append(
                Finding(
                    key="access.vehicle_twice", severity=Severity.WARN, where=vehicle
                )
            )
    return findings
