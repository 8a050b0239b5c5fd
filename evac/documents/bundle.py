"""All papers of a plan as files, and the whole output folder."""

from __future__ import annotations

import json
from bisect import bisect_left
from collections.abc import Callable, Mapping
from pathlib import Path

from evac.documents.blocks import Block
from evac.documents.compare import change_blocks
from evac.documents.glyphs import missing_glyphs
from evac.documents.names import file_names, team_zones
from evac.documents.plandoc import plan_document_facts
from evac.documents.sheet import (
    ROOM_OF_LONG_SHEETS,
    Room,
    rooms_for,
    sheet_facts,
)
from evac.documents.typeset import Fact, page_count, page_pictures, pdf_bytes
from evac.facts.finding import Finding, Severity
from evac.facts.lift import Team
from evac.facts.plan import Plan
from evac.figures import line_section, svg_bytes
from evac.inputs.earlier_plan import read_record
from evac.maps import map_html
from evac.outbox import publish
from evac.tables_out import geojson_bytes, gpx_bytes, plan_json, xlsx_bytes
from evac.words import Words

OnStep = Callable[[str, float], None]

_MOST_PAGES = 2
_A3_WIDTH_MM, _A3_HEIGHT_MM, _A3_MARGIN_MM = 420.0, 297.0, 10.0


def document_files(
    plan: Plan, words: Words, *, changes: list[Block] | None = None
) -> dict[str, bytes]:
    """Every printed paper of a plan, by its name in the output folder.

    ``changes`` is printed first in the plan document.

    Returns
    -------
    dict of str to bytes
        ``plan.pdf``, ``section.pdf``, ``section.svg``, ``sheets_all.pdf`` and
        ``sheets/<team>.pdf``; the same plan gives the same bytes.
    """
    sheets = sheet_files(plan, words)
    facts = plan_document_facts(
        plan,
        words,
        findings=(
            *plan.findings,
            *missing_glyphs(plan.lift),
            *_long_sheets(plan, sheets),
        ),
        changes=changes,
    )
    return {
        "plan.pdf": pdf_bytes("document", facts=facts),
        **section_files(plan, words),
        **sheets,
    }


def _long_sheets(plan: Plan, sheets: Mapping[str, bytes]) -> list[Finding]:
    """Sheets that no room could keep to two pages, each named."""
    names = file_names([team.id for team in plan.lift.teams])
    pages = {
        team: page_count(sheets[f"sheets/{name}.pdf"]) for team, name in names.items()
    }
    return [
        Finding(
            key="sheet.long",
            severity=Severity.WARN,
            where=team,
            values={"pages": count, "most": _MOST_PAGES},
        )
        for team, count in pages.items()
        if count > _MOST_PAGES
    ]


def section_files(plan: Plan, words: Words) -> dict[str, bytes]:
    """The whole lift on one A3 page, as PDF and SVG."""
    operator = plan.lift.operator
    subtitle = words.say(
        "sheet.stamp",
        lift=f"{words.say('plandoc.id_operator')}: {operator}"
        if operator
        else plan.lift.name,
        revision=plan.lift.revision,
        day=plan.date,
        fingerprint=plan.fingerprint,
    )
    svg = svg_bytes(line_section(plan, words=words, subtitle=subtitle))
    page = pdf_bytes(
        "page",
        facts={
            "title": words.say("plandoc.title", lift=plan.lift.name),
            "width_mm": _A3_WIDTH_MM,
            "height_mm": _A3_HEIGHT_MM,
            "margin_mm": _A3_MARGIN_MM,
            "svg": svg.decode("utf-8"),
        },
    )
    return {"section.pdf": page, "section.svg": svg}


def sheet_files(plan: Plan, words: Words) -> dict[str, bytes]:
    """One PDF a team, and all of them in one for printing."""
    names = file_names([team.id for team in plan.lift.teams])
    title = words.say("sheet.title", lift=plan.lift.name)
    fitted = {team.id: _fitted(plan, team, words) for team in plan.lift.teams}
    files = {f"sheets/{names[team]}.pdf": page for team, (_, page) in fitted.items()}
    files["sheets_all.pdf"] = pdf_bytes(
        "sheet",
        facts={"title": title, "sheets": [facts for facts, _ in fitted.values()]},
    )
    return files


def _fitted(plan: Plan, team: Team, words: Words) -> tuple[dict[str, Fact], bytes]:
    """One team's sheet with its drawings as large as two pages allow."""
    title = words.say("sheet.title", lift=plan.lift.name)
    zones = team_zones(plan).get(team.id, ())
    rooms = rooms_for(plan, team, words)

    def fits(room: Room) -> bool:
        # Drawing is what takes time, so rooms are tried with blank drawings.
        blank = sheet_facts(plan, team, zones, words, room=room, draw=False)
        page = pdf_bytes("sheet", facts={"title": title, "sheets": [blank]})
        return page_count(page) <= _MOST_PAGES

    # What fits a room fits nearly every tighter one: four tries at most, not twelve.
    first = bisect_left(rooms, True, key=fits)
    # More pages than two, which a finding says; then rather legible than crowded.
    room = rooms[first] if first < len(rooms) else ROOM_OF_LONG_SHEETS
    facts = sheet_facts(plan, team, zones, words, room=room)
    return facts, pdf_bytes("sheet", facts={"title": title, "sheets": [facts]})


def sheet_pictures(
    plan: Plan, team_id: str, words: Words, *, dots_per_inch: int = 110
) -> tuple[bytes, ...]:
    """The pages of one team's sheet as PNG pictures, for a notebook."""
    team = next(item for item in plan.lift.teams if item.id == team_id)
    facts, _ = _fitted(plan, team, words)
    title = words.say("sheet.title", lift=plan.lift.name)
    return page_pictures(
        "sheet",
        facts={"title": title, "sheets": [facts]},
        dots_per_inch=dots_per_inch,
    )


def write_documents(
    plan: Plan,
    out: Path,
    *,
    words: Words | None = None,
    compare_with: Path | None = None,
    on_step: OnStep | None = None,
) -> tuple[str, ...]:
    """Write the whole output folder: papers, map, tables, device files.

    Parameters
    ----------
    plan : Plan
    out : Path
        Replaced only if absent, empty or written by an earlier run.
    words : Words, optional
        English, metres, unless given.
    compare_with : Path, optional
        An earlier output folder; the plan document lists what changed since.
    on_step : callable, optional
        Called with the step's name and the fraction done.

    Returns
    -------
    tuple of str
        Names written, relative to `out`.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    InputError
        If the earlier folder holds no plan that can be compared.
    """
    report = on_step or (lambda _name, _fraction: None)
    words = words or Words()
    record = plan_json(plan)
    changes = None
    if compare_with is not None:
        old = read_record(compare_with)
        changes = change_blocks(old, json.loads(record), words=words)
    files = document_files(plan, words, changes=changes)
    report("documents", 0.6)
    files |= {
        "map.html": map_html(plan, words),
        "plan.xlsx": xlsx_bytes(plan, words),
        "places.gpx": gpx_bytes(plan, words),
        "places.geojson": geojson_bytes(plan, words),
        "plan.json": record,
    }
    report("documents", 0.9)
    publish(out, files)
    report("documents", 1.0)
    return tuple(sorted(files))
