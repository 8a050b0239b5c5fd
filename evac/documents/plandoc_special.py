"""Part of the plan document about passengers who need more, and who can serve them."""

from __future__ import annotations

from evac.documents.blocks import Block, heading, paragraph, table
from evac.facts.plan import Plan
from evac.facts.work import SpecialPassenger
from evac.words import Words


def special_blocks(plan: Plan, words: Words) -> list[Block]:
    """Every kind of special passenger: what is done, with what, by whom (rule 19)."""
    if not plan.special:
        return []
    nobody = [
        words.say(f"special.kind.{item.key}")
        for item in plan.special
        if not item.options
    ]
    blocks = [
        heading(words.say("special.title"), level=2),
        paragraph(words.say("special.intro")),
        table(
            [words.say(f"special.{key}") for key in ("who", "done", "with", "teams")],
            rows=[_row(plan, item, words) for item in plan.special],
            widths=[1, 2.2, 1.4, 1.5],
        ),
    ]
    if nobody:
        text = words.say("special.unserved", kinds="; ".join(nobody))
        blocks.insert(2, paragraph(text, strong=True))
    return blocks


def _row(plan: Plan, item: SpecialPassenger, words: Words) -> list[str]:
    who, done = (words.say(f"special.{part}.{item.key}") for part in ("kind", "what"))
    if not item.options:
        return [who, done, words.say("special.nobody"), words.say("special.nobody")]
    techniques = ", ".join(
        words.say("special.adds", technique=name, extra_s=extra_s)
        if extra_s > 0
        else name
        for name, extra_s in item.extra_s.items()
    )
    able = dict.fromkeys(plan.work.options[index].team for index in item.options)
    teams = {option.team for option in plan.work.options}
    if len(teams) > 1 and set(able) == teams:
        return [who, done, techniques, words.say("special.every_team")]
    return [who, done, techniques, ", ".join(able)]
