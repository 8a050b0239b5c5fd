"""The evacuation map: one HTML file that opens from a memory stick, without network."""

from __future__ import annotations

from typing import Any

import folium
from branca.element import Element, MacroElement
from folium.template import Template

from evac.facts.plan import Plan
from evac.frame import Frame
from evac.maps.assets import offline_page, use_few_assets
from evac.maps.layers import (
    REACH_STYLES,
    band_offset_m,
    contour_layer,
    degrees,
    hazard_layer,
    line_layer,
    place_layer,
    reach_layers,
    relief_layer,
    safe,
    way_layers,
    zone_layer,
)
from evac.maps.relief import Contour, contours, shaded_relief
from evac.words import Words

__all__ = ["map_html"]


class _Controls(MacroElement):
    """Legend and north arrow; drawn after the map itself exists."""

    _template = Template(
        """
        {% macro script(this, kwargs) %}
        var corner = L.control({position: 'bottomleft'});
        corner.onAdd = function () {
          var box = L.DomUtil.create('details', 'legend');
          box.open = window.innerWidth > 700;
          box.innerHTML = {{ this.legend|tojson }};
          L.DomEvent.disableClickPropagation(box);
          L.DomEvent.disableScrollPropagation(box);
          return box;
        };
        corner.addTo({{ this._parent.get_name() }});
        var north = L.control({position: 'topleft'});
        north.onAdd = function () {
          var box = L.DomUtil.create('div', 'north');
          box.title = {{ this.north_label|tojson }};
          box.innerHTML = {{ this.north|tojson }} + '<br>&#8593;';
          return box;
        };
        north.addTo({{ this._parent.get_name() }});
        {{ this._parent.get_name() }}.attributionControl.setPrefix('Leaflet');
        document.querySelectorAll('.leaflet-control-layers-toggle').forEach(
          function (toggle) { toggle.title = {{ this.layers_label|tojson }}; });
        {% endmacro %}
        """
    )

    def __init__(self, *, legend: str, words: Words) -> None:
        super().__init__()  # type: ignore[no-untyped-call]  # no types there
        self._name = "controls"
        self.legend = legend
        self.north = safe(words.say("map.north"))
        self.north_label = safe(words.say("map.north_label"))
        self.layers_label = safe(words.say("map.layers"))


_STYLE = """
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>
html, body { height: 100%; margin: 0; }
body { display: flex; flex-direction: column; font: 15px/1.35 sans-serif; color: #000; }
header { order: 0; } .folium-map { order: 1; } footer { order: 2; }
header, footer { padding: 6px 12px; background: #fff; flex: none; }
header { border-bottom: 2px solid #000; }
header h1 { font-size: 18px; margin: 0; overflow-wrap: anywhere; }
header p { margin: 0; font-size: 13px; }
footer { border-top: 2px solid #000; font-size: 12px; }
.folium-map { flex: 1 1 auto; min-height: 240px; font-size: 14px; }
.folium-map.leaflet-container { background: #fff; }
.mark { background: none; border: 0; }
.mark span { position: absolute; transform: translate(-50%, -50%); font: bold 12px
  sans-serif; white-space: nowrap; color: #000; padding: 0 3px; }
.mark .support { background: #fff; border: 1.5px solid #000; border-radius: 9px; }
.mark .zone { background: #000; color: #fff; font-size: 13px; padding: 2px 6px; }
.mark .zone.left { transform: translate(calc(-100% - 8px), -50%); }
.mark .zone.right { transform: translate(8px, -50%); }
.mark .alarm { background: #fff; border: 2px solid #b00020; color: #b00020;
  font-size: 16px; }
.mark .height { text-shadow: 0 0 3px #fff, 0 0 3px #fff, 0 0 3px #fff; }
.mark .contour { color: #6b5d4d; font-weight: normal;
  text-shadow: 0 0 3px #fff, 0 0 3px #fff; }
.mark .hazard { font-style: italic; color: #5b2a86;
  text-shadow: 0 0 3px #fff, 0 0 3px #fff, 0 0 3px #fff; }
.mark .muster, .mark .start { background: #fff; border: 2px solid #000; font-size: 14px;
  padding: 1px 5px; }
/* Beside their place, one left and one right: they often share it with a support. */
.mark .muster { border-radius: 3px; transform: translate(calc(-100% - 6px), -50%); }
.mark .start { border-style: dashed; transform: translate(6px, -50%); }
.leaflet-tooltip { white-space: normal; width: max-content; max-width: 260px;
  font-size: 14px; color: #000; }
.leaflet-control-layers-toggle { width: auto !important; height: auto !important;
  padding: 6px 10px; background: #fff none !important; color: #000; font-size: 14px;
  text-decoration: none; }
.leaflet-control-layers-toggle::after { content: attr(title); }
.legend { background: #fff; border: 1.5px solid #000; padding: 4px 10px;
  max-width: min(300px, 70vw); max-height: 45vh; overflow: auto; font-size: 13px; }
.legend summary { cursor: pointer; font-weight: bold; font-size: 14px; }
.legend ul { list-style: none; margin: 4px 0; padding: 0; }
.legend svg { vertical-align: middle; margin-right: 6px; }
.north { background: #fff; border: 1.5px solid #000; padding: 0 7px 2px; font: bold
  16px/1.2 sans-serif; text-align: center; }
@media print {
  @page { size: A4 landscape; margin: 8mm; }
  .leaflet-control-zoom, .leaflet-control-layers { display: none !important; }
  .legend { max-height: none; overflow: visible; }
  .folium-map { height: 165mm; flex: none; }
}
</style>
"""


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
        tiles=None, control_scale=True, zoom_snap=0.25, zoom_delta=0.5, max_zoom=20
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
    # The line fills the view; ways and starts further out are a zoom away.
    page_map.fit_bounds(
        [
            degrees(
                frame,
                [min(s.x_m for s in lift.supports)],
                [min(s.y_m for s in lift.supports)],
            )[0],
            degrees(
                frame,
                [max(s.x_m for s in lift.supports)],
                [max(s.y_m for s in lift.supports)],
            )[0],
        ],
        padding=(40, 40),
    )
    _dress(page_map, plan, lines, words)
    page = offline_page(page_map.get_root().render())
    page = page.replace("<html>", f'<html lang="{words.language}">', 1)
    return page.encode("utf-8")


def _dress(
    page_map: folium.Map, plan: Plan, lines: tuple[Contour, ...], words: Words
) -> None:
    root: Any = page_map.get_root()  # a branca Figure, typed as any element
    title = words.say("map.title", lift=plan.lift.name)
    subtitle = words.say(
        "map.subtitle",
        revision=plan.lift.revision,
        day=plan.date,
        fingerprint=plan.fingerprint,
    )
    root.header.add_child(Element(_STYLE + f"<title>{safe(title)}</title>"))
    # The header goes before the map's own element, the footer behind it.
    root.html.add_child(
        Element(f"<header><h1>{safe(title)}</h1><p>{safe(subtitle)}</p></header>"),
        index=0,
    )
    root.html.add_child(
        Element(
            f"<noscript>{safe(words.say('map.noscript'))}</noscript>"
            f"<footer>{safe(words.say('cautions.short'))}</footer>"
        )
    )
    _Controls(legend=_legend(plan, lines, words), words=words).add_to(page_map)


def _legend(plan: Plan, lines: tuple[Contour, ...], words: Words) -> str:
    rows = []
    for kind, style in REACH_STYLES.items():
        dash = (
            f' stroke-dasharray="{style["dash_array"]}"' if style["dash_array"] else ""
        )
        rows.append(
            '<svg width="44" height="10" aria-hidden="true"><line x1="0" y1="5" '
            f'x2="44" y2="5" stroke="{style["color"]}" '
            f'stroke-width="{style["weight"]}"{dash}/></svg>'
            + safe(words.say(f"map.legend_{kind}"))
        )
    for key in ("zone", "route", "way", "hazard", "muster", "start"):
        rows.append(safe(words.say(f"map.legend_{key}")))
    rows.append(safe(words.say("map.legend_offset", offset_m=band_offset_m(plan))))
    if plan.lift.terrain is None:
        rows.append(safe(words.say("map.no_terrain")))
    else:
        levels = sorted({line.elevation_m for line in lines})
        if len(levels) > 1:
            interval_m = levels[1] - levels[0]
            rows.append(safe(words.say("map.legend_contour", interval_m=interval_m)))
        rows.append(
            safe(words.say("map.legend_relief", source=plan.lift.terrain.source))
        )
    items = "".join(f"<li>{row}</li>" for row in rows)
    return f"<summary>{safe(words.say('map.legend'))}</summary><ul>{items}</ul>"
