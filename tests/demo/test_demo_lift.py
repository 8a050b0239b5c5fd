"""The demo keeps what its README promises, and its scripts make it again."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import numpy as np
import pytest
import rasterio

from evac.desk.plan_views import verdict_lines
from evac.facts.finding import Severity
from evac.facts.lift import Side, SupportKind
from evac.facts.plan import Plan
from evac.inputs.folder import open_lift
from evac.plan import make_plan
from evac.words import Words

DAY = dt.date(2026, 11, 25)
SMALL = Path(__file__).parents[1] / "small_lift"


@pytest.fixture(scope="module")
def plan(demo_plan) -> Plan:
    return demo_plan


def test_everyone_is_reached_and_the_limit_is_met(plan):
    assert plan.everyone_reached
    assert plan.limit_met
    assert not [f for f in plan.findings if f.severity is Severity.STOP]
    assert plan.assignment.proven


def test_the_findings_to_look_at_are_those_that_the_readme_names(plan, demo):
    told = " ".join((demo.parent / "README.md").read_text("utf-8").split())
    named = {
        "branch.limit_missed": "without any one of the teams the limit is missed",
        "first_lowering.late": "the first lowering comes later than the part of the "
        "limit that is before rescue",
        "muster.crosses_off_way": "evacuees would walk over the stream where no way "
        "is drawn",
    }
    assert [key for key, text in named.items() if text not in told] == []
    looked = {f.key for f in plan.findings if f.severity is Severity.WARN}
    assert looked == set(named)


def test_the_notebook_bounds_its_verdict_as_the_plan_document_does(plan):
    # "Met" alone would hide that it holds only if every team comes, and that the
    # first lowering is late (common practice, no source: nobody reads on after "met").
    limit = verdict_lines(plan, Words())[1]
    assert "is met at P90" in limit
    assert "it is met only if all of them come" in limit
    assert "Evacuation begins too late for the part of the limit" in limit


def test_the_lift_is_what_the_issue_asks_for(plan):
    lift = plan.lift
    assert 14 <= len(lift.supports) <= 18
    assert lift.supports[-1].distance_m == pytest.approx(1600, rel=0.02)
    assert SupportKind.HOLD_DOWN in {support.kind for support in lift.supports}
    assert {hazard.kind for hazard in lift.hazards} == {
        "road",
        "water",
        "power line",
        "steep ground",
    }
    assert len(lift.teams) == 8
    assert len({team.techniques for team in lift.teams}) >= 3
    assert len({(team.start_x_m, team.start_y_m) for team in lift.teams}) >= 4
    assert len({team.travel for team in lift.teams}) == 3
    assert len(lift.muster_points) >= 2


def test_only_the_gully_is_beyond_the_shortest_kit(plan):
    kits = {o.index: o for o in plan.work.options if o.technique == "loop"}
    rope = {kit.id: kit.rope_length_m for kit in plan.lift.kits}
    shortest = min(kits, key=lambda index: rope[kits[index].kit])
    beyond = {
        plan.heights.line.spans[reach.span_index].id
        for reach in plan.reaches
        if reach.option_index == shortest and not reach.ok
    }
    assert beyond == {"6-7"}
    gully = [unit for unit in plan.heights.units if unit.span_id == "6-7"]
    assert all(17 < unit.rope_greatest_m < 22 for unit in gully)


def test_rope_and_supports_are_of_the_usual_size(plan):
    for report in plan.heights.supports:
        assert not report.lifted
        if report.kind == "hold-down":
            assert report.greatest_load_n < -5_000
        elif report.kind == "support":
            assert report.least_load_n > 5_000
    for report in plan.heights.spans:
        assert report.safety_factor > 4
    least = min(
        unit.seat_least_m for unit in plan.heights.units if 0 < unit.span_index < 16
    )
    # Seats clear bare ground by more than the 2.5 m of common practice.
    assert least > 2.5


def test_both_sides_have_a_rope_a_gauge_apart(plan):
    ground = plan.heights.line.ground
    apart = np.hypot(
        ground[Side.ASCENDING].x_m - ground[Side.DESCENDING].x_m,
        ground[Side.ASCENDING].y_m - ground[Side.DESCENDING].y_m,
    )
    assert apart == pytest.approx(plan.lift.gauge_m, abs=0.01)


def test_the_scripts_make_the_same_terrain_and_layers(demo, remade):
    again = remade("larkfell_four", "make_terrain", "make_layers")
    with (
        rasterio.open(demo / "terrain.tif") as kept,
        rasterio.open(again / "terrain.tif") as made,
    ):
        assert kept.crs == made.crs
        assert tuple(kept.transform)[:6] == pytest.approx(tuple(made.transform)[:6])
        # 0.1 m: heights are rounded to it, and machines may round a tie apart.
        assert kept.read(1) == pytest.approx(made.read(1), abs=0.11)
    assert (demo / "terrain.tif").stat().st_size < 500_000
    for name in ("hazards.geojson", "access.geojson", "muster.geojson"):
        kept, made = (json.loads((f / name).read_text()) for f in (demo, again))
        assert kept == made
    kept, made = ((f / "supports.csv").read_text() for f in (demo, again))
    assert kept == made


def test_the_demo_lies_in_the_open_sea_and_names_nobody(demo):
    lift = open_lift(demo)
    # Northern Adriatic: nobody can take it for a real lift.
    assert 44.9 < lift.latitude_deg < 45.4
    assert 12.6 < lift.longitude_deg < 13.3
    assert "invented" in lift.operator


def test_the_small_lift_misses_one_span_and_nothing_else():
    plan = make_plan(open_lift(SMALL), date=DAY)
    assert not plan.everyone_reached
    # The times alone would meet it, but a limit is for everybody.
    assert plan.limit_met is False
    assert plan.simulation.chance_of_limit == 0.0
    assert "plan.limit_unreached" in {item.key for item in plan.findings}
    missed = {
        plan.heights.line.spans[item.span_index].id
        for item in plan.assignment.uncovered
    }
    assert missed == {"2-3"}


def test_no_zone_is_planned_for_more_people_than_its_carriers_seat(plan):
    # 80 % of the seats going up, 10 % coming down, at any one stop (lift.toml).
    stops, seats = plan.heights.stops, plan.lift.carriers.seats
    share = {Side.ASCENDING: 0.8, Side.DESCENDING: 0.1}
    for zone in plan.assignment.zones:
        inside = range(zone.first_span, zone.last_span + 1)
        carriers = {
            side: np.isin(stops.span_index[side], inside).sum(axis=1)
            for side in zone.sides
        }
        assert zone.people <= seats * sum(carriers.values()).max()
        # Spread evenly, a run of carriers holds its share within one person a side.
        planned = sum(seats * share[side] * count for side, count in carriers.items())
        assert zone.people <= planned.max() + len(zone.sides)
    for side in Side:
        zones = [zone for zone in plan.assignment.zones if zone.sides == (side,)]
        on_line = (stops.span_index[side] >= 0).sum(axis=1).max()
        assert sum(zone.people for zone in zones) <= seats * on_line


def test_loops_that_state_no_rated_load_take_nobody_very_heavy(plan):
    (heavy,) = [item for item in plan.special if item.key == "very_heavy"]
    techniques = {plan.work.options[index].technique for index in heavy.options}
    assert techniques == {"rope rescuer"}
    (told,) = [item for item in plan.findings if item.key == "timing.unrated"]
    assert told.severity is Severity.NOTE
