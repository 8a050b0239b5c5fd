"""The section of one team's zone, for its sheet: heights, rope needed, hazards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from evac.facts.heights import UnitHeights
from evac.facts.lift import Side, Support
from evac.facts.plan import Plan
from evac.facts.work import Option, Zone
from evac.figures.below import stretches
from evac.figures.canvas import (
    MM_PER_PT,
    TEXT_PT,
    axes_mm,
    drawing,
    new_figure,
    shortened,
    spread,
    text_width_mm,
)
from evac.figures.hazard_bars import ROW_MM, draw_hazards, lay_hazards, rows_of
from evac.figures.profile import (
    draw_envelope,
    draw_supports,
    support_kinds,
    unknown_runs,
)
from evac.figures.reach import reach_lines
from evac.figures.taken import units_taken
from evac.words import Words

WIDTH_MM = 186.0
_SIDE_MM = 2.0
_REACHES_SHOWN = 2
_UPRIGHT_MM = 4.2
"""Width of one line of upright text with the gap to the next."""
_LABEL_MOVES_MM = 6.0
"""An upright label this far from the middle of its span still seems to belong to it."""
_ID_MM = 5.5
_LINE_MM = TEXT_PT * MM_PER_PT * 1.25


@dataclass(frozen=True, slots=True, kw_only=True)
class _Window:
    """The stretch of line that the drawing shows, and its scale."""

    plan: Plan
    words: Words
    first_span: int
    last_span: int
    kits: tuple[str, ...]
    low_m: float
    high_m: float

    @property
    def supports(self) -> tuple[Support, ...]:
        supports = self.plan.heights.line.supports
        return supports[self.first_span : self.last_span + 2]

    @property
    def mm_per_m(self) -> float:
        return (WIDTH_MM - 2 * _SIDE_MM) / (self.high_m - self.low_m)


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
    sides = [side for side in Side if any(side in zone.sides for zone in zones)]
    window = _window(plan, zones, words)
    bars = lay_hazards(
        stretches(plan.lift, plan.heights.line),
        words=words,
        low_m=window.low_m,
        high_m=window.high_m,
        mm_per_m=window.mm_per_m,
    )
    texts = {side: _unit_texts(window, side, zones) for side in sides}
    upright = _must_stand(window, [text for rows in texts.values() for _, text in rows])
    if upright:
        texts = _in_few_lines(window, texts)
    label_mm = _label_height_mm(texts, upright=upright)
    strip_mm = rows_of(bars) * ROW_MM
    each_mm = side_height_mm + label_mm + _LINE_MM + 2.0
    height_mm = len(sides) * each_mm + strip_mm + 2 * _LINE_MM + 2.0
    with drawing():
        figure = new_figure(WIDTH_MM, height_mm=height_mm)
        for number, side in enumerate(reversed(sides)):
            _draw_side(
                figure,
                window,
                side,
                texts[side],
                bottom=strip_mm + 2 * _LINE_MM + 2.0 + number * each_mm,
                height=side_height_mm,
                label_mm=label_mm,
                upright=upright,
            )
        if bars:
            axes = axes_mm(
                figure,
                left=_SIDE_MM,
                bottom=2 * _LINE_MM + 1.0,
                width=WIDTH_MM - 2 * _SIDE_MM,
                height=strip_mm,
            )
            draw_hazards(axes, bars, width_mm=WIDTH_MM - 2 * _SIDE_MM)
        _foot(figure, window, height_mm)
    return figure


def _window(plan: Plan, zones: Sequence[Zone], words: Words) -> _Window:
    first = min(zone.first_span for zone in zones)
    last = max(zone.last_span for zone in zones)
    spans = plan.heights.line.spans
    start_m, end_m = spans[first].start_m, spans[last].end_m
    beside_m = 0.02 * (end_m - start_m)
    return _Window(
        plan=plan,
        words=words,
        first_span=first,
        last_span=last,
        kits=tuple({zone.option.kit: None for zone in zones}),
        low_m=start_m - beside_m,
        high_m=end_m + beside_m,
    )


def _unit_texts(
    window: _Window, side: Side, zones: Sequence[Zone]
) -> list[tuple[float, str]]:
    """Middle and label of every span of the zones on one side."""
    found = []
    spans = window.plan.heights.line.spans
    for unit in window.plan.heights.units:
        zone = next(
            (
                item
                for item in zones
                if (unit.side, unit.span_index) in units_taken(window.plan, [item])
            ),
            None,
        )
        if unit.side is not side or zone is None:
            continue
        span = spans[unit.span_index]
        text = _unit_text(window, unit, zone.option)
        found.append(((span.start_m + span.end_m) / 2, text))
    return found


def _unit_text(window: _Window, unit: UnitHeights, option: Option) -> str:
    words = window.words
    if not unit.known:
        return words.say("figures.unit_unknown")
    reach = next(
        (
            item
            for item in window.plan.reaches
            if item.option_index == option.index
            and item.side is unit.side
            and item.span_index == unit.span_index
        ),
        None,
    )
    if reach is None:
        return words.say(
            "figures.unit_seat",
            seat_m=unit.seat_greatest_m,
            margin=words.number(unit.margin_m, 1),
        )
    return words.say(
        # A height in feet as well leaves no room for its margin beside it.
        "figures.unit_rope_feet" if words.feet else "figures.unit_rope",
        seat_m=unit.seat_greatest_m,
        margin=words.number(unit.margin_m, 1),
        slope_deg=unit.ground_slope_deg,
        # Rounded against the team: a rope must never seem to suffice by rounding.
        needed=words.number(float(np.ceil(reach.rope_needed_m)), 0),
        have=words.number(float(np.floor(reach.rope_have_m)), 0),
    )


def _must_stand(window: _Window, texts: Sequence[str]) -> bool:
    """Whether labels must stand upright because some span is too narrow for them."""
    spans = window.plan.heights.line.spans[window.first_span : window.last_span + 1]
    narrowest_mm = min(span.end_m - span.start_m for span in spans) * window.mm_per_m
    lines = [line for text in texts for line in text.split("\n")]
    widest_mm = max((text_width_mm(line) for line in lines), default=0.0)
    return narrowest_mm < widest_mm + 1.0


def _label_height_mm(
    texts: dict[Side, list[tuple[float, str]]], *, upright: bool
) -> float:
    every = [text for rows in texts.values() for _, text in rows]
    if upright:
        lines = (text_width_mm(line) for text in every for line in text.split("\n"))
        return max(lines, default=0.0) + 1.0
    return _LINE_MM * max((text.count("\n") + 1 for text in every), default=0) + 1.0


def _label_places(
    window: _Window, texts: list[tuple[float, str]], *, upright: bool
) -> list[tuple[float, str]]:
    """Where each label stands; upright ones are moved apart."""
    if not upright:
        return texts
    places = _spread_upright(window, texts)
    return [
        (float(place), text) for place, (_, text) in zip(places, texts, strict=True)
    ]


def _spread_upright(
    window: _Window, texts: list[tuple[float, str]]
) -> NDArray[np.float64]:
    most = max((text.count("\n") + 1 for _, text in texts), default=1)
    half_m = most * _UPRIGHT_MM / 2 / window.mm_per_m
    return spread(
        [middle for middle, _ in texts],
        gap=2 * half_m,
        low=window.low_m + half_m,
        high=window.high_m - half_m,
    )


def _in_few_lines(
    window: _Window, texts: dict[Side, list[tuple[float, str]]]
) -> dict[Side, list[tuple[float, str]]]:
    """Upright labels on two lines where each stays near its span, else on one."""
    for rows in texts.values():
        moved = _spread_upright(window, rows) - [middle for middle, _ in rows]
        far_mm = float(np.abs(moved).max(initial=0.0)) * window.mm_per_m
        if far_mm > _LABEL_MOVES_MM:
            return {
                side: [(middle, text.replace("\n", " · ")) for middle, text in each]
                for side, each in texts.items()
            }
    return texts


def _draw_side(
    figure: Figure,
    window: _Window,
    side: Side,
    texts: list[tuple[float, str]],
    *,
    bottom: float,
    height: float,
    label_mm: float,
    upright: bool,
) -> None:
    """Draw one side with its labels."""
    heights = window.plan.heights
    envelope = heights.envelopes[side]
    axes = axes_mm(
        figure,
        left=_SIDE_MM,
        bottom=bottom,
        width=WIDTH_MM - 2 * _SIDE_MM,
        height=height,
    )
    axes.set_axis_off()
    axes.set_xlim(window.low_m, window.high_m)
    inside = (envelope.distance_m >= window.low_m) & (
        envelope.distance_m <= window.high_m
    )
    worst_m = (envelope.rope_greatest_m + envelope.margin_m)[inside]
    high_m = max(1.04 * float(np.nanmax(worst_m, initial=0.0)), 6.0)
    low_m = -_ID_MM * high_m / (height - _ID_MM)
    axes.set_ylim(low_m, high_m)
    axes.axhspan(low_m, 0.0, facecolor="0.93", edgecolor="none", zorder=0)
    axes.axhline(0.0, color="0.35", linewidth=0.9, zorder=2)
    draw_envelope(axes, envelope, np.zeros_like(envelope.distance_m))
    axes.plot(
        envelope.distance_m[inside], worst_m, color="black", linewidth=0.7, zorder=3
    )
    _draw_rope_and_carriers(axes, window, side)
    draw_supports(
        axes,
        window.supports,
        kinds=support_kinds(window.plan.heights),
        foot_m=[0.0] * len(window.supports),
    )
    _draw_reach(axes, window, high_m=high_m)
    for start_m, end_m in unknown_runs(envelope):
        axes.axvspan(
            start_m, end_m, facecolor="none", edgecolor="0.4", hatch="xx", zorder=1
        )
    m_per_mm = (high_m - low_m) / height
    _support_ids(axes, window, low_m=low_m, m_per_mm=m_per_mm)
    for place, text in _label_places(window, texts, upright=upright):
        axes.text(
            place,
            high_m + 0.8 * m_per_mm,
            text,
            rotation=90 if upright else 0,
            ha="center",
            va="bottom",
            fontsize=TEXT_PT,
            linespacing=1.15,
            clip_on=False,
        )
    axes.text(
        window.low_m,
        high_m + (label_mm + 2.0) * m_per_mm,
        _side_title(window, side),
        fontsize=TEXT_PT + 1,
        fontweight="bold",
        va="bottom",
        clip_on=False,
    )
    axes.text(
        window.high_m,
        high_m + (label_mm + 2.0) * m_per_mm,
        _reach_text(window),
        fontsize=TEXT_PT,
        ha="right",
        va="bottom",
        clip_on=False,
    )


def _side_title(window: _Window, side: Side) -> str:
    """The side, and which end of the drawing is the upper one."""
    end = "right" if window.plan.lift.upper_is_last else "left"
    return window.words.say(
        "figures.side_title",
        side=window.words.say(f"figures.side_{side.value}"),
        upper=window.words.say(f"figures.upper_{end}"),
    )


def _reach_text(window: _Window) -> str:
    """How high a rope the zone's kits serve, in words beside the dashes."""
    words = window.words
    lines = reach_lines(window.plan.lift, kits=window.kits)
    parts = [
        words.say(
            "figures.reach_part",
            kits=shortened(", ".join(line.kits), most=20),
            reach_m=line.rope_height_m,
        )
        for line in lines[:_REACHES_SHOWN]
    ]
    return words.say("figures.zone_reach", list="; ".join(parts)) if parts else ""


def _draw_reach(axes: Axes, window: _Window, *, high_m: float) -> None:
    """Dashes where the reach of the zone's kit ends, if inside the drawing."""
    for line in reach_lines(window.plan.lift, kits=window.kits):
        if line.rope_height_m < high_m:
            axes.axhline(
                line.rope_height_m, color="black", linewidth=0.9, linestyle=(0, (7, 3))
            )


def _draw_rope_and_carriers(axes: Axes, window: _Window, side: Side) -> None:
    """The rope, hangers and seats at the reference stop, above ground."""
    heights = window.plan.heights
    stop, ground = heights.reference[side], heights.line.ground[side]
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


def _support_ids(axes: Axes, window: _Window, *, low_m: float, m_per_mm: float) -> None:
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


def _foot(figure: Figure, window: _Window, height_mm: float) -> None:
    words = window.words
    texts = (words.say("figures.zone_scale"), words.say("figures.zone_legend"))
    for row, text in enumerate(texts):
        figure.text(
            _SIDE_MM / WIDTH_MM,
            (0.8 + (1 - row) * _LINE_MM) / height_mm,
            shortened(text, most=108),
            fontsize=TEXT_PT,
            va="bottom",
        )
