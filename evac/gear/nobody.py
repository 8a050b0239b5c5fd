"""Why no team can take anything at all, in one sentence to begin mending with."""

from __future__ import annotations

from collections.abc import Sequence

from evac.facts.heights import Heights
from evac.facts.work import Reach
from evac.words import Words

_UNITS_SAID = 4


def why_nobody(heights: Heights, reaches: Sequence[Reach]) -> str:
    """What the first spans lack, for a plan in which nobody can work.

    Parameters
    ----------
    heights : Heights
    reaches : sequence of Reach
        Of every option in every unit; empty where no team may use any kit.
    """
    words = Words()
    if not reaches:
        return words.say("gear.nobody_kit")
    if any(reach.ok for reach in reaches):
        return words.say("gear.nobody_way")
    spans = heights.line.spans
    of_unit: dict[str, list[Reach]] = {}
    for reach in reaches:
        unit = f"{spans[reach.span_index].id} {reach.side.value}"
        of_unit.setdefault(unit, []).append(reach)
    said = [
        words.say("gear.nobody_unit", unit=unit, why=_nearest(found, words))
        for unit, found in list(of_unit.items())[:_UNITS_SAID]
    ]
    more = len(of_unit) - len(said)
    if more > 0:
        said.append(words.say("gear.nobody_more", count=more))
    return words.say("gear.nobody", units="; ".join(said))


def _nearest(reaches: Sequence[Reach], words: Words) -> str:
    """What stops the kit that comes nearest; a rope that is short says how short."""
    short = [reach for reach in reaches if reach.limit == "rope"]
    if not short:
        limits = dict.fromkeys(reach.limit for reach in reaches)
        return ", ".join(words.say(f"reach.{limit}") for limit in limits)
    best = min(short, key=lambda reach: reach.rope_needed_m - reach.rope_have_m)
    return words.say(
        "gear.nobody_rope",
        needed_m=best.rope_needed_m,
        have_m=best.rope_have_m,
    )
