"""From support to support, past spans in which a team does not work."""

from __future__ import annotations

from dataclasses import replace

import pytest
from builders import along, make_lift
from shapely.geometry import LineString, Polygon
from test_routes import flat_lift, team, way

from evac.access import SupportWays, find_routes
from evac.access.passages import SHUT
from evac.facts.lift import Lift, Triple
from evac.facts.work import Passage
from evac.line import lay_out

AVALANCHE = replace(
    make_lift().hazards[0],
    id="slope",
    kind="avalanche ground",
    geometry=Polygon(
        [along(*at) for at in ((250, 90), (320, 90), (320, -90), (250, -90))]
    ),
)


def passage(
    lift: Lift, start: int, end: int, *, there_s: float = 0.0, team_id: str = "Team 1"
) -> Passage:
    return SupportWays(lift=lift, line=lay_out(lift))(
        team_id, start, end, there_s=there_s
    )


def closed(lift: Lift, likely_s: float | None) -> Lift:
    opens_s = None
    if likely_s is not None:
        opens_s = Triple(low=0.0, likely=likely_s, high=2 * likely_s)
    return replace(lift, hazards=(replace(AVALANCHE, opens_s=opens_s),))


ON_FOOT = flat_lift(
    way("round", (230, 2), (230, 400), (345, 400), (345, 2)),
    teams=(team("foot", (0, 40)),),
)
STRAIGHT_S = 115 / 5000 * 3600
ROUND_S = (400 + 115 + 400) / 5000 * 3600


def test_neighbours_are_as_far_apart_as_they_stand() -> None:
    found = passage(ON_FOOT, 2, 3)
    assert found.seconds == pytest.approx(STRAIGHT_S, abs=3)
    assert (found.opens_s, found.hazard_ids) == (0.0, ())


def test_shut_avalanche_ground_is_gone_round_or_not_passed() -> None:
    assert passage(closed(ON_FOOT, None), 3, 2).seconds == pytest.approx(ROUND_S, abs=6)
    nothing = closed(flat_lift(teams=(team("foot", (0, 40)),)), None)
    assert passage(nothing, 3, 2) == SHUT
    assert passage(nothing, 2, 0).seconds < 600


@pytest.mark.parametrize(("opens_s", "there_s", "waits"), [
    # Across takes 83 s, round 659 s: worth a wait of up to 576 s.
    (500.0, 0.0, True),
    (700.0, 0.0, False),
    (700.0, 200.0, True),
    (5000.0, 9000.0, True),
])  # fmt: skip
def test_the_quicker_of_waiting_and_going_round(
    opens_s: float, there_s: float, waits: bool
) -> None:
    found = passage(closed(ON_FOOT, opens_s), 3, 2, there_s=there_s)
    if waits:
        assert (found.opens_s, found.hazard_ids) == (opens_s, ("slope",))
        assert found.seconds == pytest.approx(STRAIGHT_S, abs=3)
    else:
        assert (found.opens_s, found.hazard_ids) == (0.0, ())
        assert found.seconds == pytest.approx(ROUND_S, abs=6)


def test_who_came_by_vehicle_walks_and_who_skis_skis_down() -> None:
    road = way("road", (0, 2), (600, 2))
    driven = flat_lift(road, teams=(team("snow vehicle", (0, 2)),))
    walked = flat_lift(road, teams=(team("foot", (0, 2)),))
    assert passage(driven, 5, 0) == passage(walked, 5, 0)
    # On the builders' own slope, which falls by a quarter towards the first station.
    sloping = make_lift(ways=(road,), hazards=(), teams=(team("ski", (0, 2)),))
    on_foot = replace(sloping, teams=(team("foot", (0, 2)),))
    down_s, up_s = (passage(sloping, *ends).seconds for ends in ((5, 0), (0, 5)))
    assert down_s < passage(on_foot, 5, 0).seconds / 3
    assert passage(on_foot, 0, 5).seconds / 2 < up_s <= passage(on_foot, 0, 5).seconds


def test_a_way_in_says_where_it_waits_and_how_far_before_the_edge() -> None:
    road = way("road", (0, 40), (600, 40))
    lift = closed(flat_lift(road, teams=(team("foot", (0, 40)),)), 300.0)
    free, held = (
        next(
            route
            for route in find_routes(item, lay_out(item))
            if route.support_index == 5
        )
        for item in (replace(lift, hazards=()), lift)
    )
    # 250 m to the edge in 180 s; pieces of 20 m at most.
    ((name, before_s),) = held.releases
    assert name == "slope"
    assert before_s == pytest.approx(180.0, abs=20 / 5000 * 3600)
    assert held.wait_s == pytest.approx(300.0 - before_s)
    assert held.seconds - held.wait_s == pytest.approx(free.seconds)
    assert (free.wait_s, free.releases) == (0.0, ())


def test_the_line_is_the_way_where_nothing_is_drawn() -> None:
    lift = flat_lift(teams=(team("foot", (0, 40)),))
    lift = replace(
        lift,
        supports=(lift.supports[0], *lift.supports[4:]),
    )
    # 470 m between neighbours: with no way drawn at all they are walked straight.
    found = passage(lift, 0, 1)
    assert found.seconds == pytest.approx(470 / 5000 * 3600, abs=3)
    assert LineString([along(0), along(470)]).length == pytest.approx(470)
