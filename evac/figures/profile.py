"""Pieces that the line section and the zone section share."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np
from matplotlib.axes import Axes

from evac.facts.heights import BoolArray, Heights, SideEnvelope, SideGround, StopHeights
from evac.facts.lift import FloatArray, Side, Support, SupportKind

ROPE_STYLE: Mapping[Side, str] = {Side.ASCENDING: "-", Side.DESCENDING: "--"}
SUPPORT_MARK: Mapping[SupportKind, str] = {
    SupportKind.SUPPORT: "o",
    SupportKind.HOLD_DOWN: "v",
    SupportKind.COMBINED: "D",
    SupportKind.STATION: "s",
}


def support_kinds(heights: Heights) -> dict[str, SupportKind]:
    """Kind of every support, stated or inferred; plain support where nobody knows."""
    inferred = {
        report.support_id: SupportKind(report.kind)
        for report in heights.supports
        if report.kind in set(SupportKind)
    }
    return {
        support.id: support.kind or inferred.get(support.id, SupportKind.SUPPORT)
        for support in heights.line.supports
    }


def seen_envelope(heights: Heights, side: Side) -> SideEnvelope:
    """One side's envelope as drawings show it: nothing in spans that are not known.

    A span is not known as a whole, also where only one seat of it would touch ground.
    """
    envelope = heights.envelopes[side]
    hidden = _in_unknown(heights, side, envelope.distance_m)

    def seen(values: FloatArray) -> FloatArray:
        return np.where(hidden, np.nan, values)

    return replace(
        envelope,
        rope_greatest_m=seen(envelope.rope_greatest_m),
        rope_least_m=seen(envelope.rope_least_m),
        stance_greatest_m=seen(envelope.stance_greatest_m),
        known=envelope.known & ~hidden,
    )


def seen_stop(heights: Heights, side: Side) -> StopHeights:
    """One side at the reference stop as drawings show it: no rope whose height is ?."""
    stop = heights.reference[side]
    rope_hidden = _in_unknown(heights, side, stop.rope_distance_m)
    hidden = _in_unknown(heights, side, stop.carriers.distance_m)
    carriers = replace(
        stop.carriers,
        rope_height_m=np.where(hidden, np.nan, stop.carriers.rope_height_m),
        seat_height_m=np.where(hidden, np.nan, stop.carriers.seat_height_m),
    )
    return replace(
        stop,
        rope_elevation_m=np.where(rope_hidden, np.nan, stop.rope_elevation_m),
        carriers=carriers,
    )


def _in_unknown(heights: Heights, side: Side, distance_m: FloatArray) -> BoolArray:
    """Places between the supports of spans whose heights are not known."""
    found: BoolArray = np.zeros(distance_m.shape, dtype=bool)
    for unit in heights.units:
        if unit.side is side and not unit.known:
            span = heights.line.spans[unit.span_index]
            found |= (distance_m > span.start_m) & (distance_m < span.end_m)
    return found


def _shown(axes: Axes, distance_m: FloatArray) -> BoolArray:
    """Samples inside the drawing and one beyond each edge: the rest is not written."""
    low_m, high_m = axes.get_xlim()
    inside: BoolArray = (distance_m >= low_m) & (distance_m <= high_m)
    wider = inside.copy()
    wider[:-1] |= inside[1:]
    wider[1:] |= inside[:-1]
    return wider


def draw_ground(
    axes: Axes, ground: SideGround, *, bottom_m: float, linestyle: str
) -> None:
    """The ground line, and below it a light fill."""
    shown = _shown(axes, ground.distance_m)
    axes.fill_between(
        ground.distance_m[shown],
        ground.elevation_m[shown],
        bottom_m,
        facecolor="0.93",
        edgecolor="none",
        zorder=0,
    )
    axes.plot(
        ground.distance_m[shown],
        ground.elevation_m[shown],
        color="0.35",
        linestyle=linestyle,
        linewidth=0.9,
        zorder=2,
    )


def draw_rope(axes: Axes, stop: StopHeights, *, linestyle: str) -> None:
    """The rope of one side at its reference stop."""
    shown = _shown(axes, stop.rope_distance_m)
    axes.plot(
        stop.rope_distance_m[shown],
        stop.rope_elevation_m[shown],
        color="black",
        linestyle=linestyle,
        linewidth=1.0,
        zorder=4,
    )


def draw_envelope(axes: Axes, envelope: SideEnvelope, base_m: FloatArray) -> None:
    """The band between least and greatest rope, above ``base_m``."""
    shown = _shown(axes, envelope.distance_m)
    axes.fill_between(
        envelope.distance_m[shown],
        (base_m + envelope.rope_least_m)[shown],
        (base_m + envelope.rope_greatest_m)[shown],
        where=envelope.known[shown].tolist(),
        facecolor="0.78",
        edgecolor="none",
        zorder=1,
    )


def draw_supports(
    axes: Axes,
    supports: Sequence[Support],
    *,
    kinds: Mapping[str, SupportKind],
    foot_m: Sequence[float],
) -> None:
    """Masts from ``foot_m`` to the rope with a mark that tells their kind.

    Where a span is only cut, a broken line stands for the place.
    """
    standing = [place for place, support in enumerate(supports) if not support.mark]
    for support in supports:
        if support.mark:
            axes.axvline(support.distance_m, color="0.4", lw=0.7, ls=(0, (4, 3)))
    foot_m = [foot_m[place] for place in standing]
    supports = [supports[place] for place in standing]
    distance_m = [support.distance_m for support in supports]
    top_m = [
        foot + support.rope_height_m
        for foot, support in zip(foot_m, supports, strict=True)
    ]
    axes.vlines(distance_m, foot_m, top_m, color="black", linewidth=1.8, zorder=3)
    for kind, mark in SUPPORT_MARK.items():
        chosen = [n for n, support in enumerate(supports) if kinds[support.id] is kind]
        if chosen:
            axes.plot(
                [distance_m[n] for n in chosen],
                [top_m[n] for n in chosen],
                linestyle="none",
                marker=mark,
                markersize=4.5,
                markerfacecolor="white",
                markeredgecolor="black",
                markeredgewidth=0.9,
                zorder=5,
            )


def cross_unknown(axes: Axes, heights: Heights, sides: Collection[Side]) -> None:
    """Cross out the spans in which the height is not known on one of some sides."""
    for span in heights.line.spans:
        if any(
            unit.span_index == span.index and unit.side in sides and not unit.known
            for unit in heights.units
        ):
            axes.axvspan(
                span.start_m,
                span.end_m,
                facecolor="none",
                edgecolor="0.4",
                hatch="xx",
                linewidth=0.0,
                zorder=1,
            )
