"""The evaluation of a drill: planned against actual, and what the plan becomes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from evac.documents.blocks import Block, blanks, box, heading, paragraph, points, table
from evac.documents.typeset import Fact, page_pictures, pdf_bytes
from evac.factors import DRILL_TO_REAL
from evac.facts.lift import Triple
from evac.facts.rehearsal import Comparison, Unread
from evac.learning import Learned, LearnedStep, step_key
from evac.rehearsal import Lesson
from evac.words import Words

_MEASURE_LINES = 6
_SCREEN_DPI = 90


def evaluation_pdf(lesson: Lesson, *, unread: Sequence[Unread], words: Words) -> bytes:
    """Set the evaluation of a drill as a PDF.

    Parameters
    ----------
    lesson : Lesson
    unread : sequence of Unread
        Lines that gave no time.
    words : Words
    """
    return pdf_bytes("document", facts=_facts(lesson, unread, words))


def evaluation_pages(
    lesson: Lesson, *, unread: Sequence[Unread], words: Words
) -> tuple[bytes, ...]:
    """The pages of `evaluation_pdf` as PNG pictures, for a notebook."""
    facts = _facts(lesson, unread, words)
    return page_pictures("document", facts=facts, dots_per_inch=_SCREEN_DPI)


def _facts(lesson: Lesson, unread: Sequence[Unread], words: Words) -> dict[str, Fact]:
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
        head, *rows = comparison_rows(getattr(lesson.evaluation, key), words)
        blocks += [
            heading(words.say(f"drill.{key}")),
            table(
                head,
                rows=rows,
                widths=[2.5, 0.7, 0.8, 1, 1, 1.1],
                right=[1, 2, 3, 4, 5],
            ),
        ]
    head, *rows = took_part_rows(lesson, words)
    blocks += [
        heading(words.say("drill.report_who")),
        table(head, rows=rows, widths=[1.4, 0.8, 2, 2], right=[1]),
        paragraph(words.say("drill.people_note")),
        *_before_after(lesson, words),
        heading(words.say("drill.report_unread")),
        points(not_counted(lesson, unread, words) or [words.say("drill.none")]),
        heading(words.say("drill.report_measures")),
        blanks([words.say("drill.blank_measures")] * _MEASURE_LINES),
        blanks([words.say("drill.blank_signed")]),
        heading(words.say("cautions.title")),
        points([words.say(f"cautions.c{number}") for number in range(1, 5)]),
    ]
    return {
        "title": words.say("drill.report_title"),
        "kicker": words.say("drill.title", lift=lesson.before.lift.name),
        "stamp": words.say(
            "drill.report_stamp",
            days=", ".join(day.isoformat() for day in _days(lesson)) or "-",
            before=lesson.before.fingerprint,
        ),
        "gap": "",
        "contents_title": "",
        "identity": [],
        "first": [],
        "blocks": list(blocks),
    }


def _days(lesson: Lesson) -> list[date]:
    return sorted({item.record.date for item in (*lesson.observed, *lesson.already)})


def comparison_rows(items: Sequence[Comparison], words: Words) -> list[list[str]]:
    """Planned against actual as rows of text, headings first."""
    keys = ("name", "count", "stopped", "planned", "actual", "ratio")
    return [
        [words.say(f"drill.column_{key}") for key in keys],
        *(
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
        ),
    ]


def took_part_rows(lesson: Lesson, words: Words) -> list[list[str]]:
    """Teams that were timed, with what the sheets say of who took part."""
    crews = {team.id: team.crew for team in lesson.before.lift.teams}
    noted: dict[str, dict[str, None]] = {}
    for item in (*lesson.observed, *lesson.already):
        names = noted.setdefault(item.record.team, {})
        if item.took_part:
            names[item.took_part] = None
    keys = ("team", "crew", "took_part", "more")
    return [
        [words.say(f"drill.who_column_{key}") for key in keys],
        *(
            [
                team,
                words.number(crews[team], 0) if team in crews else "",
                "; ".join(names),
                "",
            ]
            for team, names in noted.items()
        ),
    ]


def learned_rows(learned: Learned, words: Words) -> list[list[str]]:
    """What each timed step becomes, headings first.

    Before and after: low, likely and high of one carrier, passenger or metre. The
    90 % interval is that of the typical time of an average team in real use.
    """
    keys = ("step", "count", "before", "after", "interval", "use")
    return [
        [words.say(f"drill.learned_{key}") for key in keys],
        *(
            [
                step_key(step.before),
                _count(step, words),
                _triple(step.before.seconds, words),
                _triple(step.after.seconds, words),
                words.say(
                    "drill.learned_interval_s",
                    low=words.step_seconds(step.typical_s[0]),
                    middle=words.step_seconds(step.typical_s[1]),
                    high=words.step_seconds(step.typical_s[2]),
                ),
                words.say(f"drill.learned_use_{_use(step)}"),
            ]
            for step in learned.steps
        ),
    ]


def _count(step: LearnedStep, words: Words) -> str:
    parts = [words.number(step.count, 0)]
    for key in ("stopped", "real"):
        if count := getattr(step, key):
            parts.append(words.say(f"drill.learned_{key}", count=count))
    return ", ".join(parts)


def _use(step: LearnedStep) -> str:
    if not step.shorter:
        return "longer"
    return "accepted" if step.accepted else "waits"


def _triple(seconds: Triple, words: Words) -> str:
    return " / ".join(
        words.step_seconds(value)
        for value in (seconds.low, seconds.likely, seconds.high)
    )


def acceptance(learned: Learned) -> tuple[str, ...]:
    """Names of the steps that would get shorter and wait for somebody's word.

    Each is what ``[learning] accepted`` of ``lift.toml`` takes.
    """
    return tuple(
        step_key(step.before)
        for step in learned.steps
        if step.shorter and not step.accepted
    )


def shrinking(learned: Learned, words: Words) -> list[str]:
    """The steps of `acceptance`, each with which of its three times get shorter."""
    texts = []
    for step in learned.steps:
        if step_key(step.before) not in acceptance(learned):
            continue
        before, after = step.before.seconds, step.after.seconds
        pairs = {
            "low": (before.low, after.low),
            "likely": (before.likely, after.likely),
            "high": (before.high, after.high),
        }
        parts = [
            words.say(
                f"drill.shrinks_{name}",
                before=words.step_seconds(old_s),
                after=words.step_seconds(new_s),
            )
            for name, (old_s, new_s) in pairs.items()
            if new_s < old_s
        ]
        texts.append(
            words.say(
                "drill.shrinks", step=step_key(step.before), parts=", ".join(parts)
            )
        )
    return texts


def not_counted(lesson: Lesson, unread: Sequence[Unread], words: Words) -> list[str]:
    """Every line of the sheets that taught nothing, with the reason."""
    return [
        *(
            words.say(f"drill.unread_{item.reason}", where=item.where)
            for item in unread
        ),
        *(
            words.say("drill.unplanned", where=item.record.where, step=item.record.step)
            for item in lesson.evaluation.unplanned
        ),
        *(
            words.say("drill.already", where=item.record.where, step=item.record.step)
            for item in lesson.already
        ),
    ]


def _before_after(lesson: Lesson, words: Words) -> list[Block]:
    before, after = lesson.before.simulation, lesson.after.simulation
    head, *rows = learned_rows(lesson.learned, words)
    blocks: list[Block] = [
        heading(words.say("drill.report_learned")),
        paragraph(words.say("drill.report_learned_how")),
        table(head, rows=rows, widths=[2.6, 0.6, 1.2, 1.2, 1.4, 1.1]),
        heading(words.say("drill.report_before_after")),
        paragraph(
            words.say("drill.report_before", p50_s=before.p50_s, p90_s=before.p90_s)
        ),
        paragraph(
            words.say("drill.report_after", p50_s=after.p50_s, p90_s=after.p90_s)
        ),
    ]
    if waiting := shrinking(lesson.learned, words):
        blocks += [box(words.say("drill.report_shorter")), points(waiting)]
    return blocks
