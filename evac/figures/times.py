"""Drawings of time: when the line is clear, and who works when."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MultipleLocator

from evac.facts.plan import Plan
from evac.figures.canvas import TEXT_PT, axes_mm, drawing, new_figure, shortened
from evac.words import Words

WIDTH_MM = 174.0
_STEPS_S = (300, 600, 900, 1800, 3600, 7200, 14400)
_ROW_MM = 6.0
_AXIS_END_MM = 162.0
"""Leaves half a time's width for a mark at the very end of the axis."""


def clearing_times(plan: Plan, *, words: Words) -> Figure:
    """Share of imagined days on which the line is clear by a time after the order.

    Parameters
    ----------
    plan : Plan
    words : Words

    Returns
    -------
    matplotlib.figure.Figure
        174 mm x 62 mm, black and white.
    """
    simulation = plan.simulation
    times_s = np.sort(simulation.order_to_clear_s)
    shares = (np.arange(times_s.size) + 1) / times_s.size
    # A thousand points draw the same line as ten thousand.
    kept = np.unique(np.linspace(0, times_s.size - 1, 1000).astype(int))
    with drawing():
        figure = new_figure(WIDTH_MM, height_mm=62.0)
        axes = axes_mm(
            figure, left=22.0, bottom=13.0, width=_AXIS_END_MM - 22.0, height=44.0
        )
        axes.plot(times_s[kept], 100 * shares[kept], color="black", linewidth=1.5)
        # The last days of a long tail would squeeze the part that matters.
        axes.set_xlim(0.0, 1.15 * float(np.quantile(times_s, 0.99)))
        axes.set_ylim(0, 105)
        marks = (
            (
                simulation.p50_s,
                50,
                words.say("figures.clearing_p50", p50_s=simulation.p50_s),
            ),
            (
                simulation.p90_s,
                90,
                words.say("figures.clearing_p90", p90_s=simulation.p90_s),
            ),
        )
        for time_s, share, text in marks:
            axes.plot(
                [0.0, time_s, time_s],
                [share, share, 0.0],
                color="black",
                linewidth=0.8,
                linestyle=(0, (4, 2)),
            )
            axes.text(
                time_s + 0.012 * axes.get_xlim()[1],
                share - 3.0,
                text,
                fontsize=TEXT_PT,
                va="top",
            )
        _time_axis(axes, words.say("figures.clearing_axis"), words)
        axes.set_ylabel(words.say("figures.clearing_shares"), fontsize=TEXT_PT)
        axes.yaxis.set_major_formatter(FuncFormatter(lambda share, _: f"{share:.0f} %"))
        axes.tick_params(labelsize=TEXT_PT)
        for edge in ("top", "right"):
            axes.spines[edge].set_visible(False)
    return figure


def timeline(plan: Plan, *, words: Words) -> Figure:
    """Who is on the way, waits and works when, a row a team.

    Parameters
    ----------
    plan : Plan
    words : Words

    Returns
    -------
    matplotlib.figure.Figure
        174 mm wide, a row a zone; black and white.
    """
    zones = plan.assignment.zones
    rows_mm = _ROW_MM * max(len(zones), 1)
    height_mm = rows_mm + 20.0
    with drawing():
        figure = new_figure(WIDTH_MM, height_mm=height_mm)
        axes = axes_mm(
            figure, left=46.0, bottom=18.0, width=_AXIS_END_MM - 46.0, height=rows_mm
        )
        axes.set_ylim(max(len(zones), 1), 0)
        last_s = max((zone.finish_s for zone in zones), default=3600)
        axes.set_xlim(0.0, 1.04 * last_s)
        for row, zone in enumerate(zones):
            parts = (
                (0.0, zone.arrival_s, "white", ""),
                (zone.arrival_s, zone.start_s, "white", "...."),
                (zone.start_s, zone.finish_s, "0.15", ""),
            )
            for start_s, end_s, fill, hatch in parts:
                axes.barh(
                    row + 0.5,
                    max(end_s - start_s, 0.0),
                    left=start_s,
                    height=0.62,
                    facecolor=fill,
                    edgecolor="black",
                    linewidth=0.7,
                    hatch=hatch,
                )
        axes.set_yticks(
            [row + 0.5 for row in range(len(zones))],
            [
                shortened(words.say("figures.timeline_team", team=zone.team), most=20)
                for zone in zones
            ],
        )
        axes.tick_params(labelsize=TEXT_PT, left=False)
        _time_axis(axes, words.say("figures.timeline_axis"), words)
        for edge in ("top", "right"):
            axes.spines[edge].set_visible(False)
        figure.text(
            2.0 / WIDTH_MM,
            1.0 / height_mm,
            words.say("figures.timeline_legend"),
            fontsize=TEXT_PT,
            va="bottom",
        )
    return figure


def _time_axis(axes: Axes, title: str, words: Words) -> None:
    width_s = axes.get_xlim()[1]
    step_s = next((step for step in _STEPS_S if width_s / step <= 6), _STEPS_S[-1])
    axes.xaxis.set_major_locator(MultipleLocator(step_s))
    axes.xaxis.set_major_formatter(
        FuncFormatter(lambda time_s, _: words.duration(time_s) if time_s > 0 else "0")
    )
    axes.set_xlabel(title, fontsize=TEXT_PT, labelpad=1)
