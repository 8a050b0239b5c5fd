"""Parts of the plan document about what might be otherwise: a team missing, levers."""

from __future__ import annotations

import math

from evac.assignment import units_in_order
from evac.documents.blocks import Block, heading, paragraph, table
from evac.documents.names import zone_text
from evac.facts.change import Branch, Lever, Priority
from evac.facts.plan import Plan
from evac.simulation.absence import latest_without
from evac.words import Words


def branch_blocks(plan: Plan, words: Words) -> list[Block]:
    """For every team: what if it does not come, and who takes over."""
    branches = plan.branches
    if branches is None or not (branches.prepared or branches.untried):
        return []
    blocks = [heading(words.say("branch.title"))]
    if branches.prepared:
        keys = ("team", "takeover", "p50", "p90", "later", "latest")
        blocks += [
            paragraph(
                words.say(
                    "branch.intro",
                    notice_s=branches.prepared[0].notice_s,
                    runs=branches.runs,
                    part=words.say("plandoc.decision"),
                    order_s=plan.lift.organisation.stop_to_order_s.likely,
                )
            ),
            table(
                [words.say(f"branch.{key}") for key in keys],
                rows=[_branch_row(plan, item, words) for item in branches.prepared],
                widths=[1.2, 4.6, 1.1, 1.1, 0.95, 0.9],
            ),
        ]
    if branches.untried:
        teams = ", ".join(branches.untried)
        blocks.append(paragraph(words.say("branch.untried", teams=teams)))
    return blocks


def _branch_row(plan: Plan, branch: Branch, words: Words) -> list[str]:
    """Who does what instead, a line a team, and what comes of it."""
    does = [
        words.say(
            "branch.goes_on" if zone.team in branch.going_on else "branch.moves",
            team=zone.team,
            zone=zone_text(plan.lift, zone, words),
        )
        for zone in branch.assignment.zones
        if zone.team in branch.going_on + branch.anew
    ]
    left = {zone.team for zone in branch.assignment.zones}
    does += [
        words.say("branch.free", team=zone.team)
        for zone in plan.assignment.zones
        if zone.team not in left and zone.team != branch.team
    ]
    people = branch.assignment.objectives[0]
    if people:
        does.append(words.say("branch.people", people=people))
    return [
        branch.team,
        "\n".join(does or [words.say("branch.nobody")]),
        words.show("p50_s", branch.p50_s),
        words.show("p90_s", branch.p90_s),
        _shift(branch.p90_later_s, words),
        _latest_then(plan, branch, words),
    ]


def _latest_then(plan: Plan, branch: Branch, words: Words) -> str:
    """By when the order must come without the team; rounded down."""
    latest, helps = latest_without(plan.lift, plan.simulation, branch)
    if not helps or (latest is not None and latest.after_stop_s < 0):
        return words.say("branch.no_order")
    if latest is None:
        return words.say("plandoc.not_simulated")
    if latest.after_stop_s < 60:
        return words.say("branch.at_once")
    return words.duration(60 * (latest.after_stop_s // 60))


def _shift(later_s: float, words: Words) -> str:
    """A shift with its sign, or that it is sooner; minutes rounded to the nearest."""
    if not math.isfinite(later_s):
        return words.show("later_s", later_s)
    minutes = round(later_s / 60)
    if minutes < 0:
        return words.say("branch.sooner", sooner_s=-60.0 * minutes)
    sign = "+" if minutes > 0 else ""
    return sign + words.duration(60.0 * minutes)


def lever_blocks(plan: Plan, words: Words) -> list[Block]:
    """What would gain most: the paired difference with its interval."""
    levers = plan.levers
    if levers is None or not (levers.ranked or levers.untried):
        return []
    blocks = [heading(words.say("lever.title"))]
    if levers.ranked:
        keys = ("change", "sooner", "interval", "p50", "p90", "people")
        blocks += [
            paragraph(words.say("lever.intro", runs=levers.runs)),
            table(
                [words.say(f"lever.{key}") for key in keys],
                rows=[_lever_row(plan, item, words) for item in levers.ranked],
                widths=[2.9, 1, 1.4, 1.15, 1.15, 0.95],
                right=[5],
            ),
        ]
    if levers.untried:
        blocks.append(paragraph(words.say("lever.untried", count=levers.untried)))
    return blocks


def _lever_row(plan: Plan, lever: Lever, words: Words) -> list[str]:
    low_s, high_s = lever.gain_interval_s
    between = words.say(
        "lever.between", low=_minutes(low_s, words), high=_minutes(high_s, words)
    )
    gain = _minutes(lever.gain_s, words)
    more = plan.assignment.objectives[0] - lever.uncovered_people
    if more > 0:
        # Its time covers other people than the plan's, so the two do not compare.
        between = words.say("lever.more_people")
        gain = (
            words.say("lever.reaches_more", count=more)
            if lever.uncovered_people
            else words.say("lever.reaches_all")
        )
    elif round(low_s / 60) <= 0:
        gain = words.say("lever.no_gain")
    return [
        words.say(f"lever.{lever.key}", **lever.values),
        gain,
        between,
        words.duration(lever.p50_s),
        words.duration(lever.p90_s),
        words.number(lever.uncovered_people, 0),
    ]


def _minutes(seconds: float, words: Words) -> str:
    """A gain to the nearest minute: rounding up would promise too much."""
    return words.duration(60.0 * round(seconds / 60))


def priority_blocks(plan: Plan, words: Words) -> list[Block]:
    """What it costs to take the carriers first that wait longest (rule 17)."""
    if not plan.priorities:
        return []
    keys = ("unit", "planned", "by", "first", "line", "people", "lifted")
    return [
        heading(words.say("priority.title")),
        paragraph(words.say("priority.intro", part=words.say("people.title"))),
        table(
            [words.say(f"priority.{key}") for key in keys],
            rows=[_priority_row(plan, item, words) for item in plan.priorities],
            widths=[0.8, 1.5, 1.2, 1, 0.8, 0.8, 1.6],
            right=[5],
        ),
    ]


def _priority_row(plan: Plan, found: Priority, words: Words) -> list[str]:
    span = plan.heights.line.spans[found.span_index].id
    unit = f"{span} {words.say(f'plandoc.side_{found.side.value}')}"
    planned, first = (
        words.duration(value) for value in (found.clear_s, found.first_clear_s)
    )
    team = next(
        (
            zone.team
            for zone in plan.assignment.zones
            if (found.side, found.span_index) in units_in_order(plan.work, zone)
        ),
        found.team,
    )
    clear = words.say("priority.clear", clear_s=found.clear_s, team=team)
    if found.first_clear_s >= found.clear_s or first == planned:
        dash = words.say("plandoc.not_simulated")
        none = words.say("priority.no_sooner")
        return [unit, clear, none, dash, dash, dash, _lifted(found, words)]
    return [
        unit,
        clear,
        found.team,
        first,
        _shift(float(found.first_last_s - found.last_s), words),
        words.number(max(found.more_uncovered, 0), 0),
        _lifted(found, words),
    ]


def _lifted(found: Priority, words: Words) -> str:
    """Who is there soonest of those who can lift somebody that cannot help."""
    able = found.lifted_by
    if able is None:
        return words.say("priority.nobody_lifts")
    return words.say(
        "priority.lifted_by",
        team=able.option.team,
        kit=able.option.kit,
        clear_s=able.clear_s,
    )
