"""What is drawn on the map, layer by layer, as folium elements.

Meaning is never carried by colour alone: every class of line has its own dashes, and
every mark its own text, which a keyboard reaches too.
"""

from __future__ import annotations

import html
from collections.abc import Sequence

import folium
import numpy as np
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from evac.assignment import team_of_unit
from evac.facts.heights import UnitHeights
from evac.facts.lift import Lift, Side
from evac.facts.plan import Plan
from evac.frame import Frame
from evac.maps.relief import Contour, Relief
from evac.words import Words

Places = list[tuple[float, float]]

REACH_STYLES = {
    "all": {"color": "#1b3a57", "weight": 6, "dash_array": None},
    "some": {"color": "#b35c00", "weight": 6, "dash_array": "12 8"},
    "none": {"color": "#b00020", "weight": 7, "dash_array": "2 8"},
    "unknown": {"color": "#555555", "weight": 7, "dash_array": "1 14"},
}
_ZONE_COLOURS = ("#111111", "#8a8a8a")


def safe(text: str) -> str:
    """User text for a page: no markup, and nothing a script template would run.

    Examples
    --------
    >>> safe("<b>`${1}`")
    '&lt;b&gt;&#96;&#36;{1}&#96;'
    """
    escaped = html.escape(text, quote=True)
    for mark, code in (("`", "&#96;"), ("$", "&#36;"), ("\\", "&#92;")):
        escaped = escaped.replace(mark, code)
    return escaped


def label(text: str, css_class: str) -> folium.DivIcon:
    """A short text as a mark of the map."""
    return folium.DivIcon(
        html=f'<span class="{css_class}">{safe(text)}</span>',
        icon_size=(0, 0),
        icon_anchor=(0, 0),
        class_name="mark",
    )


def degrees(frame: Frame, x_m: Sequence[float], y_m: Sequence[float]) -> Places:
    """Latitude and longitude of a chain of places, to about 0.1 m."""
    latitude, longitude = frame.to_degrees(x_m=x_m, y_m=y_m)
    return list(
        zip(latitude.round(6).tolist(), longitude.round(6).tolist(), strict=True)
    )


def band(plan: Plan, side: Side, first: int, last: int, offset_m: float) -> LineString:
    """A line beside the rope, on its side, along the spans first..last."""
    supports = plan.lift.supports
    xy = np.array([(item.x_m, item.y_m) for item in supports])
    # At a support the band keeps its distance from the line through its neighbours.
    along = np.gradient(xy, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    to_right = np.column_stack([along[:, 1], -along[:, 0]])
    right = (side is Side.ASCENDING) == plan.lift.ascending_on_right
    beside = xy + (offset_m if right else -offset_m) * to_right
    return LineString(beside[first : last + 2])


def band_offset_m(plan: Plan) -> float:
    """How far beside the rope the bands lie: readable on a page, a round number."""
    length_m = plan.lift.supports[-1].distance_m
    return float(max(10, 5 * round(length_m / 110 / 5)))


def reach_class(plan: Plan, unit: UnitHeights) -> tuple[str, int, int]:
    """Class of a unit's reach, with how many of how many options reach it."""
    answers = [
        reach.ok
        for reach in plan.reaches
        if reach.side is unit.side and reach.span_index == unit.span_index
    ]
    reaching, total = sum(answers), len(answers)
    if not unit.known:
        return "unknown", reaching, total
    if reaching == 0:
        return "none", reaching, total
    return ("all" if reaching == total else "some"), reaching, total


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
            icon=label(words.number(line.elevation_m, 0), "contour"),
            interactive=False,
            keyboard=False,
        ).add_to(layer)
    return layer


def line_layer(plan: Plan, frame: Frame, words: Words) -> folium.FeatureGroup:
    """The rope's two sides and every support with its number."""
    layer = folium.FeatureGroup(name=words.say("map.layer_line"))
    last = len(plan.lift.supports) - 2
    for side in Side:
        rope = band(plan, side, 0, last, plan.lift.gauge_m / 2)
        folium.PolyLine(
            degrees(frame, *_xy(rope)), color="#000000", weight=1.5, interactive=False
        ).add_to(layer)
    for support in plan.lift.supports:
        text = words.say(
            "map.support",
            support=support.id,
            rope_height_m=support.rope_height_m,
            kind=support.kind.value if support.kind else words.say("map.kind_unknown"),
        )
        folium.Marker(
            degrees(frame, [support.x_m], [support.y_m])[0],
            icon=label(support.id, "support"),
            tooltip=safe(text),
            alt=safe(text),
        ).add_to(layer)
    return layer


def reach_layers(
    plan: Plan, frame: Frame, words: Words
) -> tuple[folium.FeatureGroup, folium.FeatureGroup]:
    """Spans by highest seat against reach, and the seat heights as numbers."""
    reach_layer = folium.FeatureGroup(name=words.say("map.layer_reach"))
    height_layer = folium.FeatureGroup(name=words.say("map.layer_heights"))
    offset_m = band_offset_m(plan)
    teams = team_of_unit(plan.work, plan.assignment.zones)
    for unit in plan.heights.units:
        kind = reach_class(plan, unit)[0]
        chain = band(plan, unit.side, unit.span_index, unit.span_index, offset_m)
        text = _unit_text(plan, unit, teams, words)
        folium.PolyLine(
            degrees(frame, *_xy(chain)), tooltip=safe(text), **REACH_STYLES[kind]
        ).add_to(reach_layer)
        middle = chain.interpolate(0.5, normalized=True)
        place = degrees(frame, [middle.x], [middle.y])[0]
        mark = {"none": "X", "unknown": "?"}.get(kind)
        if mark:
            folium.Marker(place, icon=label(mark, "alarm"), alt=safe(text)).add_to(
                reach_layer
            )
        if unit.known:
            number = words.number(unit.seat_greatest_m, 0)
            folium.Marker(
                place, icon=label(number, "height"), interactive=False, keyboard=False
            ).add_to(height_layer)
    return reach_layer, height_layer


def _unit_text(
    plan: Plan, unit: UnitHeights, teams: dict[tuple[Side, int], str], words: Words
) -> str:
    kind, reaching, total = reach_class(plan, unit)
    return words.say(
        "map.span",
        span=unit.span_id,
        side=unit.side.value,
        seat_m=unit.seat_greatest_m if unit.known else "?",
        margin_m=unit.margin_m if unit.known else "?",
        reach=words.say(f"map.reach_{kind}", count=reaching, total=total),
        team=teams.get((unit.side, unit.span_index), words.say("map.no_team")),
    )


def zone_layer(plan: Plan, frame: Frame, words: Words) -> folium.FeatureGroup:
    """One outer band a zone, dark and light in turn, with the team's name."""
    layer = folium.FeatureGroup(name=words.say("map.layer_zones"))
    supports = plan.lift.supports
    for number, zone in enumerate(
        sorted(plan.assignment.zones, key=lambda item: item.first_span)
    ):
        text = words.say(
            "map.zone",
            team=zone.team,
            first=plan.heights.line.spans[zone.first_span].id,
            last=plan.heights.line.spans[zone.last_span].id,
            sides=words.say(
                "map.both_sides" if len(zone.sides) == 2 else f"map.{zone.sides[0]}"
            ),
            support=supports[zone.start_support].id,
            finish_s=zone.finish_s,
        )
        for side in zone.sides:
            chain = band(
                plan, side, zone.first_span, zone.last_span, 2.2 * band_offset_m(plan)
            )
            folium.PolyLine(
                degrees(frame, *_xy(_shortened(chain))),
                tooltip=safe(text),
                color=_ZONE_COLOURS[number % 2],
                weight=9,
                opacity=0.75,
                line_cap="butt",
            ).add_to(layer)
        # One name a zone, outside the band, so that it hides neither rope nor heights.
        middle = chain.interpolate(0.5, normalized=True)
        axis = band(plan, side, zone.first_span, zone.last_span, 0.0)
        outward = (
            "left" if middle.x < axis.interpolate(0.5, normalized=True).x else "right"
        )
        folium.Marker(
            degrees(frame, [middle.x], [middle.y])[0],
            icon=label(zone.team, f"zone {outward}"),
            tooltip=safe(text),
            alt=safe(text),
        ).add_to(layer)
    return layer


def _shortened(chain: LineString) -> LineString:
    # A gap between neighbouring zones shows where one ends without colour.
    gap_m = min(8.0, 0.1 * chain.length)
    cut = [
        chain.interpolate(distance)
        for distance in np.linspace(gap_m, chain.length - gap_m, 24)
    ]
    return LineString(cut)


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
                color="#3f3f3f",
                weight=2,
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
            color="#000000",
            weight=2.5,
            dash_array="6 6",
        ).add_to(route_layer)
    return way_layer, route_layer


def hazard_layer(lift: Lift, frame: Frame, words: Words) -> folium.FeatureGroup:
    """What lies below or beside the line, outlined."""
    layer = folium.FeatureGroup(name=words.say("map.layer_hazards"))
    style = {"color": "#5b2a86", "weight": 3, "dash_array": "1 6"}
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
                    degrees(frame, *_xy(outline)), tooltip=safe(text), **style
                ).add_to(layer)
                # Its first point lies beside the line, where the word is readable.
                middle = outline.interpolate(0.0)
                place = degrees(frame, [middle.x], [middle.y])[0]
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
        folium.Marker(
            degrees(frame, [point.x_m], [point.y_m])[0],
            icon=label("M", "muster"),
            tooltip=safe(text),
            alt=safe(text),
        ).add_to(layer)
    seen: dict[tuple[float, float], list[str]] = {}
    for team in plan.lift.teams:
        text = words.say("map.start", team=team.id, place=team.start_place)
        seen.setdefault((team.start_x_m, team.start_y_m), []).append(text)
    for (x_m, y_m), texts in seen.items():
        folium.Marker(
            degrees(frame, [x_m], [y_m])[0],
            icon=label("S", "start"),
            tooltip="<br>".join(safe(text) for text in texts),
            alt=safe("; ".join(texts)),
        ).add_to(layer)
    return layer


def _chains(geometry: BaseGeometry) -> list[LineString]:
    parts = getattr(geometry, "geoms", [geometry])
    return [part for part in parts if part.geom_type == "LineString"]


def _xy(chain: LineString) -> tuple[list[float], list[float]]:
    xy = np.asarray(chain.coords)
    return xy[:, 0].tolist(), xy[:, 1].tolist()
