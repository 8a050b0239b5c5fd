"""The programme against a compact model of columns in OR-Tools CP-SAT."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_work import CompactModel, draw_work, walk, weight

from evac.assignment import assign, solve, units_in_order
from evac.assignment.column_model import can_finish
from evac.assignment.costs import clear_times, make_columns
from evac.assignment.priority import take_first
from evac.facts.lift import Side
from evac.facts.work import NEVER_S, Work


def small(seed: int) -> Work:
    """At most 14 units and 5 teams."""
    rng = np.random.default_rng([2026, seed])
    return draw_work(
        rng,
        columns=int(rng.integers(1, 8)),
        teams=int(rng.integers(1, 6)),
        alike=seed % 3 == 0,
        valid_share=(0.6, 0.85, 1.0)[seed % 3],
        options_each=1 + seed % 2,
    )


@pytest.mark.slow
@pytest.mark.parametrize("tens", range(25))
def test_ten_small_lines_equal_the_compact_model_in_all_objectives(tens: int) -> None:
    # Source: OR-Tools CP-SAT on columns enumerated one by one in plain Python.
    for seed in range(10 * tens, 10 * tens + 10):
        work = small(seed)
        found = assign(work)
        assert found.proven
        assert found.objectives == CompactModel(work).solve(), seed
        assert found.bound_s == found.objectives[1]


def large(seed: int) -> Work:
    """Up to 30 columns on two sides and 12 teams."""
    rng = np.random.default_rng([4, seed])
    return draw_work(
        rng,
        columns=30 if seed < 10 else int(rng.integers(20, 31)),
        teams=12 if seed < 10 else int(rng.integers(8, 13)),
        alike=seed % 4 == 0,
        valid_share=(0.9, 0.97, 1.0)[seed % 3],
    )


@pytest.mark.slow
@pytest.mark.parametrize("tens", range(5))
def test_ten_large_lines_pass_the_certificate(tens: int) -> None:
    # Source: HiGHS on the column model: possible at T*, impossible at T* - 1, and
    # with one person fewer left uncovered impossible whatever the finish.
    for seed in range(10 * tens, 10 * tens + 10):
        work = large(seed)
        found = assign(work)
        uncovered, finish_s = found.objectives[:2]
        assert found.proven
        for people, latest_s, possible in (
            (uncovered, finish_s, True),
            (uncovered, finish_s - 1, False),
            (uncovered - 1, NEVER_S - 1, False),
        ):
            assert possible == can_finish(
                work, uncovered=people, finish_s=latest_s, budget_s=120
            ), seed


def test_every_zone_of_a_line_costs_what_walking_it_by_hand_costs() -> None:
    # Source: the walk in plain Python of drawn_work, from the definition.
    work = draw_work(np.random.default_rng(7), columns=9, teams=4, stops=5)
    columns = make_columns(work)
    for option in range(len(work.options)):
        crew = int(work.crew[work.option_team[option]])
        for kind, sides in enumerate(((0,), (1,), (0, 1))):
            for first in range(9):
                for last in range(first, 9):
                    by_hand = walk(work, option, sides, list(range(first, last + 1)))
                    here = (option, kind, first, last)
                    if by_hand is None:
                        assert columns.finish_s[here] == NEVER_S
                        continue
                    assert columns.finish_s[here] == by_hand.finish_s
                    assert columns.wait_s[here] == by_hand.wait_s
                    assert columns.work_s[here] * crew == by_hand.work_s
                    assert columns.skipped[here] == by_hand.left


def test_the_column_model_alone_finds_the_programme_s_optimum(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    work = draw_work(np.random.default_rng(11), columns=12, teams=6, valid_share=0.95)
    by_programme = assign(work)
    monkeypatch.setattr(solve, "MOST_STATES", 0)
    by_columns = assign(work)
    assert by_columns.method == "columns"
    assert by_columns.proven
    assert by_columns.objectives == by_programme.objectives
    assert by_columns.bound_s == by_programme.objectives[1]


@pytest.mark.slow
def test_sixteen_differing_teams_are_proven_too() -> None:
    work = draw_work(np.random.default_rng([5, 1]), columns=24, teams=16)
    found = assign(work, budget_s=120)
    assert found.method == "columns"
    assert found.proven
    uncovered, finish_s = found.objectives[:2]
    assert not can_finish(
        work, uncovered=uncovered, finish_s=finish_s - 1, budget_s=120
    )


def test_a_search_cut_short_says_so_and_keeps_its_bound_below() -> None:
    work = draw_work(np.random.default_rng([5, 1]), columns=24, teams=16)
    whole = assign(work, budget_s=120)
    cut = assign(work, budget_s=0.0)
    assert not cut.proven
    assert cut.bound_s <= whole.objectives[1] <= cut.objectives[1]
    assert cut.objectives[0] >= whole.objectives[0]


@pytest.mark.parametrize("seed", range(12))
def test_a_unit_taken_first_equals_the_compact_model_with_such_zones_only(
    seed: int,
) -> None:
    # Rule 17 of the trade: common practice, no source.
    work = small(seed)
    spans = work.people.shape[1]
    side, span = seed % 2, seed % spans
    found = assign(work, first=((list(Side)[side], span),))
    assert found.objectives == CompactModel(work, first=(side, span)).solve()
    base = assign(work)
    assert found.objectives[:2] >= base.objectives[:2]
    priority = take_first(work, base, (list(Side)[side], span))
    if priority is not None:
        zone = next(z for z in found.zones if z.team == priority.team)
        assert units_in_order(work, zone)[0] == (list(Side)[side], span)
        assert priority.first_clear_s == clear_times(work, zone)[0][2]
        assert priority.first_last_s == found.objectives[1]


@pytest.mark.parametrize("seed", range(10))
def test_the_last_unit_of_every_zone_is_clear_when_the_zone_is(seed: int) -> None:
    work = small(seed)
    found = assign(work)
    waited = 0
    for zone in found.zones:
        times = clear_times(work, zone)
        assert times[-1][2] == zone.finish_s
        waited += sum(
            weight(work, list(Side).index(side), span) * clear_s
            for side, span, clear_s in times
        )
    assert waited == found.objectives[2]
