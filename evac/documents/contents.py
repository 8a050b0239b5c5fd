"""What a written plan must contain: answered, by a text of the folder, or a gap."""

from __future__ import annotations

from dataclasses import dataclass

from evac.documents.blocks import Block, gap, heading, paragraph, table
from evac.documents.plandoc_work import power_line_spans
from evac.facts.plan import Plan
from evac.reference import PlanItem, plan_contents
from evac.words import Words

_PARTS = {
    "start_estimate": "times",
    "total_against_limit": "times",
    "equipment": "teams",
    "team_allocation": "zones",
    "breaking_off": "standdown",
    "report": "report",
}
"""Items that a computed part of the document answers by itself."""

_HELPED = {
    "authority": "teams",
    "informing": "decision",
    "radio": "teams",
    "care": "care",
    "external_means": "outside",
    "first_drill": "teams",
    "methods": "teams",
    "power_line": "hazards",
    "unusual_terrain": "hazards",
}
"""Items on which a part says something, but the folder's own text must say the rule."""

_OWN_PART = "external_means"
"""Outside help is a part of its own, never among the means of the base plan."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """How the document answers one item; ``part`` is a key of a part's heading."""

    item: PlanItem
    text: str
    part: str | None
    is_gap: bool


def answers(plan: Plan) -> tuple[Answer, ...]:
    """One answer an item, in the order of the published list."""
    return tuple(_answer(plan, item) for item in plan_contents())


def _answer(plan: Plan, item: PlanItem) -> Answer:
    text = plan.lift.plan_texts.get(item.key, "").strip()
    part = _PARTS.get(item.key)
    answered = bool(text) or part is not None
    if item.key == "written_plan":
        return Answer(item=item, text=text, part="", is_gap=False)
    if item.key == "total_in_darkness" and plan.lift.conditions.night:
        return Answer(item=item, text=text, part="times", is_gap=False)
    if item.key == "unusual_terrain" and plan.lift.hazards:
        return Answer(item=item, text=text, part="hazards", is_gap=False)
    if item.key == "power_line" and plan.lift.hazards and not power_line_spans(plan):
        # What lies below was listed, and no power line is among it. Where nothing at
        # all is listed nobody may have looked: that is a gap to confirm.
        return Answer(item=item, text=text, part="hazards", is_gap=False)
    return Answer(
        item=item,
        text=text,
        part=part or _HELPED.get(item.key),
        is_gap=not answered,
    )


def contents_blocks(plan: Plan, words: Words) -> list[Block]:
    """The list with where each item is answered, then the folder's texts and gaps."""
    found = answers(plan)
    keys = ("item", "asked_by", "answer")
    blocks = [
        heading(words.say("plandoc.contents_part")),
        table(
            [words.say(f"plandoc.{key}") for key in keys],
            rows=[
                [item.item.item, item.item.asked_by, _where(item, words)]
                for item in found
            ],
            widths=[2.2, 1.6, 1.3],
        ),
    ]
    for answer in found:
        if answer.item.key == _OWN_PART:
            continue
        if answer.text or answer.is_gap:
            blocks.append(heading(answer.item.item, level=2))
        if answer.text:
            blocks.append(paragraph(answer.text))
        if answer.is_gap:
            blocks.append(gap(gap_text(answer.item, words)))
    return blocks


def gap_text(item: PlanItem, words: Words) -> str:
    """What to supply for an item that the folder leaves open."""
    key = f"plandoc.supply.{item.key}"
    supply = words.say(key) if words.has(key) else ""
    text = words.say("plandoc.gap_supply", item=item.item, key=item.key)
    return f"{text} {supply}".strip()


def _where(answer: Answer, words: Words) -> str:
    if answer.is_gap and answer.item.key != _OWN_PART:
        return words.say("plandoc.answer_gap")
    if answer.part == "":
        return words.say("plandoc.this_document")
    if answer.part is None:
        return words.say("plandoc.answer_text")
    part = words.say(f"plandoc.{answer.part}")
    if answer.is_gap:
        return words.say("plandoc.answer_gap_part", part=part)
    return words.say(
        "plandoc.answer_both" if answer.text else "plandoc.answer_part", part=part
    )
