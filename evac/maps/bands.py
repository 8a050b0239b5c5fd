"""Bands that run beside the rope at a fixed distance on the screen, at any zoom."""

from __future__ import annotations

from collections.abc import Sequence

import folium
import numpy as np
from branca.element import MacroElement
from folium.template import Template
from numpy.typing import NDArray

from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.frame import Frame
from evac.maps.marks import degrees

REACH_PX, ZONE_PX = 11.0, 22.0
"""From the rope of a side to the middle of its reach and its zone band."""

Band = dict[str, object]


class _Bands(MacroElement):
    """Bands of one layer, drawn by ``evacBand`` of ``page.js``."""

    _template = Template(
        """
        {% macro script(this, kwargs) %}
        {{ this.items|tojson }}.forEach(function (item) {
          evacBand(item).addTo({{ this._parent.get_name() }});
        });
        {% endmacro %}
        """
    )

    def __init__(self, items: Sequence[Band]) -> None:
        super().__init__()  # type: ignore[no-untyped-call]  # no types there
        self._name = "bands"
        self.items = list(items)


def add_bands(layer: folium.FeatureGroup, items: Sequence[Band]) -> None:
    """Put bands into a layer; their texts are HTML already."""
    if items:
        _Bands(items).add_to(layer)


def outward(plan: Plan, side: Side) -> NDArray[np.float64]:
    """Unit vectors on the screen (right, down) from the rope to a side's outside.

    Returns
    -------
    numpy.ndarray, shape (n_supports, 2)
        At a support square to the line through its neighbours.
    """
    xy = np.array([(item.x_m, item.y_m) for item in plan.lift.supports])
    along = np.gradient(xy, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    right = (side is Side.ASCENDING) == plan.lift.ascending_on_right
    east, north = along[:, 1], -along[:, 0]
    vectors: NDArray[np.float64] = np.column_stack([east, -north])
    return vectors if right else -vectors


def rope_m(plan: Plan, side: Side) -> NDArray[np.float64]:
    """The rope of one side at every support, in the lift's frame, shape (n, 2)."""
    xy = np.array([(item.x_m, item.y_m) for item in plan.lift.supports])
    ways = outward(plan, side) * (1.0, -1.0)
    places: NDArray[np.float64] = xy + plan.lift.gauge_m / 2 * ways
    return places


def band(
    plan: Plan,
    frame: Frame,
    side: Side,
    spans: tuple[int, int],
    *,
    px: float,
    text: str,
    color: str,
    weight: float,
    dashes: str | None = None,
    opacity: float = 1.0,
    trim: float = 0.0,
) -> Band:
    """One band along the spans from the first to the last of ``spans``.

    ``trim`` shortens both ends, in pixels; ``text`` is HTML.
    """
    part = slice(spans[0], spans[1] + 2)
    places = rope_m(plan, side)[part]
    return {
        "base": [
            list(place)
            for place in degrees(frame, places[:, 0].tolist(), places[:, 1].tolist())
        ],
        "normals": outward(plan, side)[part].round(4).tolist(),
        "px": px,
        "text": text,
        "color": color,
        "weight": weight,
        "dashes": dashes,
        "opacity": opacity,
        "trim": trim,
    }


def middle(
    plan: Plan, frame: Frame, side: Side, spans: tuple[int, int]
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Middle of a band's rope in degrees, and the way out from there on the screen."""
    rope = rope_m(plan, side)[spans[0] : spans[1] + 2]
    lengths = np.hypot(*np.diff(rope, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    x_m = float(np.interp(along[-1] / 2, along, rope[:, 0]))
    y_m = float(np.interp(along[-1] / 2, along, rope[:, 1]))
    ways = outward(plan, side)[spans[0] : spans[1] + 2]
    way = ways.mean(axis=0)
    way /= float(np.hypot(*way))
    return degrees(frame, [x_m], [y_m])[0], (float(way[0]), float(way[1]))
