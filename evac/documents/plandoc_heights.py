"""Parts of the plan document about heights and supports."""

from __future__ import annotations

import math

from evac.documents.blocks import Block, heading, paragraph, table
from evac.documents.plandoc_rope import rope_blocks
from evac.facts.heights import SupportReport, UnitHeights
from evac.facts.plan import Plan
from evac.figures.carrier_words import say_of
from evac.words import Words


def height_blocks(plan: Plan, words: Words) -> list[Block]:
    """Greatest and least heights of every span-side, then the supports."""
    heights = plan.heights
    keys = (
        "span",
        "side",
        "rope_greatest",
        "seat_greatest",
        "seat_least",
        "margin",
        "ground_slope",
        "carriers_most",
        "reached_by",
    )
    return [
        heading(words.say("plandoc.heights")),
        paragraph(
            words.say(
                "plandoc.heights_intro",
                cases=len(heights.load_cases),
                states=heights.states_solved,
                residual=_residual(heights.greatest_residual_n, words),
            )
        ),
        table(
            [say_of(words, f"plandoc.{key}", plan.lift) for key in keys],
            rows=[_unit_row(plan, unit, words) for unit in heights.units],
            widths=[1, 0, 1, 1, 1, 0, 0.9, 0, 1],
            right=[2, 3, 4, 5, 6, 7],
        ),
        heading(words.say("plandoc.supports"), level=2),
        paragraph(words.say("plandoc.supports_intro")),
        _supports(plan, words),
        *rope_blocks(plan, words),
    ]


def _residual(value_n: float, words: Words) -> str:
    if value_n < 0.01:
        return words.say("plandoc.residual_below")
    return words.say("plandoc.residual_value", value=words.number(value_n, 2))


def _height(value_m: float, words: Words) -> str:
    """Metres as a bare number for a column headed "m"; feet behind it on request."""
    if not math.isfinite(value_m):
        return words.say("plandoc.not_known")
    if words.feet:
        return words.length(value_m)
    return words.number(value_m, 1)


def _unit_row(plan: Plan, unit: UnitHeights, words: Words) -> list[str]:
    side = words.say(f"plandoc.side_{unit.side.value}")
    if not unit.known:
        reason = words.say(f"unknown.{unit.reason}")
        why = words.say("plandoc.not_known_why", reason=reason)
        return [unit.span_id, side, why, "", "", "", "", str(unit.carriers_most), "0"]
    answers = [
        reach.ok
        for reach in plan.reaches
        if reach.side is unit.side and reach.span_index == unit.span_index
    ]
    return [
        unit.span_id,
        side,
        _height(unit.rope_greatest_m, words),
        _height(unit.seat_greatest_m, words),
        _height(unit.seat_least_m, words),
        _height(unit.margin_m, words),
        words.show("slope_deg", unit.ground_slope_deg),
        str(unit.carriers_most),
        words.say("plandoc.reached_of", count=sum(answers), total=len(answers)),
    ]


def loads_by_size(report: SupportReport) -> tuple[float, float]:
    """Least and greatest load by size, each with its sign [N].

    A support that the rope pulls upwards always (a hold-down) is pulled least where the
    signed load is greatest. Where the sign changes, as the report has them.
    """
    ends_n = report.least_load_n, report.greatest_load_n
    return ends_n[::-1] if report.greatest_load_n < 0 else ends_n


def _supports(plan: Plan, words: Words) -> Block:
    rows = []
    for report in plan.heights.supports:
        loads = (
            words.number(value / 1000, 1)
            if math.isfinite(value)
            else words.say("plandoc.station")
            for value in loads_by_size(report)
        )
        kind = (
            words.say("plandoc.kind_inferred", kind=report.kind)
            if report.inferred
            else report.kind
        )
        angle = (
            words.show("angle_deg", report.greatest_deflection_deg)
            if math.isfinite(report.greatest_deflection_deg)
            else words.say("plandoc.station")
        )
        worst = words.say("plandoc.lifted") if report.lifted else report.worst_load_name
        rows.append(
            [
                report.support_id,
                words.say(f"plandoc.side_{report.side.value}"),
                kind,
                *loads,
                angle,
                worst,
            ]
        )
    keys = (
        "support",
        "side",
        "kind",
        "load_least",
        "load_greatest",
        "deflection",
        "worst_load",
    )
    return table(
        [words.say(f"plandoc.{key}") for key in keys],
        rows=rows,
        widths=[1, 0, 1.4, 0.8, 0.9, 0, 1.8],
        right=[3, 4, 5],
    )
