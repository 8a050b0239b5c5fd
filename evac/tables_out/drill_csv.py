"""drills.csv: every timed step on record, as the lift folder takes it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from evac.facts.drill import DrillRecord

_COLUMNS = (
    "date",
    "team",
    "technique",
    "step",
    "per",
    "condition",
    "seconds",
    "amount",
    "stopped",
    "real",
    "worked_s",
    "note",
)


def drills_csv(records: Iterable[DrillRecord]) -> bytes:
    """All records as one CSV, UTF-8, commas and decimal points."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for record in records:
        writer.writerow(
            (
                record.date.isoformat(),
                record.team,
                record.technique,
                record.step,
                record.per,
                record.condition,
                f"{record.seconds:g}",
                f"{record.amount:g}",
                "yes" if record.stopped else "no",
                "yes" if record.real else "no",
                f"{record.worked_s:g}",
                record.where,
            )
        )
    return text.getvalue().encode("utf-8")
