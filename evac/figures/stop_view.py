"""The line at one stop: where every carrier hangs now, within all it may reach."""

from __future__ import annotations

import io
from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from evac.facts.heights import Heights, StopHeights
from evac.facts.lift import Carriers, Side
from evac.figures.canvas import drawing, new_figure
from evac.figures.profile import ROPE_STYLE
from evac.words import Words

_MARK = {Side.ASCENDING: "^", Side.DESCENDING: "v"}


def stop_view(
    heights: Heights,
    stops: Mapping[Side, StopHeights],
    *,
    carriers: Carriers,
    words: Words,
) -> Figure:
    """Draw both sides at one stop, for a screen.

    Parameters
    ----------
    heights : Heights
        The envelope, as the band that the stop lies in.
    stops : mapping of Side to StopHeights
        Both sides at the stop that is shown.
    carriers : Carriers
        For the height of the seat below the rope.
    words : Words

    Returns
    -------
    matplotlib.figure.Figure
        The profile above, and the seats' heights above ground below.
    """
    with drawing():
        figure = new_figure(250, height_mm=130)
        profile = figure.add_axes((0.07, 0.53, 0.91, 0.45))
        seats = figure.add_axes((0.07, 0.1, 0.91, 0.33))
        for side in Side:
            _draw_profile(profile, heights, stops[side])
            _draw_seats(seats, heights, stops[side], carriers=carriers, words=words)
        line = heights.line
        for axes in (profile, seats):
            axes.set_xlim(line.distance_m[0], line.distance_m[-1])
            axes.spines[["top", "right"]].set_visible(False)
        profile.set_xticks(line.distance_m, [item.id for item in line.supports])
        profile.set_ylabel(words.say("figures.elevation"))
        seats.set_xlabel(words.say("figures.distance"))
        seats.set_ylabel(words.say("figures.stop_seats"))
        # Above the panel, where no seat can hang.
        seats.legend(
            loc="lower right",
            bbox_to_anchor=(1.0, 0.98),
            ncol=4,
            frameon=False,
            borderaxespad=0.0,
        )
        seats.set_ylim(bottom=0)
        return figure


def _draw_profile(axes: Axes, heights: Heights, stop: StopHeights) -> None:
    ground = heights.line.ground[stop.side]
    axes.plot(ground.distance_m, ground.elevation_m, color="0.55", lw=0.8)
    axes.plot(
        stop.rope_distance_m,
        stop.rope_elevation_m,
        color="black",
        linestyle=ROPE_STYLE[stop.side],
    )
    if stop.side is Side.ASCENDING:
        for support, top_m in zip(
            heights.line.supports, heights.line.rope_elevation_m, strict=True
        ):
            if support.mark:
                continue
            axes.plot(
                [support.distance_m] * 2, [support.ground_m, top_m], color="black", lw=2
            )


def _draw_seats(
    axes: Axes,
    heights: Heights,
    stop: StopHeights,
    *,
    carriers: Carriers,
    words: Words,
) -> None:
    envelope = heights.envelopes[stop.side]
    style = ROPE_STYLE[stop.side]
    for edge_m in (envelope.rope_greatest_m, envelope.rope_least_m):
        axes.plot(
            envelope.distance_m,
            edge_m - carriers.rope_to_seat_m,
            color="0.55",
            lw=0.8,
            linestyle=style,
        )
    now = stop.carriers
    loaded = now.people > 0
    for chosen, fill, key in ((loaded, "black", "loaded"), (~loaded, "white", "empty")):
        if np.any(chosen):
            axes.plot(
                now.distance_m[chosen],
                now.seat_height_m[chosen],
                _MARK[stop.side],
                markersize=5,
                color="black",
                markerfacecolor=fill,
                label=words.say(f"figures.stop_{stop.side.value}_{key}"),
            )


def png_bytes(figure: Figure, *, dots_per_inch: int = 110) -> bytes:
    """A figure as a PNG for a screen."""
    picture = io.BytesIO()
    with drawing():
        # Packed quickly: the picture goes no further than to this screen.
        figure.savefig(
            picture,
            format="png",
            dpi=dots_per_inch,
            pil_kwargs={"compress_level": 1},
        )
    return picture.getvalue()
