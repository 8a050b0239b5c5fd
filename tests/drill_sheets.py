"""Observers' sheets filled as people fill them, for tests."""

from __future__ import annotations

import datetime as dt
import io

from openpyxl import load_workbook

from evac.documents.drill_papers import observer_workbook
from evac.facts.rehearsal import Drill
from evac.inputs.drill_times import COLUMNS
from evac.words import Words

AT = {name: number for number, name in enumerate(COLUMNS)}


def filled_sheet(drill: Drill, *, factor: float | None, took_part: str = "") -> bytes:
    """The drill's own workbook with every line timed `factor` times as planned.

    None leaves begin and end blank. Each team begins at nine and works line after line.
    The day stands in the first line, as the observer is told to write it.
    """
    book = load_workbook(io.BytesIO(observer_workbook(drill, Words())))
    book.active.cell(2, 1 + AT["date"]).value = dt.date(2026, 11, 25)
    clock: dict[str, dt.datetime] = {}
    for row in book.active.iter_rows(min_row=2):
        row[AT["took_part"]].value = took_part or None
        if factor is None:
            continue
        team = row[AT["team"]].value
        begun = clock.setdefault(team, dt.datetime(2026, 11, 25, 9, 0))
        ended = begun + dt.timedelta(seconds=1 + factor * row[AT["planned_s"]].value)
        row[AT["begun"]].value = begun.strftime("%H:%M:%S")
        row[AT["ended"]].value = ended.strftime("%H:%M:%S")
        clock[team] = ended
    filled = io.BytesIO()
    book.save(filled)
    return filled.getvalue()
