"""The map strip of one team's zone, for its sheet: north up, black and white."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from contourpy import LineType, contour_generator
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from evac.facts.lift import Support, Terrain
from evac.facts.plan import Plan
from evac.facts.work import Route, Zone
from evac.figures.canvas import (
    TEXT_PT,
    axes_mm,
    drawing,
    new_figure,
    size_mm,
)
from evac.figures.map_labels import (
    View,
    draw_muster,
    take_line,
    whole_metres,
    write_hazards,
    write_muster,
    write_scale_and_north,
    write_supports,
)
from evac.figures.taken import units_taken
from evac.words import Words

WIDTH_MM = 112.0
_FOOT_MM = 9.5
_LEAST_WAY_M = 60.0
_WAY_POINTS = 8
_INTERVALS_M = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0)


def zone_map(
    plan: Plan,
    zones: Sequence[Zone],
    *,
    route: Route | None,
    words: Words,
    height_mm: float = 66.0,
) -> Figure:
    """Draw where a team works and how it gets there.

    Parameters
    ----------
    plan : Plan
    zones : sequence of Zone
        All of one team; at least one.
    route : Route or None
        The team's way to its first support.
    words : Words
    height_mm : float
        Of the whole figure, at least 40.

    Returns
    -------
    matplotlib.figure.Figure
        112 mm wide, north up; no text below 9 pt.
    """
    with drawing():
        figure = new_figure(WIDTH_MM, height_mm=height_mm)
        view = _view(plan, zones, route, inside_mm=height_mm - _FOOT_MM)
        axes = axes_mm(
            figure,
            left=0.3,
            bottom=_FOOT_MM,
            width=WIDTH_MM - 0.6,
            height=height_mm - _FOOT_MM - 0.3,
        )
        axes.set_xlim(view.west_m, view.east_m)
        axes.set_ylim(view.south_m, view.north_m)
        axes.set_xticks([])
        axes.set_yticks([])
        interval_m = _draw_contours(axes, plan.lift.terrain, view)
        _draw_hazards(axes, plan, view)
        for way in plan.lift.ways:
            _draw_way(axes, way.geometry, view)
        _draw_line(axes, plan, zones, view)
        if route is not None and len(route.x_m) > 1:
            _draw_route(axes, route, view)
        _write_names(axes, plan, zones, route, view, words)
        _foot(figure, interval_m, words)
    return figure


def _view(
    plan: Plan, zones: Sequence[Zone], route: Route | None, *, inside_mm: float
) -> View:
    """The zone with room around it, and the last stretch of the way in."""
    first = min(zone.first_span for zone in zones)
    last = max(zone.last_span for zone in zones)
    supports = plan.heights.line.supports[first : last + 2]
    near_x, near_y = _last_stretch(supports, route)
    x = np.array([*(item.x_m for item in supports), *near_x])
    y = np.array([*(item.y_m for item in supports), *near_y])
    width_m = max(float(np.ptp(x)) * 1.3, 120.0)
    height_m = max(float(np.ptp(y)) * 1.3, 90.0)
    m_per_mm = max(width_m / WIDTH_MM, height_m / inside_mm)
    centre_x, centre_y = (x.min() + x.max()) / 2, (y.min() + y.max()) / 2
    return View(
        west_m=float(centre_x - WIDTH_MM / 2 * m_per_mm),
        east_m=float(centre_x + WIDTH_MM / 2 * m_per_mm),
        south_m=float(centre_y - inside_mm / 2 * m_per_mm),
        north_m=float(centre_y + inside_mm / 2 * m_per_mm),
        m_per_mm=float(m_per_mm),
    )


def _last_stretch(
    supports: Sequence[Support], route: Route | None
) -> tuple[list[float], list[float]]:
    """Places along the end of a way in: as far out as a third of the zone's length."""
    if route is None or len(route.x_m) < 2:
        return [], []
    way = LineString(list(zip(route.x_m, route.y_m, strict=True)))
    zone_m = abs(supports[-1].distance_m - supports[0].distance_m)
    shown_m = min(way.length, max(_LEAST_WAY_M, zone_m / 3))
    points = [
        way.interpolate(way.length - back_m)
        for back_m in np.linspace(0.0, shown_m, _WAY_POINTS)
    ]
    return [point.x for point in points], [point.y for point in points]


def _draw_contours(axes: Axes, terrain: Terrain | None, view: View) -> float | None:
    """Thin contour lines; return their interval, None where nothing was drawn."""
    if terrain is None:
        return None
    columns = _cells(terrain.west_m, terrain.cell_m, view.west_m, view.east_m)
    rows = _cells(terrain.south_m, terrain.cell_m, view.south_m, view.north_m)
    part = terrain.elevation_m[rows, columns]
    known = part[np.isfinite(part)]
    if known.size == 0 or min(part.shape) < 2:
        return None
    low_m, high_m = float(known.min()), float(known.max())
    interval_m = next(
        (step for step in _INTERVALS_M if (high_m - low_m) / step <= 16),
        _INTERVALS_M[-1],
    )
    generator = contour_generator(
        terrain.west_m
        + np.arange(columns.start, columns.start + part.shape[1]) * terrain.cell_m,
        terrain.south_m
        + np.arange(rows.start, rows.start + part.shape[0]) * terrain.cell_m,
        np.ma.masked_invalid(part),
        line_type=LineType.Separate,
    )
    first, last = int(np.ceil(low_m / interval_m)), int(high_m // interval_m)
    for number in range(first, last + 1):
        axes.add_collection(
            LineCollection(
                [np.asarray(line) for line in generator.lines(number * interval_m)],
                colors="0.72",
                linewidths=0.9 if number % 5 == 0 else 0.4,
                zorder=1,
            ),
            autolim=False,
        )
    return interval_m


def _cells(origin_m: float, cell_m: float, low_m: float, high_m: float) -> slice:
    start = max(int(np.floor((low_m - origin_m) / cell_m)), 0)
    return slice(start, max(int(np.ceil((high_m - origin_m) / cell_m)) + 1, start))


def _parts(geometry: BaseGeometry) -> list[BaseGeometry]:
    return [
        part for part in getattr(geometry, "geoms", [geometry]) if not part.is_empty
    ]


def _draw_way(axes: Axes, geometry: BaseGeometry, view: View) -> None:
    for part in _parts(geometry.intersection(view.box)):
        if isinstance(part, LineString):
            xy = np.asarray(part.coords)
            axes.plot(xy[:, 0], xy[:, 1], color="0.45", linewidth=0.8, zorder=2)


def _draw_hazards(axes: Axes, plan: Plan, view: View) -> None:
    """Dotted lines and hatched areas."""
    for hazard in plan.lift.hazards:
        seen = hazard.geometry.intersection(view.box)
        if seen.is_empty:
            continue
        for part in _parts(seen):
            if isinstance(part, Polygon):
                xy = np.asarray(part.exterior.coords)
                axes.fill(
                    xy[:, 0],
                    xy[:, 1],
                    facecolor="none",
                    edgecolor="0.5",
                    hatch="//",
                    linewidth=0.8,
                    zorder=2,
                )
            elif isinstance(part, LineString):
                xy = np.asarray(part.coords)
                axes.plot(
                    xy[:, 0],
                    xy[:, 1],
                    color="black",
                    linewidth=1.4,
                    linestyle=(0, (1, 1.4)),
                    zorder=3,
                )
            elif isinstance(part, Point):
                axes.plot([part.x], [part.y], marker="x", color="black", markersize=6)


def _draw_line(axes: Axes, plan: Plan, zones: Sequence[Zone], view: View) -> None:
    """The lift as a thin line, the zone thick, supports with their numbers."""
    supports = plan.heights.line.supports
    axes.plot(
        [item.x_m for item in supports],
        [item.y_m for item in supports],
        color="black",
        linewidth=0.9,
        zorder=4,
    )
    # Thick where the team works; a span that it only walks past stays thin.
    for span in sorted({span for _, span in units_taken(plan, zones)}):
        part = supports[span : span + 2]
        axes.plot(
            [item.x_m for item in part],
            [item.y_m for item in part],
            color="black",
            linewidth=3.2,
            solid_capstyle="butt",
            zorder=5,
        )
    shown = [
        item
        for item in supports
        if not item.mark and view.box.contains(Point(item.x_m, item.y_m))
    ]
    axes.plot(
        [item.x_m for item in shown],
        [item.y_m for item in shown],
        linestyle="none",
        marker="o",
        markersize=5,
        zorder=6,
        markerfacecolor="white",
        markeredgecolor="black",
    )
    # One team, one start; where several teams are drawn each has its own colour.
    if len({zone.team for zone in zones}) == 1:
        start = supports[zones[0].start_support]
        axes.plot(
            [start.x_m], [start.y_m], marker="o", markersize=8, color="black", zorder=6
        )


def _draw_route(axes: Axes, route: Route, view: View) -> None:
    """The way in as thick dashes with an arrow head at its end."""
    axes.plot(
        route.x_m,
        route.y_m,
        color="black",
        linewidth=1.8,
        linestyle=(0, (4, 2)),
        zorder=6,
    )
    end = np.array([route.x_m[-1], route.y_m[-1]])
    before = LineString(list(zip(route.x_m, route.y_m, strict=True)))
    back = before.interpolate(max(before.length - 6 * view.m_per_mm, 0.0))
    axes.annotate(
        "",
        xy=(float(end[0]), float(end[1])),
        xytext=(back.x, back.y),
        arrowprops={"arrowstyle": "-|>", "color": "black", "linewidth": 1.8},
        zorder=7,
    )


def _write_names(
    axes: Axes,
    plan: Plan,
    zones: Sequence[Zone],
    route: Route | None,
    view: View,
    words: Words,
) -> None:
    supports = plan.heights.line.supports
    lift_line = LineString([(item.x_m, item.y_m) for item in supports])
    take_line(view, lift_line, half_mm=0.9)
    if route is not None and len(route.x_m) > 1:
        way = LineString(list(zip(route.x_m, route.y_m, strict=True)))
        # The arrow's head is wider than its dashes.
        take_line(view, way, half_mm=1.2)
    draw_muster(axes, view, plan.lift)
    write_scale_and_north(axes, view, words)
    ends = [
        number for zone in zones for number in (zone.first_span, zone.last_span + 1)
    ]
    starts = [zone.start_support for zone in zones]
    write_supports(axes, view, supports, always=list(dict.fromkeys([*starts, *ends])))
    write_muster(axes, view, plan.lift, words)
    write_hazards(axes, view, plan.lift, words)


def _foot(figure: Figure, interval_m: float | None, words: Words) -> None:
    text = (
        words.say("figures.map_no_terrain")
        if interval_m is None
        else words.say("figures.map_legend", interval=whole_metres(interval_m, words))
    )
    _, height_mm = size_mm(figure)
    figure.text(0.0, 0.8 / height_mm, text, fontsize=TEXT_PT, va="bottom")
