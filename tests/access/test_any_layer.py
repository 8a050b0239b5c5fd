"""Whatever is drawn in the access layer, routes keep to the laws of travel."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from builders import along, make_lift, make_terrain
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString

from evac.access import doubts, find_routes
from evac.facts.work import NEVER_S
from evac.line import lay_out
from evac.muster import find_ways

PLACES = st.tuples(st.integers(-40, 640), st.integers(-90, 90))
KINDS = {
    "track": ("foot", "snow vehicle"),
    "piste": ("foot", "ski", "snow vehicle"),
    "path": ("foot",),
    "lift": ("foot", "ski"),
}
WAY = st.tuples(
    st.lists(PLACES, min_size=2, max_size=5, unique=True),
    st.sampled_from(sorted(KINDS)),
    st.booleans(),
)


@settings(max_examples=30, deadline=None)
@given(
    ways=st.lists(WAY, max_size=6),
    starts=st.lists(PLACES, min_size=3, max_size=3),
    modes=st.lists(
        st.sampled_from(["foot", "ski", "snow vehicle"]), min_size=3, max_size=3
    ),
    rule=st.sampled_from(["naismith", "din33466", "tobler"]),
)
def test_nobody_is_faster_than_the_fastest_way(
    ways: list[tuple[list[tuple[int, int]], str, bool]],
    starts: list[tuple[int, int]],
    modes: list[str],
    rule: str,
) -> None:
    lift = make_lift(terrain=make_terrain(), ground_table=None)
    drawn = tuple(
        replace(
            lift.ways[0],
            id=f"w{k}",
            kind=kind,
            geometry=LineString([along(*place) for place in places]),
            travel=KINDS[kind],
            one_way=one_way,
            speed_m_per_s=3.0 if kind == "lift" else None,
        )
        for k, (places, kind, one_way) in enumerate(ways)
    )
    teams = tuple(
        replace(team, travel=mode, start_x_m=along(*at)[0], start_y_m=along(*at)[1])
        for team, at, mode in zip(lift.teams, starts, modes, strict=True)
    )
    lift = replace(
        lift,
        ways=drawn,
        teams=teams,
        travel=replace(lift.travel, walking_rule=rule),
    )
    line = lay_out(lift)
    routes = find_routes(lift, line)
    # Ski 5 m/s is the fastest of all (builders).
    for route, (team, support) in zip(
        routes,
        [(team, support) for team in teams for support in lift.supports],
        strict=True,
    ):
        straight_m = np.hypot(
            team.start_x_m - support.x_m, team.start_y_m - support.y_m
        )
        assert route.seconds == NEVER_S or route.seconds >= straight_m / 5 - 1e-6
        if route.seconds < NEVER_S:
            ends = (route.x_m[-1], route.y_m[-1])
            assert np.allclose(ends, (support.x_m, support.y_m), atol=0.02)
            assert route.length_m >= straight_m - 0.5
    doubts(lift, line, routes)
    found, points = find_ways(lift, line)
    assert found.keys() == points.keys()


def test_a_team_that_stands_at_a_support_is_there_at_once() -> None:
    lift = make_lift(terrain=make_terrain(), ground_table=None)
    support = lift.supports[2]
    team = replace(lift.teams[0], start_x_m=support.x_m, start_y_m=support.y_m)
    lift = replace(lift, teams=(team,))
    assert find_routes(lift, lay_out(lift))[2].seconds == 0
