"""What is drawn on the map, layer by layer, as folium elements.

Meaning is never carried by colour alone: every class of line has its own dashes, and
every mark its own text, which a keyboard reaches too.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import folium
import numpy as np
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from evac.facts.lift import Lift, Side
from evac.facts.plan import Plan
from evac.facts.work import Zone
from evac.figures.support_words import support_text
from evac.figures.taken import units_passed, units_taken
from evac.frame import Frame
from evac.maps.bands import ZONE_PX, Band, add_bands, band, middle, rope_m
from evac.maps.marks import degrees, label, safe
from evac.maps.relief import Contour, Relief
from evac.words import Words

ROUTE_STYLE: dict[str, object] = {
    "color": "#000000",
    "weight": 2.5,
    "dash_array": "6 6",
}
WAY_STYLE: dict[str, object] = {"color": "#3f3f3f", "weight": 2}
HAZARD_STYLE: dict[str, object] = {
    "color": "#5b2a86",
    "weight": 3,
    "dash_array": "1 6",
}
_NAME_AWAY_M = 90.0
_ZONE_COLOURS = ("#222222", "#8a8a8a")


def relief_layer(relief: Relief, words: Words) -> folium.FeatureGroup:
    """The shaded relief as the base."""
    layer = folium.FeatureGroup(name=words.say("map.layer_relief"))
    folium.raster_layers.ImageOverlay(
        image=relief.address,
        bounds=[list(relief.south_west_deg), list(relief.north_east_deg)],
        opacity=1.0,
        alt=words.say("map.layer_relief"),
    ).add_to(layer)
    return layer


def contour_layer(lines: Sequence[Contour], words: Words) -> folium.FeatureGroup:
    """Contour lines; every fifth is stronger and carries its elevation."""
    layer = folium.FeatureGroup(name=words.say("map.layer_contours"))
    for index, weight in ((False, 0.6), (True, 1.4)):
        chains = [list(line.places_deg) for line in lines if line.index is index]
        if chains:
            folium.PolyLine(
                chains, color="#6b5d4d", weight=weight, opacity=0.8, interactive=False
            ).add_to(layer)
    for line in (item for item in lines if item.index and len(item.places_deg) > 8):
        middle = line.places_deg[len(line.places_deg) // 2]
        folium.Marker(
            middle,
            icon=label(words.length(line.elevation_m), "contour"),
            interactive=False,
            keyboard=False,
        ).add_to(layer)
    return layer


def line_layer(plan: Plan, frame: Frame, words: Words) -> folium.FeatureGroup:
    """The rope's two sides and every support with its number."""
    layer = folium.FeatureGroup(name=words.say("map.layer_line"))
    for side in Side:
        rope = rope_m(plan, side)
        folium.PolyLine(
            degrees(frame, rope[:, 0].tolist(), rope[:, 1].tolist()),
            color="#000000",
            weight=1.5,
            interactive=False,
        ).add_to(layer)
    ends = _zone_ends(plan)
    for number, support in enumerate(plan.lift.supports):
        text = support_text(support, words)
        # Where a zone ends the number stays; others give way where room is short.
        kind = "end support" if number in ends else "support"
        if support.mark:
            kind += " between"
        folium.Marker(
            degrees(frame, [support.x_m], [support.y_m])[0],
            icon=label(support.id, kind),
            tooltip=safe(text),
            alt=safe(text),
        ).add_to(layer)
    return layer


def _zone_ends(plan: Plan) -> set[int]:
    ends = {0, len(plan.lift.supports) - 1}
    for zone in plan.assignment.zones:
        ends |= {zone.first_span, zone.last_span + 1}
    return ends


def zone_layer(plan: Plan, frame: Frame, words: Words) -> folium.FeatureGroup:
    """One outer band a zone, dark and light in turn, with the team's name.

    A band lies only along spans that the team clears; one that it walks past, because
    somebody else or nobody takes it, is a gap.
    """
    layer = folium.FeatureGroup(name=words.say("map.layer_zones"))
    bands: list[Band] = []
    ordered = sorted(plan.assignment.zones, key=lambda item: item.first_span)
    for number, zone in enumerate(ordered):
        text = safe(_zone_text(plan, zone, words))
        runs = [
            (side, run)
            for side in zone.sides
            for run in _runs(
                span for at, span in units_taken(plan, [zone]) if at is side
            )
        ]
        bands += [
            band(
                plan,
                frame,
                side,
                run,
                px=ZONE_PX,
                text=text,
                color=_ZONE_COLOURS[number % 2],
                weight=8.0,
                trim=5.0,
            )
            for side, run in runs
        ]
        if not runs:
            continue
        # One name a zone, beside its longest band.
        side, run = max(runs, key=lambda item: item[1][1] - item[1][0])
        place, way = middle(plan, frame, side, run)
        folium.Marker(
            place, icon=label(zone.team, "zone", way=way), tooltip=text, alt=text
        ).add_to(layer)
    add_bands(layer, bands)
    return layer


def _runs(spans: Iterable[int]) -> list[tuple[int, int]]:
    """Neighbouring spans joined: first and last of every run, in order.

    Examples
    --------
    >>> _runs([5, 3, 4, 8])
    [(3, 5), (8, 8)]
    """
    found: list[tuple[int, int]] = []
    for span in sorted(spans):
        if found and span == found[-1][1] + 1:
            found[-1] = (found[-1][0], span)
        else:
            found.append((span, span))
    return found


def _zone_text(plan: Plan, zone: Zone, words: Words) -> str:
    spans = plan.heights.line.spans
    text = words.say(
        "map.zone",
        team=zone.team,
        first=spans[zone.first_span].id,
        last=spans[zone.last_span].id,
        sides=words.say(
            "map.both_sides" if len(zone.sides) == 2 else f"map.{zone.sides[0].value}"
        ),
        support=plan.lift.supports[zone.start_support].id,
        finish_s=zone.finish_s,
    )
    passed = sorted(units_passed(plan, [zone]), key=lambda unit: unit[::-1])
    if not passed:
        return text
    units = ", ".join(
        f"{spans[span].id} {words.say(f'map.{side.value}')}" for side, span in passed
    )
    return f"{text} {words.say('map.zone_passes', units=units)}"


def way_layers(
    plan: Plan, frame: Frame, words: Words
) -> tuple[folium.FeatureGroup, folium.FeatureGroup]:
    """All ways in, and each team's own route to its zone."""
    way_layer = folium.FeatureGroup(name=words.say("map.layer_ways"))
    route_layer = folium.FeatureGroup(name=words.say("map.layer_routes"))
    for way in plan.lift.ways:
        text = words.say(
            "map.way", kind=way.kind, name=way.name, travel=", ".join(way.travel)
        )
        for chain in _chains(way.geometry):
            folium.PolyLine(
                degrees(frame, *_xy(chain)),
                tooltip=safe(text),
                **WAY_STYLE,
            ).add_to(way_layer)
    starts = {zone.team: zone.start_support for zone in plan.assignment.zones}
    for route in plan.routes:
        if starts.get(route.team) != route.support_index or len(route.x_m) < 2:
            continue
        text = words.say(
            "map.route",
            team=route.team,
            length_m=route.length_m,
            seconds_s=route.seconds,
        )
        folium.PolyLine(
            degrees(frame, route.x_m, route.y_m),
            tooltip=safe(text),
            **ROUTE_STYLE,
        ).add_to(route_layer)
    return way_layer, route_layer


def hazard_layer(lift: Lift, frame: Frame, words: Words) -> folium.FeatureGroup:
    """What lies below or beside the line, outlined."""
    layer = folium.FeatureGroup(name=words.say("map.layer_hazards"))
    rope = LineString([(item.x_m, item.y_m) for item in lift.supports])
    for hazard in lift.hazards:
        text = words.say(
            "map.hazard",
            kind=hazard.kind,
            name=hazard.name,
            opened_by=hazard.opened_by or "-",
        )
        for part in getattr(hazard.geometry, "geoms", [hazard.geometry]):
            if part.geom_type == "Point":
                place = degrees(frame, [part.x], [part.y])[0]
            else:
                outline = part.exterior if part.geom_type == "Polygon" else part
                folium.PolyLine(
                    degrees(frame, *_xy(outline)), tooltip=safe(text), **HAZARD_STYLE
                ).add_to(layer)
                spot = _beside(outline, rope)
                place = degrees(frame, [spot.x], [spot.y])[0]
            folium.Marker(
                place,
                icon=label(hazard.kind, "hazard"),
                tooltip=safe(text),
                alt=safe(text),
            ).add_to(layer)
    return layer


def place_layer(plan: Plan, frame: Frame, words: Words) -> folium.FeatureGroup:
    """Muster points and where the teams start."""
    layer = folium.FeatureGroup(name=words.say("map.layer_muster"))
    for point in plan.lift.muster_points:
        text = words.say("map.muster", name=point.name, places=point.shelter_places)
        _dot(frame, point.x_m, point.y_m).add_to(layer)
        folium.Marker(
            degrees(frame, [point.x_m], [point.y_m])[0],
            icon=label(words.say("map.sign_muster"), "muster"),
            tooltip=safe(text),
            alt=safe(text),
        ).add_to(layer)
    seen: dict[tuple[float, float], list[str]] = {}
    for team in plan.lift.teams:
        text = words.say("map.start", team=team.id, place=team.start_place)
        seen.setdefault((team.start_x_m, team.start_y_m), []).append(text)
    for (x_m, y_m), texts in seen.items():
        _dot(frame, x_m, y_m).add_to(layer)
        folium.Marker(
            degrees(frame, [x_m], [y_m])[0],
            icon=label(words.say("map.sign_start"), "start"),
            tooltip="<br>".join(safe(text) for text in texts),
            alt=safe("; ".join(texts)),
        ).add_to(layer)
    return layer


def _dot(frame: Frame, x_m: float, y_m: float) -> folium.CircleMarker:
    """The very place of a mark that stands beside it."""
    return folium.CircleMarker(
        degrees(frame, [x_m], [y_m])[0],
        radius=4,
        color="#000000",
        weight=2,
        fill=True,
        fill_color="#ffffff",
        fill_opacity=1.0,
        interactive=False,
    )


def _beside(outline: LineString, rope: LineString) -> Point:
    """A place of a hazard near the line, yet clear of what is drawn beside it."""
    nearest = nearest_points(outline, rope)[0]
    at_m = outline.project(nearest)
    away_m = min(_NAME_AWAY_M, outline.length / 2)
    ahead = at_m + away_m <= outline.length
    return outline.interpolate(at_m + away_m if ahead else at_m - away_m)


def _chains(geometry: BaseGeometry) -> list[LineString]:
    parts = getattr(geometry, "geoms", [geometry])
    return [part for part in parts if part.geom_type == "LineString"]


def _xy(chain: LineString) -> tuple[list[float], list[float]]:
    xy = np.asarray(chain.coords)
    return xy[:, 0].tolist(), xy[:, 1].tolist()
