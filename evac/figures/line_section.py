"""The whole lift on one sheet (A3 landscape): profile, heights of both sides, reach."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator

from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.figures.below import stretches
from evac.figures.canvas import (
    TEXT_PT,
    drawing,
    new_figure,
    shortened,
    spread,
    text_width_mm,
)
from evac.figures.hazard_bars import ROW_MM, draw_hazards, lay_hazards, rows_of
from evac.figures.profile import (
    ROPE_STYLE,
    cross_unknown,
    draw_envelope,
    draw_ground,
    draw_rope,
    draw_supports,
    seen_envelope,
    seen_stop,
    support_kinds,
)
from evac.figures.reach import ReachLine, Unit, letters_reaching, reach_lines
from evac.figures.section_page import (
    HEIGHT_MM,
    WIDTH_MM,
    Page,
    write_foot,
    write_head,
)
from evac.words import Words

_LABEL_GAP_MM = 4.2
_PANEL_MM, _LEAST_PANEL_MM = 40.0, 22.0
_PANEL_SHARE = 0.31
"""Of what the texts leave of the page; the profile takes the rest of two panels."""
_DASHES: tuple[object, ...] = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)))


def line_section(plan: Plan, *, words: Words, subtitle: str = "") -> Figure:
    """Draw the long section of a lift with the heights of both sides.

    Which kit reaches which span is the plan's own verdict, as letters above the span
    and as lines that run over the spans reached; kits that the plan does not count on
    are only named.

    Parameters
    ----------
    plan : Plan
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
        length_m = plan.heights.line.distance_m[-1]
        page = Page(
            figure=figure,
            plan=plan,
            words=words,
            low_m=-0.005 * length_m,
            high_m=1.005 * length_m,
        )
        lines = reach_lines(plan)
        found = lay_hazards(
            stretches(plan.lift, plan.heights.line),
            words=words,
            low_m=page.low_m,
            high_m=page.high_m,
            mm_per_m=page.mm_per_m,
        )
        strip_mm = max(rows_of(found), 1) * ROW_MM
        unit_labels = {side: _unit_labels(page, side, lines) for side in Side}
        upright_mm = 1.5 + max(
            text_width_mm(row)
            for texts in unit_labels.values()
            for text in texts
            for row in text.split("\n")
        )
        labels = _support_labels(page)
        label_mm = max(text_width_mm(text) for text in labels)
        panels_mm = write_foot(page, lines) + 12.0
        top_mm = HEIGHT_MM - page.head_mm - label_mm - 8.0
        room_mm = top_mm - panels_mm - 2 * upright_mm - strip_mm - 2.0
        panel_mm = min(_PANEL_MM, max(_LEAST_PANEL_MM, _PANEL_SHARE * room_mm))
        for number, side in enumerate((Side.DESCENDING, Side.ASCENDING)):
            bottom = panels_mm + number * (panel_mm + upright_mm)
            axes = page.axes(bottom=bottom, height=panel_mm)
            _panel(page, axes, side, lines, height=panel_mm, last=number == 0)
            _write_units(page, axes, side, unit_labels[side], height=panel_mm)
        below_mm = panels_mm + 2 * (panel_mm + upright_mm)
        draw_hazards(
            page.axes(bottom=below_mm, height=strip_mm), found, width_mm=page.width_mm
        )
        profile_mm = below_mm + strip_mm + 2.0
        exaggeration = _profile(
            page, labels, bottom=profile_mm, height=top_mm - profile_mm
        )
        write_head(page, subtitle, exaggeration)
    return figure


def _support_labels(page: Page) -> list[str]:
    return [
        shortened(support.id, most=14)
        if support.mark
        else page.words.say(
            "figures.support",
            support=shortened(support.id, most=12),
            height_m=support.rope_height_m,
        )
        for support in page.plan.heights.line.supports
    ]


def _profile(page: Page, labels: list[str], *, bottom: float, height: float) -> float:
    """Draw ground, masts, ropes and envelope; return the vertical exaggeration."""
    heights, line = page.plan.heights, page.plan.heights.line
    axes = page.axes(bottom=bottom, height=height)
    grounds = np.concatenate([item.elevation_m for item in line.ground.values()])
    low_m = float(np.nanmin(grounds))
    high_m = max(float(np.nanmax(grounds)), float(line.rope_elevation_m.max()))
    low_m, high_m = low_m - 0.06 * (high_m - low_m), high_m + 0.03 * (high_m - low_m)
    axes.set_ylim(low_m, high_m)
    for side in Side:
        ground = line.ground[side]
        draw_ground(axes, ground, bottom_m=low_m, linestyle=ROPE_STYLE[side])
        envelope = seen_envelope(heights, side)
        base_m = np.interp(envelope.distance_m, ground.distance_m, ground.elevation_m)
        draw_envelope(axes, envelope, base_m)
        draw_rope(axes, seen_stop(heights, side), linestyle=ROPE_STYLE[side])
    cross_unknown(axes, heights, tuple(Side))
    draw_supports(
        axes,
        line.supports,
        kinds=support_kinds(heights),
        foot_m=[item.ground_m for item in line.supports],
    )
    for edge in ("top", "right"):
        axes.spines[edge].set_visible(False)
    axes.tick_params(labelbottom=False, bottom=False, labelsize=TEXT_PT)
    axes.set_ylabel(page.words.say("figures.elevation"), fontsize=TEXT_PT)
    _label_supports(page, axes, labels, height=height, high_m=high_m, low_m=low_m)
    return (height / (high_m - low_m)) / page.mm_per_m


def _label_supports(
    page: Page,
    axes: Axes,
    labels: list[str],
    *,
    height: float,
    high_m: float,
    low_m: float,
) -> None:
    """Write ids and heights upright above the profile, with a leader to each mast."""
    supports = page.plan.heights.line.supports
    m_per_mm = (high_m - low_m) / height
    places = spread(
        [item.distance_m for item in supports],
        gap=_LABEL_GAP_MM / page.mm_per_m,
        low=page.low_m,
        high=page.high_m,
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
    page: Page,
    axes: Axes,
    side: Side,
    lines: tuple[ReachLine, ...],
    *,
    height: float,
    last: bool,
) -> None:
    """Heights above ground of one side: band, rope, seats, reach of the kits."""
    heights, words = page.plan.heights, page.words
    envelope, stop = seen_envelope(heights, side), seen_stop(heights, side)
    worst_m = envelope.rope_greatest_m + envelope.margin_m
    stance_m = envelope.stance_greatest_m + envelope.margin_m
    from_stance = any(item.from_stance for item in lines)
    highest_m = np.fmax(worst_m, stance_m) if from_stance else worst_m
    high_m = 1.12 * float(np.nanmax(highest_m, initial=10.0))
    axes.set_ylim(0, high_m)
    draw_envelope(axes, envelope, np.zeros_like(envelope.distance_m))
    axes.plot(envelope.distance_m, worst_m, color="black", linewidth=1.5, zorder=4)
    if from_stance:
        axes.plot(
            envelope.distance_m,
            stance_m,
            color="black",
            linewidth=1.2,
            linestyle=(0, (1, 1.2)),
            zorder=4,
        )
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
    cross_unknown(axes, heights, (side,))
    for support in heights.line.supports:
        axes.axvline(
            support.distance_m, color="0.55", linewidth=0.5, linestyle=(0, (1, 1.5))
        )
    _reach_marks(page, axes, side, lines, high_m=high_m, height=height)
    axes.spines["top"].set_visible(False)
    axes.spines["right"].set_visible(False)
    axes.tick_params(labelsize=TEXT_PT, labelbottom=last)
    axes.xaxis.set_major_locator(_hundreds(page))
    axes.set_ylabel(
        words.say(f"figures.panel_{side.value}"), fontsize=TEXT_PT, labelpad=3
    )
    if last:
        axes.set_xlabel(words.say("figures.distance"), fontsize=TEXT_PT, labelpad=1)


def _hundreds(page: Page) -> MultipleLocator:
    length_m = page.high_m - page.low_m
    step_m = next(step for step in (50, 100, 200, 500, 1000) if length_m / step <= 24)
    return MultipleLocator(step_m)


def _reach_marks(
    page: Page,
    axes: Axes,
    side: Side,
    lines: tuple[ReachLine, ...],
    *,
    high_m: float,
    height: float,
) -> None:
    """A line for every reach over the spans it reaches, its letter at the right."""
    m_per_mm = high_m / height
    spans = page.plan.heights.line.spans
    inside = [item for item in lines if item.rope_height_m <= high_m]
    above = [item for item in lines if item.rope_height_m > high_m]
    for number, item in enumerate(inside):
        served = [span for span in spans if (side, span.index) in item.reached]
        axes.hlines(
            [item.rope_height_m] * len(served),
            [span.start_m for span in served],
            [span.end_m for span in served],
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
    right_m = page.high_m + 1.0 / page.mm_per_m
    for item, place in zip(inside, places, strict=True):
        axes.text(
            right_m,
            float(place),
            page.reach_text(item),
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


def _unit_labels(page: Page, side: Side, lines: tuple[ReachLine, ...]) -> list[str]:
    """Highest seat, margin, and what reaches it, of every span of a side."""
    words = page.words
    texts = []
    for unit in page.plan.heights.units:
        if unit.side is not side:
            continue
        if not unit.known:
            texts.append(words.say("figures.unknown_mark"))
            continue
        texts.append(
            words.say(
                "figures.unit_upright_feet" if words.feet else "figures.unit_upright",
                seat=words.number(unit.seat_greatest_m, 1),
                seat_m=unit.seat_greatest_m,
                margin=words.number(unit.margin_m, 1),
                reached=_reached_text(page, lines, (side, unit.span_index)),
            )
        )
    # On two rows while these have room beside one another, else on one.
    if 2 * _LABEL_GAP_MM * len(texts) <= page.width_mm:
        return texts
    return [text.replace("\n", "  ") for text in texts]


def _reached_text(page: Page, lines: tuple[ReachLine, ...], unit: Unit) -> str:
    """Letters of the kits that reach a unit, and whether no team clears it."""
    words = page.words
    if all(unit not in line.reached for line in lines):
        return words.say("figures.reached_none")
    if all(unit in line.reached for line in lines):
        text = words.say("figures.reached_all")
    else:
        text = letters_reaching(lines, unit)
    left = {(item.side, item.span_index) for item in page.plan.assignment.uncovered}
    return words.say("figures.no_team", reached=text) if unit in left else text


def _write_units(
    page: Page, axes: Axes, side: Side, texts: list[str], *, height: float
) -> None:
    """The labels of the spans, upright above the panel."""
    rows = max(text.count("\n") + 1 for text in texts)
    gap_m = rows * _LABEL_GAP_MM / page.mm_per_m
    high_m = axes.get_ylim()[1]
    spans = page.plan.heights.line.spans
    middles = [
        (spans[unit.span_index].start_m + spans[unit.span_index].end_m) / 2
        for unit in page.plan.heights.units
        if unit.side is side
    ]
    places = spread(
        middles,
        gap=gap_m,
        low=page.low_m + (rows - 1) * gap_m / 4,
        high=page.high_m - (rows - 1) * gap_m / 4,
    )
    for text, place in zip(texts, places, strict=True):
        axes.text(
            float(place),
            high_m * (1 + 1.0 / height),
            text,
            rotation=90,
            ha="center",
            va="bottom",
            fontsize=TEXT_PT,
            clip_on=False,
        )
