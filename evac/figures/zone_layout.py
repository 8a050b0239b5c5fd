"""How the section of a team's zone is laid out, before anything is drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evac.facts.heights import UnitHeights
from evac.facts.lift import Side, Support
from evac.facts.plan import Plan
from evac.facts.work import Option, Zone
from evac.figures.below import Stretch, stretches
from evac.figures.canvas import MM_PER_PT, TEXT_PT, spread, text_width_mm
from evac.figures.hazard_bars import ROW_MM, HazardBar, lay_hazards, rows_of
from evac.figures.taken import units_taken
from evac.words import Words

WIDTH_MM = 186.0
SIDE_MM = 2.0
LINE_MM = TEXT_PT * MM_PER_PT * 1.25
_UPRIGHT_MM = 4.2
"""Width of one line of upright text with the gap to the next."""
_LABEL_MOVES_MM = 6.0
"""An upright label this far from the middle of its span still seems to belong to it."""

Labels = list[tuple[float, str]]
"""Place along the line [m] and text."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
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
        """Those that the drawing shows."""
        supports = self.plan.heights.line.supports
        return supports[self.first_span : self.last_span + 2]

    @property
    def mm_per_m(self) -> float:
        """Scale along the line."""
        return (WIDTH_MM - 2 * SIDE_MM) / (self.high_m - self.low_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneLayout:
    """What the drawing of a zone holds and how much paper it takes."""

    window: Window
    sides: tuple[Side, ...]
    bars: tuple[HazardBar, ...]
    labels: Mapping[Side, Labels]
    upright: bool
    label_mm: float
    side_height_mm: float

    @property
    def foot_mm(self) -> float:
        """From the lower edge to the lowest profile: legend and hazards."""
        return rows_of(self.bars) * ROW_MM + 2 * LINE_MM + 2.0

    @property
    def each_mm(self) -> float:
        """One side with its labels and title."""
        return self.side_height_mm + self.label_mm + LINE_MM + 2.0

    @property
    def height_mm(self) -> float:
        """The whole drawing."""
        return len(self.sides) * self.each_mm + self.foot_mm

    def places(self, side: Side) -> Labels:
        """Where each label stands; upright ones are moved apart."""
        labels = self.labels[side]
        if not self.upright:
            return labels
        moved = _spread_upright(self.window, labels)
        return [
            (float(place), text) for place, (_, text) in zip(moved, labels, strict=True)
        ]


def lay_zone(
    plan: Plan, zones: Sequence[Zone], *, words: Words, side_height_mm: float
) -> ZoneLayout:
    """Lay out the section of a team's zones; see `evac.figures.zone_section`."""
    sides = tuple(side for side in Side if any(side in zone.sides for zone in zones))
    window = _window(plan, zones, words)
    texts = {side: _unit_texts(window, side, zones) for side in sides}
    upright = _must_stand(window, [text for rows in texts.values() for _, text in rows])
    if upright:
        texts = _in_few_lines(window, texts)
    return ZoneLayout(
        window=window,
        sides=sides,
        bars=lay_hazards(
            _below_spans(window),
            words=words,
            low_m=window.low_m,
            high_m=window.high_m,
            mm_per_m=window.mm_per_m,
        ),
        labels=texts,
        upright=upright,
        label_mm=_label_height_mm(texts, upright=upright),
        side_height_mm=side_height_mm,
    )


def _window(plan: Plan, zones: Sequence[Zone], words: Words) -> Window:
    first = min(zone.first_span for zone in zones)
    last = max(zone.last_span for zone in zones)
    spans = plan.heights.line.spans
    start_m, end_m = spans[first].start_m, spans[last].end_m
    beside_m = 0.02 * (end_m - start_m)
    return Window(
        plan=plan,
        words=words,
        first_span=first,
        last_span=last,
        kits=tuple({zone.option.kit: None for zone in zones}),
        low_m=start_m - beside_m,
        high_m=end_m + beside_m,
    )


def _below_spans(window: Window) -> list[Stretch]:
    """Hazards below the spans shown; not those that begin beyond the last support."""
    plan = window.plan
    spans = plan.heights.line.spans[window.first_span : window.last_span + 1]
    return [
        item
        for item in stretches(plan.lift, plan.heights.line)
        if item.end_m >= spans[0].start_m and item.start_m <= spans[-1].end_m
    ]


def _unit_texts(window: Window, side: Side, zones: Sequence[Zone]) -> Labels:
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
        if unit.side is not side:
            continue
        if zone is not None:
            text = _unit_text(window, unit, zone.option)
        elif window.first_span <= unit.span_index <= window.last_span:
            text = window.words.say("figures.unit_passed")
        else:
            continue
        span = spans[unit.span_index]
        found.append(((span.start_m + span.end_m) / 2, text))
    return found


def _unit_text(window: Window, unit: UnitHeights, option: Option) -> str:
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


def _must_stand(window: Window, texts: Sequence[str]) -> bool:
    """Whether labels must stand upright because some span is too narrow for them."""
    spans = window.plan.heights.line.spans[window.first_span : window.last_span + 1]
    narrowest_mm = min(span.end_m - span.start_m for span in spans) * window.mm_per_m
    lines = [line for text in texts for line in text.split("\n")]
    widest_mm = max((text_width_mm(line) for line in lines), default=0.0)
    return narrowest_mm < widest_mm + 1.0


def _label_height_mm(texts: dict[Side, Labels], *, upright: bool) -> float:
    every = [text for rows in texts.values() for _, text in rows]
    if upright:
        lines = (text_width_mm(line) for text in every for line in text.split("\n"))
        return max(lines, default=0.0) + 1.0
    return LINE_MM * max((text.count("\n") + 1 for text in every), default=0) + 1.0


def _spread_upright(window: Window, texts: Labels) -> NDArray[np.float64]:
    most = max((text.count("\n") + 1 for _, text in texts), default=1)
    half_m = most * _UPRIGHT_MM / 2 / window.mm_per_m
    return spread(
        [middle for middle, _ in texts],
        gap=2 * half_m,
        low=window.low_m + half_m,
        high=window.high_m - half_m,
    )


def _in_few_lines(window: Window, texts: dict[Side, Labels]) -> dict[Side, Labels]:
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
