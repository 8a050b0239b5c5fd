"""All papers of a plan as files."""

from __future__ import annotations

from evac.documents.names import file_names, team_zones
from evac.documents.sheet import sheet_facts
from evac.documents.typeset import pdf_bytes
from evac.facts.plan import Plan
from evac.words import Words


def sheet_files(plan: Plan, words: Words) -> dict[str, bytes]:
    """One PDF a team, and all of them in one for printing."""
    zones = team_zones(plan)
    every = {
        team.id: sheet_facts(plan, team, zones.get(team.id, ()), words)
        for team in plan.lift.teams
    }
    names = file_names(list(every))
    title = words.say("sheet.title", lift=plan.lift.name)
    files = {
        f"sheets/{names[team]}.pdf": pdf_bytes(
            "sheet", facts={"title": title, "sheets": [facts]}
        )
        for team, facts in every.items()
    }
    files["sheets_all.pdf"] = pdf_bytes(
        "sheet", facts={"title": title, "sheets": list(every.values())}
    )
    return files
