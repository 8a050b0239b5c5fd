"""Spans a team takes nothing in: walked past as access walks them, or not at all.

Source: common practice, no source; nobody is sent on foot where the ways in say that
there is no way.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from builders import LOOP, along, make_lift
from flat_heights import make_flat_heights
from shapely.geometry import LineString, Polygon

from evac import access, gear, hazards, timing
from evac.assignment import assign
from evac.assignment.costs import clear_times, legs
from evac.clearing import make_schedule, passage_doubts, turns
from evac.facts.change import Situation
from evac.facts.heights import Heights
from evac.facts.lift import Hazard, Lift, Side, Triple
from evac.facts.work import NEVER_S, Assignment, Option, Work
from evac.plan import make_plan
from evac.replan import replan
from evac.simulation import simulate
from evac.simulation.draws import scores
from evac.triples import fit_one
from evac.words import Words

ACROSS = 2
"""The span that nobody's kit reaches."""

LATE = Triple(low=12_000.0, likely=18_000.0, high=24_000.0)


def slope(opens_s: Triple | None) -> Hazard:
    """Avalanche ground below the middle span, far out to both sides."""
    corners = [along(250, -900), along(320, -900), along(320, 900), along(250, 900)]
    return replace(
        make_lift().hazards[0],
        id="slope",
        kind="avalanche ground",
        name="Slope",
        geometry=Polygon(corners),
        opens_s=opens_s,
        extra_people=0,
    )


def from_the_top(**changes: object) -> Lift:
    """One team with a loop, on foot from the upper station, and no ways."""
    lift = make_lift(hazards=(), ways=())
    x_m, y_m = along(600)
    team = replace(
        lift.teams[0],
        techniques=(LOOP,),
        travel="foot",
        start_x_m=x_m,
        start_y_m=y_m,
        start_upper=True,
        vehicle=None,
    )
    kits = tuple(kit for kit in lift.kits if kit.technique == LOOP)[:1]
    kits = tuple(replace(kit, team=team.id) for kit in kits)
    return replace(lift, teams=(team,), kits=kits, **changes)


def plan_of(
    lift: Lift, *, spans_out: tuple[int, ...] = (ACROSS,)
) -> tuple[Lift, Heights, Work, Assignment]:
    heights = make_flat_heights(lift, rope_m=8.0)
    options = gear.options(lift)
    gates = hazards.find_gates(lift, heights.line)
    reaches = tuple(
        replace(reach, ok=reach.ok and reach.span_index not in spans_out)
        for reach in gear.find_reaches(lift, options, heights.units, gates=gates)
    )
    ways_in = access.open_ways(lift, heights.line)
    work = timing.build_work(
        lift,
        heights,
        options,
        reaches,
        gates,
        access.find_routes(lift, heights.line, ways_in=ways_in),
        passages=access.SupportWays(lift=lift, line=heights.line, ways_in=ways_in),
    )
    return lift, heights, work, assign(work)


def test_nobody_walks_over_avalanche_ground_that_is_shut() -> None:
    _, _, work, found = plan_of(from_the_top(hazards=(slope(None),)))
    (zone,) = found.zones
    assert (zone.first_span, zone.last_span) == (ACROSS + 1, 4)
    assert {(item.span_index, item.reason) for item in found.uncovered} == {
        (0, "assignment.reason.way"),
        (1, "assignment.reason.way"),
        (ACROSS, "assignment.reason.gate"),
    }
    assert work.arrive_s[0, ACROSS] == NEVER_S


def test_released_later_the_zone_begins_then() -> None:
    lift, heights, work, found = plan_of(from_the_top(hazards=(slope(LATE),)))
    (zone,) = found.zones
    assert (zone.first_span, zone.last_span) == (0, 4)
    assert zone.start_s == LATE.likely
    _, told = passage_doubts(lift, heights.line, work, found)
    assert told.key == "clearing.walks_over"
    assert "between supports 3 and 2" in Words().finding(told)[0]
    assert "Slope" in Words().finding(told)[0]
    # On the sheet in the words of the field.
    field = Words().say(f"sheet.field.{told.key}", **told.values)
    assert "Slope" in field
    assert "confirmed by radio" in field


def test_who_walks_past_over_water_without_a_bridge_is_told() -> None:
    # Where the river runs at the bottom of the span that nobody's kit reaches.
    river = replace(
        slope(None),
        id="river",
        kind="water",
        name="Test river",
        geometry=LineString([along(287, -900), along(287, 900)]),
    )
    lift, heights, work, found = plan_of(from_the_top(hazards=(river,)))
    _, past, over = passage_doubts(lift, heights.line, work, found)
    assert past.key == "clearing.walks_past"
    assert over.key == "clearing.crosses_off_way"
    assert "between supports 3 and 2 over Test river" in Words().finding(over)[0]
    field = Words().say(f"sheet.field.{over.key}", **over.values)
    assert "Between supports 3 and 2 you walk over Test river" in field
    # A path from support to support is a bridge.
    bridge = replace(
        make_lift().ways[0],
        id="bridge",
        geometry=LineString([along(110), along(230), along(345), along(600)]),
    )
    lift, heights, work, found = plan_of(from_the_top(hazards=(river,), ways=(bridge,)))
    back, past = passage_doubts(lift, heights.line, work, found)
    assert past.key == "clearing.walks_past"
    assert back.key == "clearing.walks_back"


def test_on_imagined_days_it_begins_when_that_day_releases_it() -> None:
    planned = plan_of(from_the_top(hazards=(slope(LATE),)))
    days = simulate(*planned, runs=500, seed=3)
    released = fit_one(LATE).at(scores(3, "gate slope", 500))
    assert (days.order_to_first_s >= released).all()


def test_a_span_walked_past_costs_the_walk_beside_its_crossings() -> None:
    lift, heights, work, found = plan_of(from_the_top())
    (zone,) = found.zones
    walk = access.SupportWays(lift=lift, line=heights.line)(
        zone.team, ACROSS + 1, ACROSS, there_s=0.0
    )
    # By hand: down from support 3 to 2 off any way, twice the time of DIN 33466.
    slant = (115 / 4000 + 0.5 * 35 / 500) * 3600 * 1.5 * 2
    steep = (0.5 * 115 / 4000 + 35 / 500) * 3600 * 1.5 * 2
    assert walk.seconds >= max(slant, steep)
    (leg,) = (leg for leg in legs(work, zone) if leg.walked)
    assert leg.walked == (ACROSS + 1, ACROSS)
    option = work.options[0]
    crossed = sum(
        timing.cross_seconds(lift, heights, option, support_index=support).likely
        for support in (ACROSS, ACROSS + 1)
    )
    (turn,) = (
        turn
        for turn in turns(lift, heights, work, zone)
        if (turn.side, turn.span_index) == (leg.side, leg.span_index)
    )
    assert turn.passing.likely == pytest.approx(crossed + walk.seconds, abs=1.0)
    assert clear_times(work, zone)[-1][2] == zone.finish_s
    ends = [
        make_schedule(lift, heights, work, found, stop_index=stop).clear_s
        for stop in range(4)
    ]
    back, told = passage_doubts(lift, heights.line, work, found)
    assert (told.key, back.key) == ("clearing.walks_past", "clearing.walks_back")
    assert all(Words().finding(told))
    field = Words().say(f"sheet.field.{told.key}", **told.values)
    assert "between supports 3 and 2" in field
    assert max(ends) == pytest.approx(zone.finish_s, abs=30)


def test_where_a_path_goes_round_the_ravine_the_zone_goes_round() -> None:
    # The gully of this lift made too steep to walk; a path leads far round it.
    round_ = [along(345, 2), along(345, 700), along(230, 700), along(230, 2)]
    path = replace(make_lift().ways[0], id="round", geometry=LineString(round_))
    lift = from_the_top(ways=(path,))
    table = lift.ground_table
    assert table is not None
    gully = 60 * np.exp(-(((table.distance_m - 287) / 18) ** 2))
    lift = replace(
        lift,
        ground_table=replace(
            table,
            ascending_m=table.ascending_m - gully,
            descending_m=table.descending_m - gully,
        ),
    )
    straight = plan_of(from_the_top())[3].zones[0]
    found = plan_of(lift)[3].zones[0]
    assert (found.first_span, found.last_span) == (0, 4)
    # 1.5 km on a path at 4 km/h and the factor of 1.5: 34 min instead of some minutes.
    assert found.finish_s - straight.finish_s > 1200
    none = plan_of(replace(lift, ways=(replace(path, geometry=_far_off()),)))[3]
    assert none.zones[0].first_span == ACROSS + 1


def _far_off() -> LineString:
    return LineString([along(345, 2), along(600, 2)])


def work_by_hand(**changes: object) -> Work:
    """Three teams, two spans, people on the ascending side only."""
    q, n = 3, 2
    teams = tuple(f"team {number}" for number in range(q))
    only_ascending = np.zeros((q, 2, n), dtype=bool)
    only_ascending[:, 0] = True
    work_s = np.zeros((q, 2, n, 1), dtype=np.int64)
    work_s[:, 0, :, 0] = [[350, 350], [700, 700], [700, 700]]
    work = Work(
        team_ids=teams,
        crew=np.full(q, 3),
        start_upper=np.ones(q, dtype=bool),
        upper_is_last=True,
        options=tuple(
            Option(index=k, team=name, team_index=k, kit=f"kit {k}", technique="loop")
            for k, name in enumerate(teams)
        ),
        option_team=np.arange(q),
        valid=only_ascending,
        work_s=work_s,
        cross_s=np.zeros((q, n + 1), dtype=np.int64),
        side_change_s=np.zeros(q, dtype=np.int64),
        walk_back_s=np.zeros((q, n), dtype=np.int64),
        gate_s=np.zeros((2, n), dtype=np.int64),
        secured_s=0,
        arrive_s=np.array([[300] * 3, [600] * 3, [600] * 3]),
        people=np.array([[5, 5], [0, 0]]),
        people_at=np.array([[[5], [5]], [[0], [0]]]),
        planned=np.ones((2, n), dtype=bool),
        latest_arrival_s=NEVER_S,
    )
    return replace(work, **changes)


def test_within_the_slack_a_team_to_be_left_alone_is_left_alone() -> None:
    # Team 0 alone ends at 1000 s, teams 1 and 2 together at 1300 s.
    work = work_by_hand()
    avoid = np.zeros((3, 3, 2, 2), dtype=bool)
    avoid[0] = True
    at_once = assign(work, avoid=avoid)
    assert [zone.team for zone in at_once.zones] == ["team 0"]
    with_slack = assign(work, avoid=avoid, slack_s=600)
    assert [zone.team for zone in with_slack.zones] == ["team 1", "team 2"]
    assert with_slack.bound_s == 1000


def test_a_crossing_on_the_rope_spares_the_set_up_only_where_one_follows() -> None:
    # One team over three spans; 200 s of each crossing are the climb of the set-up.
    n = 3
    work = replace(
        work_by_hand(),
        team_ids=("team 0",),
        crew=np.array([3]),
        start_upper=np.array([True]),
        options=work_by_hand().options[:1],
        option_team=np.array([0]),
        valid=np.array([[[True] * n, [False] * n]]),
        work_s=np.array([[[[500], [0], [500]], [[0], [0], [0]]]]),
        cross_s=np.array([[0, 240, 240, 0]]),
        spared_s=np.array([[0, 200, 200, 0]]),
        side_change_s=np.array([0]),
        walk_back_s=np.zeros((1, n), dtype=np.int64),
        gate_s=np.zeros((2, n), dtype=np.int64),
        arrive_s=np.array([[300] * (n + 1)]),
        people=np.array([[5, 0, 5], [0, 0, 0]]),
        people_at=np.array([[[5], [0], [5]], [[0], [0], [0]]]),
        planned=np.ones((2, n), dtype=bool),
    )
    # An empty span is crossed twice, and only once with a set-up after it.
    assert assign(work).objectives[1] == 300 + 500 + 240 + 240 - 200 + 500
    full = replace(work, work_s=np.full((1, 2, n, 1), 500))
    assert assign(full).objectives[1] == 300 + 3 * 500 + 2 * (240 - 200)
    # A span that cannot be taken is passed on foot, and the rope climbed anew.
    out = replace(
        work,
        valid=np.array([[[True, False, True], [False] * n]]),
        pass_s=np.full((1, n + 1, n + 1), 400),
        people=np.array([[5, 0, 5], [0, 0, 0]]),
    )
    assert assign(out).objectives[1] == 300 + 500 + 240 + 400 + 240 + 500
    assert Side.ASCENDING in assign(out).zones[0].sides


def test_planned_again_nobody_is_sent_over_ground_that_stays_shut() -> None:
    opens_s = Triple(low=300.0, likely=600.0, high=900.0)
    lift = from_the_top(hazards=(slope(opens_s),), limits=())
    plan = make_plan(lift, date=dt.date(2026, 1, 20), seed=1)
    (zone,) = plan.assignment.zones
    assert {0, 4} <= {leg.span_index for leg in legs(plan.work, zone)}
    again = replan(plan, Situation(now_s=600.0, gates_open_s={"slope": NEVER_S}))
    (zone,) = again.assignment.zones
    assert zone.first_span > ACROSS
    unreached = {item.span_index for item in again.assignment.uncovered}
    assert unreached >= {0, 1, ACROSS}
