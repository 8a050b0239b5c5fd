"""The branch for a team that does not come."""

from __future__ import annotations

import pytest
from flat_chain import Chain, make_chain

from evac.errors import NoPlanError
from evac.simulation.missing import without_team


@pytest.fixture(scope="module")
def chain() -> Chain:
    return make_chain()


def test_without_a_team_its_spans_are_shared_out_and_nothing_gets_sooner(
    chain: Chain,
) -> None:
    assignment = chain[3]
    for team in {zone.team for zone in assignment.zones}:
        branch = without_team(*chain, team=team, runs=500)
        there = {zone.team for zone in branch.assignment.zones}
        assert team not in there
        assert set(branch.changed) <= there
        assert branch.assignment.objectives[:2] >= assignment.objectives[:2]


def test_later_notice_never_ends_sooner_on_any_day(chain: Chain) -> None:
    team = chain[3].zones[0].team
    soon, late = (
        without_team(*chain, team=team, notice_s=notice_s, runs=500)
        for notice_s in (0.0, 1800.0)
    )
    assert soon.changed == late.changed != ()
    first, second = soon.simulation, late.simulation
    assert (second.order_to_clear_s >= first.order_to_clear_s).all()
    assert second.p90_s > first.p90_s


def test_a_team_that_is_not_there_is_refused(chain: Chain) -> None:
    with pytest.raises(NoPlanError, match="no team 'Team 9'; there are Team 1, Team 2"):
        without_team(*chain, team="Team 9")
