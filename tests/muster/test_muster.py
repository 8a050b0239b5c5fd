"""From the landing to a safe place."""

from __future__ import annotations

import datetime as dt
import io
import json
import math
from dataclasses import replace

import numpy as np
import pytest
from builders import along, make_lift
from flat_heights import make_flat_heights
from rich.console import Console
from shapely.geometry import LineString, Polygon

from evac.access import find_routes
from evac.documents.bundle import document_files
from evac.facts.finding import Finding, Severity
from evac.facts.lift import Lift, Limit, MusterPoint, Side, Triple
from evac.facts.work import Rescue, Schedule
from evac.gear import find_reaches, options
from evac.hazards import find_gates
from evac.line import lay_out
from evac.muster import doubts, find_care, find_ways, landing_class, safe_seconds
from evac.plan import make_plan
from evac.summary import print_summary
from evac.tables_out import plan_tables
from evac.tables_out.record import plan_json
from evac.timing import build_work
from evac.words import Words

HUT = make_lift().muster_points[0]


def point(name: str, at: tuple[float, float], **changes: object) -> MusterPoint:
    x_m, y_m = along(*at)
    return replace(HUT, id=name, name=name, x_m=x_m, y_m=y_m, **changes)


def told(lift: Lift) -> dict[str, Finding]:
    heights = make_flat_heights(lift)
    line = heights.line
    found = options(lift)
    gates = find_gates(lift, line)
    reaches = find_reaches(lift, found, heights.units, gates=gates)
    work = build_work(lift, heights, found, reaches, gates, find_routes(lift, line))
    ways, points = find_ways(lift, line)
    findings = doubts(lift, line, ways, points, work=work)
    for finding in findings:
        assert all(Words().finding(finding))
    return {finding.key: finding for finding in findings}


def test_every_span_goes_to_the_point_soonest_met() -> None:
    lift = make_lift(muster_points=(point("low", (0, 40)), point("top", (600, 40))))
    ways, points = find_ways(lift, lay_out(lift))

    assert sorted(ways) == [0, 1, 2, 3, 4]
    assert points[0] == "low"
    assert points[4] == "top"
    alone = {
        name: find_ways(
            replace(
                lift,
                muster_points=tuple(p for p in lift.muster_points if p.id == name),
            ),
            lay_out(lift),
        )[0]
        for name in ("low", "top")
    }
    for span, way in ways.items():
        times = {name: alone[name][span].seconds for name in alone}
        assert way.seconds == pytest.approx(min(times.values()))
        assert points[span] == min(times, key=lambda name: times[name])


def test_a_way_runs_from_the_middle_of_its_span_to_its_point() -> None:
    lift = make_lift()
    line = lay_out(lift)
    ways, _ = find_ways(lift, line)
    way = ways[2]
    middle = along((230 + 345) / 2, 3.0)

    assert (way.x_m[0], way.y_m[0]) == pytest.approx(middle, abs=0.5)
    assert (way.x_m[-1], way.y_m[-1]) == pytest.approx((HUT.x_m, HUT.y_m))


def test_a_way_counts_from_the_end_of_its_span_where_that_is_farther() -> None:
    # A muster point in the very middle of a span from 230 to 345 m. By hand, Naismith:
    # 57.5 m at 5 km/h and 6 s for every metre up from its lower end, off any way.
    lift = make_lift()
    x_m, y_m = along((230 + 345) / 2, 3.0)
    lift = replace(
        lift,
        hazards=(),
        ways=(),
        muster_points=(replace(HUT, x_m=x_m, y_m=y_m),),
        travel=replace(lift.travel, walking_rule="naismith"),
    )
    line = lay_out(lift)
    ground = line.ground[Side.ASCENDING]
    low_m, middle_m = np.interp(
        [230.0, (230 + 345) / 2], ground.distance_m, ground.elevation_m
    )
    walk_s = 57.5 / (5 / 3.6) + 6.0 * (middle_m - low_m)
    by_hand_s = lift.travel.foot_factor * lift.travel.off_way_factor * walk_s
    way = find_ways(lift, line)[0][2]
    assert way.seconds == pytest.approx(by_hand_s, abs=3.0)


def test_no_way_is_shorter_than_that_of_the_carrier_in_the_middle() -> None:
    lift = make_lift()
    line = lay_out(lift)
    found, _ = find_ways(lift, line)
    longer = 0
    for span in line.spans:
        # The same place as a span cut short to nothing.
        middle_m = (span.start_m + span.end_m) / 2
        short = replace(span, start_m=middle_m - 0.01, end_m=middle_m + 0.01)
        spans = tuple(
            short if item.index == span.index else item for item in line.spans
        )
        alone, _ = find_ways(lift, replace(line, spans=spans))
        assert found[span.index].seconds >= 0.99 * alone[span.index].seconds
        longer += found[span.index].seconds > 1.05 * alone[span.index].seconds
    assert longer > 1


def test_without_a_muster_point_the_plan_says_so() -> None:
    lift = make_lift(muster_points=())
    assert find_ways(lift, lay_out(lift)) == ({}, {})
    assert "muster.none" in told(lift)


def test_evacuees_do_not_cross_avalanche_ground_where_there_is_a_way_round() -> None:
    lift = make_lift()
    ground = Polygon(
        [along(d, r) for d, r in ((100, -10), (130, -10), (130, 70), (100, 70))]
    )
    hazard = replace(
        lift.hazards[0],
        kind="avalanche ground",
        geometry=ground,
        opens_s=Triple(low=0.0, likely=60.0, high=120.0),
    )
    loop = replace(
        lift.ways[0],
        id="loop",
        geometry=LineString(
            [along(300, 40), along(300, -90), along(-20, -90), along(-20, 40)]
        ),
    )
    lift = replace(lift, hazards=(hazard,), ways=(*lift.ways, loop))
    ways, _ = find_ways(lift, lay_out(lift))
    for way in ways.values():
        line = LineString(np.column_stack([way.x_m, way.y_m]))
        if not ground.contains(line.interpolate(0)):
            assert not line.intersects(ground)


def test_evacuees_who_would_wade_are_told_by_span() -> None:
    # Track and muster point lie 25 to 55 m right of the line; a river between them.
    lift = make_lift()
    river = replace(
        lift.hazards[0],
        kind="water",
        name="Test river",
        geometry=LineString([along(-50, 20), along(650, 20)]),
        opens_s=None,
    )
    finding = told(replace(lift, hazards=(river,)))["muster.crosses_off_way"]
    assert finding.values == {
        "spans": "0-1, 1-2, 2-3, 3-4, 4-5",
        "hazards": "water Test river",
    }
    elsewhere = LineString([along(-50, -20), along(650, -20)])
    dry = replace(lift, hazards=(replace(river, geometry=elsewhere),))
    assert "muster.crosses_off_way" not in told(dry)


def test_a_span_without_a_way_out_is_named() -> None:
    lift = make_lift()
    # Avalanche ground that is never released, all across the line at 280 to 300 m:
    # the spans above it are cut off from the only muster point, below.
    ground = Polygon(
        [along(d, r) for d, r in ((240, -900), (250, -900), (250, 900), (240, 900))]
    )
    hazard = replace(
        lift.hazards[0], kind="avalanche ground", geometry=ground, opens_s=None
    )
    lift = replace(lift, hazards=(hazard,))
    ways, _ = find_ways(lift, lay_out(lift))

    assert sorted(ways) == [0, 1]
    assert told(lift)["muster.cut_off"].values["spans"] == "2-3, 3-4, 4-5"


def test_what_the_shelter_does_not_hold_is_driven_in_rounds() -> None:
    lift = make_lift(
        muster_points=(
            replace(HUT, shelter_places=50, vehicle_seats=8, vehicle_round_s=900.0),
        )
    )
    heights = make_flat_heights(lift)
    work = build_work(lift, heights, (), (), (), ())
    ways, points = find_ways(lift, heights.line)
    (care,) = find_care(lift, work, ways, points)

    # Of all stops the fullest; a unit without people brings nobody.
    assert care.people == work.people_at.sum(axis=(0, 1)).max()
    assert care.people < work.people.sum()
    assert care.overflow == care.people - 50
    # Whole rounds, none with an empty vehicle too many.
    assert 0 <= care.rounds * 8 - care.overflow < 8
    assert care.rounds_s == care.rounds * 900.0
    assert care.longest_walk_s == max(way.seconds for way in ways.values())


def test_every_span_is_cared_for_once() -> None:
    lift = make_lift(muster_points=(point("low", (0, 40)), point("top", (600, 40))))
    heights = make_flat_heights(lift)
    work = build_work(lift, heights, (), (), (), ())
    ways, points = find_ways(lift, heights.line)
    cares = find_care(lift, work, ways, points)

    assert sorted(s for care in cares for s in care.span_indices) == [0, 1, 2, 3, 4]
    at_stop = work.people_at.sum(axis=0)
    for care in cares:
        assert care.people == at_stop[list(care.span_indices)].sum(axis=0).max()
    assert sum(care.people for care in cares) >= at_stop.sum(axis=0).max()


def test_a_full_shelter_without_a_vehicle_and_nobody_to_receive_are_told() -> None:
    lift = make_lift(
        muster_points=(replace(HUT, shelter_places=5, vehicle_seats=0, receivers=0),)
    )
    assert {"muster.no_vehicle", "muster.no_receivers"} <= told(lift).keys()


def test_steep_landings_are_told_by_span() -> None:
    # The builders' gully between supports 2 and 3 has walls of over 35 degrees.
    lift = make_lift()
    line = lay_out(lift)
    classes = {
        (side, span.index): landing_class(line, side=side, span_index=span.index)
        for side in Side
        for span in line.spans
    }
    assert classes[Side.ASCENDING, 2] == "very_steep"
    assert classes[Side.ASCENDING, 0] == "sloping"
    found = told(lift)["muster.landing_very_steep"].values
    assert found["spans"] == "2-3"
    # The class begins there (common practice, no source): true of every span named.
    assert found["least_deg"] == 35.0
    assert float(found["worst_deg"]) >= 35.0
    for name in {*classes.values(), "unknown", "level", "steep"}:
        assert Words().has(f"muster.landing.{name}")


def test_ground_that_is_not_known_has_no_class() -> None:
    line = lay_out(make_lift())
    ground = line.ground[Side.ASCENDING]
    holed = np.where(ground.distance_m == 50.0, np.nan, ground.slope_deg)
    line = replace(
        line,
        ground={**line.ground, Side.ASCENDING: replace(ground, slope_deg=holed)},
    )
    assert landing_class(line, side=Side.ASCENDING, span_index=0) == "unknown"


def lowered(*, at_s: float) -> Rescue:
    return Rescue(
        team="Team 1",
        order=1,
        side=Side.ASCENDING,
        span_index=0,
        distance_m=50.0,
        people=4,
        rope_height_m=8.0,
        seat_height_m=6.0,
        rope_needed_m=20.0,
        start_s=at_s,
        finish_s=at_s + 600.0,
    )


def safe_at(lift: Lift, *, clear_s: float, first_s: float | None = None) -> Triple:
    """With one carrier of the first span begun at ``first_s``; None: no carrier."""
    heights = make_flat_heights(lift)
    work = build_work(lift, heights, (), (), (), ())
    ways, points = find_ways(lift, heights.line)
    rescues = () if first_s is None else (lowered(at_s=first_s),)
    schedule = Schedule(stop_offset_m=0.0, rescues=rescues, clear_s=clear_s)
    return safe_seconds(lift, work, ways, points, schedule)


def test_a_long_walk_to_muster_counts_instead_of_the_folder_s_time() -> None:
    lift = make_lift(muster_points=(replace(HUT, shelter_places=10_000),))
    quick = Triple(low=1.0, likely=2.0, high=3.0)
    lift = replace(
        lift, organisation=replace(lift.organisation, ground_to_safe_s=quick)
    )
    ways, _ = find_ways(lift, lay_out(lift))
    walk_s = max(way.seconds for way in ways.values())
    found = safe_at(lift, clear_s=3600.0)
    # By hand: the longest walk, 0.8 and 1.5 times it.
    assert found.likely == pytest.approx(walk_s)
    assert (found.low, found.high) == pytest.approx((0.8 * walk_s, 1.5 * walk_s))


def test_rounds_that_lowering_leaves_time_for_cost_the_last_one_only() -> None:
    hut = replace(HUT, shelter_places=5, vehicle_seats=8, vehicle_round_s=900.0)
    lift = make_lift(muster_points=(hut,))
    heights = make_flat_heights(lift)
    work = build_work(lift, heights, (), (), (), ())
    (care,) = find_care(lift, work, *find_ways(lift, heights.line))
    assert care.rounds_s > 900.0
    walk_s = care.longest_walk_s
    assert safe_at(lift, clear_s=0.0).likely == pytest.approx(walk_s + care.rounds_s)
    # From the first lowering and its walk on, all rounds but the last are driven.
    long = safe_at(lift, clear_s=1800.0 + walk_s + care.rounds_s, first_s=1800.0)
    assert long.likely == pytest.approx(walk_s + 900.0)


def test_no_vehicle_drives_before_anybody_can_have_come() -> None:
    hut = replace(HUT, shelter_places=5, vehicle_seats=8, vehicle_round_s=900.0)
    lift = make_lift(muster_points=(hut,))
    heights = make_flat_heights(lift)
    work = build_work(lift, heights, (), (), (), ())
    ways, points = find_ways(lift, heights.line)
    (care,) = find_care(lift, work, ways, points)
    # By hand: the one carrier of the first span, which stands for everybody, is down
    # at 40 min; its people have walked a way later, and the vehicles start then.
    first_s, walk_s = ways[0].seconds, care.longest_walk_s
    clear_s = 2700.0 + walk_s
    found = safe_at(lift, clear_s=clear_s, first_s=1800.0)
    assert found.likely == pytest.approx(2400.0 + first_s + care.rounds_s - clear_s)
    # Nobody of these spans hangs at this stop: nothing is driven in advance.
    assert safe_at(lift, clear_s=2700.0).likely == pytest.approx(walk_s + care.rounds_s)


def test_vehicles_do_not_drive_people_who_have_not_come_yet() -> None:
    # By hand, arrivals at the hut: 4 people of span 0-1 soon, all others only at the
    # end of a long evacuation. Four early people fill no shelter of 10, so that no
    # round at all is driven before the last have walked there.
    hut = replace(HUT, shelter_places=10, vehicle_seats=4, vehicle_round_s=1200.0)
    lift = make_lift(muster_points=(hut,))
    heights = make_flat_heights(lift)
    work = build_work(lift, heights, (), (), (), ())
    ways, points = find_ways(lift, heights.line)
    (care,) = find_care(lift, work, ways, points)
    early = lowered(at_s=600.0)
    late = [
        replace(lowered(at_s=20_000.0 - 600.0), order=number, people=4, span_index=4)
        for number in range(2, 2 + (care.people - 4) // 4)
    ]
    schedule = Schedule(stop_offset_m=0.0, rescues=(early, *late), clear_s=20_000.0)
    found = safe_seconds(lift, work, ways, points, schedule)
    assert found.likely == pytest.approx(care.longest_walk_s + care.rounds_s)


def avalanche_lift(opens_s: Triple | None) -> Lift:
    """The only way out of the three upper spans crosses avalanche ground."""
    ground = Polygon(
        [along(d, r) for d, r in ((240, -900), (250, -900), (250, 900), (240, 900))]
    )
    limit = Limit(
        minutes=600.0, counts_from="order", counts_to="in safety", source="invented"
    )
    lift = make_lift(
        limits=(limit,), muster_points=(replace(HUT, shelter_places=10_000),)
    )
    hazard = replace(
        lift.hazards[0], kind="avalanche ground", geometry=ground, opens_s=opens_s
    )
    return replace(lift, hazards=(hazard,))


def test_people_without_a_way_out_are_never_all_in_safety() -> None:
    lift = avalanche_lift(None)
    assert safe_at(lift, clear_s=3600.0).likely == math.inf
    cut = told(lift)["muster.cut_off"]
    assert cut.severity is Severity.STOP
    assert "at a safe place is not known" in Words().finding(cut)[0]
    plan = make_plan(lift, date=dt.date(2026, 1, 20))
    assert plan.limit_met is False
    # To the ground nobody has to walk anywhere.
    ground = replace(lift.limits[0], counts_to="on the ground")
    to_ground = told(replace(lift, limits=(ground,)))
    assert to_ground["muster.cut_off"].severity is Severity.WARN


def test_nobody_is_safe_beyond_avalanche_ground_before_its_release() -> None:
    opens = Triple(low=20_000.0, likely=30_000.0, high=40_000.0)
    lift = avalanche_lift(opens)
    line = lay_out(lift)
    ways, _ = find_ways(lift, line)
    assert [span for span, way in ways.items() if way.not_before_s] == [2, 3, 4]
    for span in (2, 3, 4):
        soonest = ways[span].not_before_s
        assert soonest is not None
        # By hand: the release, and of the way no more than all of it.
        assert 0 < soonest.likely - opens.likely < ways[span].seconds
        assert 0 < soonest.high - opens.high < 1.5 * ways[span].seconds
    found = safe_at(lift, clear_s=3600.0)
    last = max(way.not_before_s.likely for way in ways.values() if way.not_before_s)
    assert found.likely == pytest.approx(last - 3600.0)
    assert found.low < found.likely < found.high
    assert "muster.waits" in told(lift)
    # Cleared long after the release nobody waits for it.
    walk_s = max(way.seconds for way in ways.values())
    assert safe_at(lift, clear_s=90_000.0).likely == pytest.approx(max(walk_s, 900.0))


def test_too_small_a_shelter_without_a_vehicle_is_never_all_in_safety() -> None:
    hut = replace(HUT, shelter_places=5, vehicle_seats=0)
    limit = Limit(
        minutes=600.0, counts_from="order", counts_to="in safety", source="invented"
    )
    lift = make_lift(muster_points=(hut,), limits=(limit,))
    assert safe_at(lift, clear_s=3600.0).likely == math.inf
    plan = make_plan(lift, date=dt.date(2026, 1, 20))
    assert plan.limit_met is False
    assert plan.simulation.chance_of_limit == 0.0
    said = {item.key: item for item in plan.findings}
    assert said["muster.no_vehicle"].severity is Severity.STOP
    missed, _ = Words().finding(said["plan.limit_missed"])
    assert "from the order until all are in safety (P90): not known" in missed
    # Other limits keep their own: to the ground this one is met.
    ground = replace(limit, minutes=6000.0, counts_to="on the ground")
    down = make_plan(replace(lift, limits=(ground,)), date=dt.date(2026, 1, 20))
    assert down.limit_met is True
    found = {item.key: item for item in down.findings}
    assert found["muster.no_vehicle"].severity is Severity.WARN
    for each in (plan, down):
        assert [item.reason for item in each.clock.latest] == ["dusk"]
        printed = io.StringIO()
        print_summary(Console(file=printed, width=200), each, Words(), written="-")
        assert "everyone at a safe place: P90 not known." in printed.getvalue()
    assert document_files(plan, Words())["plan.pdf"].startswith(b"%PDF")
    assert json.loads(plan_json(plan))["safe_p90_s"] is None
    summary = plan_tables(plan, Words())[0]
    assert "inf" not in {str(cell) for row in summary.rows for cell in row}


def test_the_folder_s_own_time_is_never_undercut() -> None:
    slow = Triple(low=9e3, likely=9.5e3, high=1e4)
    lift = make_lift()
    lift = replace(lift, organisation=replace(lift.organisation, ground_to_safe_s=slow))
    found = safe_at(lift, clear_s=3600.0)
    assert found == slow
