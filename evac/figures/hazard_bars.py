"""Hazards as bars below a profile, each with its kind and name beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from evac.facts.lift import Hazard
from evac.figures.below import Stretch, packed_rows
from evac.figures.canvas import TEXT_PT, shortened, text_width_mm
from evac.words import Words

ROW_MM = 4.6
_LEAST_BAR_MM = 1.5
_GAP_MM = 1.2
_TALL = 0.96
_MOST_LETTERS = 46
_HATCH: Mapping[str, str] = {
    "power line": "xx",
    "road": "--",
    "water": "..",
    "avalanche ground": "oo",
    "ledge": "||",
    "steep ground": "//",
    "rocks": "OO",
    "forest": "**",
    "building": "++",
    "fence": "\\",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class HazardBar:
    """One bar laid on the paper: millimetres from the drawing's left edge."""

    text: str
    hatch: str
    start_mm: float
    end_mm: float
    text_mm: float
    place: str
    """How the text stands at ``text_mm``: ``left``, ``right`` or ``center`` there."""
    row: int


def hazard_text(hazard: Hazard, words: Words) -> str:
    """Kind and name; an unnamed hazard by its kind alone."""
    if not hazard.name.strip():
        return hazard.kind
    return words.say("figures.hazard", kind=hazard.kind, name=hazard.name)


def lay_hazards(
    found: Sequence[Stretch],
    *,
    words: Words,
    low_m: float,
    high_m: float,
    mm_per_m: float,
) -> tuple[HazardBar, ...]:
    """Put every hazard between ``low_m`` and ``high_m`` into a row with its text."""
    width_mm = (high_m - low_m) * mm_per_m
    bars: list[tuple[str, str, float, float, float, str]] = []
    runs: list[tuple[float, float]] = []
    for stretch in found:
        if stretch.end_m < low_m or stretch.start_m > high_m:
            continue
        text = shortened(hazard_text(stretch.hazard, words), most=_MOST_LETTERS)
        start_mm = max(stretch.start_m - low_m, 0.0) * mm_per_m
        end_mm = min((stretch.end_m - low_m) * mm_per_m, width_mm)
        start_mm = min(start_mm, width_mm - _LEAST_BAR_MM)
        end_mm = max(end_mm, start_mm + _LEAST_BAR_MM)
        wide_mm = text_width_mm(text) + 2 * _GAP_MM
        text_mm, place, run = _place_text(start_mm, end_mm, wide_mm, width_mm)
        bars.append((text, stretch.hazard.kind, start_mm, end_mm, text_mm, place))
        runs.append(run)
    return tuple(
        HazardBar(
            text=text,
            hatch=_HATCH.get(kind, "//"),
            start_mm=start_mm,
            end_mm=end_mm,
            text_mm=text_mm,
            place=place,
            row=row,
        )
        for (text, kind, start_mm, end_mm, text_mm, place), row in zip(
            bars, packed_rows(runs), strict=True
        )
    )


def _place_text(
    start_mm: float, end_mm: float, wide_mm: float, width_mm: float
) -> tuple[float, str, tuple[float, float]]:
    """Where a bar's text goes (behind it, before it, on it), and what both cover."""
    if end_mm + wide_mm <= width_mm:
        return end_mm + _GAP_MM, "left", (start_mm, end_mm + wide_mm)
    if start_mm - wide_mm >= 0:
        return start_mm - _GAP_MM, "right", (start_mm - wide_mm, end_mm)
    middle_mm = (start_mm + end_mm) / 2
    middle_mm = min(max(middle_mm, wide_mm / 2), width_mm - wide_mm / 2)
    covered = (
        min(start_mm, middle_mm - wide_mm / 2),
        max(end_mm, middle_mm + wide_mm / 2),
    )
    return middle_mm, "center", covered


def rows_of(bars: Sequence[HazardBar]) -> int:
    """How many rows the bars fill."""
    return max((bar.row + 1 for bar in bars), default=0)


def draw_hazards(axes: Axes, bars: Sequence[HazardBar], *, width_mm: float) -> None:
    """Draw the bars into axes that are ``rows_of(bars) * ROW_MM`` high."""
    axes.set_xlim(0, width_mm)
    axes.set_ylim(max(rows_of(bars), 1), 0)
    axes.set_axis_off()
    for bar in bars:
        axes.barh(
            bar.row + 0.5,
            bar.end_mm - bar.start_mm,
            left=bar.start_mm,
            # A text on its own bar leaves the bar's edge in sight above and below it.
            height=_TALL if bar.place == "center" else 0.62,
            facecolor="white",
            edgecolor="black",
            linewidth=0.7,
            hatch=bar.hatch,
        )
        axes.text(
            bar.text_mm,
            bar.row + 0.5,
            bar.text,
            ha=bar.place,
            va="center",
            fontsize=TEXT_PT,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.2},
        )
