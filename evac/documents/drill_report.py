"""The evaluation of a drill: planned against actual, and what the plan becomes."""

from __future__ import annotations

from collections.abc import Sequence

from evac.documents.blocks import Block, blanks, box, heading, paragraph, points, table
from evac.documents.typeset import pdf_bytes
from evac.factors import DRILL_TO_REAL
from evac.facts.plan import Plan
from evac.facts.rehearsal import Comparison, Evaluation, Unread
from evac.words import Words

_MEASURE_LINES = 6


def evaluation_pdf(
    evaluation: Evaluation,
    *,
    unread: Sequence[Unread],
    before: Plan,
    after: Plan,
    words: Words,
) -> bytes:
    """Set the evaluation of a drill as a PDF.

    Parameters
    ----------
    evaluation : Evaluation
    unread : sequence of Unread
        Lines that gave no time.
    before, after : Plan
        The plan without and with the new records, made with the same seed.
    words : Words
    """
    blocks: list[Block] = [
        paragraph(
            words.say(
                "drill.report_intro",
                low=DRILL_TO_REAL.low,
                likely=DRILL_TO_REAL.likely,
                high=DRILL_TO_REAL.high,
            )
        )
    ]
    for key in ("by_step", "by_team", "by_span"):
        blocks += [
            heading(words.say(f"drill.{key}")),
            _comparisons(getattr(evaluation, key), words),
        ]
    blocks += _before_after(before, after, words)
    lines = [
        words.say(f"drill.unread_{item.reason}", where=item.where) for item in unread
    ]
    lines += [
        words.say("drill.unplanned", where=item.record.where, step=item.record.step)
        for item in evaluation.unplanned
    ]
    blocks += [
        heading(words.say("drill.report_unread")),
        points(lines or [words.say("drill.none")]),
        heading(words.say("drill.report_measures")),
        blanks([words.say("drill.blank_measures")] * _MEASURE_LINES),
        heading(words.say("cautions.title")),
        points([words.say(f"cautions.c{number}") for number in range(1, 5)]),
    ]
    return pdf_bytes(
        "document",
        facts={
            "title": words.say("drill.report_title"),
            "kicker": words.say("drill.title", lift=before.lift.name),
            "stamp": words.say("cautions.short"),
            "gap": "",
            "contents_title": "",
            "identity": [],
            "first": [],
            "blocks": list(blocks),
        },
    )


def _comparisons(items: Sequence[Comparison], words: Words) -> Block:
    keys = ("name", "count", "stopped", "planned", "actual", "ratio")
    return table(
        [words.say(f"drill.column_{key}") for key in keys],
        rows=[
            [
                item.name,
                words.number(item.count, 0),
                words.number(item.stopped, 0),
                words.duration(item.planned_s),
                words.duration(item.actual_s),
                words.number(item.actual_s / item.planned_s, 2)
                if item.planned_s > 0
                else "",
            ]
            for item in items
        ],
        widths=[2.5, 0.7, 0.8, 1, 1, 1.1],
        right=[1, 2, 3, 4, 5],
    )


def _before_after(before: Plan, after: Plan, words: Words) -> list[Block]:
    blocks: list[Block] = [
        heading(words.say("drill.report_before_after")),
        paragraph(
            words.say(
                "drill.report_before",
                p50_s=before.simulation.p50_s,
                p90_s=before.simulation.p90_s,
            )
        ),
        paragraph(
            words.say(
                "drill.report_after",
                p50_s=after.simulation.p50_s,
                p90_s=after.simulation.p90_s,
            )
        ),
    ]
    held_back = [
        finding for finding in after.findings if finding.key == "learning.shorter"
    ]
    if held_back:
        blocks.append(box(words.say("drill.report_shorter")))
        blocks.append(points([" ".join(words.finding(item)) for item in held_back]))
    return blocks
