"""What would help: every remedy really does, and the least of its kind is named."""

from __future__ import annotations

import datetime as dt
import itertools
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from builders import LOOP, make_lift

from evac import access, gear, hazards, timing
from evac.assignment import assign, changes
from evac.assignment.halves import halved_work
from evac.assignment.remedies import find_remedies
from evac.facts.finding import Finding
from evac.facts.heights import Heights
from evac.facts.lift import Kit, Lift
from evac.facts.work import Remedy, Work
from evac.gear.reach import unit_rope_needed_m
from evac.heights.envelope import find_heights
from evac.line import lay_out
from evac.words import Words


@cache
def heights_of_lift() -> Heights:
    lift = make_lift()
    return find_heights(lift, lay_out(lift))[0]


def build(lift: Lift) -> Work:
    heights = heights_of_lift()
    options = gear.options(lift)
    gates = hazards.find_gates(lift, heights.line)
    return timing.build_work(
        lift,
        heights,
        options,
        gear.find_reaches(lift, options, heights.units, gates=gates),
        gates,
        access.find_routes(lift, heights.line),
    )


def with_kits(change: Callable[[Kit], Kit | None]) -> Lift:
    changed = [change(kit) for kit in make_lift().kits]
    return make_lift(kits=tuple(kit for kit in changed if kit is not None))


def ask(
    lift: Lift,
    *,
    limit_s: int | None = None,
    effort: float = 1000.0,
    budget_s: float = 120.0,
) -> tuple[tuple[Remedy, ...], tuple[Finding, ...]]:
    work = build(lift)
    return find_remedies(
        lift,
        heights_of_lift(),
        work,
        assign(work),
        rebuild=build,
        limit_s=limit_s,
        effort=effort,
        budget_s=budget_s,
    )


def only_short_ropes() -> Lift:
    """Nobody reaches over the gully: 35 m of rope at most, and no rope rescuer."""
    lift = with_kits(
        lambda kit: replace(kit, rope_length_m=35.0) if kit.technique == LOOP else None
    )
    teams = tuple(replace(team, techniques=(LOOP,)) for team in lift.teams)
    return replace(lift, teams=teams)


def test_the_least_kit_suffices_and_five_metres_less_does_not() -> None:
    lift = only_short_ropes()
    assert assign(build(lift)).objectives[0] > 0
    remedies, findings = ask(lift)
    kits = [item for item in remedies if item.key == "kit_thrown"]
    assert kits
    for item in kits:
        assert item.uncovered_people == 0
        length_m = float(item.values["rope_length_m"])
        for shorter_m, reached in ((0.0, True), (5.0, False)):
            kit = replace(
                lift.kits[0],
                id="tried",
                team=str(item.values["team"]),
                rope_length_m=length_m - shorter_m,
                throw_height_m=float(item.values["throw_height_m"]),
                launcher=True,
            )
            found = assign(build(replace(lift, kits=(*lift.kits, kit))))
            assert (found.objectives[0] == 0) == reached
            if reached:
                assert found.objectives[1] == item.clear_s
    assert {item.key for item in findings} == {"assignment.least_kit"}


def test_a_kit_as_long_as_one_overdue_is_offered_anew() -> None:
    # Every long rope is overdue: its length is no rope in hand.
    lift = make_lift()
    day = lift.conditions.date
    before = dt.date.fromordinal(day.toordinal() - 1)
    for change in ({"inspection_due": before}, {"retire_on": before}):
        late = with_kits(
            lambda kit, change=change: (
                replace(kit, rope_length_m=300.0, throw_height_m=200.0, **change)
                if kit.technique == LOOP
                else None
            )
        )
        teams = tuple(replace(team, techniques=(LOOP,)) for team in late.teams)
        late = replace(late, teams=teams)
        work = build(late)
        assert not work.options
        offered = [
            change
            for family in changes.families(
                late,
                heights_of_lift(),
                work,
                assign(work),
                unreached=heights_of_lift().units,
            )
            for change in family
            if change.kind == "kit_thrown"
        ]
        assert {item.values["team"] for item in offered} == {
            team.id for team in late.teams if team.crew >= 2
        }
        assert all(item.amount < 300 for item in offered)


def test_a_spare_goes_to_a_half_as_though_kits_not_planned_with_were_not_there() -> (
    None
):
    # A team's own rope is overdue, so the plan gave it the spare; cut or not.
    lift = make_lift()
    own = next(kit for kit in lift.kits if kit.technique == LOOP and kit.team)
    team = next(team for team in lift.teams if team.id == own.team)
    before = dt.date.fromordinal(lift.conditions.date.toordinal() - 1)
    lift = replace(
        lift,
        teams=(replace(team, techniques=(LOOP,)),),
        kits=(
            replace(own, inspection_due=before),
            replace(own, id="spare", team=None),
        ),
    )
    work = build(lift)
    assert [option.kit for option in work.options] == ["spare"]
    cut = halved_work(lift, heights_of_lift(), at_m=180.0, usable_kits={"spare"})
    assert [option.kit for option in cut.options] == ["spare"]


def test_no_remedy_brings_less_rope_than_the_necessary_bound() -> None:
    lift = only_short_ropes()
    work = build(lift)
    lost = {(item.side, item.span_index) for item in assign(work).uncovered}
    most_m = max(
        min(unit_rope_needed_m(lift, technique, unit) for technique in lift.techniques)
        for unit in heights_of_lift().units
        if (unit.side, unit.span_index) in lost
    )
    for item in ask(lift)[0]:
        if item.key == "kit_thrown":
            assert float(item.values["rope_length_m"]) >= most_m


def test_a_missed_limit_is_met_by_one_more_team_or_by_nothing_that_is_claimed() -> None:
    lift = make_lift()
    clear_s = assign(build(lift)).objectives[1]
    remedies, _ = ask(lift, limit_s=clear_s - 60)
    assert remedies
    assert all(item.clear_s <= clear_s - 60 for item in remedies)
    assert any(item.key == "team" for item in remedies)


def test_the_cost_column_ranks_before_what_costs_nothing_known() -> None:
    lift = make_lift()
    costs = {"Team 1": 300.0, "Team 2": 100.0, "Team 3": 200.0}
    teams = tuple(replace(team, cost=costs[team.id]) for team in lift.teams)
    lift = replace(lift, teams=teams)
    clear_s = assign(build(lift)).objectives[1]
    remedies, _ = ask(lift, limit_s=clear_s - 1)
    shown = [item.cost for item in remedies]
    known = [cost for cost in shown if cost is not None]
    assert shown[: len(known)] == sorted(known)
    assert known
    assert shown[len(known) :] == [None] * (len(shown) - len(known))


def test_an_impossible_limit_says_that_no_one_or_two_changes_suffice() -> None:
    remedies, findings = ask(make_lift(), limit_s=1)
    assert "assignment.no_remedy" in {item.key for item in findings}
    assert all(item.clear_s > 1 for item in remedies)


def test_a_search_without_time_says_that_not_all_was_tried() -> None:
    remedies, findings = ask(only_short_ropes(), budget_s=0.0)
    assert remedies == ()
    assert "assignment.remedies_cut" in {item.key for item in findings}


def test_a_search_is_cut_by_how_much_was_tried_and_not_by_the_clock() -> None:
    few, whole = (ask(only_short_ropes(), effort=effort) for effort in (3.0, 1000.0))
    assert few == ask(only_short_ropes(), effort=3.0)
    assert "assignment.remedies_cut" in {item.key for item in few[1]}
    assert "assignment.remedies_cut" not in {item.key for item in whole[1]}


def test_a_plan_that_is_good_enough_needs_no_remedy() -> None:
    assert ask(make_lift()) == ((), ())


@pytest.mark.parametrize("limit_s", [1, None])
def test_every_remedy_and_finding_has_its_sentence(limit_s: int | None) -> None:
    words = Words()
    for lift in (only_short_ropes(), make_lift()):
        remedies, findings = ask(lift, limit_s=limit_s)
        for item in remedies:
            assert words.say(f"remedy.{item.key}", **item.values)
        for finding in findings:
            assert all(words.finding(finding))


def test_every_pair_of_kinds_has_a_sentence() -> None:
    words = Words()
    values: dict[str, dict[str, str | float]] = {
        "begin_high": {"team": "A"},
        "begin_low": {"team": "A"},
        "halved": {"span": "1-2", "at_m": 180},
        "kit": {"team": "A", "technique": "T", "rope_length_m": 60.0},
        "kit_thrown": {
            "team": "A",
            "technique": "T",
            "rope_length_m": 60.0,
            "throw_height_m": 14.0,
        },
        "sooner": {"team": "A", "earlier_min": 10.0},
        "team": {"team": "A", "place": "the hut"},
        "training": {"team": "A", "technique": "T"},
    }
    made = set(re.findall(r'kind="(\w+)"', Path(changes.__file__).read_text("utf-8")))
    assert made <= {*values}
    for first, second in itertools.combinations_with_replacement(sorted(values), 2):
        assert words.say(f"remedy.{first}", **values[first])
        both = {f"first_{name}": value for name, value in values[first].items()}
        both |= {f"second_{name}": value for name, value in values[second].items()}
        assert words.say(f"remedy.{first}_and_{second}", **both)


def halved(at_m: float) -> Work:
    lift = make_lift()
    return halved_work(
        lift,
        heights_of_lift(),
        at_m=at_m,
        usable_kits={kit.id for kit in lift.kits},
    )


def test_two_halves_hold_the_carriers_of_the_whole_and_no_more() -> None:
    whole, cut = build(make_lift()), halved(180.0)
    assert cut.people.shape[1] == whole.people.shape[1] + 1
    # Set-ups apart, every stop's work is the same carriers' work.
    option = next(o.index for o in whole.options if o.team == "Team 2")
    for side in range(2):
        parts = cut.work_s[option, side, 1] + cut.work_s[option, side, 2]
        set_up = parts - whole.work_s[option, side, 1]
        assert np.all(set_up >= -1)
        assert np.all(set_up <= np.maximum(whole.work_s[option, side, 1], 1))
    assert np.all(cut.people[:, 1] <= whole.people[:, 1])
    assert np.array_equal(cut.people[:, 3:], whole.people[:, 2:])
    assert np.array_equal(cut.work_s[:, :, 3:], whole.work_s[:, :, 2:])
    assert np.all(cut.cross_s[:, 2] == 0)


def test_a_half_is_reached_by_every_kit_that_reaches_the_whole() -> None:
    whole = build(make_lift())
    for at_m in (150.0, 180.0, 210.0):
        cut = halved(at_m)
        for half in (1, 2):
            assert np.all(cut.valid[:, :, half] >= whole.valid[:, :, 1])


def test_beside_the_gully_a_kit_too_short_for_the_span_reaches_one_half() -> None:
    # The gully lies at 287 m, between supports 2 (230 m) and 3 (345 m).
    loop = next(t for t in make_lift().techniques if t.id == LOOP)
    needed_m = min(
        unit_rope_needed_m(make_lift(), loop, unit)
        for unit in heights_of_lift().units
        if unit.span_index == 2
    )
    lift = with_kits(
        lambda kit: (
            replace(kit, rope_length_m=needed_m - 1.0, throw_height_m=60.0)
            if kit.technique == LOOP
            else None
        )
    )
    cut = halved_work(
        lift,
        heights_of_lift(),
        at_m=245.0,
        usable_kits={kit.id for kit in lift.kits},
    )
    assert not build(lift).valid[:, :, 2].any()
    assert not cut.valid[:, :, 3].any()
    assert cut.valid[:, :, 2].any()
