"""Part of the plan document about reach: height, margin, and what stops a kit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from evac.documents.blocks import Block, heading, paragraph, points, table
from evac.facts.heights import UnitHeights
from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.facts.work import Option, Reach
from evac.gear.rope_needed import whole_metres
from evac.heights.units import ORDER, PLACE, STEP
from evac.words import Words

_OPTIONS_ABREAST = 12
_PARTS_SHOWN = 4
_LEAST_PART_M = 0.05
"""A part below this adds less than 2 mm to a margin of 0.6 m: it joins the others."""
_LEAST_SHOWN_M = 0.005

Unit = tuple[Side, int]


def reach_blocks(plan: Plan, words: Words) -> list[Block]:
    """What the reach check asks for, which option gives it, what each lacks."""
    answers: dict[Unit, dict[int, Reach]] = {}
    for item in plan.reaches:
        unit = (item.side, item.span_index)
        answers.setdefault(unit, {})[item.option_index] = item
    blocks = [
        heading(words.say("plandoc.reach")),
        paragraph(words.say("plandoc.reach_intro")),
        heading(words.say("plandoc.margins"), level=2),
        paragraph(words.say("plandoc.margins_intro")),
        _asked(plan, words),
        heading(words.say("plandoc.reach_marks"), level=2),
    ]
    codes = _codes(plan)
    if codes:
        key = "; ".join(
            words.say(
                "plandoc.reach_code", code=code, limit=words.say(f"reach.{limit}")
            )
            for limit, code in codes.items()
        )
        blocks.append(paragraph(key))
    for part in _abreast(plan.work.options):
        blocks += _marks(plan, part, answers, codes, words)
    short = _short(plan, answers, words)
    if short:
        blocks += [heading(words.say("plandoc.reach_short"), level=2), points(short)]
    return blocks


def _asked(plan: Plan, words: Words) -> Block:
    """Height, margin and its parts of every span-side, also of those not known."""
    keys = ("span", "side", "rope_asked", "stance_asked", "margin", "parts")
    return table(
        [words.say(f"plandoc.{key}") for key in keys],
        rows=[_asked_row(unit, words) for unit in plan.heights.units],
        widths=[0, 0, 0, 0, 0, 1],
        right=[2, 3, 4],
    )


def _asked_row(unit: UnitHeights, words: Words) -> list[str]:
    side = words.say(f"plandoc.side_{unit.side.value}")
    if not unit.known:
        reason = words.say(f"unknown.{unit.reason}")
        why = words.say("plandoc.not_known_why", reason=reason)
        return [unit.span_id, side, "", "", "", why]
    return [
        unit.span_id,
        side,
        _metres(unit.rope_greatest_m, words),
        _metres(unit.stance_greatest_m, words),
        _metres(unit.margin_m, words),
        parts_text(unit, words),
    ]


def parts_text(unit: UnitHeights, words: Words) -> str:
    """What a margin is made of, in words, so that what is shown joins to the margin."""
    parts = dict(unit.margin_parts_m)
    in_full = {name: parts.pop(name) for name in (STEP, ORDER, PLACE) if name in parts}
    largest = sorted(parts.items(), key=lambda pair: -pair[1])
    shown = [pair for pair in largest[:_PARTS_SHOWN] if pair[1] >= _LEAST_PART_M]
    others_m = math.sqrt(sum(value**2 for _, value in largest[len(shown) :]))
    shown += [("others", others_m), *in_full.items()]
    return ", ".join(
        words.say(
            "plandoc.margin_part",
            part=words.say(f"margin.{name.replace(' ', '_')}"),
            value=words.number(value_m, 2),
        )
        for name, value_m in shown
        if abs(value_m) >= _LEAST_SHOWN_M
    )


def _metres(value_m: float, words: Words) -> str:
    if not math.isfinite(value_m):
        return words.say("plandoc.not_known")
    return words.length(value_m) if words.feet else words.number(value_m, 1)


def _abreast(options: Sequence[Option]) -> list[tuple[Option, ...]]:
    """Options in equal groups that fit beside one another on a page."""
    groups = max(1, math.ceil(len(options) / _OPTIONS_ABREAST))
    each = math.ceil(len(options) / groups)
    return [
        tuple(options[start : start + each])
        for start in range(0, len(options), max(each, 1))
    ]


def _marks(
    plan: Plan,
    options: Sequence[Option],
    answers: Mapping[Unit, Mapping[int, Reach]],
    codes: Mapping[str, str],
    words: Words,
) -> list[Block]:
    legend = "; ".join(
        words.say(
            "plandoc.reach_option",
            number=str(option.index + 1),
            team=option.team,
            kit=option.kit,
            technique=option.technique,
        )
        for option in options
    )
    head = [words.say(f"plandoc.{key}") for key in ("span", "side", "rope_and_margin")]
    head += [str(option.index + 1) for option in options]
    rows = [
        [
            unit.span_id,
            words.say(f"plandoc.side_{unit.side.value}"),
            _rope_and_margin(unit, words),
            *(
                _mark(
                    answers.get((unit.side, unit.span_index), {}).get(option.index),
                    codes,
                    words,
                )
                for option in options
            ),
        ]
        for unit in plan.heights.units
    ]
    return [
        paragraph(words.say("plandoc.reach_legend", list=legend)),
        table(head, rows=rows, widths=[0, 0, 0, *([1] * len(options))]),
    ]


def _rope_and_margin(unit: UnitHeights, words: Words) -> str:
    if not unit.known:
        return words.say("plandoc.not_known")
    return words.say(
        "plandoc.rope_and_margin_cell",
        rope=words.number(unit.rope_greatest_m, 1),
        margin=words.number(unit.margin_m, 1),
    )


def _short(
    plan: Plan, answers: Mapping[Unit, Mapping[int, Reach]], words: Words
) -> list[str]:
    """One line a span-side that some kit does not reach: what each lacks."""
    lines = []
    for unit in plan.heights.units:
        if not unit.known:
            continue
        found: dict[tuple[str, int, int], list[int]] = {}
        for number, reach in answers.get((unit.side, unit.span_index), {}).items():
            if not reach.ok:
                key = (
                    reach.limit,
                    _whole(reach.rope_needed_m, up=True),
                    _whole(reach.rope_have_m, up=False),
                )
                found.setdefault(key, []).append(number + 1)
        if found:
            lines.append(
                words.say(
                    "plandoc.short_unit",
                    span=unit.span_id,
                    side=words.say(f"sheet.{unit.side.value}"),
                    list="; ".join(_lack(key, found[key], words) for key in found),
                )
            )
    return lines


def _whole(value_m: float, *, up: bool) -> int:
    # What is needed goes up, what is there down: no rope may suffice by rounding.
    if not math.isfinite(value_m):
        return -1
    return int(whole_metres(value_m)) if up else math.floor(value_m)


def _lack(key: tuple[str, int, int], numbers: Sequence[int], words: Words) -> str:
    limit, needed_m, have_m = key
    options = words.say(
        "plandoc.options_one" if len(numbers) == 1 else "plandoc.options_many",
        list=", ".join(str(number) for number in numbers),
    )
    why = words.say(f"reach.{limit}")
    if limit == "rope" and needed_m >= 0:
        return words.say(
            "plandoc.short_rope",
            options=options,
            why=why,
            needed=str(needed_m),
            have=str(have_m),
        )
    return words.say("plandoc.short_other", options=options, why=why)


def _codes(plan: Plan) -> dict[str, str]:
    """A short code for every limit met: its first letters, all different."""
    found: dict[str, str] = {}
    for limit in sorted({item.limit for item in plan.reaches if not item.ok}):
        code = next(
            limit[:size]
            for size in range(1, len(limit) + 1)
            if limit[:size] not in found.values()
        )
        found[limit] = code
    return found


def _mark(reach: Reach | None, codes: Mapping[str, str], words: Words) -> str:
    if reach is None:
        return ""
    return words.say("plandoc.reach_dot") if reach.ok else codes[reach.limit]
