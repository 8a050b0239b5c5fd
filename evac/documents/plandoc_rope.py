"""Parts of the plan document about the rope, and what the margins are made of."""

from __future__ import annotations

import math

from evac.documents.blocks import Block, heading, paragraph, table
from evac.facts.heights import UnitHeights
from evac.facts.plan import Plan
from evac.words import Words

_PARTS_SHOWN = 3


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


def margin_blocks(plan: Plan, words: Words) -> list[Block]:
    """What each margin is made of: its largest parts, joined as a root of squares."""
    return [
        heading(words.say("plandoc.margins"), level=2),
        paragraph(words.say("plandoc.margins_intro")),
        table(
            [
                words.say(f"plandoc.{key}")
                for key in ("span", "side", "margin", "parts")
            ],
            rows=[
                [
                    unit.span_id,
                    words.say(f"plandoc.side_{unit.side.value}"),
                    _number(unit.margin_m, 1, words),
                    _parts(unit, words),
                ]
                for unit in plan.heights.units
                if unit.known
            ],
            widths=[0.5, 0, 0, 3],
            right=[2],
        ),
    ]


def _parts(unit: UnitHeights, words: Words) -> str:
    largest = sorted(unit.margin_parts_m.items(), key=lambda pair: -pair[1])
    return ", ".join(
        f"{name} {words.number(value_m, 2)}" for name, value_m in largest[:_PARTS_SHOWN]
    )


def _number(value: float | None, digits: int, words: Words) -> str:
    if value is None or not math.isfinite(value):
        return words.say("plandoc.not_known")
    return words.number(value, digits)
