"""The evacuation map: one HTML file that opens from a memory stick, without network."""

from __future__ import annotations

from importlib import resources
from typing import Any

import folium
from branca.element import Element, MacroElement
from folium.template import Template

from evac.facts.plan import Plan
from evac.figures.doubt import alarms
from evac.frame import Frame
from evac.maps.assets import offline_page, use_few_assets
from evac.maps.bands import REACH_PX, ZONE_PX
from evac.maps.layers import (
    contour_layer,
    hazard_layer,
    line_layer,
    place_layer,
    relief_layer,
    way_layers,
    zone_layer,
)
from evac.maps.legend import legend_html
from evac.maps.marks import degrees, safe
from evac.maps.reach import reach_layers
from evac.maps.relief import Contour, contours, shaded_relief
from evac.words import Words

__all__ = ["map_html"]


class _Page(MacroElement):
    """Starts ``page.js`` once the map itself exists."""

    _template = Template(
        """
        {% macro script(this, kwargs) %}
        evacPage({{ this._parent.get_name() }}, {{ this.config|tojson }});
        {% endmacro %}
        """
    )

    def __init__(self, config: dict[str, object]) -> None:
        super().__init__()  # type: ignore[no-untyped-call]  # no types there
        self._name = "page"
        self.config = config


def map_html(plan: Plan, words: Words) -> bytes:
    """Draw the plan on a map that needs no network.

    Parameters
    ----------
    plan : Plan
        A finished plan.
    words : Words
        Language and number format.

    Returns
    -------
    bytes
        One HTML page, UTF-8: relief and contours (where the lift has a terrain grid),
        supports, spans by reach, zones, ways, hazards, muster points, legend, scale
        and cautions. The same plan gives the same bytes.
    """
    lift = plan.lift
    frame = Frame(latitude_deg=lift.latitude_deg, longitude_deg=lift.longitude_deg)
    page_map = folium.Map(
        tiles=None, control_scale=False, zoom_snap=0.25, zoom_delta=0.5, max_zoom=20
    )
    use_few_assets(page_map)
    lines: tuple[Contour, ...] = ()
    if lift.terrain is not None:
        relief_layer(shaded_relief(lift.terrain, frame), words).add_to(page_map)
        lines = contours(lift.terrain, frame)
        contour_layer(lines, words).add_to(page_map)
    for layer in way_layers(plan, frame, words):
        layer.add_to(page_map)
    hazard_layer(lift, frame, words).add_to(page_map)
    zone_layer(plan, frame, words).add_to(page_map)
    for layer in reach_layers(plan, frame, words):
        layer.add_to(page_map)
    line_layer(plan, frame, words).add_to(page_map)
    place_layer(plan, frame, words).add_to(page_map)
    folium.LayerControl(collapsed=True, position="topright").add_to(page_map)
    _Page(_config(plan, frame, words)).add_to(page_map)
    _dress(page_map, plan, legend_html(plan, lines, words), words)
    page = offline_page(page_map.get_root().render())
    page = page.replace("<html>", f'<html lang="{words.language}">', 1)
    return page.encode("utf-8")


def _config(plan: Plan, frame: Frame, words: Words) -> dict[str, object]:
    """What ``page.js`` must know; texts are HTML already."""
    supports = plan.lift.supports
    axis = degrees(frame, [s.x_m for s in supports], [s.y_m for s in supports])
    latitudes, longitudes = zip(*axis, strict=True)
    return {
        # The line fills the view; ways and starts further out are a zoom away.
        "bounds": [
            [min(latitudes), min(longitudes)],
            [max(latitudes), max(longitudes)],
        ],
        "padding": [50, 50],
        "axis": [list(place) for place in axis],
        "reachPx": REACH_PX,
        "zonePx": ZONE_PX,
        "feet": words.feet,
        "north": safe(words.say("map.north")),
        "northLabel": safe(words.say("map.north_label")),
        "layersLabel": safe(words.say("map.layers")),
    }


def _dress(page_map: folium.Map, plan: Plan, legend: str, words: Words) -> None:
    root: Any = page_map.get_root()  # a branca Figure, typed as any element
    title = words.say("map.title", lift=plan.lift.name)
    root.header.add_child(Element(_head(plan, title)))
    root.html.add_child(Element(_banner(plan, title, words) + legend), index=0)
    root.html.add_child(
        Element(
            f"<noscript>{safe(words.say('map.noscript'))}</noscript>"
            f"<footer>{safe(words.say('cautions.short'))}</footer>"
        )
    )


def _head(plan: Plan, title: str) -> str:
    """Title, style with the paper that suits the line, and the script's functions."""
    folder = resources.files("evac.maps")
    style = (folder / "page.css").read_text("utf-8")
    script = (folder / "page.js").read_text("utf-8")
    return (
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{safe(title)}</title>"
        f"<style>{style}{_paper(plan)}</style><script>{script}</script>"
    )


def _paper(plan: Plan) -> str:
    """A4 upright for a line that runs north, across for one that runs east."""
    supports = plan.lift.supports
    east_m = max(s.x_m for s in supports) - min(s.x_m for s in supports)
    north_m = max(s.y_m for s in supports) - min(s.y_m for s in supports)
    upright = north_m > east_m
    page = ("portrait", "194mm", "194mm", "204mm")
    if not upright:
        page = ("landscape", "281mm", "281mm", "128mm")
    name, page_width, map_width, map_height = page
    return (
        f"@page {{ size: A4 {name}; margin: 8mm; }} :root {{ --page-width: "
        f"{page_width}; --map-width: {map_width}; --map-height: {map_height}; }}"
    )


def _banner(plan: Plan, title: str, words: Words) -> str:
    subtitle = words.say(
        "map.subtitle",
        revision=plan.lift.revision,
        day=plan.date,
        fingerprint=plan.fingerprint,
    )
    if plan.lift.data_source:
        source = words.say("map.data_source", source=plan.lift.data_source)
        subtitle = f"{subtitle} {source}"
    texts = alarms(plan, words, not_reached="map.not_reached")
    shown = "".join(f'<p class="alarm">{safe(text)}</p>' for text in texts)
    return f"<header><h1>{safe(title)}</h1><p>{safe(subtitle)}</p>{shown}</header>"
