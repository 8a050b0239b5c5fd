"""The section of one team's zone, for its sheet: heights, rope needed, hazards."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from evac.facts.lift import FloatArray, Side
from evac.facts.plan import Plan
from evac.facts.work import Zone
from evac.figures.canvas import (
    TEXT_PT,
    axes_mm,
    drawing,
    new_figure,
    shortened,
    spread,
    text_width_mm,
)
from evac.figures.carrier_words import say_of
from evac.figures.hazard_bars import ROW_MM, draw_hazards, rows_of
from evac.figures.profile import (
    cross_unknown,
    draw_envelope,
    draw_supports,
    seen_envelope,
    seen_stop,
    support_kinds,
)
from evac.figures.reach import reach_lines
from evac.figures.zone_layout import (
    LINE_MM,
    SIDE_MM,
    WIDTH_MM,
    Window,
    ZoneLayout,
    lay_zone,
)
from evac.words import Words

_ID_MM = 5.5
MARKS = ("reach", "stance")
"""Lines that only some pictures hold; words keys below ``figures.zone_mark_``."""


def zone_section(
    plan: Plan, zones: Sequence[Zone], *, words: Words, side_height_mm: float = 34.0
) -> Figure:
    """Draw the spans of a team's zones, one picture a side.

    Above every span stand its highest seat and the rope needed of the rope at hand;
    below the ground, what lies there.

    Parameters
    ----------
    plan : Plan
    zones : sequence of Zone
        All of one team; at least one.
    words : Words
    side_height_mm : float
        Height of the profile of one side.

    Returns
    -------
    matplotlib.figure.Figure
        186 mm wide; no text below 9 pt.
    """
    layout = lay_zone(plan, zones, words=words, side_height_mm=side_height_mm)
    window, bars = layout.window, layout.bars
    with drawing():
        figure = new_figure(WIDTH_MM, height_mm=layout.height_mm)
        marks: set[str] = set()
        for number, side in enumerate(reversed(layout.sides)):
            marks |= _draw_side(
                figure,
                layout,
                side,
                bottom=layout.foot_mm + number * layout.each_mm,
                height=side_height_mm,
            )
        if bars:
            axes = axes_mm(
                figure,
                left=SIDE_MM,
                bottom=2 * LINE_MM + 1.0,
                width=WIDTH_MM - 2 * SIDE_MM,
                height=rows_of(bars) * ROW_MM,
            )
            draw_hazards(axes, bars, width_mm=WIDTH_MM - 2 * SIDE_MM)
        _foot(figure, window, layout.height_mm, marks=marks)
    return figure


def _draw_side(
    figure: Figure, layout: ZoneLayout, side: Side, *, bottom: float, height: float
) -> set[str]:
    """Draw one side with its labels; which of `MARKS` its picture holds."""
    window = layout.window
    heights = window.plan.heights
    envelope = seen_envelope(heights, side)
    axes = axes_mm(
        figure,
        left=SIDE_MM,
        bottom=bottom,
        width=WIDTH_MM - 2 * SIDE_MM,
        height=height,
    )
    axes.set_axis_off()
    axes.set_xlim(window.low_m, window.high_m)
    inside = (envelope.distance_m >= window.low_m) & (
        envelope.distance_m <= window.high_m
    )
    worst_m = (envelope.rope_greatest_m + envelope.margin_m)[inside]
    stance_m = (envelope.stance_greatest_m + envelope.margin_m)[inside]
    with_stance_m = _picture_m(np.fmax(worst_m, stance_m))
    from_stance = _from_stance(window, high_m=with_stance_m)
    high_m = with_stance_m if from_stance else _picture_m(worst_m)
    low_m = -_ID_MM * high_m / (height - _ID_MM)
    axes.set_ylim(low_m, high_m)
    axes.axhspan(low_m, 0.0, facecolor="0.93", edgecolor="none", zorder=0)
    axes.axhline(0.0, color="0.35", linewidth=0.9, zorder=2)
    draw_envelope(axes, envelope, np.zeros_like(envelope.distance_m))
    axes.plot(
        envelope.distance_m[inside], worst_m, color="black", linewidth=0.7, zorder=3
    )
    if from_stance:
        # Dashes of a reach from the stance are compared with this, not with the rope.
        axes.plot(
            envelope.distance_m[inside],
            stance_m,
            color="black",
            linewidth=1.2,
            linestyle=(0, (1, 1.2)),
            zorder=4,
        )
    _draw_rope_and_carriers(axes, window, side)
    draw_supports(
        axes,
        window.supports,
        kinds=support_kinds(window.plan.heights),
        foot_m=[0.0] * len(window.supports),
    )
    dashes = _draw_reach(axes, window, side, high_m=high_m, from_stance=from_stance)
    cross_unknown(axes, heights, (side,))
    m_per_mm = (high_m - low_m) / height
    _support_ids(axes, window, low_m=low_m, m_per_mm=m_per_mm)
    for place, text in layout.places(side):
        axes.text(
            place,
            high_m + 0.8 * m_per_mm,
            text,
            rotation=90 if layout.upright else 0,
            ha="center",
            va="bottom",
            fontsize=TEXT_PT,
            linespacing=1.15,
            clip_on=False,
        )
    title = _side_title(window, side)
    room_mm = WIDTH_MM - 2 * SIDE_MM - text_width_mm(title, size_pt=TEXT_PT + 2)
    axes.text(
        window.low_m,
        high_m + (layout.label_mm + 2.0) * m_per_mm,
        title,
        fontsize=TEXT_PT + 1,
        fontweight="bold",
        va="bottom",
        clip_on=False,
    )
    axes.text(
        window.high_m,
        high_m + (layout.label_mm + 2.0) * m_per_mm,
        _reach_text(window, room_mm=room_mm),
        fontsize=TEXT_PT,
        ha="right",
        va="bottom",
        clip_on=False,
    )
    drawn = (dashes, from_stance)
    return {mark for mark, is_drawn in zip(MARKS, drawn, strict=True) if is_drawn}


def _picture_m(highest_m: FloatArray) -> float:
    """How high a picture is that shows all of some heights."""
    return max(1.04 * float(np.nanmax(highest_m, initial=0.0)), 6.0)


def _side_title(window: Window, side: Side) -> str:
    """The side, and which end of the drawing is the upper one."""
    end = "right" if window.plan.lift.upper_is_last else "left"
    return window.words.say(
        "figures.side_title",
        side=window.words.say(f"figures.side_{side.value}"),
        upper=window.words.say(f"figures.upper_{end}"),
    )


def _reach_text(window: Window, *, room_mm: float) -> str:
    """How high a rope the zone's kits serve, in words, as many kits as find room."""
    words = window.words
    text = ""
    parts: list[str] = []
    for line in reach_lines(window.plan, kits=window.kits):
        parts.append(
            words.say(
                "figures.reach_part_stance"
                if line.from_stance
                else "figures.reach_part",
                kits=shortened(", ".join(line.kits), most=20),
                reach_m=line.rope_height_m,
            )
        )
        longer = words.say("figures.zone_reach", list="; ".join(parts))
        if text and text_width_mm(longer) > room_mm:
            break
        text = longer
    return text


def _from_stance(window: Window, *, high_m: float) -> bool:
    """Whether heights from the stance matter to a picture of that height.

    They do where one of the zone's kits is limited by them, and where its rope ends
    within the picture though a throw allows less still.
    """
    return any(
        line.from_stance
        or (line.stance_height_m is not None and line.stance_height_m < high_m)
        for line in reach_lines(window.plan, kits=window.kits)
    )


def _draw_reach(
    axes: Axes, window: Window, side: Side, *, high_m: float, from_stance: bool
) -> bool:
    """Dashes where the reach of the zone's kit ends, over spans that it reaches.

    Beside heights from the stance also where its rope ends above it. Whether there
    are any: a reach above the picture has none.
    """
    any_drawn = False
    spans = window.plan.heights.line.spans[window.first_span : window.last_span + 1]
    for line in reach_lines(window.plan, kits=window.kits):
        ends_m = {line.rope_height_m}
        if from_stance and line.stance_height_m is not None:
            ends_m.add(line.stance_height_m)
        served = [span for span in spans if (side, span.index) in line.reached]
        for end_m in sorted(end_m for end_m in ends_m if end_m < high_m):
            axes.hlines(
                [end_m] * len(served),
                [span.start_m for span in served],
                [span.end_m for span in served],
                color="black",
                linewidth=0.9,
                linestyle=(0, (7, 3)),
            )
            any_drawn |= bool(served)
    return any_drawn


def _draw_rope_and_carriers(axes: Axes, window: Window, side: Side) -> None:
    """The rope, hangers and seats at the reference stop, above ground."""
    heights = window.plan.heights
    stop, ground = seen_stop(heights, side), heights.line.ground[side]
    shown = (stop.rope_distance_m >= window.low_m) & (
        stop.rope_distance_m <= window.high_m
    )
    at = stop.rope_distance_m[shown]
    base_m = np.interp(at, ground.distance_m, ground.elevation_m)
    axes.plot(
        at,
        stop.rope_elevation_m[shown] - base_m,
        color="black",
        linewidth=1.0,
        zorder=4,
    )
    carriers = stop.carriers
    inside = (carriers.distance_m >= window.low_m) & (
        carriers.distance_m <= window.high_m
    )
    at, seat_m = carriers.distance_m[inside], carriers.seat_height_m[inside]
    axes.vlines(
        at,
        seat_m,
        carriers.rope_height_m[inside],
        color="black",
        linewidth=0.8,
        zorder=4,
    )
    axes.plot(
        at, seat_m, linestyle="none", marker="s", markersize=3, color="black", zorder=5
    )


def _support_ids(axes: Axes, window: Window, *, low_m: float, m_per_mm: float) -> None:
    supports = window.supports
    names = [shortened(item.id, most=10) for item in supports]
    widest_mm = max(text_width_mm(name) for name in names)
    places = spread(
        [item.distance_m for item in supports],
        gap=(widest_mm + 1.0) / window.mm_per_m,
        low=window.low_m + widest_mm / 2 / window.mm_per_m,
        high=window.high_m - widest_mm / 2 / window.mm_per_m,
    )
    for place, name in zip(places, names, strict=True):
        axes.text(
            float(place),
            low_m + 0.6 * m_per_mm,
            name,
            ha="center",
            va="bottom",
            fontsize=TEXT_PT,
            fontweight="bold",
            zorder=6,
        )


def _foot(figure: Figure, window: Window, height_mm: float, *, marks: set[str]) -> None:
    words = window.words
    lift = window.plan.lift
    told = {
        mark: say_of(words, f"figures.zone_mark_{mark}", lift) if mark in marks else ""
        for mark in MARKS
    }
    texts = (
        words.say("figures.zone_scale"),
        say_of(words, "figures.zone_legend", lift, **told),
    )
    for row, text in enumerate(texts):
        figure.text(
            SIDE_MM / WIDTH_MM,
            (0.8 + (1 - row) * LINE_MM) / height_mm,
            shortened(text, most=108),
            fontsize=TEXT_PT,
            va="bottom",
        )
