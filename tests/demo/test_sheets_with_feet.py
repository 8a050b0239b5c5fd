"""The demos' team sheets with feet beside metres: whole, and with room to write in."""

from __future__ import annotations

import pytest

from evac.documents.bundle import sheet_files
from evac.documents.names import team_zones
from evac.documents.sheet import ROOMS
from evac.documents.sheet_parts import carrier_columns, carrier_table
from evac.documents.typeset import page_count
from evac.facts.plan import Plan
from evac.words import Words


@pytest.fixture(params=["demo_plan", "gondola_plan"])
def any_plan(request: pytest.FixtureRequest) -> Plan:
    """Each demo's plan in turn."""
    plan = request.getfixturevalue(request.param)
    assert isinstance(plan, Plan)
    return plan


def test_no_sheet_with_feet_has_more_than_the_two_sides_of_a_leaf(
    any_plan: Plan,
) -> None:
    sheets = sheet_files(any_plan, Words(feet=True))
    pages = {
        name: page_count(pdf)
        for name, pdf in sheets.items()
        if name.startswith("sheets/")
    }
    assert all(count <= 2 for count in pages.values()), pages


@pytest.mark.parametrize("feet", [False, True])
def test_the_number_taken_down_finds_room_for_two_digits_on_every_sheet(
    any_plan: Plan, feet: bool
) -> None:
    # 11 mm: two digits with a pencil in gloves (common practice, no source).
    words = Words(feet=feet)
    zones = team_zones(any_plan)
    blanks_mm = {
        (team.id, room.text_pt): carrier_table(
            carrier_columns(any_plan, team, words), words, text_pt=room.text_pt - 0.5
        ).blank_mm
        for team in any_plan.lift.teams
        if team.id in zones
        for room in ROOMS
    }
    assert all(blank >= 11.0 for blank in blanks_mm.values()), blanks_mm
