"""Whatever says no under approval keeps a technique out of the plan (rule 12).

Which words say no: common practice, no source.
"""

from __future__ import annotations

import pytest
from builders import ON_ROPE, make_lift
from flat_heights import one_technique

from evac import gear
from evac.assignment.changes import is_usable
from evac.facts.finding import Severity
from evac.facts.lift import Lift
from evac.gear.approval import is_approved
from evac.words import Words

SAYS_NO = [
    "no",
    "No",
    "NO!",
    "no approval",
    "no, see the mail of 3 May",
    "not approved",
    "not yet approved",
    "not yet",
    "Not needed here",
    "none",
    "None so far",
    "-",
    "\u2013",
    "n/a",
    "pending",
    "DB 2026-1, pending",
    "open",
    "requested on 3 May",
    "applied for",
    "to be approved",
    "in progress",
    "DB 2019-4 (expired)",
    "drill book 3, not approved",
    "withdrawn 2025",
    "unknown",
    "nein",
    "nicht zugelassen",
    "non",
    "approval not granted",
    "Approved: no",
    "approval: none",
    "approval missing",
    "approval requested",
    "approval: n/a",
    "Approved: n",
    "approved?",
    "yes/no",
    "DB 2026-1 (draft)",
    "DB 2026-1-draft",
    "submitted",
    "submitted 3 May",
    "No: see the mail of 3 May",
    "no, 3 May 2026",
    "isn't approved",
    "will be approved in May",
    "to be renewed",
    "non-approved",
    "DB 3 not-approved",
    "noch nicht",
    "beantragt",
    "Genehmigung ausstehend",
    "in Bearbeitung",
    "abgelaufen",
    "genehmigt: nein",
    "abgelehnt 2025",
    "en cours",
    "refuse",
    "refus\u00e9",
    "expir\u00e9 2024",
    "pas encore",
    "scaduto",
    "in attesa",
]
A_REFERENCE = [
    "DB 2026-1",
    "No. 12/2026",
    "No 12/2026",
    "N. 12/2026",
    "N 12/2026",
    "N\u00b0 12/2026",
    "n\u00ba 12",
    "Authority, no. 12 of 2026",
    "PAS 12",
    "Approved by N. Smith, 3 May 2026",
    "approved; to be renewed 2028",
    "approved without conditions",
    "Genehmigung Nr. 12/2026",
    "non-slip harness, drill book 3",
    "Notified body 0123",
    "Notice 4 of 2025",
    "Open-air school, drill book 3",
    "Larkfell drill book 2026-1 (invented)",
    "assumed: no approval has been seen",
    "yes, by the authority in 2024",
]


def with_approval(text: str) -> Lift:
    return one_technique(make_lift(), ON_ROPE, approval=text)


def trained(lift: Lift) -> set[str]:
    name = next(item.id for item in lift.techniques if item.kind == ON_ROPE)
    return {option.team for option in gear.options(lift) if option.technique == name}


@pytest.mark.parametrize("text", SAYS_NO)
def test_no_team_is_planned_with_a_technique_that_is_not_approved(text: str) -> None:
    assert trained(with_approval("DB 2026-1"))
    lift = with_approval(text)

    assert not is_approved(text)
    assert not trained(lift)
    technique = next(item for item in lift.techniques if item.kind == ON_ROPE)
    # Nor is it bought kit for, as something that would help.
    assert not is_usable(lift, technique)
    lost = [
        finding
        for finding in gear.doubts(lift, gear.options(lift), (), ())
        if finding.key == "gear.lost_not_approved"
    ]
    assert lost
    for finding in lost:
        assert finding.severity is Severity.WARN
        # The very words, so that a reference taken for a no comes to light.
        assert text in Words().finding(finding)[0]


@pytest.mark.parametrize("text", A_REFERENCE)
def test_a_reference_is_an_approval(text: str) -> None:
    assert is_approved(text)
    assert trained(with_approval(text)) == trained(with_approval("DB 2026-1"))


def test_a_blank_cell_is_planned_with_and_told() -> None:
    lift = with_approval(" ")

    assert trained(lift)
    assert "gear.no_approval" in {
        finding.key for finding in gear.doubts(lift, gear.options(lift), (), ())
    }
