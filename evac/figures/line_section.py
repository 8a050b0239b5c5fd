"""The whole lift on one sheet (A3 landscape): profile, heights of both sides, reach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator

from evac.facts.heights import Heights
from evac.facts.lift import Lift, Side
from evac.figures.below import stretches
from evac.figures.canvas import (
    TEXT_PT,
    axes_mm,
    drawing,
    new_figure,
    plain,
    shortened,
    spread,
    text_width_mm,
)
from evac.figures.carrier_words import say_of
from evac.figures.hazard_bars import ROW_MM, draw_hazards, lay_hazards, rows_of
from evac.figures.profile import (
    ROPE_STYLE,
    draw_envelope,
    draw_ground,
    draw_rope,
    draw_supports,
    support_kinds,
    unknown_runs,
)
from evac.figures.reach import ReachLine, reach_lines
from evac.words import Words

WIDTH_MM, HEIGHT_MM = 400.0, 277.0
_LEFT_MM, _RIGHT_MM = 17.0, 16.0
_LABEL_GAP_MM = 4.2
_PANEL_MM = 40.0
_UPRIGHT_MM = 21.0
_DASHES: tuple[object, ...] = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """What every part of the drawing needs to know."""

    figure: Figure
    lift: Lift
    heights: Heights
    words: Words
    low_m: float
    high_m: float

    @property
    def width_mm(self) -> float:
        return WIDTH_MM - _LEFT_MM - _RIGHT_MM

    @property
    def mm_per_m(self) -> float:
        return self.width_mm / (self.high_m - self.low_m)

    def axes(self, *, bottom: float, height: float) -> Axes:
        axes = axes_mm(
            self.figure,
            left=_LEFT_MM,
            bottom=bottom,
            width=self.width_mm,
            height=height,
        )
        axes.set_xlim(self.low_m, self.high_m)
        return axes


def line_section(
    lift: Lift, heights: Heights, *, words: Words, subtitle: str = ""
) -> Figure:
    """Draw the long section of a lift with the heights of both sides.

    Parameters
    ----------
    lift : Lift
    heights : Heights
    words : Words
    subtitle : str
        A line below the title, such as revision, date and fingerprint.

    Returns
    -------
    matplotlib.figure.Figure
        400 mm x 277 mm, black and white; no text below 9 pt.
    """
    with drawing():
        figure = new_figure(WIDTH_MM, height_mm=HEIGHT_MM)
        length_m = heights.line.distance_m[-1]
        sheet = _Sheet(
            figure=figure,
            lift=lift,
            heights=heights,
            words=words,
            low_m=-0.005 * length_m,
            high_m=1.005 * length_m,
        )
        lines = reach_lines(lift)
        found = lay_hazards(
            stretches(lift, heights.line),
            words=words,
            low_m=sheet.low_m,
            high_m=sheet.high_m,
            mm_per_m=sheet.mm_per_m,
        )
        foot_mm = _foot(sheet, lines)
        panels_mm = foot_mm + 12.0
        for number, side in enumerate((Side.DESCENDING, Side.ASCENDING)):
            _panel(
                sheet,
                side,
                lines,
                bottom=panels_mm + number * (_PANEL_MM + _UPRIGHT_MM),
                last=number == 0,
            )
        below_mm = panels_mm + 2 * (_PANEL_MM + _UPRIGHT_MM)
        strip_mm = max(rows_of(found), 1) * ROW_MM
        draw_hazards(
            sheet.axes(bottom=below_mm, height=strip_mm),
            found,
            width_mm=sheet.width_mm,
        )
        labels = _support_labels(sheet)
        label_mm = max(text_width_mm(text) for text in labels)
        profile_mm = below_mm + strip_mm + 2.0
        top_mm = HEIGHT_MM - 17.0 - label_mm - 8.0
        exaggeration = _profile(
            sheet, labels, bottom=profile_mm, height=top_mm - profile_mm
        )
        _head(sheet, subtitle, exaggeration)
    return figure


def _head(sheet: _Sheet, subtitle: str, exaggeration: float) -> None:
    lift, words = sheet.lift, sheet.words
    figure = sheet.figure
    figure.text(
        _LEFT_MM / WIDTH_MM,
        1 - 6 / HEIGHT_MM,
        shortened(
            words.say("figures.section_title", lift=lift.name, kind=lift.kind), most=100
        ),
        fontsize=15,
        fontweight="bold",
        va="center",
    )
    scale = words.say(
        "figures.section_scale",
        scale=words.number(round(1000 / sheet.mm_per_m, -1), 0),
        exaggeration=words.number(exaggeration, 1),
        load=sheet.heights.reference[Side.ASCENDING].load_name,
    )
    for row, text in enumerate((scale, subtitle)):
        figure.text(
            _LEFT_MM / WIDTH_MM,
            1 - (11.5 + 4.2 * row) / HEIGHT_MM,
            shortened(text, most=190),
            fontsize=TEXT_PT,
            va="center",
        )


def _support_labels(sheet: _Sheet) -> list[str]:
    return [
        shortened(support.id, most=14)
        if support.mark
        else sheet.words.say(
            "figures.support",
            support=shortened(support.id, most=12),
            height_m=support.rope_height_m,
        )
        for support in sheet.heights.line.supports
    ]


def _profile(
    sheet: _Sheet, labels: list[str], *, bottom: float, height: float
) -> float:
    """Draw ground, masts, ropes and envelope; return the vertical exaggeration."""
    heights, line = sheet.heights, sheet.heights.line
    axes = sheet.axes(bottom=bottom, height=height)
    grounds = np.concatenate([item.elevation_m for item in line.ground.values()])
    low_m = float(np.nanmin(grounds))
    high_m = max(float(np.nanmax(grounds)), float(line.rope_elevation_m.max()))
    low_m, high_m = low_m - 0.06 * (high_m - low_m), high_m + 0.03 * (high_m - low_m)
    axes.set_ylim(low_m, high_m)
    for side in Side:
        ground = line.ground[side]
        draw_ground(axes, ground, bottom_m=low_m, linestyle=ROPE_STYLE[side])
        envelope = heights.envelopes[side]
        base_m = np.interp(envelope.distance_m, ground.distance_m, ground.elevation_m)
        draw_envelope(axes, envelope, base_m)
        draw_rope(axes, heights.reference[side], linestyle=ROPE_STYLE[side])
    draw_supports(
        axes,
        line.supports,
        kinds=support_kinds(heights),
        foot_m=[item.ground_m for item in line.supports],
    )
    for edge in ("top", "right"):
        axes.spines[edge].set_visible(False)
    axes.tick_params(labelbottom=False, bottom=False, labelsize=TEXT_PT)
    axes.set_ylabel(sheet.words.say("figures.elevation"), fontsize=TEXT_PT)
    _label_supports(sheet, axes, labels, height=height, high_m=high_m, low_m=low_m)
    return (height / (high_m - low_m)) / sheet.mm_per_m


def _label_supports(
    sheet: _Sheet,
    axes: Axes,
    labels: list[str],
    *,
    height: float,
    high_m: float,
    low_m: float,
) -> None:
    """Write ids and heights upright above the profile, with a leader to each mast."""
    supports = sheet.heights.line.supports
    m_per_mm = (high_m - low_m) / height
    places = spread(
        [item.distance_m for item in supports],
        gap=_LABEL_GAP_MM / sheet.mm_per_m,
        low=sheet.low_m,
        high=sheet.high_m,
    )
    for support, place, text in zip(supports, places, labels, strict=True):
        axes.text(
            float(place),
            high_m + 6.5 * m_per_mm,
            text,
            rotation=90,
            ha="center",
            va="bottom",
            fontsize=TEXT_PT,
            clip_on=False,
        )
        top_m = support.ground_m + support.rope_height_m
        axes.plot(
            [place, support.distance_m, support.distance_m],
            [high_m + 5.5 * m_per_mm, high_m + 1.0 * m_per_mm, top_m],
            color="0.55",
            linewidth=0.5,
            linestyle=(0, (1, 1.5)),
            clip_on=False,
            zorder=1,
        )


def _panel(
    sheet: _Sheet,
    side: Side,
    lines: tuple[ReachLine, ...],
    *,
    bottom: float,
    last: bool,
) -> None:
    """Heights above ground of one side: band, rope, seats, reach of the kits."""
    heights, words = sheet.heights, sheet.words
    envelope, stop = heights.envelopes[side], heights.reference[side]
    axes = sheet.axes(bottom=bottom, height=_PANEL_MM)
    worst_m = envelope.rope_greatest_m + envelope.margin_m
    high_m = 1.12 * float(np.nanmax(worst_m, initial=10.0))
    axes.set_ylim(0, high_m)
    draw_envelope(axes, envelope, np.zeros_like(envelope.distance_m))
    axes.plot(envelope.distance_m, worst_m, color="black", linewidth=1.5, zorder=4)
    ground = heights.line.ground[side]
    base_m = np.interp(stop.rope_distance_m, ground.distance_m, ground.elevation_m)
    axes.plot(
        stop.rope_distance_m,
        stop.rope_elevation_m - base_m,
        color="black",
        linewidth=0.7,
        zorder=3,
    )
    axes.plot(
        stop.carriers.distance_m,
        stop.carriers.seat_height_m,
        linestyle="none",
        marker="v",
        markersize=3,
        color="black",
        zorder=5,
    )
    for start_m, end_m in unknown_runs(envelope):
        axes.axvspan(
            start_m, end_m, facecolor="white", edgecolor="0.3", hatch="xx", zorder=2
        )
    for support in heights.line.supports:
        axes.axvline(
            support.distance_m, color="0.55", linewidth=0.5, linestyle=(0, (1, 1.5))
        )
    _reach_marks(sheet, axes, lines, high_m=high_m)
    _unit_labels(sheet, axes, side, high_m=high_m)
    axes.spines["top"].set_visible(False)
    axes.spines["right"].set_visible(False)
    axes.tick_params(labelsize=TEXT_PT, labelbottom=last)
    axes.xaxis.set_major_locator(_hundreds(sheet))
    axes.set_ylabel(
        words.say(f"figures.panel_{side.value}"), fontsize=TEXT_PT, labelpad=3
    )
    if last:
        axes.set_xlabel(words.say("figures.distance"), fontsize=TEXT_PT, labelpad=1)


def _hundreds(sheet: _Sheet) -> MultipleLocator:
    length_m = sheet.high_m - sheet.low_m
    step_m = next(step for step in (50, 100, 200, 500, 1000) if length_m / step <= 24)
    return MultipleLocator(step_m)


def _reach_marks(
    sheet: _Sheet, axes: Axes, lines: tuple[ReachLine, ...], *, high_m: float
) -> None:
    """A line across for every reach, its letter and height at the right edge."""
    m_per_mm = high_m / _PANEL_MM
    inside = [item for item in lines if item.rope_height_m <= high_m]
    above = [item for item in lines if item.rope_height_m > high_m]
    for number, item in enumerate(inside):
        axes.axhline(
            item.rope_height_m,
            color="0.25",
            linewidth=0.8,
            linestyle=_DASHES[number % len(_DASHES)],
            zorder=3,
        )
    places = spread(
        [item.rope_height_m for item in inside],
        gap=3.9 * m_per_mm,
        low=1.5 * m_per_mm,
        high=high_m - 1.0 * m_per_mm,
    )
    right_m = sheet.high_m + 1.0 / sheet.mm_per_m
    for item, place in zip(inside, places, strict=True):
        axes.text(
            right_m,
            float(place),
            f"{item.letter} {sheet.words.number(item.rope_height_m, 1)}",
            fontsize=TEXT_PT,
            va="center",
            clip_on=False,
        )
    if above:
        axes.text(
            right_m,
            high_m + 3.5 * m_per_mm,
            " ".join(item.letter for item in above) + " ↑",
            fontsize=TEXT_PT,
            va="center",
            clip_on=False,
        )


def _unit_labels(sheet: _Sheet, axes: Axes, side: Side, *, high_m: float) -> None:
    """The highest seat of every span, upright above the panel."""
    units = [unit for unit in sheet.heights.units if unit.side is side]
    spans = sheet.heights.line.spans
    middles = [
        (spans[unit.span_index].start_m + spans[unit.span_index].end_m) / 2
        for unit in units
    ]
    places = spread(
        middles,
        gap=_LABEL_GAP_MM / sheet.mm_per_m,
        low=sheet.low_m,
        high=sheet.high_m,
    )
    for unit, place in zip(units, places, strict=True):
        text = (
            sheet.words.say(
                "figures.unit_upright",
                seat=sheet.words.number(unit.seat_greatest_m, 1),
                margin=sheet.words.number(unit.margin_m, 1),
            )
            if unit.known
            else sheet.words.say("figures.unknown_mark")
        )
        axes.text(
            float(place),
            high_m * (1 + 1.0 / _PANEL_MM),
            text,
            rotation=90,
            ha="center",
            va="bottom",
            fontsize=TEXT_PT,
            clip_on=False,
        )


def _foot(sheet: _Sheet, lines: tuple[ReachLine, ...]) -> float:
    """Legend, reach key and cautions at the bottom; return the height they take."""
    words, figure = sheet.words, sheet.figure
    texts = [
        words.say("figures.legend_profile"),
        say_of(words, "figures.legend_panel", sheet.lift),
        say_of(words, "figures.legend_units", sheet.lift),
    ]
    keys = [
        words.say(
            "figures.reach_key",
            letter=item.letter,
            technique=shortened(item.technique, most=30),
            rope_m=item.rope_length_m,
            reach_m=item.rope_height_m,
            kits=shortened(", ".join(item.kits), most=30),
        )
        for item in lines
    ]
    texts += _filled(keys, most=195)
    texts.append(words.say("cautions.short"))
    for row, text in enumerate(reversed(texts)):
        figure.text(
            _LEFT_MM / WIDTH_MM,
            (3.0 + 4.3 * row) / HEIGHT_MM,
            plain(text),
            fontsize=TEXT_PT,
            va="center",
            fontweight="bold" if row == 0 else "normal",
        )
    return 4.3 * len(texts) + 3.0


def _filled(parts: list[str], *, most: int) -> list[str]:
    """Join parts to lines of at most ``most`` characters."""
    lines: list[str] = []
    for part in parts:
        if lines and len(lines[-1]) + len(part) + 3 <= most:
            lines[-1] += f"; {part}"
        else:
            lines.append(part)
    return lines
