"""GPX and GeoJSON for receivers and map programs."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import gpxpy.gpx
import numpy as np
import shapely
from shapely.geometry import LineString, mapping

from evac.assignment import team_of_unit
from evac.facts.plan import Plan
from evac.figures.support_words import support_text
from evac.frame import Frame
from evac.tables_out.numbers import finite, json_bytes
from evac.words import Words


def gpx_bytes(plan: Plan, words: Words) -> bytes:
    """GPX 1.1 waypoints (supports, muster points, team starts) and routes of teams."""
    frame = _frame(plan)
    gpx = gpxpy.gpx.GPX()
    gpx.creator = "evac"
    gpx.name = _xml_text(plan.lift.name)
    gpx.description = words.say("cautions.short")

    def place(name: str, x_m: float, y_m: float, note: str) -> None:
        latitude, longitude = frame.to_degrees(x_m=[x_m], y_m=[y_m])
        gpx.waypoints.append(
            gpxpy.gpx.GPXWaypoint(
                latitude=round(float(latitude[0]), 7),
                longitude=round(float(longitude[0]), 7),
                name=_xml_text(name),
                description=_xml_text(note),
            )
        )

    for support in plan.lift.supports:
        note = support_text(support, words)
        place(support.id, support.x_m, support.y_m, note)
    for point in plan.lift.muster_points:
        note = words.say("map.muster", name=point.name, places=point.shelter_places)
        place(point.name, point.x_m, point.y_m, note)
    for team in plan.lift.teams:
        note = words.say("map.start", team=team.id, place=team.start_place)
        place(team.start_place, team.start_x_m, team.start_y_m, note)
    for route, text in _team_routes(plan, words):
        track = gpxpy.gpx.GPXRoute(name=_xml_text(text))
        latitude, longitude = frame.to_degrees(x_m=route.x_m, y_m=route.y_m)
        track.points = [
            gpxpy.gpx.GPXRoutePoint(round(float(lat), 7), round(float(lon), 7))
            for lat, lon in zip(latitude, longitude, strict=True)
        ]
        gpx.routes.append(track)
    return str(gpx.to_xml(version="1.1")).encode("utf-8")


def geojson_bytes(plan: Plan, words: Words) -> bytes:
    """RFC 7946 GeoJSON: supports, span-sides with heights, zones' routes, musters."""
    frame = _frame(plan)
    features: list[dict[str, object]] = []

    def add(geometry: Any, **properties: object) -> None:
        features.append(
            {
                "type": "Feature",
                "geometry": mapping(shapely.transform(geometry, _to_degrees(frame))),
                "properties": properties,
            }
        )

    supports = plan.lift.supports
    for support in supports:
        features.append(
            {
                "type": "Feature",
                "geometry": _point(frame, support.x_m, support.y_m),
                "properties": {
                    "what": "mark in a span" if support.mark else "support",
                    "support": support.id,
                    "rope_height_m": support.rope_height_m,
                },
            }
        )
    teams = team_of_unit(plan.work, plan.assignment.zones)
    for unit in plan.heights.units:
        ground = plan.heights.line.ground[unit.side]
        span = plan.heights.line.spans[unit.span_index]
        inside = (ground.distance_m >= span.start_m) & (ground.distance_m <= span.end_m)
        chain = LineString(
            np.column_stack([ground.x_m[inside], ground.y_m[inside]])
        ).simplify(0.5)
        add(
            chain,
            what="span",
            span=unit.span_id,
            side=unit.side.value,
            known=unit.known,
            seat_greatest_m=finite(unit.seat_greatest_m),
            rope_greatest_m=finite(unit.rope_greatest_m),
            margin_m=finite(unit.margin_m),
            team=teams.get((unit.side, unit.span_index)),
        )
    for route, text in _team_routes(plan, words):
        add(
            LineString(list(zip(route.x_m, route.y_m, strict=True))),
            what="route",
            team=route.team,
            name=text,
            seconds=round(route.seconds),
        )
    for point in plan.lift.muster_points:
        features.append(
            {
                "type": "Feature",
                "geometry": _point(frame, point.x_m, point.y_m),
                "properties": {"what": "muster point", "name": point.name},
            }
        )
    return json_bytes(
        {
            "type": "FeatureCollection",
            "caution": words.say("cautions.short"),
            "features": features,
        }
    )


def _team_routes(plan: Plan, words: Words) -> Iterable[tuple[Any, str]]:
    starts = {zone.team: zone.start_support for zone in plan.assignment.zones}
    for route in plan.routes:
        if starts.get(route.team) == route.support_index and len(route.x_m) > 1:
            yield (
                route,
                words.say(
                    "map.route",
                    team=route.team,
                    length_m=route.length_m,
                    seconds_s=route.seconds,
                ),
            )


def _xml_text(text: str) -> str:
    """Text without the characters that XML 1.0 cannot hold (production 2, Char)."""
    return "".join(letter if _xml_holds(ord(letter)) else " " for letter in text)


def _xml_holds(code: int) -> bool:
    return (
        code in (0x9, 0xA, 0xD)
        or 0x20 <= code <= 0xD7FF
        or 0xE000 <= code <= 0xFFFD
        or code >= 0x10000
    )


def _frame(plan: Plan) -> Frame:
    return Frame(
        latitude_deg=plan.lift.latitude_deg, longitude_deg=plan.lift.longitude_deg
    )


def _to_degrees(frame: Frame) -> Callable[[Any], Any]:
    def convert(places_m: Any) -> Any:
        latitude, longitude = frame.to_degrees(x_m=places_m[:, 0], y_m=places_m[:, 1])
        return np.column_stack([longitude, latitude]).round(7)

    return convert


def _point(frame: Frame, x_m: float, y_m: float) -> dict[str, object]:
    latitude, longitude = frame.to_degrees(x_m=[x_m], y_m=[y_m])
    return {
        "type": "Point",
        "coordinates": [round(float(longitude[0]), 7), round(float(latitude[0]), 7)],
    }
