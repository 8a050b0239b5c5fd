"""The branch for a team that does not come."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest
from flat_chain import Chain, make_chain

from evac.assignment import assign, units_in_order
from evac.assignment.costs import Columns
from evac.assignment.notice import columns_after_notice
from evac.errors import NoPlanError
from evac.facts.heights import BoolArray
from evac.facts.work import NEVER_S, Assignment, Work
from evac.simulation import simulate
from evac.simulation.missing import WORTH_MOVING_S, prepare_branches, without_team


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
        assert set(branch.going_on + branch.anew) <= there
        assert branch.assignment.objectives[:2] >= assignment.objectives[:2]


def test_known_at_the_order_the_branch_is_the_best_sharing_without_the_team(
    chain: Chain,
) -> None:
    work = chain[2]
    for team in {zone.team for zone in chain[3].zones}:
        away = work.option_team == work.team_ids.index(team)
        best = assign(replace(work, valid=work.valid & ~away[:, None, None]))
        branch = without_team(*chain, team=team, notice_s=0.0, runs=200)
        assert branch.assignment.objectives[0] == best.objectives[0]
        late_s = branch.assignment.objectives[1] - best.objectives[1]
        # Few movers are preferred where that costs ten minutes at most.
        assert 0 <= late_s <= WORTH_MOVING_S
        assert branch.assignment.bound_s == best.objectives[1]


def test_who_goes_on_does_its_own_zone_first_and_loses_no_time(chain: Chain) -> None:
    work, assignment = chain[2], chain[3]
    seen = 0
    for team in {zone.team for zone in assignment.zones}:
        branch = without_team(*chain, team=team, runs=200)
        planned = {zone.team: zone for zone in assignment.zones}
        for zone in branch.assignment.zones:
            if zone.team in branch.going_on:
                own = units_in_order(work, planned[zone.team])
                assert units_in_order(work, zone)[: len(own)] == own
                assert zone.start_s >= planned[zone.team].start_s
                seen += 1
            elif zone.team in branch.anew:
                assert zone.start_s >= zone.arrival_s + branch.notice_s
            else:
                assert zone == planned[zone.team]
    assert seen > 0


def test_no_sharing_within_ten_minutes_moves_fewer_teams(chain: Chain) -> None:
    # By plain trial: every way to let all but some of the teams only go on.
    work, assignment = chain[2], chain[3]
    for team in {zone.team for zone in assignment.zones}:
        branch = without_team(*chain, team=team, runs=200)
        away = work.option_team == work.team_ids.index(team)
        left = replace(work, valid=work.valid & ~away[:, None, None])
        stay = [zone for zone in assignment.zones if zone.team != team]
        costs, moved = columns_after_notice(left, stay, notice_s=1200)
        best = assign(left, columns=costs)
        busy = [zone.team for zone in stay]
        fewest = min(
            len(free)
            for count in range(len(busy) + 1)
            for free in combinations(busy, count)
            if _ends_in_time(left, costs, moved, free, best)
        )
        moving = [name for name in branch.anew if name in busy]
        assert len(moving) == fewest


def _ends_in_time(
    work: Work,
    costs: Columns,
    moved: BoolArray,
    free: tuple[str, ...],
    best: Assignment,
) -> bool:
    tied = np.array([name not in free for name in work.team_ids])[work.option_team]
    closed = moved & tied[:, None, None, None]
    found = assign(
        work,
        columns=replace(costs, finish_s=np.where(closed, NEVER_S, costs.finish_s)),
    )
    return (
        found.objectives[0] == best.objectives[0]
        and found.objectives[1] <= best.objectives[1] + WORTH_MOVING_S
    )


def test_later_notice_never_ends_sooner_at_likely_times(chain: Chain) -> None:
    for team in {zone.team for zone in chain[3].zones}:
        ends = [
            without_team(
                *chain, team=team, notice_s=notice_s, runs=200
            ).assignment.objectives[:2]
            for notice_s in (0.0, 600.0, 1200.0, 1800.0)
        ]
        assert [end[0] for end in ends] == sorted(end[0] for end in ends)
        finish = [end[1] for end in ends]
        assert all(b >= a - WORTH_MOVING_S for a, b in pairwise(finish))


def test_branches_stand_in_the_plan_s_order_the_binding_team_is_worked_out_first(
    chain: Chain,
) -> None:
    simulation = simulate(*chain, runs=500, seed=4)
    whole = prepare_branches(*chain, simulation, runs=500)
    assert [item.team for item in whole.prepared] == [z.team for z in chain[3].zones]
    assert whole.untried == ()
    for item in whole.prepared:
        shift_s = item.p90_s - np.quantile(simulation.order_to_clear_s, 0.9)
        assert item.p90_later_s == pytest.approx(shift_s, abs=90)
    one = prepare_branches(*chain, simulation, runs=500, effort=1.5)
    assert [item.team for item in one.prepared] == [chain[3].binding_teams[0]]
    assert len(one.untried) == len(chain[3].zones) - 1


def test_a_team_that_is_not_there_is_refused(chain: Chain) -> None:
    with pytest.raises(NoPlanError, match="no team 'Team 9'; there are Team 1, Team 2"):
        without_team(*chain, team="Team 9")
