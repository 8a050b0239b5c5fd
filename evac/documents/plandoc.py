"""The plan document: what the authority reads."""

from __future__ import annotations

from evac.assignment import last_finish_s
from evac.documents.blocks import (
    Block,
    blanks,
    box,
    gap,
    heading,
    page_break,
    paragraph,
    points,
    table,
)
from evac.documents.contents import answers, contents_blocks, gap_text
from evac.documents.names import team_zones
from evac.documents.plandoc_heights import height_blocks
from evac.documents.plandoc_ladder import standdown_blocks
from evac.documents.plandoc_people import people_blocks
from evac.documents.plandoc_reach import reach_blocks
from evac.documents.plandoc_teams import team_blocks
from evac.documents.plandoc_times import (
    decision_blocks,
    latest_sentence,
    time_blocks,
)
from evac.documents.plandoc_whatif import (
    branch_blocks,
    lever_blocks,
    priority_blocks,
)
from evac.documents.plandoc_work import (
    access_blocks,
    care_blocks,
    hazard_blocks,
    zone_blocks,
)
from evac.documents.typeset import Fact
from evac.facts.finding import Finding, Severity
from evac.facts.plan import Plan
from evac.figures.doubt import BOUNDS_VERDICT, of_reached, reach_in_doubt
from evac.limits import limit_verdict
from evac.words import Words

_HASH_SHOWN = 16
_ORDER = {Severity.STOP: 0, Severity.WARN: 1, Severity.NOTE: 2}


def plan_document_facts(
    plan: Plan,
    words: Words,
    *,
    findings: tuple[Finding, ...],
    changes: list[Block] | None = None,
) -> dict[str, Fact]:
    """Everything that the template of the plan document prints, in words.

    Parameters
    ----------
    plan : Plan
    words : Words
    findings : tuple of Finding
        Those of the plan and of the papers themselves.
    changes : list of Block, optional
        What changed since an earlier plan.
    """
    blocks = [
        *time_blocks(plan, words),
        *decision_blocks(plan, words),
        *zone_blocks(plan, words),
        *branch_blocks(plan, words),
        *priority_blocks(plan, words),
        *lever_blocks(plan, words),
        *height_blocks(plan, words),
        *reach_blocks(plan, words),
        *hazard_blocks(plan, words),
        *access_blocks(plan, words),
        *team_blocks(plan, words),
        *care_blocks(plan, words),
        *people_blocks(plan, words),
        *standdown_blocks(plan, words),
        *_outside(plan, words),
        *contents_blocks(plan, words),
        *_findings(findings, words),
        *_assumptions(plan, words),
        *_inputs(plan, words),
        *_report(words),
        *_cautions(words),
    ]
    if changes:
        blocks = [heading(words.say("plandoc.changes")), *changes, *blocks]
    return {
        "title": words.say("plandoc.title", lift=plan.lift.name),
        "kicker": words.say("plandoc.kicker"),
        "stamp": words.say(
            "plandoc.stamp",
            lift=plan.lift.name,
            revision=plan.lift.revision,
            day=plan.date,
            fingerprint=plan.fingerprint,
        ),
        "gap": words.say("plandoc.gap"),
        "contents_title": words.say("plandoc.contents"),
        "identity": _identity(plan, words),
        "first": [*_summary(plan, words, findings), *_signatures(words)],
        "blocks": list(blocks),
    }


def _identity(plan: Plan, words: Words) -> list[Fact]:
    lift = plan.lift
    pairs = {
        "kind": lift.kind,
        "operator": lift.operator,
        "line": words.say(
            "plandoc.id_line",
            length_m=lift.supports[-1].distance_m,
            supports=sum(not support.mark for support in lift.supports),
            spans=sum(not support.mark for support in lift.supports) - 1,
        ),
        "revision": lift.revision,
        "date": words.show("day", plan.date),
        "inputs": plan.fingerprint,
    }
    names = {"line": "length"}
    return [
        [words.say(f"plandoc.id_{names.get(key, key)}"), text]
        for key, text in pairs.items()
    ]


def _summary(plan: Plan, words: Words, findings: tuple[Finding, ...]) -> list[Block]:
    counts = {
        severity: sum(item.severity is severity for item in findings)
        for severity in Severity
    }
    simulation, found = plan.simulation, answers(plan)
    lines = [
        words.say(
            of_reached(plan, "plandoc.sum_clearing"),
            clear_s=last_finish_s(plan.assignment),
            p50_s=simulation.p50_s,
            p90_s=simulation.p90_s,
        ),
        words.say(of_reached(plan, "plandoc.sum_safe"), safe_s=simulation.safe_p90_s),
        latest_sentence(plan, words),
        *(words.finding(f)[0] for f in findings if f.key.startswith(BOUNDS_VERDICT)),
        _teams(plan, words),
        words.say(
            "plandoc.sum_findings",
            stops=counts[Severity.STOP],
            warns=counts[Severity.WARN],
            notes=counts[Severity.NOTE],
            part=words.say("plandoc.findings"),
        ),
        words.say(
            "plandoc.sum_gaps",
            count=sum(item.is_gap for item in found),
            total=len(found),
            part=words.say("plandoc.contents_part"),
        ),
        words.say(
            "plandoc.sum_assumptions",
            count=len(plan.lift.assumptions),
            part=words.say("plandoc.assumptions"),
        ),
    ]
    return [
        box(_reached(plan, words)),
        *(box(text) for text in _limits(plan, words)),
        points(lines),
        paragraph(words.say("cautions.short"), strong=True),
    ]


def _teams(plan: Plan, words: Words) -> str:
    """How many teams have a zone; by name those that have none, and why."""
    lift = plan.lift
    busy = team_zones(plan)
    able = {option.team for option in plan.work.options}
    idle = {
        "sum_reserve": plan.assignment.reserve_teams,
        "sum_unable": tuple(team.id for team in lift.teams if team.id not in able),
        "sum_off_duty": tuple(team.id for team in lift.off_duty),
    }
    told = {name for names in idle.values() for name in names} | set(busy)
    idle["sum_no_zone"] = tuple(team.id for team in lift.teams if team.id not in told)
    parts = [
        words.say(
            "plandoc.sum_teams",
            zones=len(busy),
            total=len(lift.teams) + len(lift.off_duty),
        )
    ]
    parts += [
        words.say(f"plandoc.{key}", teams=", ".join(names))
        for key, names in idle.items()
        if names
    ]
    return " ".join(parts)


def _reached(plan: Plan, words: Words) -> str:
    if plan.everyone_reached and reach_in_doubt(plan):
        return words.say("plandoc.reached_doubtful", part=words.say("plandoc.findings"))
    if plan.everyone_reached:
        return words.say("plandoc.reached")
    missing, spans = plan.assignment.uncovered, plan.heights.line.spans
    units = ", ".join(
        f"{spans[item.span_index].id} {words.say(f'plandoc.side_{item.side.value}')}"
        for item in missing
    )
    return words.say(
        "plandoc.not_reached",
        places=words.say("plandoc.places", count=sum(item.people for item in missing)),
        count=len(missing),
        units=units,
    )


def _limits(plan: Plan, words: Words) -> list[str]:
    if not plan.lift.limits or plan.limit_met is None:
        return [words.say("plandoc.no_limit")]
    return [
        words.say(
            f"plandoc.limit_{limit_verdict(limit, plan.simulation)}",
            limit_min=limit.minutes,
            counts_from=limit.counts_from,
            counts_to=limit.counts_to,
            source=limit.source,
        )
        for limit in plan.lift.limits
    ]


def _signatures(words: Words) -> list[Block]:
    keys = ("prepared", "reviewed", "operator", "authority")
    return [blanks([words.say(f"plandoc.sign_{key}") for key in keys])]


def _outside(plan: Plan, words: Words) -> list[Block]:
    answer = next(item for item in answers(plan) if item.item.key == "external_means")
    blocks = [
        heading(words.say("plandoc.outside")),
        paragraph(words.say("plandoc.outside_intro")),
    ]
    if answer.text:
        blocks.append(paragraph(answer.text))
    else:
        blocks.append(gap(gap_text(answer.item, words)))
    return blocks


def _findings(findings: tuple[Finding, ...], words: Words) -> list[Block]:
    blocks = [heading(words.say("plandoc.findings"))]
    if not findings:
        return [*blocks, paragraph(words.say("plandoc.findings_none"))]
    rows = []
    for item in sorted(findings, key=lambda finding: _ORDER[finding.severity]):
        text, remedy = words.finding(item)
        rows.append(
            [words.say(f"plandoc.severity_{item.severity.value}"), text, remedy]
        )
    keys = ("severity", "finding_text", "what_to_do")
    blocks.append(
        table(
            [words.say(f"plandoc.{key}") for key in keys],
            rows=rows,
            widths=[0, 1.3, 1],
        )
    )
    return blocks


def _assumptions(plan: Plan, words: Words) -> list[Block]:
    blocks = [heading(words.say("plandoc.assumptions"))]
    if not plan.lift.assumptions:
        return [*blocks, paragraph(words.say("plandoc.assumptions_none"))]
    rows = [
        [
            item.key,
            item.value,
            item.reason,
            words.say("plandoc.yes" if item.accepted else "plandoc.no"),
        ]
        for item in plan.lift.assumptions
    ]
    keys = ("key", "value", "reason", "accepted")
    return [
        *blocks,
        paragraph(words.say("plandoc.assumptions_intro")),
        table(
            [words.say(f"plandoc.assumption_{key}") for key in keys],
            rows=rows,
            widths=[1.4, 0.8, 2.2, 0],
        ),
    ]


def _inputs(plan: Plan, words: Words) -> list[Block]:
    rows = [
        [name, digest[:_HASH_SHOWN]]
        for name, digest in sorted(plan.lift.fingerprint.items())
    ]
    blocks = [
        heading(words.say("plandoc.inputs")),
        paragraph(words.say("plandoc.inputs_intro")),
    ]
    if plan.lift.data_source:
        blocks.append(
            paragraph(words.say("plandoc.data_source", source=plan.lift.data_source))
        )
    if rows:
        keys = ("file", "hash")
        blocks.append(
            table(
                [words.say(f"plandoc.{key}") for key in keys],
                rows=rows,
                widths=[1, 1],
            )
        )
    return blocks


def _report(words: Words) -> list[Block]:
    return [
        page_break(),
        heading(words.say("plandoc.report")),
        blanks([words.say(f"plandoc.report_{number}") for number in range(1, 11)]),
    ]


def _cautions(words: Words) -> list[Block]:
    return [
        heading(words.say("plandoc.cautions_part")),
        points([words.say(f"cautions.c{number}") for number in range(1, 5)]),
    ]
