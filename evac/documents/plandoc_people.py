"""Parts of the plan document about carriers and people: counts, numbers, the sweep."""

from __future__ import annotations

import math

from evac.carriers import (
    Numbers,
    PeopleOnLine,
    Sighting,
    both_sides,
    carriers_by_span,
    nearest_stop,
    number_carriers,
    people_on_line,
)
from evac.documents.blocks import Block, heading, paragraph, table
from evac.documents.plandoc_special import special_blocks
from evac.errors import NoPlanError
from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.line import ride_s
from evac.words import Words

SIDES = (Side.ASCENDING, Side.DESCENDING)
_TICKS_ABREAST = 12


def people_blocks(plan: Plan, words: Words) -> list[Block]:
    """How many people to expect, which carrier hangs where, and the final sweep."""
    return [
        heading(words.say("people.title")),
        paragraph(words.say("people.expected_intro", ride_exact_s=ride_s(plan.lift))),
        _counts(plan, words),
        paragraph(words.say("people.counts")),
        *special_blocks(plan, words),
        heading(words.say("people.numbers_title"), level=2),
        *_numbers(plan, words),
        heading(words.say("people.sweep_title"), level=2),
        *_sweep(plan, words),
    ]


def _counts(plan: Plan, words: Words) -> Block:
    stops = plan.heights.stops
    expected = people_on_line(plan.lift, stops)
    on_side = {
        side: int((stops.span_index[side] >= 0).sum(axis=1).max()) for side in SIDES
    }
    keys = (
        "side",
        "carriers",
        "low",
        "likely",
        "high",
        "gate",
        "lowered",
        "received",
    )
    rows = [
        _count_row(words.say(f"people.{side.value}"), on_side[side], item, words)
        for side, item in expected.items()
    ]
    both = both_sides(expected)
    rows.append(
        _count_row(words.say("people.both"), sum(on_side.values()), both, words)
    )
    return table(
        [words.say(f"people.{key}") for key in keys],
        rows=rows,
        widths=[1.2, 0, 0.6, 0.6, 0.6, 1, 1, 1],
        right=[1, 2, 3, 4],
    )


def _count_row(
    name: str, carriers: int, people: PeopleOnLine, words: Words
) -> list[str]:
    blank = words.say("people.blank")
    numbers = (carriers, people.low, people.likely, people.high)
    return [name, *(words.number(value, 0) for value in numbers), blank, blank, blank]


def _numbers(plan: Plan, words: Words) -> list[Block]:
    lift, stops = plan.lift, plan.heights.stops
    if not lift.carriers.numbers:
        return [paragraph(words.say("people.numbers_none"), strong=True)]
    stands = [support for support in lift.supports if not support.mark]
    support = stands[len(stands) // 2]
    sighting = Sighting(
        number=lift.carriers.numbers[0],
        side=Side.ASCENDING,
        distance_m=support.distance_m,
    )
    stop_index = nearest_stop(stops, sighting)
    try:
        found = number_carriers(lift, stops, stop_index=stop_index, sighting=sighting)
    except NoPlanError as error:
        return [paragraph(str(error), strong=True)]
    blocks = [
        paragraph(
            words.say(
                "people.numbers_intro",
                number=sighting.number,
                support=support.id,
                side=words.say(f"people.{sighting.side.value}"),
            )
        ),
        _number_table(plan, found, stop_index, words),
    ]
    if found.doubtful:
        blocks.append(paragraph(words.say("people.numbers_doubt")))
    return blocks


def _number_table(plan: Plan, found: Numbers, stop_index: int, words: Words) -> Block:
    """Spans two abreast, so that the table stays on a page."""
    by_span = carriers_by_span(found, plan.heights.stops, stop_index=stop_index)
    cells = []
    for span in plan.heights.line.spans:
        row = [span.id]
        for side in SIDES:
            numbers = " ".join(by_span.get((side, span.index), ()))
            doubtful = side in found.doubtful and numbers
            row.append(
                words.say("people.doubtful", numbers=numbers) if doubtful else numbers
            )
        cells.append(row)
    half = math.ceil(len(cells) / 2)
    right = cells[half:] + [["", "", ""]] * (2 * half - len(cells))
    head = [
        words.say(f"people.number_{key}") for key in ("span", "ascending", "descending")
    ]
    return table(
        head * 2,
        rows=[[*a, *b] for a, b in zip(cells[:half], right, strict=True)],
        widths=[0.6, 1.2, 1.2] * 2,
    )


def _sweep(plan: Plan, words: Words) -> list[Block]:
    carriers = plan.lift.carriers
    numbers = list(carriers.numbers)
    if numbers:
        text = words.say("people.sweep", count=len(numbers))
    elif carriers.on_loop is not None:
        numbers = [""] * carriers.on_loop
        text = words.say("people.sweep_unknown", count=carriers.on_loop)
    else:
        return [paragraph(words.say("people.sweep_no_count"))]
    boxes = [f"☐ {number}" for number in numbers]
    boxes += [""] * (-len(boxes) % _TICKS_ABREAST)
    rows = [
        boxes[start : start + _TICKS_ABREAST]
        for start in range(0, len(boxes), _TICKS_ABREAST)
    ]
    return [
        paragraph(text),
        table(rows[0], rows=rows[1:], widths=[1] * _TICKS_ABREAST),
    ]
