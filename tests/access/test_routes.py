"""Ways in over a few lines, checked by hand and against a grid of one's own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from builders import along, make_lift, make_terrain
from shapely.geometry import LineString, Polygon

from evac.access import doubts, find_routes, walking_seconds
from evac.facts.lift import Hazard, Lift, Team, Terrain, Triple, Way
from evac.facts.work import NEVER_S, Route
from evac.inputs.folder import open_lift
from evac.line import lay_out
from evac.words import Words

TRACK = make_lift().ways[0]
HAZARD = make_lift().hazards[0]


def flat_terrain() -> Terrain:
    """Level ground, so that times are lengths over speeds."""
    terrain = make_terrain()
    return replace(terrain, elevation_m=np.zeros_like(terrain.elevation_m))


def flat_lift(*ways: Way, **changes: object) -> Lift:
    """The builders' lift on level ground with other ways; Naismith, no factors."""
    lift = make_lift(ways=ways, terrain=flat_terrain(), ground_table=None, hazards=())
    supports = tuple(replace(s, ground_m=0.0) for s in lift.supports)
    travel = replace(
        lift.travel, walking_rule="naismith", foot_factor=1.0, off_way_factor=1.0
    )
    return replace(lift, supports=supports, travel=travel, **changes)


def way(name: str, *places: tuple[float, float], **changes: object) -> Way:
    """A way through places given as (along the line, right of it)."""
    line = LineString([along(*place) for place in places])
    return replace(TRACK, id=name, name=name, geometry=line, **changes)


def team(travel: str, at: tuple[float, float], **changes: object) -> Team:
    x_m, y_m = along(*at)
    return replace(
        make_lift().teams[0],
        travel=travel,
        start_x_m=x_m,
        start_y_m=y_m,
        ready_s=0.0,
        **changes,
    )


def route_to(lift: Lift, support: int, *, team_id: str = "Team 1") -> Route:
    return next(
        route
        for route in find_routes(lift, lay_out(lift))
        if route.team == team_id and route.support_index == support
    )


def test_there_is_a_route_for_every_team_and_support_in_order() -> None:
    lift = make_lift()
    routes = find_routes(lift, lay_out(lift))
    assert [(r.team, r.support_index) for r in routes] == [
        (t.id, k) for t in lift.teams for k in range(6)
    ]


def test_a_walk_along_a_level_way_takes_its_length_over_5_km_h() -> None:
    # From beside support 0, 40 m right, along a straight way to support 5's height
    # (600 m), then 40 m to it. Naismith on the level: 5 km/h.
    lift = flat_lift(way("road", (0, 40), (600, 40)), teams=(team("foot", (0, 40)),))
    route = route_to(lift, 5)

    # Off the way the walker may cut the corner: 40 m either way at the same speed,
    # so at least the straight line and at most the corner.
    assert np.hypot(600, 40) / 5000 * 3600 <= route.seconds + 1e-6
    assert route.seconds <= 640 / 5000 * 3600 + 1e-6
    assert route.way_ids in {("road",), ()}


def test_off_any_way_the_factor_counts() -> None:
    lift = flat_lift(way("road", (0, 40), (600, 40)), teams=(team("foot", (0, 40)),))
    slow = replace(lift, travel=replace(lift.travel, off_way_factor=5.0))
    route = route_to(slow, 5)

    # Along the way and then at a right angle: 600 m + 5 x 40 m at 5 km/h.
    assert route.seconds == pytest.approx((600 + 5 * 40) / 5000 * 3600, rel=1e-6)
    assert route.way_ids == ("road",)
    assert route.length_m == pytest.approx(640, abs=0.1)


def test_ways_that_cross_are_joined_where_they_cross() -> None:
    # A long way round (0, 40) -> (0, 300) -> (600, 300) and one that crosses it.
    lift = flat_lift(
        way("round", (-20, 60), (560, 60)),
        way("across", (300, 20), (300, 100)),
        teams=(team("foot", (-20, 60)),),
    )
    slow = replace(lift, travel=replace(lift.travel, off_way_factor=50.0))
    route = route_to(slow, 3)

    # Support 3 stands at 345 m. Nothing is as near to it as the end of "across" or
    # the round way abreast; walking 50 times slower off ways, the branch pays off.
    assert route.way_ids == ("round", "across")


def test_a_way_that_ends_a_few_metres_short_is_joined() -> None:
    lift = flat_lift(
        way("first", (-20, 60), (200, 60)),
        way("second", (206, 60), (560, 60)),
        teams=(team("foot", (-20, 60)),),
    )
    slow = replace(lift, travel=replace(lift.travel, off_way_factor=50.0))
    assert route_to(slow, 5).way_ids == ("first", "second")


def test_a_one_way_track_is_not_gone_backwards() -> None:
    up = way("up", (-20, 60), (580, 60), one_way=True)
    travel = replace(flat_lift().travel, off_way_factor=3.0)
    there, back = (
        route_to(
            replace(flat_lift(up, teams=(team("foot", (at, 60)),)), travel=travel), to
        )
        for at, to in ((-20, 4), (580, 1))
    )
    assert there.way_ids == ("up",)
    # Back down it walks off any way, support by support.
    assert "up" not in back.way_ids
    assert back.seconds > there.seconds


def test_a_ski_team_runs_downhill_at_its_speed_and_walks_uphill() -> None:
    # An even slope of 25 % along the line, 150 m in all.
    terrain = make_terrain()
    rows, columns = terrain.elevation_m.shape
    bearing = np.radians(30.0)
    east, north = np.meshgrid(
        terrain.west_m + terrain.cell_m * np.arange(columns),
        terrain.south_m + terrain.cell_m * np.arange(rows),
    )
    slope = 0.25 * (east * np.sin(bearing) + north * np.cos(bearing))
    lift = make_lift(
        terrain=replace(terrain, elevation_m=slope), ground_table=None, hazards=()
    )
    lift = replace(
        lift,
        supports=tuple(replace(s, ground_m=0.25 * s.distance_m) for s in lift.supports),
        ways=(way("piste", (600, 30), (0, 30), travel=("ski", "foot")),),
        teams=(team("ski", (600, 30)), replace(team("ski", (0, 30)), id="Team 2")),
    )
    down = route_to(lift, 0)
    up = route_to(lift, 5, team_id="Team 2")

    # 600 m at 5 m/s and the last 30 m on foot (factors 1.5 and 2, 4 km/h level).
    off_s = 30 / 4000 * 3600 * 1.5 * 2
    assert down.seconds == pytest.approx(600 / 5 + off_s, rel=1e-3)
    walked = walking_seconds("din33466", length_m=600, up_m=150, down_m=0) * 1.5
    assert up.seconds == pytest.approx(walked + off_s, rel=1e-3)
    assert up.climb_m == pytest.approx(150, abs=1e-3)


def test_a_vehicle_drives_where_it_may_and_its_team_walks_on() -> None:
    lift = flat_lift(
        way("road", (0, 40), (300, 40), travel=("snow vehicle", "foot")),
        way("path", (300, 40), (600, 40), travel=("foot",)),
        teams=(team("snow vehicle", (0, 40)),),
    )
    lift = replace(lift, travel=replace(lift.travel, off_way_factor=5.0))
    route = route_to(lift, 5)

    # 300 m at 4 m/s, 300 m at 5 km/h, 40 m five times slower.
    assert route.seconds == pytest.approx(75 + (300 + 200) / 5000 * 3600, rel=1e-6)


def test_a_team_on_foot_does_not_use_a_way_for_vehicles_only() -> None:
    lift = flat_lift(
        way("tunnel", (0, 40), (600, 40), travel=("snow vehicle",)),
        teams=(team("foot", (0, 40)),),
    )
    assert route_to(lift, 5).way_ids == ()


def test_another_lift_runs_at_its_own_speed_and_is_joined_at_its_ends() -> None:
    other = way(
        "other",
        (0, 40),
        (600, 40),
        kind="lift",
        travel=("foot", "ski"),
        one_way=True,
        speed_m_per_s=5.0,
    )
    lift = flat_lift(
        other, way("under", (300, 0), (300, 80)), teams=(team("foot", (0, 40)),)
    )
    lift = replace(lift, travel=replace(lift.travel, off_way_factor=2.0))

    assert route_to(lift, 5).seconds == pytest.approx(
        120 + 2 * 40 / 5000 * 3600, rel=1e-6
    )
    # Nobody gets off over the way that it crosses.
    middle = route_to(lift, 2)
    assert middle.way_ids != ("other", "under")


def test_nobody_rides_the_lift_that_stands_still() -> None:
    own = way("own", (0, 0), (600, 0), kind="lift", travel=("foot",), speed_m_per_s=5.0)
    lift = flat_lift(own, teams=(team("foot", (0, 0)),))
    told = doubts(lift, lay_out(lift), find_routes(lift, lay_out(lift)))

    assert route_to(lift, 5).seconds > 600 / 5000 * 3600 - 1e-6
    assert "access.own_lift" in {finding.key for finding in told}


def avalanche(opens_s: Triple | None) -> Hazard:
    corners = [along(d, r) for d, r in ((280, -80), (320, -80), (320, 200), (280, 200))]
    return replace(
        HAZARD, kind="avalanche ground", geometry=Polygon(corners), opens_s=opens_s
    )


def crossing_lift(opens_s: Triple | None) -> Lift:
    lift = flat_lift(
        way("low", (0, 40), (600, 40)),
        way("round", (0, 40), (0, 260), (600, 260), (600, 40)),
        teams=(team("foot", (0, 40)),),
        hazards=(avalanche(opens_s),),
    )
    return replace(lift, travel=replace(lift.travel, off_way_factor=20.0))


def crosses(lift: Lift, route: Route) -> bool:
    line = LineString(np.column_stack([route.x_m, route.y_m]))
    return bool(line.intersects(lift.hazards[0].geometry))


def test_avalanche_ground_without_release_is_never_crossed() -> None:
    lift = crossing_lift(None)
    routes = [route_to(lift, support) for support in range(6)]

    assert not any(crosses(lift, r) for r in routes if r.seconds < NEVER_S)
    assert routes[5].way_ids == ("round",)


def test_a_team_waits_at_avalanche_ground_when_that_is_sooner_than_going_round() -> (
    None
):
    # By the low way 280 m to the edge: 201.6 s on foot. Going round costs 440 m,
    # 317 s, more.
    soon = crossing_lift(Triple(low=200.0, likely=300.0, high=400.0))
    route = route_to(soon, 5)
    free = 600 / 5000 * 3600 + 20 * 40 / 5000 * 3600

    assert crosses(soon, route)
    # Released at 300 s: the wait is what is left after reaching the edge (pieces of
    # 20 m at most, so the wait may start up to 20 m early).
    assert route.seconds >= free + 300 - 201.6 - 1e-6
    assert route.seconds <= free + 300 - 201.6 + 20 / 5000 * 3600

    late = crossing_lift(Triple(low=3000.0, likely=5000.0, high=9000.0))
    assert not crosses(late, route_to(late, 5))


def test_nobody_is_on_avalanche_ground_before_its_release() -> None:
    for likely in (0.0, 100.0, 400.0, 2000.0):
        lift = crossing_lift(Triple(low=0.0, likely=likely, high=9000.0))
        for support in range(6):
            route = route_to(lift, support)
            if crosses(lift, route):
                assert route.seconds >= likely


def test_without_ways_teams_walk_straight_and_the_plan_says_so() -> None:
    lift = flat_lift(teams=(team("foot", (0, 40)),))
    lift = replace(lift, travel=replace(lift.travel, off_way_factor=2.0))
    line = lay_out(lift)
    routes = find_routes(lift, line)

    assert routes[5].seconds <= 2 * np.hypot(600, 40) / 5000 * 3600 + 1e-6
    assert routes[5].seconds >= 2 * 560 / 5000 * 3600
    told = doubts(lift, line, routes)
    assert "access.no_ways" in {finding.key for finding in told}
    for finding in told:
        assert all(Words().finding(finding))


def test_teams_that_share_a_vehicle_leave_when_the_last_is_ready() -> None:
    road = way("road", (0, 40), (600, 40))
    first = team("snow vehicle", (0, 40), vehicle="cat", drop_order=2)
    second = replace(first, id="Team 2", ready_s=500.0, drop_order=1)
    lift = flat_lift(road, teams=(first, second))
    alone = route_to(flat_lift(road, teams=(first,)), 4).seconds

    # Team 2 is set down first; Team 1 a stop of 60 s later. Both arrive after 500 s.
    assert route_to(lift, 4, team_id="Team 2").seconds == pytest.approx(alone)
    assert route_to(lift, 4).seconds == pytest.approx(500 + alone + 60)


def test_steep_ground_off_any_way_is_not_walked() -> None:
    terrain = flat_terrain()
    east, north = np.meshgrid(
        terrain.west_m + terrain.cell_m * np.arange(terrain.elevation_m.shape[1]),
        terrain.south_m + terrain.cell_m * np.arange(terrain.elevation_m.shape[0]),
    )
    bearing = np.radians(30.0)
    right = east * np.cos(bearing) - north * np.sin(bearing)
    # A cliff 60 m high, 25 to 35 m right of the line, all along it.
    cliff = 60 * np.clip((35 - right) / 10, 0, 1)
    lift = flat_lift(way("road", (-40, 60), (640, 60)), teams=(team("foot", (0, 60)),))
    supports = tuple(replace(s, ground_m=60.0) for s in lift.supports)
    lift = replace(lift, supports=supports, terrain=replace(terrain, elevation_m=cliff))
    line = lay_out(lift)
    routes = find_routes(lift, line)

    assert all(route.seconds >= NEVER_S for route in routes)
    told = {finding.key: finding for finding in doubts(lift, line, routes)}
    assert told["access.no_way"].values["supports"] == "0, 1, 2, 3, 4, 5"


@pytest.mark.parametrize("factor", [1.0, 1.7])
def test_slower_feet_never_arrive_sooner(factor: float) -> None:
    lift = make_lift(terrain=make_terrain(), ground_table=None)
    slow = replace(
        lift, travel=replace(lift.travel, foot_factor=lift.travel.foot_factor * factor)
    )
    line = lay_out(lift)
    for before, after in zip(
        find_routes(lift, line), find_routes(slow, line), strict=True
    ):
        assert after.seconds >= before.seconds - 1e-6


def test_every_team_of_the_demo_has_a_way_to_every_support(demo: Path) -> None:
    lift = open_lift(demo)
    routes = find_routes(lift, lay_out(lift))
    assert len(routes) == len(lift.teams) * len(lift.supports)
    assert all(route.seconds < NEVER_S for route in routes)


RIVER = replace(
    HAZARD,
    id="river",
    kind="water",
    name="Test river",
    geometry=LineString([along(-50, 20), along(650, 20)]),
    opens_s=None,
)


def crossing_findings(lift: Lift) -> list[tuple[str, object, object]]:
    line = lay_out(lift)
    return [
        (item.where, item.values["supports"], item.values["hazards"])
        for item in doubts(lift, line, find_routes(lift, line))
        if item.key == "access.crosses_off_way"
    ]


@pytest.mark.parametrize("kind", ["water", "ledge"])
def test_a_way_in_over_water_or_a_ledge_is_told_where_no_way_is_drawn(
    kind: str,
) -> None:
    # The road runs 40 m beside the line, the river 20 m: between the two.
    lift = flat_lift(
        way("road", (0, 40), (600, 40)),
        teams=(team("foot", (0, 40)),),
    )
    assert crossing_findings(lift) == []
    river = replace(RIVER, kind=kind)
    assert crossing_findings(replace(lift, hazards=(river,))) == [
        ("Team 1", "0, 1, 2, 3, 4, 5", f"{kind} Test river")
    ]


def test_a_drawn_way_over_water_is_a_bridge() -> None:
    # A bridge to every support; straight walks cost too much to pay off.
    at_m = [support.distance_m for support in flat_lift().supports]
    bridges = [way(f"bridge {at:g}", (at, 40), (at, 0)) for at in at_m]
    road = way("road", (0, 40), (600, 40))
    lift = flat_lift(road, *bridges, teams=(team("foot", (0, 40)),), hazards=(RIVER,))
    lift = replace(lift, travel=replace(lift.travel, off_way_factor=50.0))
    assert crossing_findings(lift) == []
    # Without the one to support 3 the team would wade there.
    fewer = replace(lift, ways=tuple(w for w in lift.ways if w.id != "bridge 345"))
    assert [supports for _, supports, _ in crossing_findings(fewer)] == ["3"]


def test_other_hazards_and_dry_ways_are_not_told() -> None:
    lift = flat_lift(
        way("road", (0, 40), (600, 40)),
        teams=(team("foot", (0, 40)),),
        hazards=(replace(RIVER, kind="forest"),),
    )
    assert crossing_findings(lift) == []
    beyond = LineString([along(-50, 60), along(650, 60)])
    dry = replace(lift, hazards=(replace(RIVER, geometry=beyond),))
    assert crossing_findings(dry) == []
