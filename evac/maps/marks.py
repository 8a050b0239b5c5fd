"""Small texts on the map, and how text of users stays text."""

from __future__ import annotations

import html
from collections.abc import Sequence

import folium

from evac.frame import Frame

Places = list[tuple[float, float]]


def safe(text: str) -> str:
    """User text for a page: no markup, and nothing that any template would run.

    What folium is given is a template itself, so braces are written as codes too.

    Examples
    --------
    >>> safe("<b>`${1}`")
    '&lt;b&gt;&#96;&#36;&#123;1&#125;&#96;'
    """
    escaped = html.escape(text, quote=True)
    for mark in "`$\\{}":
        escaped = escaped.replace(mark, f"&#{ord(mark)};")
    return escaped


def label(
    text: str,
    kind: str,
    *,
    way: tuple[float, float] | None = None,
    value: float | None = None,
) -> folium.DivIcon:
    """A short text as a mark of the map.

    ``kind`` is its class in ``page.css`` and decides in ``page.js`` where it may stand
    and what gives way to what; ``way`` points out from the line on the screen. Of two
    of a kind the one of lesser ``value`` gives way.
    """
    data = "" if way is None else f' data-way="{way[0]:.3f},{way[1]:.3f}"'
    if value is not None:
        data += f' data-value="{value:.3f}"'
    return folium.DivIcon(
        html=f'<span class="{kind}"{data}>{safe(text)}</span>',
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
