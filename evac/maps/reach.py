"""Spans on the map by what reaches them, with the height of the highest seat."""

from __future__ import annotations

import folium

from evac.assignment import team_of_unit
from evac.facts.heights import UnitHeights
from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.figures.carrier_words import say_of
from evac.frame import Frame
from evac.maps.bands import REACH_PX, Band, add_bands, band, middle
from evac.maps.marks import label, safe
from evac.units import FOOT_M
from evac.words import Words

REACH_STYLES: dict[str, dict[str, object]] = {
    "all": {"color": "#1b3a57", "weight": 6, "dash_array": None},
    "some": {"color": "#b35c00", "weight": 6, "dash_array": "12 8"},
    "none": {"color": "#b00020", "weight": 7, "dash_array": "2 8"},
    "unknown": {"color": "#555555", "weight": 7, "dash_array": "1 14"},
}


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


def reach_layers(
    plan: Plan, frame: Frame, words: Words
) -> tuple[folium.FeatureGroup, folium.FeatureGroup]:
    """Spans by highest seat against reach, and the seat heights as numbers."""
    reach_layer = folium.FeatureGroup(name=words.say("map.layer_reach"))
    height_layer = folium.FeatureGroup(
        name=say_of(words, "map.layer_heights", plan.lift)
    )
    teams = team_of_unit(plan.work, plan.assignment.zones)
    bands: list[Band] = []
    for unit in plan.heights.units:
        kind = reach_class(plan, unit)[0]
        spans = (unit.span_index, unit.span_index)
        text = safe(_unit_text(plan, unit, teams, words))
        style = REACH_STYLES[kind]
        bands.append(
            band(
                plan,
                frame,
                unit.side,
                spans,
                px=REACH_PX,
                text=text,
                color=str(style["color"]),
                weight=float(str(style["weight"])),
                dashes=None
                if style["dash_array"] is None
                else str(style["dash_array"]),
            )
        )
        place, way = middle(plan, frame, unit.side, spans)
        number = _height_text(unit, kind, words)
        alarm = kind in ("none", "unknown")
        folium.Marker(
            place,
            icon=label(
                number,
                "alarm" if alarm else "height",
                way=way,
                value=unit.seat_greatest_m if unit.known else None,
            ),
            tooltip=text,
            alt=text,
        ).add_to(reach_layer if alarm else height_layer)
    add_bands(reach_layer, bands)
    return reach_layer, height_layer


def _height_text(unit: UnitHeights, kind: str, words: Words) -> str:
    """Highest seat and margin to a tenth, as on the papers, and a sign of alarm."""
    if kind == "unknown":
        return words.say("map.height_unknown")
    text = words.say(
        "map.height_none" if kind == "none" else "map.height_known",
        seat=words.number(unit.seat_greatest_m, 1),
        margin=words.number(unit.margin_m, 1),
    )
    if not words.feet:
        return text
    feet = words.number(unit.seat_greatest_m / FOOT_M, 0)
    return words.say("map.height_feet", height=text, feet=feet)


def _unit_text(
    plan: Plan, unit: UnitHeights, teams: dict[tuple[Side, int], str], words: Words
) -> str:
    kind, reaching, total = reach_class(plan, unit)
    values = {
        "span": unit.span_id,
        "side": words.say(f"map.{unit.side.value}"),
        "reach": words.say(f"map.reach_{kind}", count=reaching, total=total),
        "team": teams.get((unit.side, unit.span_index), words.say("map.no_team")),
    }
    if not unit.known:
        return words.say("map.span_unknown", **values)
    return say_of(
        words,
        "map.span",
        plan.lift,
        seat_m=unit.seat_greatest_m,
        margin_m=unit.margin_m,
        **values,
    )
