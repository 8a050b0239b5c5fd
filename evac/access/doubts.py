"""What the plan must say about the ways in."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString

from evac.access.network import AVALANCHE, ground_of
from evac.access.strands import LIFT_KIND, PIECE_M, is_own_line
from evac.factors import DEEP_SNOW_M
from evac.facts.finding import Finding, Severity
from evac.facts.heights import BoolArray, Line
from evac.facts.lift import FloatArray, Hazard, Lift
from evac.facts.work import NEVER_S, Route
from evac.ground import sample_grid

LEAST_SNOW_FACTOR = 1.5
"""Walking in deep snow is hardly quicker than this times dry ground (common practice,
no source)."""

NOT_WALKED = ("water", "ledge")
"""Kinds of hazard that nobody simply walks over: where no way is drawn over them it
takes a tag line, a boat, a second lowering (rule 20)."""

ON_WAY_M = 0.5
"""A piece of a route this near to a drawn way lies on it."""


def doubts(lift: Lift, line: Line, routes: tuple[Route, ...]) -> tuple[Finding, ...]:
    """Straight lines instead of ways, supports without a way, ground not to be walked.

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
        *_crossings(lift, routes),
        *_vehicles(lift),
        *_snow(lift),
    )


def crossed_off_way(lift: Lift, route: Route) -> tuple[Hazard, ...]:
    """Water and ledges that a route leads over where no way is drawn.

    A drawn way is taken to lead over them safely: a bridge, a ford, steps.

    Parameters
    ----------
    lift : Lift
    route : Route
        Of a team or of evacuees.

    Returns
    -------
    tuple of Hazard
        In the folder's order.
    """
    if len(route.x_m) < 2:
        return ()
    places = np.column_stack([route.x_m, route.y_m])
    whole = LineString(places)
    grounds = [
        hazard
        for hazard in lift.hazards
        if hazard.kind in NOT_WALKED and ground_of(hazard.geometry).intersects(whole)
    ]
    if not grounds:
        return ()
    ends = np.stack([places[:-1], places[1:]], axis=1)
    pieces = np.asarray(shapely.linestrings(ends))
    off_way = pieces[~_on_ways(lift, route, places)]
    return tuple(
        hazard
        for hazard in grounds
        if shapely.intersects(ground_of(hazard.geometry), off_way).any()
    )


def _on_ways(lift: Lift, route: Route, places: FloatArray) -> BoolArray:
    """Which pieces between the places of a route lie on the ways that it takes."""
    taken = shapely.union_all(
        [way.geometry for way in lift.ways if way.id in route.way_ids]
    )
    # Both ends and the middle: a short cut between two ways leaves them in between.
    stops = (places[:-1], (places[:-1] + places[1:]) / 2, places[1:])
    near = [shapely.dwithin(shapely.points(stop), taken, ON_WAY_M) for stop in stops]
    found: BoolArray = np.all(near, axis=0)
    return found


def _crossings(lift: Lift, routes: tuple[Route, ...]) -> list[Finding]:
    """Teams that are sent over water or a ledge, of which no time is counted."""
    crossed: dict[str, tuple[dict[str, None], dict[str, None]]] = {}
    for route in routes:
        hazards = crossed_off_way(lift, route)
        if hazards:
            supports, names = crossed.setdefault(route.team, ({}, {}))
            supports[lift.supports[route.support_index].id] = None
            names |= dict.fromkeys(hazard_name(hazard) for hazard in hazards)
    return [
        Finding(
            key="access.crosses_off_way",
            severity=Severity.WARN,
            where=team,
            values={"supports": ", ".join(supports), "hazards": ", ".join(names)},
        )
        for team, (supports, names) in crossed.items()
    ]


def hazard_name(hazard: Hazard) -> str:
    """A hazard as findings name it, such as ``"water Lark burn"``."""
    return f"{hazard.kind} {hazard.name or hazard.id}"


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
