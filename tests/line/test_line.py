"""Supports, spans, and the ground of both sides."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from builders import along, ground_m, make_lift, make_terrain

from evac.errors import NoPlanError
from evac.facts.lift import Lift, Side, SupportKind
from evac.line import find_doubts, lay_out
from evac.side_ground import side_places
from evac.words import Words


def terrain_lift(**changes: object) -> Lift:
    return make_lift(terrain=make_terrain(**changes), ground_table=None)  # type: ignore[arg-type]  # forwarded as they are


def changed_support(lift: Lift, index: int, **changes: object) -> Lift:
    supports = list(lift.supports)
    supports[index] = replace(supports[index], **changes)  # type: ignore[arg-type]  # forwarded
    return replace(lift, supports=tuple(supports))


@pytest.mark.parametrize("on_right", [True, False])
def test_each_side_runs_half_a_gauge_beside_the_line(on_right: bool) -> None:
    lift = make_lift(ascending_on_right=on_right)
    x_m, y_m = side_places(lift, Side.ASCENDING, distance_m=np.array([0.0, 250.0]))
    # By hand from the builder's bearing: right of the line for the ascending side.
    expected = [along(d, 3.0 if on_right else -3.0) for d in (0.0, 250.0)]
    assert np.column_stack([x_m, y_m]) == pytest.approx(np.array(expected), abs=1e-6)


def test_each_side_has_its_own_ground_every_metre() -> None:
    line = lay_out(terrain_lift(cross_slope=0.2, cell_m=2.0))
    up, down = line.ground[Side.ASCENDING], line.ground[Side.DESCENDING]
    assert up.distance_m == pytest.approx(np.arange(601.0))
    # The invented ground falls by 0.2 to the right; the sides are 6 m apart.
    away = np.abs(up.distance_m - 287) > 60
    kinks = np.min(np.abs(up.distance_m[:, None] - line.distance_m), axis=1) < 6
    difference = (down.elevation_m - up.elevation_m)[away & ~kinks]
    assert difference == pytest.approx(1.2, abs=0.02)
    middle = (up.elevation_m + down.elevation_m) / 2
    assert middle[away & ~kinks] == pytest.approx(
        ground_m(up.distance_m)[away & ~kinks], abs=0.05
    )


@pytest.mark.parametrize("lift", [make_lift(), terrain_lift()])
def test_the_stance_is_never_above_the_ground(lift: Lift) -> None:
    for ground in lay_out(lift).ground.values():
        assert (ground.stance_m <= ground.elevation_m + 1e-9).all()


def test_a_line_that_is_no_whole_metres_long_ends_at_its_last_support() -> None:
    lift = make_lift()
    x_m, y_m = along(599.4)
    lift = changed_support(lift, 5, distance_m=599.4, x_m=x_m, y_m=y_m)
    ground = lay_out(lift).ground[Side.ASCENDING]
    assert ground.distance_m[-2:] == pytest.approx([599.0, 599.4])


def test_spans_are_named_by_their_supports() -> None:
    spans = lay_out(make_lift()).spans
    assert [span.id for span in spans] == ["0-1", "1-2", "2-3", "3-4", "4-5"]
    assert (spans[2].start_m, spans[2].end_m) == (230.0, 345.0)


def refusal(lift: Lift) -> str:
    with pytest.raises(NoPlanError) as caught:
        lay_out(lift)
    return str(caught.value)


def test_a_support_out_of_order_is_refused() -> None:
    found = refusal(changed_support(make_lift(), 2, distance_m=100.0))
    assert found.startswith("support 2 stands at 100 m, not beyond the one before it.")


def test_a_rope_at_its_ground_is_refused() -> None:
    found = refusal(changed_support(make_lift(), 3, rope_height_m=0.0))
    assert found.startswith("at support 3 the rope is 0.0 m above the ground.")


def test_a_bend_is_refused() -> None:
    x_m, y_m = along(345.0, 25.0)
    found = refusal(changed_support(make_lift(), 3, x_m=x_m, y_m=y_m))
    assert found.startswith("support 3 stands 25.0 m beside the straight line")


def test_a_station_within_the_line_is_refused_as_separate_sections() -> None:
    # Rule 10 of the trade.
    found = refusal(changed_support(make_lift(), 3, kind=SupportKind.STATION))
    assert found.startswith("support 3 is a station within the line.")
    assert "separate sections" in found


def test_a_small_bend_is_a_finding() -> None:
    x_m, y_m = along(345.0, 5.0)
    lift = changed_support(make_lift(), 3, x_m=x_m, y_m=y_m)
    keys = [finding.key for finding in find_doubts(lift, lay_out(lift))]
    assert "line.bend" in keys


def test_terrain_that_does_not_reach_the_upper_station_is_refused() -> None:
    lift = terrain_lift()
    assert lift.terrain is not None
    short = replace(lift.terrain, elevation_m=lift.terrain.elevation_m[:100])
    found = refusal(replace(lift, terrain=short))
    assert "has no ground at support 4" in found


def test_a_short_ground_table_is_refused() -> None:
    lift = make_lift()
    assert lift.ground_table is not None
    table = replace(
        lift.ground_table,
        distance_m=lift.ground_table.distance_m[:-3],
        ascending_m=lift.ground_table.ascending_m[:-3],
        descending_m=lift.ground_table.descending_m[:-3],
    )
    found = refusal(replace(lift, ground_table=table))
    assert found.startswith("the ground table runs from 0.0 m to 585 m")


def test_ground_above_the_rope_at_a_support_is_refused() -> None:
    lift = terrain_lift()
    assert lift.terrain is not None
    raised = replace(lift.terrain, elevation_m=lift.terrain.elevation_m + 30)
    found = refusal(replace(lift, terrain=raised))
    assert "the ground stands" in found
    assert "one height datum" in found


def test_a_lift_without_any_ground_is_refused() -> None:
    found = refusal(make_lift(terrain=None, ground_table=None))
    assert found.startswith("the folder gives no ground")


def test_a_void_between_supports_stays_a_void_and_is_told() -> None:
    lift = terrain_lift()
    assert lift.terrain is not None
    values = lift.terrain.elevation_m.copy()
    x_m, y_m = along(170.0)
    row = round((y_m - lift.terrain.south_m) / lift.terrain.cell_m)
    column = round((x_m - lift.terrain.west_m) / lift.terrain.cell_m)
    values[row, column] = np.nan
    lift = replace(lift, terrain=replace(lift.terrain, elevation_m=values))
    line = lay_out(lift)
    findings = find_doubts(lift, line)
    ground = line.ground[Side.ASCENDING]
    assert np.isnan(ground.elevation_m[168:173]).any()
    assert np.isfinite(ground.elevation_m[:150]).all()
    assert [f.where for f in findings if f.key == "line.void"] == [
        "1-2 ascending",
        "1-2 descending",
    ]


def test_coarse_terrain_is_told_and_fine_terrain_is_not() -> None:
    fine = terrain_lift()
    assert fine.terrain is not None
    coarse = replace(fine, terrain=replace(fine.terrain, source_cell_m=90.0))
    told = {
        lift.terrain.source_cell_m: find_doubts(lift, lay_out(lift))
        for lift in (fine, coarse)
        if lift.terrain
    }
    assert not any(f.key == "line.terrain_coarse" for f in told[5.0])
    coarse_found = [f for f in told[90.0] if f.key == "line.terrain_coarse"]
    assert "cells of 90.0 m" in Words().finding(coarse_found[0])[0]


def test_a_base_that_the_terrain_denies_is_told() -> None:
    lift = changed_support(terrain_lift(), 2, ground_m=float(ground_m(230.0)) - 6)
    found = [
        f for f in find_doubts(lift, lay_out(lift)) if f.key == "line.base_differs"
    ]
    assert found[0].where == "2"


def test_every_finding_of_the_line_has_its_sentences() -> None:
    lift = terrain_lift()
    for finding in find_doubts(lift, lay_out(lift)):
        assert all(Words().finding(finding))
