"""The line from above at one stop: every carrier, marked by the team that clears it."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure
from matplotlib.image import imread
from numpy.typing import NDArray

from evac.facts.heights import StopGrid
from evac.facts.lift import FloatArray, Lift, Side
from evac.facts.plan import Plan
from evac.facts.work import Rescue, Schedule
from evac.figures.canvas import axes_mm, drawing, new_figure
from evac.figures.stop_view import png_bytes
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
_HEIGHT_MM = 150.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Background:
    """Everything of the map that no stop changes, drawn once as pixels.

    ``pixels`` (rows, columns, 4) at ``dots_per_inch``; ``axes`` is where the map lies
    in it [mm: left, bottom, width, height], ``limits_m`` what it shows (west, east,
    south, north).
    """

    pixels: NDArray[np.float32]
    dots_per_inch: int
    axes: tuple[float, float, float, float]
    limits_m: tuple[float, float, float, float]


def background(plan: Plan, *, words: Words, dots_per_inch: int) -> Background:
    """Terrain, hazards, ways and the line below the marks of a `team_map`.

    Plans of one lift whose zones take the same spans have the same background.
    """
    with drawing():
        figure = zone_map(
            plan,
            plan.assignment.zones,
            route=None,
            words=words,
            height_mm=_HEIGHT_MM,
        )
        for text in figure.texts:
            text.set_text(words.say("team_map.foot"))
        picture = png_bytes(figure, dots_per_inch=dots_per_inch)
        axes = figure.axes[0]
        box = axes.get_position()
        return Background(
            pixels=np.asarray(imread(io.BytesIO(picture)), dtype=np.float32),
            dots_per_inch=dots_per_inch,
            axes=(
                box.x0 * WIDTH_MM,
                box.y0 * _HEIGHT_MM,
                box.width * WIDTH_MM,
                box.height * _HEIGHT_MM,
            ),
            limits_m=(*axes.get_xlim(), *axes.get_ylim()),
        )


def team_map(
    plan: Plan,
    schedule: Schedule,
    *,
    stops: StopGrid,
    stop_index: int,
    below: Background,
    words: Words,
) -> Figure:
    """Draw the line at one stop for a screen, each team in its colour and mark.

    Parameters
    ----------
    plan : Plan
        For the places of its supports.
    schedule : Schedule
        Who clears which carrier at this stop.
    stops : StopGrid
        Where carriers hang; those that are in no team's schedule are drawn as crosses.
    stop_index : int
        Row of the stop grid.
    below : Background
        Of the plan; the figure is to be saved with its dots per inch.
    words : Words

    Returns
    -------
    matplotlib.figure.Figure
        North up, the legend beside the map.
    """
    with drawing():
        figure = new_figure(WIDTH_MM + _LEGEND_MM, height_mm=_HEIGHT_MM)
        figure.set_dpi(below.dots_per_inch)
        # Below the marks: by default an image lies as high as the axes.
        figure.figimage(below.pixels, zorder=-1)
        left, bottom, width, height = below.axes
        axes = axes_mm(figure, left=left, bottom=bottom, width=width, height=height)
        axes.patch.set_visible(False)
        axes.set_xticks([])
        axes.set_yticks([])
        west_m, east_m, south_m, north_m = below.limits_m
        axes.set_xlim(west_m, east_m)
        axes.set_ylim(south_m, north_m)
        beside_m = _BESIDE_MM * (east_m - west_m) / width
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
                label=words.say("team_map.team", team=team, count=x_m.size),
            )
        left_x_m, left_y_m = _left(
            plan.lift, schedule, stops, stop_index, beside_m=beside_m
        )
        if left_x_m.size:
            axes.plot(
                left_x_m,
                left_y_m,
                "x",
                color="black",
                markersize=6,
                label=words.say("team_map.nobody", count=left_x_m.size),
            )
        if teams or left_x_m.size:
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
