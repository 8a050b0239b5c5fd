"""Where nobody said what lies below, no paper may say that nothing does."""

from __future__ import annotations

from dataclasses import replace

from builders import along
from made_plan import make_long_lift, make_plan
from paper_text import joined, read_pages
from shapely.geometry import Point

from evac.documents.bundle import sheet_files
from evac.documents.plandoc_work import hazard_blocks
from evac.facts.finding import Severity
from evac.facts.plan import Plan
from evac.hazards import doubts, find_gates
from evac.line import lay_out
from evac.words import Words

NOT_KNOWN = "What lies below is NOT KNOWN: no hazards layer in the folder."
NONE_HERE = "Of the hazards listed in the folder, none lies below this zone."


def plan_without_layer() -> Plan:
    return _with_its_gates(make_plan(replace(make_long_lift(), hazards=())))


def plan_with_a_hazard_far_away() -> Plan:
    lift = make_long_lift()
    far = replace(lift.hazards[0], geometry=Point(along(500, 400)).buffer(5))
    return _with_its_gates(make_plan(replace(lift, hazards=(far,))))


def _with_its_gates(plan: Plan) -> Plan:
    return replace(plan, gates=find_gates(plan.lift, plan.heights.line))


def sheets_of(plan: Plan) -> list[str]:
    return [
        "".join(page.joined for page in read_pages(content))
        for content in sheet_files(plan, Words()).values()
    ]


def test_no_sheet_says_that_nothing_lies_below_where_nobody_said_so() -> None:
    working = [text for text in sheets_of(plan_without_layer()) if "Firstlow" in text]

    assert working
    for text in working:
        assert joined(NOT_KNOWN) in text
        assert joined("No gate lies below") not in text
        assert joined("none lies below") not in text


def test_a_listed_hazard_that_lies_elsewhere_is_told_as_such() -> None:
    plan = plan_with_a_hazard_far_away()
    working = [text for text in sheets_of(plan) if "Firstlow" in text]

    assert working
    for text in working:
        assert joined(NONE_HERE) in text
        assert joined("NOT KNOWN: no hazards layer") not in text


def test_the_plan_document_tells_no_layer_from_none_below() -> None:
    _, unknown = hazard_blocks(plan_without_layer(), Words())
    assert unknown == {"kind": "gap", "text": NOT_KNOWN}

    _, away = hazard_blocks(plan_with_a_hazard_far_away(), Words())
    assert away["text"] == (
        "Of the hazards listed in the folder, none lies below the line."
    )


def test_an_absent_layer_is_a_finding() -> None:
    lift = replace(make_long_lift(), hazards=())
    line = lay_out(lift)
    (found,) = doubts(lift, line, find_gates(lift, line))

    assert (found.key, found.severity) == ("hazards.no_layer", Severity.WARN)
    assert all(Words().finding(found))
