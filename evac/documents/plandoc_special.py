"""Part of the plan document about passengers who need more, and who can serve them."""

from __future__ import annotations

from evac.documents.blocks import Block, heading, paragraph, table
from evac.documents.names import zone_text
from evac.facts.plan import Plan
from evac.facts.work import PickOff, SpecialPassenger, Zone
from evac.words import Words


def special_blocks(plan: Plan, words: Words) -> list[Block]:
    """Every kind of special passenger: what is done, with what, by whom (rule 19)."""
    if not plan.special:
        return _pickoffs(plan, words)
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
    return [*blocks, *_pickoffs(plan, words)]


def _pickoffs(plan: Plan, words: Words) -> list[Block]:
    """Who picks off somebody who cannot help, in every zone, or that nobody can."""
    if not plan.pickoffs:
        return []
    zones = {zone.team: zone for zone in plan.assignment.zones}
    keys = ("zone_team", "zone_what", "pickoff_team", "zone_gear", "pickoff_there")
    within_s = plan.lift.organisation.pickoff_s
    return [
        paragraph(words.say("plandoc.pickoff_intro", within_s=within_s)),
        table(
            [words.say(f"plandoc.{key}") for key in keys],
            rows=[
                _pickoff_row(plan, zones[item.zone_team], item, words)
                for item in plan.pickoffs
            ],
            widths=[1.2, 1.7, 1.2, 1.4, 1],
        ),
    ]


def _pickoff_row(plan: Plan, zone: Zone, item: PickOff, words: Words) -> list[str]:
    row = [item.zone_team, zone_text(plan.lift, zone, words)]
    if item.team is None:
        dash = words.say("plandoc.not_simulated")
        nobody = words.say("special.nobody")
        return [*row, nobody, dash, words.say("plandoc.pickoff_gap")]
    gear = f"{item.technique}, {item.kit}"
    if item.team == item.zone_team:
        return [*row, item.team, gear, words.say("plandoc.pickoff_own")]
    there = words.duration(item.seconds)
    if not item.in_time:
        there = words.say("plandoc.pickoff_late", there_s=item.seconds)
    return [*row, item.team, gear, there]


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
