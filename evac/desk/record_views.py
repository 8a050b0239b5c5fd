"""Real evacuations beside what the step times say: how far to trust a time."""

from __future__ import annotations

import math

import ipywidgets as widgets

from evac.desk.plan_views import table_html
from evac.desk.workbench import cautions_html
from evac.reference import step_times
from evac.simulation.records import Verdict, judge_records, published_records
from evac.words import Words


def real_evacuations() -> widgets.VBox:
    """The published step times judged by every real evacuation with enough facts."""
    words = Words()
    keys = ("record", "ropeway", "people", "stated", "interval", "inside", "why")
    rows = [[words.say(f"desk.records_{key}") for key in keys]]
    verdicts = judge_records(published_records(), step_times())
    rows += [_row(verdict, words) for verdict in verdicts]
    return widgets.VBox(
        [widgets.HTML(table_html(rows)), widgets.HTML(cautions_html(words))]
    )


def _row(verdict: Verdict, words: Words) -> list[str]:
    record = verdict.record
    stated = verdict.stated_s
    interval = verdict.interval_s
    inside = verdict.inside
    return [
        record.id,
        record.ropeway,
        words.number(record.people, 0),
        words.duration(stated) if stated is not None else "-",
        " .. ".join(words.duration(value) for value in interval)
        if interval is not None and all(math.isfinite(value) for value in interval)
        else "-",
        "-" if inside is None else words.say("tables.yes" if inside else "tables.no"),
        words.say(f"simulation.record.{verdict.reason}"),
    ]
