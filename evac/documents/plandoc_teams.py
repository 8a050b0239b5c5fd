"""Part of the plan document about teams, their kit, techniques and other people."""

from __future__ import annotations

from evac.documents.blocks import Block, heading, paragraph, table
from evac.facts.lift import Kit, Team, Technique
from evac.facts.plan import Plan
from evac.gear import people_needed
from evac.gear.doubts import THROW_WIND_DOUBT_M_PER_S
from evac.words import Words


def team_blocks(plan: Plan, words: Words) -> list[Block]:
    """Teams, kit with what is due, and the people beside the teams."""
    lift = plan.lift
    everyone = (*lift.teams, *lift.off_duty)
    rows = [
        [
            team.id,
            str(team.crew),
            ", ".join(team.techniques),
            team.start_place,
            words.duration(team.ready_s),
            words.show("day", team.last_drill)
            if team.last_drill
            else words.say("plandoc.blank"),
            team.channel or words.say("plandoc.blank"),
        ]
        for team in everyone
    ]
    keys = (
        "team",
        "crew",
        "techniques",
        "start_place",
        "ready",
        "last_drill",
        "channel",
    )
    head = [words.say(f"plandoc.{key}") for key in keys]
    widths: list[float] = [1.2, 0, 1.7, 1.3, 0.8, 1.1, 0.9]
    if any(team.duty_from_s is not None for team in everyone):
        head.append(words.say("roster.column"))
        widths.append(1.1)
        for row, team in zip(rows, everyone, strict=True):
            row.append(_hours(team, words))
    kit_keys = (
        "kit",
        "team",
        "technique",
        "rope",
        "stored_at",
        "due",
        "retire",
    )
    return [
        heading(words.say("plandoc.teams")),
        table(head, rows=rows, widths=widths),
        table(
            [words.say(f"plandoc.{key}") for key in kit_keys],
            rows=[_kit_row(plan, kit, words) for kit in lift.kits],
            widths=[0.6, 1.1, 1.1, 0.7, 1.2, 1.4, 1.4],
            right=[3],
        ),
        heading(words.say("plandoc.techniques_title"), level=2),
        *_technique_blocks(plan, words),
        heading(words.say("plandoc.roles_title"), level=2),
        *_role_blocks(plan, words),
    ]


def _hours(team: Team, words: Words) -> str:
    if team.duty_from_s is None or team.duty_to_s is None:
        return words.say("roster.always")
    return words.say(
        "roster.hours", from_clock_s=team.duty_from_s, to_clock_s=team.duty_to_s
    )


def _kit_row(plan: Plan, kit: Kit, words: Words) -> list[str]:
    if kit.inspection_due is None:
        due = words.say("plandoc.due_none")
    elif kit.inspection_due < plan.due_day:
        due = words.say("plandoc.due_over", day=kit.inspection_due)
    else:
        due = words.show("day", kit.inspection_due)
    if kit.retire_on is None:
        retire = words.say("plandoc.blank")
    elif kit.retire_on <= plan.due_day:
        retire = words.say("plandoc.due_over", day=kit.retire_on)
    else:
        retire = words.show("day", kit.retire_on)
    return [
        kit.id,
        kit.team or words.say("plandoc.spare"),
        kit.technique,
        words.length(kit.rope_length_m),
        kit.stored_at,
        due,
        retire,
    ]


def _technique_blocks(plan: Plan, words: Words) -> list[Block]:
    """What bounds each technique: wind, crew, rope slope, hold-downs, approval."""
    rows = [_technique_row(item, words) for item in plan.lift.techniques]
    keys = (
        "technique",
        "crew_least",
        "wind",
        "throw_wind",
        "steepest",
        "rollers",
        "hold_downs",
        "incapacitated",
        "approval",
    )
    return [
        paragraph(words.say("plandoc.techniques_intro")),
        table(
            [words.say(f"plandoc.technique_{key}") for key in keys],
            rows=rows,
            widths=[1.2, 0.65, 0.9, 0.9, 0.8, 0.9, 1.4, 1.1, 1.6],
            right=[1],
        ),
    ]


def _technique_row(technique: Technique, words: Words) -> list[str]:
    def yes(holds: bool) -> str:
        return words.say("plandoc.yes" if holds else "plandoc.no")

    throw = words.say("plandoc.not_simulated")
    if technique.needs_line_over_rope:
        limit = min(technique.wind_limit_m_per_s, THROW_WIND_DOUBT_M_PER_S)
        throw = words.show("limit_m_per_s", limit)
    return [
        technique.id,
        str(technique.min_crew),
        words.show("limit_m_per_s", technique.wind_limit_m_per_s),
        throw,
        words.show("most_deg", technique.most_rope_slope_deg),
        yes(technique.passes_rollers),
        yes(technique.passes_hold_downs),
        yes(technique.incapacitated),
        technique.approval.strip() or words.say("plandoc.approval_none"),
    ]


def _role_blocks(plan: Plan, words: Words) -> list[Block]:
    organisation = plan.lift.organisation
    rows = [[role, str(count)] for role, count in organisation.roles.items()]
    needed = people_needed(
        plan.lift,
        plan.work.options,
        plan.gates,
        points=set(plan.muster_point.values()),
    )
    total = words.say(
        "plandoc.people_needed",
        needed=needed.total,
        teams=needed.teams,
        roles=needed.roles,
        informers=needed.informers,
        hazards=needed.hazards,
        receivers=needed.receivers,
    )
    present = (
        words.say("plandoc.roles_unknown")
        if organisation.people_present is None
        else words.say("plandoc.roles_present", count=organisation.people_present)
    )
    blocks = []
    if rows:
        keys = ("role", "role_count")
        blocks.append(
            table(
                [words.say(f"plandoc.{key}") for key in keys],
                rows=rows,
                widths=[0, 0],
                right=[1],
            )
        )
    return [*blocks, paragraph(f"{total} {present}")]
