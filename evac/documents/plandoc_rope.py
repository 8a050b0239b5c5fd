"""Part of the plan document about the rope in every span."""

from __future__ import annotations

import math

from evac.documents.blocks import Block, heading, paragraph, table
from evac.facts.plan import Plan
from evac.words import Words


def rope_blocks(plan: Plan, words: Words) -> list[Block]:
    """Sag, tension and safety factor of every span, and the pull over the drive."""
    keys = ("span", "side", "sag", "tension_least", "tension_greatest", "safety")
    rows = [
        [
            item.span_id,
            words.say(f"plandoc.side_{item.side.value}"),
            _number(item.greatest_sag_m, 1, words),
            _number(item.least_tension_n / 1000, 0, words),
            _number(item.greatest_tension_n / 1000, 0, words),
            _number(item.safety_factor, 1, words),
        ]
        for item in plan.heights.spans
    ]
    blocks: list[Block] = [
        heading(words.say("plandoc.rope_spans"), level=2),
        table(
            [words.say(f"plandoc.{key}") for key in keys],
            rows=rows,
            widths=[1, 0, 1, 1, 1, 1],
            right=[2, 3, 4, 5],
        ),
    ]
    ratio = plan.heights.drive_ratio
    if ratio is not None:
        text = words.say("plandoc.drive_ratio", ratio=words.number(ratio, 2))
        blocks.append(paragraph(text))
    return blocks


def _number(value: float | None, digits: int, words: Words) -> str:
    if value is None or not math.isfinite(value):
        return words.say("plandoc.not_known")
    return words.number(value, digits)
