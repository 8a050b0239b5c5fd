"""The line from above at one stop: every carrier, marked by the team that clears it."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from evac.facts.heights import StopGrid
from evac.facts.lift import FloatArray, Lift, Side
from evac.facts.plan import Plan
from evac.facts.work import Rescue, Schedule
from evac.figures.canvas import drawing
from evac.figures.zone_map import WIDTH_MM, zone_map
from evac.words import Words

_COLOURS = (
    "#0072b2",
    "#e69f00",
    "#009e73",
    "#cc79a7",
    "#d55e00",
    "#56b4e9",
    "#000000",
    "#f0e442",
)
"""Told apart by most colour-blind people: M. Okabe and K. Ito, "Color Universal
Design" (2008), the yellow last."""
_MARKS = "o^sDvP*X"
_BESIDE_MM = 1.6
"""Both sides are drawn apart: to scale they would lie on each other."""
_LEGEND_MM = 58.0


def team_map(
    plan: Plan,
    schedule: Schedule,
    *,
    stops: StopGrid,
    stop_index: int,
    words: Words,
    height_mm: float = 150.0,
) -> Figure:
    """Draw the line at one stop for a screen, each team in its colour and mark.

    Parameters
    ----------
    plan : Plan
        Its lift, zones and ways.
    schedule : Schedule
        Who clears which carrier at this stop.
    stops : StopGrid
        Where carriers hang; those that are in no team's schedule are drawn as crosses.
    stop_index : int
        Row of the stop grid.
    words : Words
    height_mm : float

    Returns
    -------
    matplotlib.figure.Figure
        North up, the legend beside the map.
    """
    with drawing():
        figure = zone_map(
            plan, plan.assignment.zones, route=None, words=words, height_mm=height_mm
        )
        axes = figure.axes[0]
        west_m, east_m = axes.get_xlim()
        beside_m = _BESIDE_MM * (east_m - west_m) / WIDTH_MM
        teams = tuple(dict.fromkeys(rescue.team for rescue in schedule.rescues))
        for number, team in enumerate(teams):
            x_m, y_m = _places(
                plan.lift,
                [rescue for rescue in schedule.rescues if rescue.team == team],
                beside_m=beside_m,
            )
            axes.plot(
                x_m,
                y_m,
                _MARKS[number % len(_MARKS)],
                color=_COLOURS[number % len(_COLOURS)],
                markeredgecolor="black",
                markeredgewidth=0.4,
                markersize=5,
                zorder=5,
                label=words.say("team_map.team", team=team, count=x_m.size),
            )
        left = _left(plan.lift, schedule, stops, stop_index, beside_m=beside_m)
        if left[0].size:
            axes.plot(
                *left,
                "x",
                color="black",
                markersize=6,
                zorder=6,
                label=words.say("team_map.nobody", count=left[0].size),
            )
        width_in, height_in = figure.get_size_inches()
        wider = (WIDTH_MM + _LEGEND_MM) / WIDTH_MM
        for each in figure.axes:
            box = each.get_position()
            each.set_position((box.x0 / wider, box.y0, box.width / wider, box.height))
        for text in figure.texts:
            text.set_text(words.say("team_map.foot"))
        figure.set_size_inches(width_in * wider, height_in)
        if teams or left[0].size:
            axes.legend(
                loc="upper left",
                bbox_to_anchor=(1.01, 1.0),
                frameon=False,
                borderaxespad=0.0,
            )
    return figure


def _places(
    lift: Lift, rescues: list[Rescue], *, beside_m: float
) -> tuple[FloatArray, FloatArray]:
    sides = np.array([rescue.side is Side.ASCENDING for rescue in rescues], dtype=bool)
    distance_m = np.array([rescue.distance_m for rescue in rescues], dtype=float)
    return _beside(lift, distance_m, sides, beside_m=beside_m)


def _left(
    lift: Lift,
    schedule: Schedule,
    stops: StopGrid,
    stop_index: int,
    *,
    beside_m: float,
) -> tuple[FloatArray, FloatArray]:
    """Carriers of the stop that no team has."""
    taken = {(rescue.side, rescue.distance_m) for rescue in schedule.rescues}
    found = [
        (side is Side.ASCENDING, float(distance_m))
        for side, rows in stops.distance_m.items()
        for distance_m in rows[stop_index]
        if np.isfinite(distance_m) and (side, float(distance_m)) not in taken
    ]
    sides = np.array([side for side, _ in found], dtype=bool)
    distance_m = np.array([distance for _, distance in found], dtype=float)
    return _beside(lift, distance_m, sides, beside_m=beside_m)


def _beside(
    lift: Lift, distance_m: FloatArray, ascending: np.ndarray, *, beside_m: float
) -> tuple[FloatArray, FloatArray]:
    along = [support.distance_m for support in lift.supports]
    x = [support.x_m for support in lift.supports]
    y = [support.y_m for support in lift.supports]
    run_x, run_y = x[-1] - x[0], y[-1] - y[0]
    length_m = float(np.hypot(run_x, run_y))
    # To the right of the line, seen from its first station.
    right = np.where(ascending == lift.ascending_on_right, 1.0, -1.0) * beside_m
    return (
        np.interp(distance_m, along, x) + right * run_y / length_m,
        np.interp(distance_m, along, y) - right * run_x / length_m,
    )
