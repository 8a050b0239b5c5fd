"""drills.csv: every timed step on record, as the lift folder takes it.

Spreadsheet programs run a text that begins like a formula; it gets their own mark of a
text, an apostrophe, which is taken off again where tables are read.
"""

from __future__ import annotations

import csv
import io
import re
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


_LIKE_A_FORMULA = re.compile(r"'*[=+\-@\t\r]")


def drills_csv(records: Iterable[DrillRecord]) -> bytes:
    """All records as one CSV, UTF-8, commas and decimal points."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for record in records:
        writer.writerow(
            (
                record.date.isoformat(),
                _as_text(record.team),
                _as_text(record.technique),
                _as_text(record.step),
                _as_text(record.per),
                _as_text(record.condition),
                f"{record.seconds:g}",
                f"{record.amount:g}",
                "yes" if record.stopped else "no",
                "yes" if record.real else "no",
                f"{record.worked_s:g}",
                _as_text(record.where),
            )
        )
    return text.getvalue().encode("utf-8")


def _as_text(text: str) -> str:
    return f"'{text}" if _LIKE_A_FORMULA.match(text) else text
