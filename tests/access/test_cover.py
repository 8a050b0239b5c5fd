"""Pick-off cover of the zones, and shared vehicles driven through their stops."""

from __future__ import annotations

from dataclasses import replace

import pytest
from builders import LOOP, ON_ROPE, along, make_kits, make_lift, make_terrain
from flat_heights import make_flat_heights
from shapely.geometry import LineString

from evac.access import find_pickoffs, find_routes, pickoff_doubts, vehicle_doubts
from evac.facts.heights import Line
from evac.facts.lift import Lift, Side
from evac.facts.work import NEVER_S, Assignment, PickOff, Route, Work, Zone
from evac.gear import find_reaches, options
from evac.timing import build_work
from evac.words import Words


def setting(lift: Lift) -> tuple[Line, Work, tuple[Route, ...]]:
    heights = make_flat_heights(lift)
    found = options(lift)
    reaches = find_reaches(lift, found, heights.units)
    routes = find_routes(lift, heights.line)
    return (
        heights.line,
        build_work(lift, heights, found, reaches, (), routes),
        routes,
    )


def assigned(work: Work, *zones: tuple[str, str, int, int]) -> Assignment:
    """An assignment of (team, technique, first span, last span) on both sides."""
    made = []
    for team, technique, first, last in zones:
        option = next(
            o for o in work.options if (o.team, o.technique) == (team, technique)
        )
        start = last + 1
        made.append(
            Zone(
                team=team,
                option=option,
                first_span=first,
                last_span=last,
                sides=(Side.ASCENDING, Side.DESCENDING),
                start_support=start,
                arrival_s=int(work.arrive_s[option.team_index, start]),
                start_s=0,
                finish_s=0,
                work_s=0,
                people=1,
            )
        )
    return Assignment(
        zones=tuple(made),
        uncovered=(),
        objectives=(),
        bound_s=0,
        proven=True,
        method="",
        binding_teams=(),
        reserve_teams=(),
    )


def pickoffs_of(lift: Lift, *zones: tuple[str, str, int, int]) -> tuple[PickOff, ...]:
    line, work, routes = setting(lift)
    assignment = assigned(work, *zones)
    found = find_pickoffs(lift, line, work, assignment, routes)
    for finding in pickoff_doubts(lift, line, found, assignment):
        assert all(Words().finding(finding))
    return found


def test_a_team_that_works_on_the_rope_picks_off_in_its_own_zone() -> None:
    (own,) = pickoffs_of(make_lift(), ("Team 2", LOOP, 0, 4))

    # Its second kit is for pick-offs (builders), so it needs nobody.
    assert (own.team, own.kit, own.seconds, own.in_time) == ("Team 2", "Kit 4", 0, True)


def test_another_zone_waits_for_the_team_that_can() -> None:
    lift = make_lift()
    far, own = pickoffs_of(lift, ("Team 1", LOOP, 0, 2), ("Team 2", ON_ROPE, 3, 4))

    assert far.team == "Team 2"
    assert own.seconds == 0
    # From support 3 or 5 to the support of span 0-1 nearest to it (support 1, at
    # 110 m): at least the 235 m from 345 m at the ski speed down, 5 m/s.
    assert 235 / 5 <= far.seconds < NEVER_S


def test_a_pick_off_later_than_the_set_time_is_a_named_gap() -> None:
    lift = make_lift()
    lift = replace(lift, organisation=replace(lift.organisation, pickoff_s=10.0))
    line, work, routes = setting(lift)
    assignment = assigned(work, ("Team 1", LOOP, 0, 2), ("Team 2", ON_ROPE, 3, 4))
    found = find_pickoffs(lift, line, work, assignment, routes)
    told = pickoff_doubts(lift, line, found, assignment)

    assert [(item.key, item.where) for item in told] == [
        ("access.pickoff_late", "Team 1")
    ]
    assert told[0].values["team"] == "Team 2"


def test_without_anybody_trained_the_whole_plan_is_told_once() -> None:
    kits = tuple(kit for kit in make_kits() if kit.technique != ON_ROPE)
    lift = make_lift(kits=kits)
    line, work, routes = setting(lift)
    assignment = assigned(work, ("Team 1", LOOP, 0, 2), ("Team 2", LOOP, 3, 4))
    told = pickoff_doubts(
        lift, line, find_pickoffs(lift, line, work, assignment, routes), assignment
    )

    assert [item.key for item in told] == ["access.pickoff_none"]
    assert all(Words().finding(told[0]))


def with_ready(lift: Lift, team_id: str, ready_s: float) -> Lift:
    teams = tuple(
        replace(team, ready_s=ready_s) if team.id == team_id else team
        for team in lift.teams
    )
    return replace(lift, teams=teams)


def begun(assignment: Assignment, start_s: int) -> Assignment:
    zones = tuple(replace(zone, start_s=start_s) for zone in assignment.zones)
    return replace(assignment, zones=zones)


@pytest.mark.parametrize(
    ("ready_min", "in_time"), [(10, True), (20, True), (170, False)]
)
def test_a_reserve_team_comes_from_its_start_place_once_it_is_ready(
    ready_min: int, in_time: bool
) -> None:
    # Work in the zone begins 20 min after the order. Whoever is ready by then needs
    # the way only; a team ready after 170 min comes 150 min and the way later.
    lift = with_ready(make_lift(), "Team 2", ready_min * 60.0)
    line, work, routes = setting(lift)
    assignment = begun(assigned(work, ("Team 1", LOOP, 0, 0)), 1200)
    (far,) = find_pickoffs(lift, line, work, assignment, routes)
    ways = {r.support_index: r.seconds for r in routes if r.team == "Team 2"}
    wait_s = 150 * 60.0 if ready_min == 170 else 0.0
    assert far.team == "Team 2"
    assert far.seconds == pytest.approx(min(ways[0], ways[1]) + wait_s)
    assert far.in_time is in_time


def test_a_team_that_is_still_on_the_way_to_its_own_zone_comes_that_much_later() -> (
    None
):
    seconds = []
    for ready_s in (600.0, 6600.0):
        lift = with_ready(make_lift(), "Team 2", ready_s)
        line, work, routes = setting(lift)
        zones = (("Team 1", LOOP, 0, 2), ("Team 2", ON_ROPE, 3, 4))
        assignment = begun(assigned(work, *zones), 1200)
        found = find_pickoffs(lift, line, work, assignment, routes)
        late_s = max(assignment.zones[1].arrival_s - 1200, 0)
        seconds.append(found[0].seconds - late_s)
    assert seconds[0] == pytest.approx(seconds[1])


def vehicle_lift(first_drop: int) -> Lift:
    """Two teams in one vehicle on a road along the line."""
    lift = make_lift(terrain=make_terrain(), hazards=())
    road = replace(
        lift.ways[0],
        geometry=LineString([along(0, 40), along(600, 40)]),
        travel=("foot", "snow vehicle"),
    )
    x_m, y_m = along(0, 40)
    teams = tuple(
        replace(
            team,
            travel="snow vehicle",
            vehicle="cat",
            start_place="depot",
            start_x_m=x_m,
            start_y_m=y_m,
            ready_s=300.0,
            drop_order=order,
        )
        for team, order in zip(
            lift.teams[:2], (first_drop, 3 - first_drop), strict=True
        )
    )
    return replace(lift, ways=(road,), teams=teams)


def test_a_vehicle_that_sets_down_on_its_way_is_no_doubt() -> None:
    lift = vehicle_lift(1)
    line, work, _ = setting(lift)
    # Team 1 is set down first, at support 2; Team 2 farther on, at support 5.
    assignment = assigned(work, ("Team 1", LOOP, 0, 1), ("Team 2", LOOP, 2, 4))

    (shared,) = vehicle_doubts(lift, line, assignment)
    assert shared.key == "access.vehicle_shared"
    assert shared.values["teams"] == "Team 1, Team 2"


def test_a_vehicle_is_shared_only_by_teams_that_are_sent() -> None:
    lift = vehicle_lift(1)
    line, work, _ = setting(lift)
    assignment = assigned(work, ("Team 2", LOOP, 0, 4))

    assert vehicle_doubts(lift, line, assignment) == ()


def test_a_vehicle_that_turns_back_is_told_with_the_delay() -> None:
    lift = vehicle_lift(2)
    line, work, _ = setting(lift)
    # Team 2 first, at support 5 (600 m), then back for Team 1 to support 2 (230 m).
    assignment = assigned(work, ("Team 1", LOOP, 0, 1), ("Team 2", LOOP, 2, 4))
    _, told, better = vehicle_doubts(lift, line, assignment)

    # The other order, Team 1 first, is as planned: its stop is on the way.
    assert better.values["teams"] == "Team 1, Team 2"
    assert better.values["later_s"] <= 60
    assert all(Words().finding(better))
    assert (told.where, told.values["team"]) == ("cat", "Team 1")
    # 600 m out and 370 m back instead of 230 m: 740 m more at 4 m/s = 185 s, within
    # the half piece by which the places of getting out differ.
    assert told.values["later_s"] == pytest.approx(185, abs=12)
    assert all(Words().finding(told))
