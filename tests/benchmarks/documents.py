"""How long the papers of a lift take: 30 team sheets, then everything else."""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from made_plan import make_long_lift, make_plan

from evac.documents.bundle import document_files, sheet_files
from evac.words import Words

TEAMS = 30


def run() -> dict[str, float]:
    """Seconds of wall clock and of processor for 30 sheets, and for a plan's papers.

    A zone a team on 31 supports; drawings, single PDFs and the one of all sheets.
    """
    supports = tuple(str(number) for number in range(TEAMS + 1))
    teams = tuple(f"Team {number + 1}" for number in range(TEAMS))
    lift = make_long_lift(support_ids=supports, team_ids=teams)
    plan = make_plan(replace(lift), zones=TEAMS, reserve=False)
    sheet_files(make_plan(), Words())  # reads fonts
    wall, processor = time.perf_counter(), time.process_time()
    files = sheet_files(plan, Words())
    sheets_s = time.perf_counter() - wall
    sheets_cpu_s = time.process_time() - processor
    assert len(files) == TEAMS + 1
    wall = time.perf_counter()
    document_files(make_plan(), Words())
    return {
        "documents.30_sheets_s": sheets_s,
        "documents.30_sheets_processor_s": sheets_cpu_s,
        "documents.papers_of_a_plan_s": time.perf_counter() - wall,
    }
