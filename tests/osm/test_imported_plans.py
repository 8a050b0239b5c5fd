"""Imported lifts go through the whole chain: exit 0 or 1, never a crash."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

import pytest
from test_lift_folders import WITH_TERRAIN, hillside, made, written

from evac.facts.finding import Severity
from evac.facts.plan import Plan
from evac.inputs.folder import open_lift
from evac.inputs.osm_folder import lift_folder_files
from evac.plan import make_plan
from evac.words import Words

DAY = dt.date(2026, 11, 25)


def must_hold(plan: Plan) -> None:
    """What any plan owes its reader."""
    spans = len(plan.lift.supports) - 1
    taken = [
        (side, span)
        for zone in plan.assignment.zones
        for side in zone.sides
        for span in range(zone.first_span, zone.last_span + 1)
    ]
    open_units = [(item.side, item.span_index) for item in plan.assignment.uncovered]
    assert sorted(set(taken) | set(open_units)) == sorted(
        (unit.side, unit.span_index) for unit in plan.heights.units
    )
    assert len(plan.heights.units) == 2 * spans
    assert plan.everyone_reached == (not open_units)
    stops = [item for item in plan.findings if item.severity is Severity.STOP]
    assert bool(stops) == (open_units != [] or plan.limit_met is False)
    words = Words()
    for finding in plan.findings:
        text, remedy = words.finding(finding)
        assert "nan" not in f"{text} {remedy}".split()
    assert plan.heights.greatest_residual_n < 1.0
    assert not any(report.lifted for report in plan.heights.supports)


@pytest.mark.parametrize(("names", "way_id"), WITH_TERRAIN)
def test_every_usable_lift_with_terrain_gets_a_plan(shared, tmp_path, names, way_id):
    lift = open_lift(written(made(shared, names, way_id), tmp_path))
    plan = make_plan(lift, date=DAY)
    must_hold(plan)
    keys = {finding.key for finding in plan.findings}
    # Terrain of 90 m cells or 20 m contours is too coarse for reach: it must be said.
    assert "line.terrain_coarse" in keys
    # Nobody has accepted the assumed heights and masses.
    assert any("assum" in key for key in keys)
    assert math.isfinite(plan.simulation.p90_s) or plan.assignment.zones == ()


def test_a_gondola_of_openstreetmap_gets_a_plan(shared, tmp_path: Path):
    extract = shared / "real" / "osm_us_ski_apache.osm"
    terrain = hillside(tmp_path / "hill.tif", extract)
    folder = tmp_path / "gondola"
    folder.mkdir()
    files = lift_folder_files(extract, way_id=14503870, terrain=terrain)
    plan = make_plan(open_lift(written(files, folder)), date=DAY)
    must_hold(plan)
    assert plan.lift.carriers.type == "cabin"
